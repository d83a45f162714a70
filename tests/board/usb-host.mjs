// A computer at the other end of the USB cable, with a program that has the
// serial port open.
//
// Enters: bytes for the unit, and the cable. Leaves: the unit's bytes, and what
// it says of itself while it is enumerated. Bytes for a port that is not there
// are lost. A device that does not answer a request within five seconds is reset
// and asked anew.

import { ControlPipe } from './usb-control.mjs';
import { enumerate } from './usb-enumerate.mjs';
import { NAK, STALLED } from './usb-device.mjs';

// USB 2.0: a connection is left alone for 100 ms, a reset lasts 10 ms and is
// followed by 10 ms of rest, an idle bus is suspended after 3 ms.
const SETTLE_NS = 100e6;
const RESET_NS = 20e6;
const IDLE_NS = 3e6;

// Time of a packet on a full-speed bus: its overhead, and a byte with its share
// of stuffed bits.
const PACKET_NS = 8_000;
const BYTE_NS = 700;
const LONGEST = 64;

// Most bytes waiting for the unit; the port takes no more.
const MOST_WAITING = 1 << 20;

export class UsbHost {
  constructor(sink) {
    this.sink = sink;
    this.plugged = true;
    this.identity = null;
    this.lost = 0;
    this.discarded = 0;
    this.enumerations = 0;
    this.waiting = [];
    this.waitingBytes = 0;
    this.device = null;
    this.state = 'nothing';
  }

  // A chip is on the board from now on.
  take(rp, device) {
    const { clock } = rp;
    this.device = device;
    this.state = 'nothing';
    this.busAlarm = clock.createAlarm(() => this.busStep());
    this.inAlarm = clock.createAlarm(() => this.fetch());
    this.outAlarm = clock.createAlarm(() => this.deliver());
    this.control = new ControlPipe(clock, device, () => this.restart());
    this.quiet();
  }

  // Nothing is under way any longer.
  quiet() {
    this.lost += this.waitingBytes;
    this.waiting.length = 0;
    this.waitingBytes = 0;
    if (!this.device) return;
    this.control.stop();
    for (const alarm of [this.busAlarm, this.inAlarm, this.outAlarm]) {
      alarm.cancel();
      alarm.pending = false;
    }
  }

  get ready() {
    return this.state === 'ready';
  }

  // The cable.

  setPlugged(plugged) {
    if (plugged === this.plugged) return;
    this.plugged = plugged;
    if (!this.device) return;
    if (!plugged) this.leave();
    if (plugged && this.device.pulledUp) this.attached();
  }

  leave() {
    this.quiet();
    this.state = 'idle';
    this.busAlarm.schedule(IDLE_NS);
  }

  attached() {
    if (!this.plugged) return;
    this.state = 'settling';
    this.busAlarm.schedule(SETTLE_NS);
  }

  detached() {
    this.quiet();
    this.state = 'nothing';
  }

  restart() {
    this.quiet();
    this.state = 'resetting';
    this.device.busReset();
    this.busAlarm.schedule(RESET_NS);
  }

  busStep() {
    if (this.state === 'idle') {
      this.device.suspend();
    } else if (this.state === 'settling') {
      this.restart();
    } else if (this.state === 'resetting') {
      this.state = 'enumerating';
      enumerate(this.control, (identity) => this.opened(identity));
    }
  }

  // The device is set up and the port is open.
  opened(identity) {
    this.identity = identity;
    this.enumerations++;
    this.toggles = { in: 0, out: 0 };
    this.state = 'ready';
    this.sink.ready();
    this.buffer(identity.in);
    this.buffer(identity.out);
  }

  // Bytes.

  send(bytes) {
    if (bytes.length === 0) return;
    if (!this.ready || this.waitingBytes + bytes.length > MOST_WAITING) {
      this.lost += bytes.length;
      return;
    }
    for (let at = 0; at < bytes.length; at += LONGEST) {
      this.waiting.push(Uint8Array.from(bytes.subarray(at, at + LONGEST)));
    }
    this.waitingBytes += bytes.length;
    this.scheduleOut();
  }

  // The firmware has a buffer ready.
  buffer(endpoint) {
    if (endpoint === 0) this.control.look();
    if (!this.ready) return;
    if (endpoint === this.identity.in && !this.inAlarm.pending) this.scheduleIn();
    if (endpoint === this.identity.out) this.scheduleOut();
  }

  scheduleIn() {
    const word = this.device.buffer(this.identity.in, false);
    if (typeof word !== 'number') return;
    this.inAlarm.pending = true;
    this.inAlarm.schedule(PACKET_NS + BYTE_NS * (word & 0x3ff));
  }

  fetch() {
    this.inAlarm.pending = false;
    if (!this.ready) return;
    const answer = this.device.in(this.identity.in);
    if (answer === NAK || answer === STALLED) return;
    if (answer.pid !== this.toggles.in) {
      this.discarded++;
      return;
    }
    this.toggles.in ^= 1;
    if (answer.data.length > 0) this.sink.bytes(answer.data);
  }

  scheduleOut() {
    if (this.outAlarm.pending || this.waiting.length === 0) return;
    if (!this.device.ready(this.identity.out, true)) return;
    this.outAlarm.pending = true;
    this.outAlarm.schedule(PACKET_NS + BYTE_NS * this.waiting[0].length);
  }

  deliver() {
    this.outAlarm.pending = false;
    if (!this.ready || this.waiting.length === 0) return;
    const answer = this.device.out(this.identity.out, this.waiting[0], this.toggles.out);
    if (answer === 'ack') {
      this.toggles.out ^= 1;
      this.waitingBytes -= this.waiting.shift().length;
    }
    this.scheduleOut();
  }
}
