// One RP2040 from one reset to the next.
//
// Enters: flash contents, what outlives a reset, and time. Leaves: executed
// firmware, and a call when the chip asks to be reset. It corrects the emulator
// where the chip differs; the firmware cannot tell.

import { RP2040 } from 'rp2040js';
import { Core } from './core.mjs';
import { Fault } from './fault.mjs';
import { PioClock } from './pio-clock.mjs';
import { regulator, ringOscillator, xipControl } from './fixed-registers.mjs';
import { QspiPins, SerialFlash } from './serial-flash.mjs';
import { romCall, romImage, secondStageSum } from './rom.mjs';

// From reset to the second stage: crystal, ROM and its checks; the order of
// magnitude, from memory.
const BOOT_NS = 2e6;

const SECOND_STAGE_AT = 0x20041f00;
const FLASH_AT = 0x10000000;
const PAD_RESET = 0x56; // datasheet 2.19.6.3

// Registers of the core's system control block.
const ICPR = 0x280;
const AIRCR = 0xd0c;
const SCR = 0xd10;
const SEV_ON_PEND = 1 << 4;

export const RESET = { watchdog: 1, forced: 2, core: 3, power: 4 };

export class Chip {
  // `kept` is what outlives a reset: flash, RAM, scratch registers and reason.
  constructor(kept, unique, onReset) {
    this.rp = new RP2040();
    this.clock = this.rp.clock;
    this.onReset = onReset;
    this.stalledUntil = 0;
    this.bootloader = false;
    this.correctMemory(kept);
    this.correctPins();
    this.serialFlash = new SerialFlash(this.rp, unique);
    this.rp.peripherals[0x14000] = xipControl(this.rp);
    this.rp.peripherals[0x40060] = ringOscillator(this.rp, kept);
    this.rp.peripherals[0x40064] = regulator(this.rp);
    this.rp.peripherals[0x18000] = this.serialFlash;
    this.rp.peripherals[0x40018] = new QspiPins(this.rp, this.serialFlash);
    this.rp.core = new Core(this.rp, (number) => this.breakpoint(number));
    this.listenToCore();
    // the firmware may set another system clock
    this.cycleNs = 1e9 / this.rp.clkSys;
    this.rp.addClockListener((hertz) => (this.cycleNs = 1e9 / hertz));
    this.pio = new PioClock(this.rp, () => this.cycleNs);
    this.correctTimer();
    this.correctAdc();
    this.correctResets(kept);
    this.boot();
  }

  // Some of what the core cannot do it only tells its log.
  listenToCore() {
    const said = (who, words) => {
      if (who === 'CortexM0Core') this.rp.core.said(words);
    };
    this.rp.logger = { debug() {}, info: said, warn: said, error() {} };
  }

  correctMemory(kept) {
    const { rp } = this;
    rp.flash = kept.flash;
    rp.flash16 = new Uint16Array(kept.flash.buffer);
    rp.flashView = new DataView(kept.flash.buffer);
    rp.sram = kept.sram;
    rp.sramView = new DataView(kept.sram.buffer);
    rp.bootrom.set(romImage());
  }

  correctPins() {
    for (const pin of this.rp.gpio) {
      pin.padValue = PAD_RESET;
      pin.lastValue = pin.value;
      pin.setInputValue(false);
      pin.irqStatus &= 3; // levels, but no edge has been seen
    }
  }

  // An alarm goes off when the counter shows its value, not a part of a
  // microsecond before.
  correctTimer() {
    const timer = this.rp.peripherals[0x40054];
    const ALARM0 = 0x10;
    const write = timer.writeUint32.bind(timer);
    timer.writeUint32 = (offset, value) => {
      write(offset, value);
      if (offset < ALARM0 || offset >= ALARM0 + 16) return;
      const nanos = this.clock.nanosCounter;
      const count = Math.floor(nanos / 1000);
      const wait = (value - count) >>> 0;
      const { clockAlarm } = timer.alarms[(offset - ALARM0) >> 2];
      clockAlarm.schedule(wait === 0 ? 0 : (count + wait) * 1000 - nanos);
    };
  }

  correctAdc() {
    const { adc } = this.rp;
    const FIFO_READ = 0x0c;
    const START_ONE = 1 << 2;
    Object.defineProperty(adc, 'activeChannel', {
      get: () => (adc.cs >> 12) & 7,
      set: (channel) => (adc.cs = (adc.cs & ~(7 << 12)) | ((channel & 7) << 12)),
    });
    const read = adc.readUint32.bind(adc);
    adc.readUint32 = (offset) => {
      const value = read(offset);
      if (offset === FIFO_READ) adc.checkInterrupts();
      return value;
    };
    const write = adc.writeUint32.bind(adc);
    adc.writeUint32 = (offset, value) => {
      write(offset, value);
      adc.cs &= ~START_ONE; // clears itself
    };
  }

