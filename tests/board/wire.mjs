// Frames on standard input and output.
//
// Enters: bytes of the pipe. Leaves: one request after the other, and one answer
// to each: a length of 4 bytes (of all that follows), a kind, a body; numbers
// are little-endian. An end of the pipe ends the program, a frame longer than
// the flash of the chip is refused.

import fs from 'node:fs';

const LONGEST = 32 * 1024 * 1024;

export class Wire {
  constructor() {
    this.pending = Buffer.alloc(1 << 16);
    this.from = 0;
    this.to = 0;
  }

  // Waits until so many bytes are there.
  fill(count) {
    if (this.from + count > this.pending.length) {
      const bigger = Buffer.alloc(Math.max(this.pending.length, count));
      this.pending.copy(bigger, 0, this.from, this.to);
      this.pending = bigger;
      this.to -= this.from;
      this.from = 0;
    }
    while (this.to - this.from < count) {
      const got = fs.readSync(0, this.pending, this.to, this.pending.length - this.to, null);
      if (got === 0) process.exit(0);
      this.to += got;
    }
  }

  // The next request: its kind, and its body until the next call.
  request() {
    if (this.from === this.to) this.from = this.to = 0;
    this.fill(4);
    const length = this.pending.readUInt32LE(this.from);
    if (length < 1 || length > LONGEST) throw new Error(`a request of ${length} bytes`);
    this.from += 4;
    this.fill(length);
    const kind = this.pending[this.from];
    const body = this.pending.subarray(this.from + 1, this.from + length);
    this.from += length;
    return { kind, body };
  }

  answer(kind, body) {
    const frame = Buffer.alloc(5 + body.length);
    frame.writeUInt32LE(1 + body.length, 0);
    frame[4] = kind;
    frame.set(body, 5);
    for (let at = 0; at < frame.length; ) at += fs.writeSync(1, frame, at);
  }
}

// A buffer that grows, for answers built piece by piece.
export class Pieces {
  constructor() {
    this.buffer = Buffer.alloc(4096);
    this.length = 0;
  }

  clear() {
    this.length = 0;
  }

  // Makes room; only after it is `buffer` the one to write to.
  room(count) {
    if (this.length + count > this.buffer.length) {
      const bigger = Buffer.alloc(2 * (this.length + count));
      this.buffer.copy(bigger, 0, 0, this.length);
      this.buffer = bigger;
    }
    const at = this.length;
    this.length += count;
    return at;
  }

  u8(value) {
    const at = this.room(1);
    this.buffer[at] = value;
  }

  u16(value) {
    const at = this.room(2);
    this.buffer.writeUInt16LE(value, at);
  }

  u32(value) {
    const at = this.room(4);
    this.buffer.writeUInt32LE(value >>> 0, at);
  }

  f64(value) {
    const at = this.room(8);
    this.buffer.writeDoubleLE(value, at);
  }

  bytes(bytes) {
    const at = this.room(bytes.length);
    this.buffer.set(bytes, at);
  }

  taken() {
    return this.buffer.subarray(0, this.length);
  }
}
