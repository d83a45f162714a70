// What the emulated board is trusted with, checked without any firmware: the
// test writes the registers that a firmware would write.

import assert from 'node:assert/strict';
import test from 'node:test';

import { Board, EVENT } from './board.mjs';
import { secondStageSum } from './rom.mjs';

// A board with an empty flash: the ROM finds no second stage and waits.
function emptyBoard() {
  const events = [];
  const board = new Board((kind, at, detail) => events.push({ kind, at, detail }));
  board.setPower(true);
  return { board, events, rp: board.chip.rp, core: board.chip.rp.core };
}

function execute(core, opcodes, registers) {
  opcodes.forEach((opcode, n) => core.rp.writeUint16(0x20001000 + 2 * n, opcode));
  registers.forEach((value, n) => (core.registers[n] = value));
  core.registers[15] = 0x20001000;
  opcodes.forEach(() => core.executeInstruction());
}

test('an empty flash leaves the chip in its ROM', () => {
  const { board } = emptyBoard();
  board.run(1e9);
  assert.equal(board.chip.bootloader, true);
  assert.equal(board.now, 1e9);
});

test('the second stage is summed as CRC-32/MPEG-2', () => {
  // check value of that sum, as catalogues of CRCs give it
  assert.equal(secondStageSum(Buffer.from('123456789')), 0x0376e6e7);
});

test('a borrow does not overflow', () => {
  const { core } = emptyBoard();
  core.C = false;
  execute(core, [0x4188], [0x16, 0x7fffffff]); // sbcs r0, r1
  assert.equal(core.registers[0], 0x80000016);
  assert.deepEqual([core.N, core.C, core.V], [true, false, false]);
});

test('the ROM finds its functions and no others', () => {
  const { core, rp } = emptyBoard();
  const find = (code) => {
    core.registers[0] = rp.readUint16(0x14);
    core.registers[1] = code.charCodeAt(0) | (code.charCodeAt(1) << 8);
    core.LR = 0x20000001;
    core.PC = rp.readUint16(0x18);
    for (let n = 0; n < 200 && core.PC !== 0x20000000; n++) core.executeInstruction();
    return core.registers[0];
  };
  assert.equal(rp.readUint32(0x10) & 0xffffff, 0x01754d);
  assert.notEqual(find('RE'), 0);
  assert.notEqual(find('UB'), find('RP'));
  assert.equal(find('ZZ'), 0);
});

test('the flash gives its number to the command for it', () => {
  const { board, rp } = emptyBoard();
  board.unique.set([1, 2, 3, 4, 5, 6, 7, 8]);
  board.chip.serialFlash.plainSpi();
  rp.writeUint32(0x4001800c, 2 << 8); // select held low
  const got = [];
  for (const out of [0x4b, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]) {
    assert.equal(rp.readUint32(0x18000028) & 8, 0, 'nothing waits yet');
    rp.writeUint32(0x18000060, out);
    board.run(board.now + 10_000);
    got.push(rp.readUint32(0x18000060));
  }
  assert.deepEqual(got.slice(5), [1, 2, 3, 4, 5, 6, 7, 8]);
});

test('each input reaches its pin, and only that', () => {
  // as in the table of the firmware's README
  const pins = [13, 14, 15, 16, 17, 0, 1, 22, 28, 18, 19, 20, 21];
  const { board, rp } = emptyBoard();
  for (const pin of rp.gpio) pin.padValue = 0x56;
  pins.forEach((pin, bit) => {
    board.setInputs(1 << bit);
    const high = pins.filter((other) => rp.gpio[other].inputValue);
    assert.deepEqual(high, [pin]);
  });
});

const PIO = 0x50200000;

// Pulses on pin 6: pull, mov x osr, count down, pin up for 2, down, push.
function pulseGenerator(rp, divider) {
  rp.writeUint32(0x40014000 + 8 * 6 + 4, 6);
  [0x80a0, 0xa027, 0x0042, 0xe101, 0xe000, 0x8000].forEach((opcode, n) => {
    rp.writeUint32(PIO + 0x48 + 4 * n, opcode);
  });
  rp.writeUint32(PIO + 0xc8, divider << 16);
  rp.writeUint32(PIO + 0xcc, 5 << 12);
  rp.writeUint32(PIO + 0xdc, (1 << 26) | (6 << 5));
  rp.writeUint32(PIO + 0xd8, 0xe081); // pin is an output
  rp.writeUint32(PIO, 1);
}

