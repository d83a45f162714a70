// The emulator's processor, corrected where the chip's behaves otherwise.
//
// Enters: opcodes from flash, RAM and ROM, and the levels of interrupt lines.
// Leaves: accesses to memory, and cycles. The instructions are the emulator's;
// what is put right here is all around them: accesses that the chip refuses
// fault, a fault within a fault stops the core for good, an interrupt is latched
// (a line that is still high when its handler returns is taken again, one that
// the firmware has pended is taken once), entering a handler takes its time, and
// an event that is sent is not lost.

import { RP2040 } from 'rp2040js';
import { Fault } from './fault.mjs';

// the package does not export its processor by name
const CortexM0Core = new RP2040().core.constructor;

const HARD_FAULT = 3;
const NMI = 2;
const FIRST_IRQ = 16;

const ADCS = 0b0100000101;
const SBCS = 0b0100000110;

// Cortex-M0+ technical reference manual, DDI 0484: exception entry.
const ENTRY_CYCLES = 15;

const RAM_SIZE = 264 * 1024;

export class Core extends CortexM0Core {
  // `breakpoint` says of a breakpoint's number whether somebody takes it.
  constructor(rp, breakpoint) {
    super(rp);
    this.rp = rp;
    this.lines = 0;
    this.active = 0;
    this.halted = false;
    this.lockedUp = false;
    this.sevOnPend = false;
    this.entering = 0;
    this.instructions = 0;
    this.faults = 0;
    this.at = 0;
    rp.onBreak = (number) => {
      if (!breakpoint(number)) throw new Fault('a breakpoint without a debugger');
    };
  }

  // What the emulator's processor tells its log and does nothing about.
  said(words) {
    if (words === 'SEV') this.event();
    if (words.includes('not implemented')) throw new Fault('undefined instruction');
  }

  executeInstruction() {
    this.at = this.PC;
    this.instructions++;
    const cycles = super.executeInstruction() + this.entering;
    this.entering = 0;
    return cycles;
  }

  // The emulator adds the carry to an operand first, which loses the overflow.
  addUpdateFlags(addend1, addend2) {
    const opcode = this.rp.readUint16(this.at & ~1);
    if (opcode >> 6 !== ADCS) return super.addUpdateFlags(addend1, addend2);
    return this.addWithCarry(addend1, this.registers[opcode & 7], this.C);
  }

  substractUpdateFlags(minuend, subtrahend) {
    const opcode = this.rp.readUint16(this.at & ~1);
    if (opcode >> 6 !== SBCS) return super.substractUpdateFlags(minuend, subtrahend);
    return this.addWithCarry(minuend, ~this.registers[(opcode >> 3) & 7], this.C);
  }

  addWithCarry(a, b, carry) {
    const sum = (a >>> 0) + (b >>> 0) + (carry ? 1 : 0);
    const result = sum >>> 0;
    this.N = result >>> 31 === 1;
    this.Z = result === 0;
    this.C = sum > 0xffffffff;
    this.V = ((a ^ result) & (b ^ result)) >>> 31 === 1;
    return result;
  }

  // Memory.

  readUint32(address) {
    if (address & 3) throw new Fault('unaligned');
    return this.rp.readUint32(this.checked(address));
  }

  readUint16(address) {
    if (address & 1) throw new Fault('unaligned');
    return this.rp.readUint16(this.checked(address));
  }

  readUint8(address) {
    return this.rp.readUint8(this.checked(address));
  }

  writeUint32(address, value) {
    if (address & 3) throw new Fault('unaligned');
    if (this.writable(address)) this.rp.writeUint32(address, value);
  }

  writeUint16(address, value) {
    if (address & 1) throw new Fault('unaligned');
    if (this.writable(address)) this.rp.writeUint16(address >>> 0, value);
  }

  writeUint8(address, value) {
    if (this.writable(address)) this.rp.writeUint8(address >>> 0, value);
  }

  // The address, if something answers there.
  checked(address) {
    const there = address >>> 0;
    const region = there >>> 24;
    if (region === 0x20) {
      if (there - 0x20000000 < RAM_SIZE) return there;
    } else if (region >= 0x10 && region <= 0x14) return there;
    else if (there < 0x4000 || region === 0xd0 || region === 0xe0) return there;
    else if (there - 0x50100000 < 0x1000 && there >= 0x50100000) return there;
    else if (this.rp.findPeripheral(there)) return there;
    throw new Fault('nothing there');
  }

  // Whether a write has an effect; ROM and mapped flash take none.
  writable(address) {
    const there = this.checked(address);
    return there >= 0x15000000 || there >>> 24 === 0x14;
  }

  // Interrupts.

  setInterrupt(irq, high) {
    const bit = 1 << irq;
    if (!high) {
      this.lines &= ~bit;
      return;
    }
    if (this.lines & bit) return;
    this.lines |= bit;
    this.pendingInterrupts |= bit;
    this.interruptsUpdated = true;
    if (this.sevOnPend) this.event();
    this.reconsider();
  }

  // Pending bits are cleared by the firmware; a line that is up stays pending.
  clearPending(bits) {
    this.pendingInterrupts &= ~bits;
    this.pendingInterrupts |= this.lines & ~this.active;
    this.interruptsUpdated = true;
  }

  // Something may have become due while the core waits.
  reconsider() {
    if (this.waiting && this.checkForInterrupts()) this.waiting = false;
  }

  event() {
    this.eventRegistered = true;
  }

  exceptionEntry(number) {
    super.exceptionEntry(number);
    this.waiting = false;
    this.entering += ENTRY_CYCLES;
    if (number >= FIRST_IRQ) {
      const bit = 1 << (number - FIRST_IRQ);
      this.pendingInterrupts &= ~bit;
      this.active |= bit;
    }
  }

  exceptionReturn(code) {
    if (this.IPSR >= FIRST_IRQ) {
      const bit = 1 << (this.IPSR - FIRST_IRQ);
      this.active &= ~bit;
      this.pendingInterrupts |= this.lines & bit;
    }
    super.exceptionReturn(code);
  }

  // A fault at the instruction begun last.
  fault() {
    this.faults++;
    if (this.IPSR === HARD_FAULT || this.IPSR === NMI) return this.lockUp();
    this.PC = this.at;
    try {
      this.exceptionEntry(HARD_FAULT);
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      this.lockUp();
    }
  }

  lockUp() {
    this.halted = true;
    this.lockedUp = true;
  }
}
