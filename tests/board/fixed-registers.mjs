// Blocks of which firmware only ever sees the same values, or chance.
//
// Enters: reads and writes. Leaves: for each register what was written to it, or
// what it always shows.

import { BasePeripheral } from 'rp2040js';

class Registers extends BasePeripheral {
  constructor(rp, name, initial, fixed) {
    super(rp, name);
    this.values = { ...initial };
    this.fixed = fixed;
  }

  readUint32(offset) {
    return this.fixed[offset] ?? this.values[offset] ?? 0;
  }

  writeUint32(offset, value) {
    this.values[offset] = value;
  }
}

// The control of the flash's cache (datasheet 2.6.3): there is no cache here, so
// it is always empty and flushed, and no stream ever runs.
export const xipControl = (rp) =>
  new Registers(rp, 'XIP_CTRL', { 0x00: 3 }, { 0x04: 0, 0x08: 3, 0x18: 0, 0x1c: 0 });

// Regulator, brown-out detector and the last reset of the whole chip (datasheet
// 2.10.6, 2.12.8): the voltage is well, and the last such reset was the power's.
export const regulator = (rp) =>
  new Registers(rp, 'VREG_AND_CHIP_RESET', { 0x00: 0xb1, 0x04: 0x91 }, { 0x00: 0x10b1, 0x08: 0x100 });

// The ring oscillator (datasheet 2.17.8), whose random bit is not random here, so
// that a test can be repeated: `kept.random` goes on over resets.
class RingOscillator extends BasePeripheral {
  constructor(rp, kept) {
    super(rp, 'ROSC');
    this.kept = kept;
  }

  readUint32(offset) {
    if (offset === 0x18) return 0x80001000; // stable and enabled
    if (offset !== 0x1c) return 0;
    const { kept } = this;
    // xorshift, Marsaglia 2003
    kept.random ^= kept.random << 13;
    kept.random ^= kept.random >>> 17;
    kept.random ^= kept.random << 5;
    return (kept.random >>> 16) & 1;
  }
}

export const ringOscillator = (rp, kept) => new RingOscillator(rp, kept);
