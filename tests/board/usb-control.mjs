// Control transfers, the host's side (USB 2.0, section 8.5.3).
//
// Enters: requests, one after the other. Leaves: for each the bytes read, or
// nothing if the device stalled it; and a call when a request has had no answer
// for five seconds.

import { NAK, STALLED } from './usb-device.mjs';

const PACKET_NS = 10_000;
const PAUSE_NS = 200_000;
const PATIENCE_NS = 5e9;
const LONGEST = 64;

export function request(type, code, value, index, length) {
  const words = [value, index, length].flatMap((word) => [word & 0xff, word >> 8]);
  return Uint8Array.from([type, code, ...words]);
}

export class ControlPipe {
  constructor(clock, device, givenUp) {
    this.device = device;
    this.alarm = clock.createAlarm(() => this.step());
    this.patience = clock.createAlarm(() => givenUp());
    this.stop();
  }

  // Forgets the transfer in hand.
  stop() {
    this.alarm.cancel();
    this.patience.cancel();
    this.stage = 'none';
    this.told = null;
  }

  // Begins a transfer; `told` is called with its bytes, or null for a stall.
  begin(setup, data, told) {
    this.packet = setup;
    this.data = data;
    this.read = [];
    this.told = told;
    this.stage = 'setup';
    this.patience.schedule(PATIENCE_NS);
    this.alarm.schedule(PAUSE_NS);
  }

  // The device may have changed something: see at the next packet.
  look() {
    if (this.stage !== 'none' && this.stage !== 'setup') this.alarm.schedule(PACKET_NS);
  }

  step() {
    switch (this.stage) {
      case 'setup':
        this.device.setup(this.packet);
        this.stage = this.first();
        return;
      case 'data in':
        return this.dataIn();
      case 'data out':
        return this.dataOut();
      case 'status in':
        return this.statusIn();
      case 'status out':
        return this.statusOut();
    }
  }

  first() {
    const length = this.packet[6] | (this.packet[7] << 8);
    this.length = length;
    if (length === 0) return 'status in';
    return this.packet[0] & 0x80 ? 'data in' : 'data out';
  }

  end(result) {
    const { told } = this;
    this.stop();
    told(result);
  }

  dataIn() {
    const answer = this.device.in(0);
    if (answer === NAK) return;
    if (answer === STALLED) return this.end(null);
    this.read.push(...answer.data);
    const last = answer.data.length < LONGEST || this.read.length >= this.length;
    this.stage = last ? 'status out' : 'data in';
    this.look();
  }

  dataOut() {
    const answer = this.device.out(0, this.data.subarray(0, LONGEST), 1);
    if (answer === NAK) return;
    if (answer === STALLED) return this.end(null);
    this.stage = 'status in';
    this.look();
  }

  statusIn() {
    const answer = this.device.in(0);
    if (answer === NAK) return;
    this.end(answer === STALLED ? null : Uint8Array.of());
  }

  statusOut() {
    const answer = this.device.out(0, Uint8Array.of(), 1);
    if (answer === NAK) return;
    this.end(answer === STALLED ? null : Uint8Array.from(this.read));
  }
}
