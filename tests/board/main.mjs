// The emulated board as a program of its own: requests on standard input,
// answers on standard output, one for one. It ends with its input.

import { Board, EVENT } from './board.mjs';
import { Pieces, Wire } from './wire.mjs';

const DONE = 0;
const REFUSED = 1;

const wire = new Wire();
// Events told at once, at most.
const MOST_EVENT_BYTES = 65536;

const events = new Pieces();
const answer = new Pieces();

const board = new Board((kind, at, detail) => {
  events.u8(kind);
  events.f64(at);
  if (kind === EVENT.edge || kind === EVENT.shift || kind === EVENT.reset) events.u8(detail);
  if (kind === EVENT.fault) events.u32(detail);
  if (kind === EVENT.bytes) {
    events.u16(detail.length);
    events.bytes(detail);
  }
  if (events.length > MOST_EVENT_BYTES) board.stop = true;
});

const FLASH = 0x10000000;
const RAM = 0x20000000;

function memory(address, length) {
  const inside = (bytes, from) =>
    address >= from && address - from + length <= bytes.length
      ? bytes.subarray(address - from, address - from + length)
      : null;
  const found = inside(board.kept.flash, FLASH) ?? inside(board.kept.sram, RAM);
  if (!found) throw new Error(`no memory of ${length} bytes at 0x${address.toString(16)}`);
  return found;
}

function state() {
  const core = board.chip?.rp.core;
  answer.f64(board.now);
  answer.u32(board.usb.waitingBytes);
  answer.u8(
    (board.chip ? 1 : 0) |
      (board.chip?.bootloader ? 2 : 0) |
      (core?.lockedUp ? 4 : 0) |
      (board.usb.ready ? 8 : 0) |
      (board.usb.plugged ? 16 : 0),
  );
}

function happened() {
  state();
  answer.bytes(events.taken());
  events.clear();
}

// until, inputs, supply, steps that nothing notices, light there or not, [light, good until], bytes for USB
function run(body) {
  const until = body.readDoubleLE(0);
  board.setInputs(body.readUInt16LE(8));
  board.supply = body.readUInt16LE(10);
  board.freeSteps = body.readUInt32LE(12);
  let at = 17;
  if (body[16]) {
    const levels = [];
    for (let n = 0; n < 16; n++) levels.push(body.readUInt16LE(at + 2 * n));
    board.setLight(levels, body.readDoubleLE(at + 32));
    at += 40;
  }
  board.usb.send(body.subarray(at));
  board.run(until);
  happened();
}

function identity() {
  const is = board.usb.identity;
  answer.u32(board.usb.enumerations);
  const parts = is ? [is.device, is.configuration, is.manufacturer, is.product, is.serial] : [];
  for (const part of parts) {
    const bytes = Buffer.from(part);
    answer.u16(bytes.length);
    answer.bytes(bytes);
  }
}

function counts() {
  const core = board.chip?.rp.core;
  for (const count of [
    board.instructions + (core?.instructions ?? 0),
    board.usb.lost,
    board.usb.discarded,
    board.usb.device?.sequenceErrors ?? 0,
  ]) {
    answer.f64(count);
  }
}

const REQUESTS = {
  1: run,
  2: (body) => board.unique.set(body.subarray(0, 8)),
  3: (body) => {
    board.setPower(body[0] !== 0);
    happened();
  },
  4: (body) => {
    board.usb.setPlugged(body[0] !== 0);
    happened();
  },
  5: (body) => answer.bytes(memory(body.readUInt32LE(0), body.readUInt32LE(4))),
  6: (body) => memory(body.readUInt32LE(0), body.length - 4).set(body.subarray(4)),
  7: identity,
  8: counts,
};

for (;;) {
  const { kind, body } = wire.request();
  answer.clear();
  try {
    const carryOut = REQUESTS[kind];
    if (!carryOut) throw new Error(`no request has the number ${kind}`);
    carryOut(body);
    wire.answer(DONE, answer.taken());
  } catch (error) {
    wire.answer(REFUSED, Buffer.from(String(error.stack ?? error)));
  }
}
