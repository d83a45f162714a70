// The boot ROM: the tables and functions that firmware may call.
//
// Enters: calls of the functions (RP2040 datasheet, section 2.8.3). Leaves: what
// they do to memory, flash and time. Each function is a breakpoint instruction
// and a return; the breakpoint is carried out here. A function that is not here
// is not in the table either, so firmware that looks for it finds nothing.

const FUNCTIONS_AT = 0x200;
const LOOKUP_AT = 0x100;
const FUNCTION_TABLE_AT = 0x140;
const DATA_TABLE_AT = 0x1f0;

const BREAKPOINT = 0xbe00;
const RETURN = 0x4770;

// r0: table, r1: code. Entries are two half-words, the last code is 0.
const LOOKUP = [
  0x8802, // ldrh r2, [r0]
  0x2a00, // cmp  r2, #0
  0xd005, // beq  to the end
  0x428a, // cmp  r2, r1
  0xd001, // beq  found
  0x3004, // adds r0, #4
  0xe7f8, // b    to the start
  0x8840, // found: ldrh r0, [r0, #2]
  RETURN,
  0x2000, // end: movs r0, #0
  RETURN,
];

// Typical times of a serial NOR flash, from memory: a sector of 4 KiB is erased
// in 45 ms, a page of 256 bytes programmed in 0.7 ms.
const SECTOR = 4096;
const SECTOR_ERASE_NS = 45e6;
const PAGE = 256;
const PAGE_PROGRAM_NS = 0.7e6;

function bytesAt(chip, address, count) {
  const bytes = new Uint8Array(count);
  for (let n = 0; n < count; n++) bytes[n] = chip.rp.readUint8((address + n) >>> 0);
  return bytes;
}

// Each: the chip, its registers. They return what goes into r0, if anything.
const FUNCTIONS = {
  IF: (chip) => chip.serialFlash.connect(),
  EX: (chip) => chip.serialFlash.plainSpi(),
  FC: (chip) => chip.serialFlash.select(0),
  CX: (chip) => chip.serialFlash.mappedSpi(),
  RE: (chip, [offset, count]) => {
    const sectors = Math.ceil(count / SECTOR);
    const from = offset - (offset % SECTOR);
    chip.rp.flash.fill(0xff, from, from + sectors * SECTOR);
    chip.stall(sectors * SECTOR_ERASE_NS);
  },
  RP: (chip, [offset, source, count]) => {
    const bytes = bytesAt(chip, source, count);
    // programming only clears bits
    for (let n = 0; n < count; n++) chip.rp.flash[offset + n] &= bytes[n];
    chip.stall(Math.ceil(count / PAGE) * PAGE_PROGRAM_NS);
  },
  UB: (chip) => chip.toBootloader(),
  MC: (chip, [to, from, count]) => copy(chip, to, from, count),
  C4: (chip, [to, from, count]) => copy(chip, to, from, count),
  MS: (chip, [to, value, count]) => fill(chip, to, value, count),
  S4: (chip, [to, value, count]) => fill(chip, to, value, count),
  P3: (chip, [value]) => {
    let ones = 0;
    for (let rest = value; rest !== 0; rest &= rest - 1) ones++;
    return ones;
  },
  L3: (chip, [value]) => Math.clz32(value),
  T3: (chip, [value]) => (value === 0 ? 32 : 31 - Math.clz32(value & -value)),
  R3: (chip, [value]) => {
    let turned = 0;
    for (let bit = 0; bit < 32; bit++) turned |= ((value >>> bit) & 1) << (31 - bit);
    return turned >>> 0;
  },
};

function copy(chip, to, from, count) {
  bytesAt(chip, from, count).forEach((byte, n) => chip.rp.writeUint8((to + n) >>> 0, byte));
  chip.stall(16 * count);
  return to;
}

function fill(chip, to, value, count) {
  for (let n = 0; n < count; n++) chip.rp.writeUint8((to + n) >>> 0, value & 0xff);
  chip.stall(8 * count);
  return to;
}

const NAMES = Object.keys(FUNCTIONS);

// The contents of the ROM.
export function romImage() {
  const words = new Uint32Array(4096);
  const view = new DataView(words.buffer);
  view.setUint32(0, 0x20042000, true); // stack pointer
  view.setUint32(4, 0x101, true);
  view.setUint32(0x10, 0x03017f4d, true); // "M", "u", 1, version
  view.setUint8(0x11, 'u'.charCodeAt(0));
  view.setUint16(0x14, FUNCTION_TABLE_AT, true);
  view.setUint16(0x16, DATA_TABLE_AT, true);
  view.setUint16(0x18, LOOKUP_AT | 1, true);
  LOOKUP.forEach((opcode, n) => view.setUint16(LOOKUP_AT + 2 * n, opcode, true));
  NAMES.forEach((name, n) => {
    const code = name.charCodeAt(0) | (name.charCodeAt(1) << 8);
    const at = FUNCTIONS_AT + 4 * n;
    view.setUint16(FUNCTION_TABLE_AT + 4 * n, code, true);
    view.setUint16(FUNCTION_TABLE_AT + 4 * n + 2, at | 1, true);
    view.setUint16(at, BREAKPOINT | n, true);
    view.setUint16(at + 2, RETURN, true);
  });
  return words;
}

// Carries out breakpoint `number` of the ROM; false if there is none.
export function romCall(chip, number) {
  const name = NAMES[number];
  if (!name) return false;
  const registers = chip.rp.core.registers;
  const result = FUNCTIONS[name](chip, [registers[0], registers[1], registers[2]]);
  if (typeof result === 'number') registers[0] = result;
  return true;
}

// CRC-32 of the second stage, as the ROM computes it (datasheet, 2.8.1.3.1): over
// 252 bytes, polynomial 0x04c11db7, begun with all ones, nothing turned round.
export function secondStageSum(bytes) {
  let sum = 0xffffffff;
  for (const byte of bytes.subarray(0, 252)) {
    sum ^= byte << 24;
    for (let bit = 0; bit < 8; bit++) sum = (sum << 1) ^ (sum & 0x80000000 ? 0x04c11db7 : 0);
  }
  return sum >>> 0;
}
