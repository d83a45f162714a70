// The chip's USB controller as a device on the bus.
//
// Enters: the firmware's accesses to the controller and its buffers, and the
// host's packets. Leaves: what a device answers: data, an acknowledgement, "not
// now" or a stall. The state of every buffer is where the firmware sees it, in
// the buffer control words (RP2040 datasheet, section 4.1.2.5): a buffer that
// is not available is simply not there for the host.

const BUFFERS = 0x80;
const AVAILABLE = 1 << 10;
const STALL = 1 << 11;
const DATA1 = 1 << 13;
const FULL = 1 << 15;
const LENGTH = 0x3ff;

const ENABLED = 0x80000000;
const DOUBLE = 1 << 30;

const SIE_CTRL = 0x4c;
const SIE_STATUS = 0x50;
const PULL_UP = 1 << 16;

const SUSPENDED = 1 << 4;
const SETUP = 1 << 17;
const BUS_RESET = 1 << 19;
const SEQUENCE_ERROR = 0x80000000;

export const NAK = 'nak';
export const STALLED = 'stall';

export class UsbDevice {
  // `host` is told of `attached()`, `detached()` and `buffer(endpoint)`.
  constructor(rp, host) {
    this.rp = rp;
    this.usb = rp.usbCtrl;
    this.host = host;
    this.pulledUp = false;
    this.sequenceErrors = 0;
    const { usb } = this;
    usb.DPRAMUpdated = (offset, value) => {
      if (offset >= BUFFERS && offset < BUFFERS + 0x80 && value & (AVAILABLE | STALL)) {
        host.buffer((offset - BUFFERS) >> 3);
      }
    };
    const write = usb.writeUint32.bind(usb);
    usb.writeUint32 = (offset, value) => {
      if (offset === SIE_STATUS && usb.rawWriteValue & SUSPENDED) usb.sieStatus &= ~SUSPENDED;
      write(offset, value);
      if (offset === SIE_CTRL) this.pullUp((value & PULL_UP) !== 0);
    };
  }

  pullUp(on) {
    if (on === this.pulledUp) return;
    this.pulledUp = on;
    if (on) this.host.attached();
    else this.host.detached();
  }

  // What happens on the bus.

  busReset() {
    this.usb.sieStatus = (this.usb.sieStatus & ~SUSPENDED) | BUS_RESET;
    this.usb.sieStatusUpdated();
  }

  suspend() {
    this.usb.sieStatus |= SUSPENDED;
    this.usb.sieStatusUpdated();
  }

  setup(packet) {
    this.usb.epStallArm = 0;
    this.rp.usbDPRAM.set(packet, 0);
    this.usb.sieStatus |= SETUP;
    this.usb.sieStatusUpdated();
  }

  control(endpoint, out) {
    return BUFFERS + 8 * endpoint + (out ? 4 : 0);
  }

  // The buffer control word if there is a buffer, else why not.
  buffer(endpoint, out) {
    const word = this.rp.usbDPRAMView.getUint32(this.control(endpoint, out), true);
    if (endpoint > 0) {
      const settings = this.usb.readEndpointControlReg(endpoint, out);
      if (!(settings & ENABLED)) return NAK;
      if (settings & DOUBLE) throw new Error('double-buffered endpoints are not modelled');
    }
    const armed = endpoint > 0 || this.usb.epStallArm & (out ? 2 : 1);
    if (word & STALL && armed) return STALLED;
    return word & AVAILABLE && (out || word & FULL) ? word : NAK;
  }

  // Whether a packet would be taken or given now.
  ready(endpoint, out) {
    return typeof this.buffer(endpoint, out) === 'number';
  }

  done(endpoint, out, word) {
    this.rp.usbDPRAMView.setUint32(this.control(endpoint, out), word >>> 0, true);
    this.usb.indicateBufferReady(endpoint, out);
  }

  // The host asks for a packet.
  in(endpoint) {
    const word = this.buffer(endpoint, false);
    if (typeof word !== 'number') return word;
    const from = this.usb.getEndpointBufferOffset(endpoint, false);
    const data = this.rp.usbDPRAM.slice(from, from + (word & LENGTH));
    this.done(endpoint, false, word & ~(AVAILABLE | FULL));
    return { data, pid: word & DATA1 ? 1 : 0 };
  }

  // The host sends a packet. One with the wrong data toggle is acknowledged and
  // forgotten, as the one before it seen again.
  out(endpoint, data, pid) {
    const word = this.buffer(endpoint, true);
    if (typeof word !== 'number') return word;
    if ((word & DATA1 ? 1 : 0) !== pid) {
      this.sequenceErrors++;
      this.usb.sieStatus |= SEQUENCE_ERROR;
      this.usb.sieStatusUpdated();
      return 'ack';
    }
    const to = this.usb.getEndpointBufferOffset(endpoint, true);
    const length = Math.min(data.length, word & LENGTH);
    this.rp.usbDPRAM.set(data.subarray(0, length), to);
    this.done(endpoint, true, (word & ~(AVAILABLE | LENGTH)) | FULL | length);
    return 'ack';
  }
}
