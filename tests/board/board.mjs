// The board: the chip with what is wired to its pins.
//
// Enters: input levels, analogue values, bytes for USB, power, time. Leaves:
// events, each with its moment in nanoseconds since the board was made: output
// edges, bytes shifted out, conversions begun, bytes from USB, resets. A run
// stops at an event that the world around may answer; the others wait for the
// next stop.

import { Chip, RESET } from './chip.mjs';
import { UsbDevice } from './usb-device.mjs';
import { UsbHost } from './usb-host.mjs';

export const EVENT = { edge: 1, shift: 2, conversion: 3, bytes: 4, reset: 5, ready: 6, fault: 7 };

// Step, feed on, pick, latch, locks on, peg, stroke, lamp, status.
const OUTPUTS = [6, 7, 8, 4, 5, 9, 10, 11, 12];
const STEP = 0;
const STATUS = 8;
// Block up, block down, edge, guard, stop; then the loom's: cylinder A and B, griffe,
// batten, boxes left and right, take-up A and B. The last four are the address of
// the light bar's multiplexer where there is one.
const INPUTS = [13, 14, 15, 16, 17, 0, 1, 22, 28, 18, 19, 20, 21];
const ADDRESS = [18, 19, 20, 21];
const SPI_PINS = [2, 3];
const SPI_FUNCTION = 1;
const HIGH = 1;

const CONVERSION_NS = 2_000;
// An analogue multiplexer settles in about a microsecond.
const SETTLE_NS = 1_000;

export class Board {
  constructor(events) {
    this.events = events;
    this.stop = false;
    this.offset = 0;
    this.instructions = 0;
    this.unique = Uint8Array.of(0, 0, 0, 0, 0, 0, 0, 0);
    this.kept = {
      flash: new Uint8Array(16 * 1024 * 1024).fill(0xff),
      sram: new Uint8Array(264 * 1024),
      scratch: new Uint32Array(8),
      reason: 0,
      random: 0x2545f491,
    };
    this.usb = new UsbHost({
      bytes: (bytes) => this.note(EVENT.bytes, true, bytes),
      ready: () => this.note(EVENT.ready, true),
    });
    this.inputs = 0;
    this.supply = 0;
    this.freeSteps = 0;
    this.light = new Uint16Array(16);
    this.lightUntil = -1;
    this.high = OUTPUTS.map(() => false);
    this.chip = null;
    this.dark = 0;
  }

  get now() {
    return this.offset + (this.chip ? this.chip.clock.nanosCounter : this.dark);
  }

  note(kind, stops, detail) {
    this.events(kind, this.now, detail);
    if (stops) this.stop = true;
  }

  // Power.

  setPower(on) {
    if (on === (this.chip !== null)) return;
    if (on) {
      this.offset += this.dark;
      this.kept.scratch.fill(0);
      this.kept.reason = 0;
      this.kept.sram.fill(0xa5);
      this.begin();
    } else {
      this.end();
      this.usb.device = null;
      this.dark = 0;
    }
  }

  begin() {
    this.pending = 0;
    const chip = new Chip(this.kept, this.unique, (cause) => this.pend(cause));
    this.chip = chip;
    this.wire(chip);
    this.usb.take(chip.rp, new UsbDevice(chip.rp, this.usb));
    const { inputs } = this;
    this.inputs = 0;
    this.setInputs(inputs);
  }

  // The chip stops here; its outputs are let go.
  end() {
    const { chip, kept } = this;
    this.high.forEach((high, output) => {
      if (high) this.edge(output, false);
    });
    this.instructions += chip.rp.core.instructions;
    this.offset = this.now;
    kept.scratch.set(chip.watchdog.scratchData);
    this.usb.detached();
    this.chip = null;
    this.dark = 0;
  }

  // A reset is asked for from within the chip; it is carried out between two
  // instructions.
  pend(cause) {
    this.pending = cause;
    this.stop = true;
  }

  reset() {
    const cause = this.pending;
    this.end();
    this.kept.reason = cause === RESET.watchdog ? 1 : cause === RESET.forced ? 2 : 0;
    this.begin();
    this.note(EVENT.reset, true, cause);
  }