  // Watchdog and core can reset the chip.
  correctResets(kept) {
    const watchdog = this.rp.peripherals[0x40058];
    watchdog.scratchData.set(kept.scratch);
    watchdog.reason = kept.reason;
    watchdog.onWatchdogTrigger = () => {
      watchdog.alarm.enable = false; // once is enough
      this.onReset(watchdog.reason & 2 ? RESET.forced : RESET.watchdog);
    };
    this.watchdog = watchdog;
    const { ppb } = this.rp;
    const read = ppb.readUint32.bind(ppb);
    ppb.readUint32 = (offset) => {
      if (offset === SCR) return this.rp.core.sevOnPend ? SEV_ON_PEND : 0;
      return offset === AIRCR ? 0xfa050000 : read(offset);
    };
    const write = ppb.writeUint32.bind(ppb);
    ppb.writeUint32 = (offset, value) => {
      const { core } = this.rp;
      if (offset === AIRCR) {
        if (value >>> 16 === 0x05fa && value & 4) this.onReset(RESET.core);
      } else if (offset === SCR) {
        core.sevOnPend = (value & SEV_ON_PEND) !== 0;
      } else if (offset === ICPR) {
        core.clearPending(value);
      } else {
        write(offset, value);
      }
    };
  }

  // What the boot ROM does (datasheet 2.8.1).
  boot() {
    const { rp } = this;
    const { core } = rp;
    const stage = rp.flash.subarray(0, 256);
    const view = new DataView(stage.buffer, stage.byteOffset, 256);
    if (view.getUint32(252, true) !== secondStageSum(stage)) {
      this.toBootloader();
      return;
    }
    rp.sram.set(stage, SECOND_STAGE_AT - 0x20000000);
    core.VTOR = 0;
    core.SP = 0x20041f00;
    core.LR = 0;
    core.PC = SECOND_STAGE_AT;
    this.stall(BOOT_NS);
  }

  // The ROM's own USB mode: nothing of the firmware runs.
  toBootloader() {
    this.bootloader = true;
    this.rp.core.halted = true;
  }

  // The core does nothing for so long; everything else goes on.
  stall(ns) {
    this.stalledUntil = Math.max(this.stalledUntil, this.clock.nanosCounter) + ns;
  }

  // A breakpoint that is not in the ROM has no debugger to go to: a fault.
  breakpoint(number) {
    return this.rp.core.PC < 0x4000 && romCall(this, number);
  }

  // Runs until `limit` or until `control.stop`.
  run(limit, control) {
    for (;;) {
      try {
        this.spin(limit, control);
        return;
      } catch (error) {
        if (!(error instanceof Fault)) throw error;
        const { at } = this.rp.core;
        this.rp.core.fault();
        control.faulted(at);
      }
    }
  }

  spin(limit, control) {
    const { clock, pio } = this;
    const { core } = this.rp;
    while (!control.stop) {
      const now = clock.nanosCounter;
      if (now >= limit) return;
      if (core.waiting || core.halted || this.stalledUntil > now) {
        this.pass(this.nextMoment(now, limit));
        if (core.waiting && core.interruptsUpdated) core.reconsider();
        continue;
      }
      const then = now + core.executeInstruction() * this.cycleNs;
      const alarm = clock.nextAlarm;
      if ((alarm !== null && alarm.nanos <= then) || pio.nextAt <= then) this.pass(then);
      else clock.nanosCounter = then;
    }
  }

  nextMoment(now, limit) {
    let next = limit;
    const alarm = this.clock.nextAlarm;
    if (alarm !== null && alarm.nanos < next) next = alarm.nanos;
    if (this.pio.nextAt < next) next = this.pio.nextAt;
    if (this.stalledUntil > now && this.stalledUntil < next) next = this.stalledUntil;
    return Math.max(next, now);
  }

  // Lets everything but the core come to this moment, in order.
  pass(until) {
    const { clock, pio } = this;
    for (;;) {
      const alarm = clock.nextAlarm;
      const at = alarm === null ? Infinity : alarm.nanos;
      if (at <= until && at <= pio.nextAt) {
        clock.nextAlarm = alarm.next;
        if (at > clock.nanosCounter) clock.nanosCounter = at;
        alarm.callback();
      } else if (pio.nextAt <= until) {
        if (pio.nextAt > clock.nanosCounter) clock.nanosCounter = pio.nextAt;
        pio.advance(pio.nextAt);
      } else {
        break;
      }
    }
    clock.nanosCounter = until;
  }
}
