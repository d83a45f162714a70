// The serial flash behind the chip's SSI block, below the level of its mapped
// contents.
//
// Enters: accesses to the SSI registers and to the override of the select line.
// Leaves: what the flash answers to status, identity and unique-number commands.
// Transfers in dual or quad width go unanswered: only the mapped reading uses
// them, and that is served from the chip's flash array.

import { BasePeripheral } from 'rp2040js';

const CTRLR0 = 0x00;
const SSIENR = 0x08;
const BAUDR = 0x14;
const TXFLR = 0x20;
const RXFLR = 0x24;
const SR = 0x28;
const IDR = 0x58;
const VERSION = 0x5c;
const DR0 = 0x60;
const DR_LAST = 0xec;

const BUSY = 1 << 0;
const TFNF = 1 << 1;
const TFE = 1 << 2;
const RFNE = 1 << 3;

const FIFO = 16;
const CYCLE_NS = 8;

// The chip on the other end of the wires.
class NorFlash {
  constructor(unique) {
    this.unique = unique;
    this.status2 = 0x00;
    this.writable = false;
    this.deselect();
  }

  deselect() {
    this.command = -1;
    this.at = 0;
  }

  // One byte each way.
  transfer(out) {
    const at = this.at++;
    if (at === 0) {
      this.command = out;
      if (out === 0x06) this.writable = true;
      return 0xff;
    }
    switch (this.command) {
      case 0x05: // status 1: never busy here
        return this.writable ? 0x02 : 0x00;
      case 0x35:
        return this.status2;
      case 0x01: // status 1, status 2
        if (at === 2 && this.writable) {
          this.status2 = out;
          this.writable = false;
        }
        return 0xff;
      case 0x9f: // maker and size
        return [0xef, 0x70, 0x15][at - 1] ?? 0xff;
      case 0x4b: // four bytes later, the unique number
        return at > 4 ? (this.unique[at - 5] ?? 0xff) : 0xff;
      default:
        return 0xff;
    }
  }
}

// The SSI block (datasheet 4.10) as far as commands to the flash need it.
export class SerialFlash extends BasePeripheral {
  constructor(rp, unique) {
    super(rp, 'SSI');
    this.nor = new NorFlash(unique);
    this.registers = new Uint32Array(64);
    this.tx = [];
    this.rx = [];
    this.shifting = false;
    this.override = 0;
    this.alarm = rp.clock.createAlarm(() => this.shifted());
  }

  // All overrides of the wires away, FIFOs empty.
  connect() {
    this.select(0);
    this.tx.length = this.rx.length = 0;
  }

  // One wire each way, bytes, both directions at once: as the ROM sets it up to
  // give commands to the flash.
  plainSpi() {
    this.connect();
    this.setUp(7 << 16, 6);
  }

  // One wire each way, words read after a command and an address.
  mappedSpi() {
    this.setUp((31 << 16) | (3 << 8), 6);
  }

  setUp(control, divider) {
    this.writeUint32(SSIENR, 0);
    this.registers[CTRLR0 >> 2] = control;
    this.registers[1] = 0;
    this.registers[BAUDR >> 2] = divider;
    this.registers[SSIENR >> 2] = 1;
  }

  // Override of the select line: 2 holds it low, 3 high.
  select(override) {
    if (override !== this.override) this.nor.deselect();
    this.override = override;
  }

  get frameBits() {
    return ((this.registers[CTRLR0 >> 2] >>> 16) & 0x1f) + 1;
  }

  get mode() {
    return (this.registers[CTRLR0 >> 2] >>> 8) & 3;
  }

  get wide() {
    return ((this.registers[CTRLR0 >> 2] >>> 21) & 3) !== 0;
  }

  frameNs() {
    const divider = this.registers[BAUDR >> 2] || 4;
    return this.frameBits * divider * CYCLE_NS;
  }

  readUint32(offset) {
    if (offset >= DR0 && offset <= DR_LAST) return this.rx.shift() ?? 0;
    switch (offset) {
      case TXFLR:
        return this.tx.length;
      case RXFLR:
        return this.rx.length;
      case SR:
        return (
          (this.shifting ? BUSY : 0) |
          (this.tx.length < FIFO ? TFNF : 0) |
          (this.tx.length === 0 ? TFE : 0) |
          (this.rx.length > 0 ? RFNE : 0)
        );
      case IDR:
        return 0x51535049;
      case VERSION:
        return 0x3430312a;
    }
    return this.registers[offset >> 2] ?? 0;
  }

  writeUint32(offset, value) {
    if (offset >= DR0 && offset <= DR_LAST) {
      if (this.tx.length < FIFO && this.registers[SSIENR >> 2] & 1) {
        this.tx.push(value);
        this.start();
      }
      return;
    }
    this.registers[offset >> 2] = value;
    if (offset === SSIENR && !(value & 1)) {
      this.tx.length = this.rx.length = 0;
      this.shifting = false;
      this.alarm.cancel();
      if (this.override !== 2) this.nor.deselect();
    }
  }

  start() {
    if (this.shifting || this.tx.length === 0) return;
    this.shifting = true;
    this.alarm.schedule(this.frameNs());
  }

  // A frame is on the wires; with the last one the transfer ends, or in the
  // mode that reads after a command the answer comes in.
  shifted() {
    this.shifting = false;
    const frame = this.tx.shift();
    const answer = this.wide ? 0 : this.pass(frame);
    if (this.mode === 0 && this.rx.length < FIFO) this.rx.push(answer);
    if (this.tx.length > 0) {
      this.start();
      return;
    }
    if (this.mode === 3) {
      const frames = (this.registers[1] & 0xffff) + 1;
      for (let n = 0; n < frames && this.rx.length < FIFO; n++) {
        this.rx.push(this.wide ? 0 : this.pass(0));
      }
    }
    if (this.override !== 2) this.nor.deselect();
  }

  pass(frame) {
    return this.override === 3 ? 0xff : this.nor.transfer(frame & 0xff);
  }
}

// The pads' function registers, of which only the select line's override does
// anything (datasheet 2.19.6.2).
export class QspiPins extends BasePeripheral {
  constructor(rp, serialFlash) {
    super(rp, 'IO_QSPI');
    this.registers = new Uint32Array(32);
    this.serialFlash = serialFlash;
  }

  readUint32(offset) {
    return this.registers[offset >> 2] ?? 0;
  }

  writeUint32(offset, value) {
    if (offset >> 2 < this.registers.length) this.registers[offset >> 2] = value;
    if (offset === 0x0c) this.serialFlash.select((value >>> 8) & 3);
  }
}