  // Wiring.

  wire(chip) {
    const { gpio, spi, adc } = chip.rp;
    OUTPUTS.forEach((pin, output) => {
      gpio[pin].addListener((state) => {
        gpio[pin].setInputValue(state === HIGH);
        this.edge(output, state === HIGH);
      });
    });
    this.address = 0;
    this.addressBefore = 0;
    this.addressAt = -Infinity;
    ADDRESS.forEach((pin, bit) => {
      gpio[pin].addListener((state) => this.addressBit(bit, state === HIGH));
    });
    this.shiftAlarm = chip.clock.createAlarm(() => this.shifted(spi[0], gpio));
    spi[0].onTransmit = (value) => {
      this.shifting = value;
      this.shiftAlarm.schedule((spi[0].dataBits * 1e9) / (spi[0].clockFrequency || 1e6));
    };
    this.convertAlarm = chip.clock.createAlarm(() => this.converted(adc));
    adc.onADCRead = (channel) => this.convert(channel);
  }

  edge(output, high) {
    if (this.high[output] === high) return;
    this.high[output] = high;
    // the end of a step pulse and the status lamp change nothing in the world,
    // and of some steps only the light bar can see anything
    let stops = !(output === STATUS || (output === STEP && !high));
    if (stops) this.lightUntil = -1;
    if (stops && output === STEP && this.freeSteps > 0) {
      this.freeSteps--;
      stops = false;
    }
    this.note(EVENT.edge, stops, output | (high ? 0x80 : 0));
  }

  addressBit(bit, high) {
    const address = high ? this.address | (1 << bit) : this.address & ~(1 << bit);
    if (address === this.address) return;
    if (this.now - this.addressAt >= SETTLE_NS) this.addressBefore = this.address;
    this.address = address;
    this.addressAt = this.now;
  }

  shifted(spi, gpio) {
    const wired = SPI_PINS.every((pin) => gpio[pin].functionSelect === SPI_FUNCTION);
    if (wired && spi.dataBits === 8) this.note(EVENT.shift, false, this.shifting & 0xff);
    spi.completeTransmit(0);
  }

  // A conversion begins: it sees what is there now.
  convert(channel) {
    this.conversion = { channel, address: this.address, before: this.address };
    if (this.now - this.addressAt < SETTLE_NS) this.conversion.before = this.addressBefore;
    if (channel === 0 && this.now > this.lightUntil) this.note(EVENT.conversion, true);
    else this.settle();
    this.convertAlarm.schedule(CONVERSION_NS);
  }

  settle() {
    const { channel, address, before } = this.conversion;
    let value = 0;
    if (channel === 0) value = (this.light[address] + this.light[before]) >> 1;
    else if (channel === 1) value = this.supply;
    else if (channel === 4) value = 0x36d; // the chip's own thermometer at 27 degrees
    this.conversion.value = value;
  }

  converted(adc) {
    if (this.conversion.value === undefined) this.settle();
    adc.completeADCRead(this.conversion.value, false);
  }

  // The levels of the light bar as they are now, good until then.
  setLight(levels, until) {
    this.light.set(levels);
    this.lightUntil = until;
    if (this.conversion && this.conversion.value === undefined) this.settle();
  }

  setInputs(levels) {
    const changed = levels ^ this.inputs;
    this.inputs = levels;
    if (!this.chip || changed === 0) return;
    const { chip } = this;
    chip.pio.sync(chip.clock.nanosCounter);
    INPUTS.forEach((pin, bit) => {
      if (changed & (1 << bit)) chip.rp.gpio[pin].setInputValue((levels & (1 << bit)) !== 0);
    });
    chip.pio.plan();
  }

  // A fault was taken at this instruction.
  faulted(address) {
    this.note(EVENT.fault, true, address);
  }

  // Time.

  run(until) {
    this.stop = false;
    while (!this.stop && this.now < until) {
      const { chip } = this;
      if (!chip) {
        this.dark = until - this.offset;
        return;
      }
      chip.run(until - this.offset, this);
      if (this.pending) this.reset();
    }
  }
}