test('pulses come at the intervals given, whatever their number', () => {
  const { board, events, rp } = emptyBoard();
  pulseGenerator(rp, 125);
  for (const us of [1000, 700, 50]) rp.writeUint32(PIO + 0x10, us - 7);
  board.run(10_000);
  rp.readUint32(PIO + 0x04); // a look at the state changes nothing
  while (board.now < 3e6) board.run(3e6);
  const rises = events.filter((e) => e.kind === EVENT.edge && e.detail === 0x80).map((e) => e.at);
  assert.equal(rises.length, 3);
  assert.equal(rises[1] - rises[0], 700_000);
  assert.equal(rises[2] - rises[1], 50_000);
  assert.equal((rp.readUint32(PIO + 0x0c) >> 4) & 0xf, 3, 'a word back for each');
});

test('a machine that is stopped and sent back makes no pulse', () => {
  const { board, events, rp } = emptyBoard();
  pulseGenerator(rp, 125);
  rp.writeUint32(PIO + 0x10, 500);
  board.run(100_000);
  rp.writeUint32(PIO, 0);
  rp.writeUint32(PIO, 1 << 4);
  rp.writeUint32(PIO + 0xd8, 0x0000); // to its first instruction
  rp.writeUint32(PIO, 1);
  board.run(2e6);
  assert.equal(events.filter((e) => e.kind === EVENT.edge).length, 0);
  rp.writeUint32(PIO + 0x10, 93);
  const from = board.now;
  while (board.now < 4e6) board.run(4e6);
  const rise = events.find((e) => e.kind === EVENT.edge && e.detail === 0x80);
  assert.ok(rise.at - from > 90_000 && rise.at - from < 101_000, String(rise.at - from));
});

test('a conversion too soon after a new address sees both channels', () => {
  const { board, rp } = emptyBoard();
  const GPIO = [18, 19, 20, 21];
  GPIO.forEach((pin) => rp.writeUint32(0x40014000 + 8 * pin + 4, 5));
  rp.writeUint32(0xd0000024, 0b1111 << 18);
  const convert = (wait) => {
    rp.writeUint32(0xd0000014, 1 << 18); // address 1
    board.run(board.now + wait);
    rp.writeUint32(0x4004c000, 1 | 4);
    board.setLight(Array.from({ length: 16 }, (_, n) => 100 * n), board.now + 1e6);
    board.run(board.now + 3_000);
    const value = rp.readUint32(0x4004c004);
    rp.writeUint32(0xd0000018, 1 << 18); // address 0
    board.run(board.now + 10_000);
    return value;
  };
  assert.equal(convert(2_000), 100);
  assert.equal(convert(100), 50);
});

test('an unfed watchdog resets the chip and says so', () => {
  const { board, events, rp } = emptyBoard();
  rp.writeUint32(0x40058000 + 0x0c, 7);
  rp.writeUint32(0x40058000 + 0x04, 2 * 200_000);
  rp.writeUint32(0x40058000, 1 << 30);
  board.run(1e9);
  const reset = events.find((e) => e.kind === EVENT.reset);
  assert.ok(Math.abs(reset.at - 200e6) < 1e3);
  assert.equal(board.chip.rp.readUint32(0x40058000 + 0x08), 1);
  assert.equal(board.chip.rp.readUint32(0x40058000 + 0x0c), 7);
  board.setPower(false);
  board.setPower(true);
  assert.equal(board.chip.rp.readUint32(0x40058000 + 0x0c), 0, 'lost with the power');
});

test('an interrupt that has fallen before its handler is taken once', () => {
  const { core } = emptyBoard();
  core.VTOR = 0x20000000;
  core.rp.writeUint32(0x20000000 + 4 * (16 + 3), 0x20002001);
  core.enabledInterrupts = 1 << 3;
  core.setInterrupt(3, true);
  core.setInterrupt(3, false);
  core.registers[13] = 0x20008000;
  execute(core, [0xbf00], []);
  assert.equal(core.IPSR, 19);
  core.BXWritePC(core.registers[14]);
  execute(core, [0xbf00], []);
  assert.equal(core.IPSR, 0);
});
