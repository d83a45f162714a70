// Finding out what has been plugged in, as a common operating system does it.
//
// Enters: a control pipe to a device that has been reset. Leaves: its
// descriptors, strings and endpoints once the port is open. A device without a
// CDC data interface is asked no further and never becomes ready.

import { request } from './usb-control.mjs';

const READ = 0x80;
const TO_DEVICE = 0x00;
const TO_CLASS_INTERFACE = 0x21;
const GET_DESCRIPTOR = 6;
const SET_ADDRESS = 5;
const SET_CONFIGURATION = 9;
const SET_LINE_CODING = 0x20;
const SET_CONTROL_LINE_STATE = 0x22;
const DEVICE = 1;
const CONFIGURATION = 2;
const STRING = 3;
const ENGLISH = 0x0409;

// 115200 baud, one stop bit, no parity, eight bits.
const LINE = Uint8Array.of(0x00, 0xc2, 0x01, 0x00, 0, 0, 8);

const read = (kind, index, language, length) =>
  request(READ, GET_DESCRIPTOR, (kind << 8) | index, language, length);

// The steps, each a request made from what is known so far, and what its answer
// adds. A step without a request is left out.
const STEPS = [
  [() => read(DEVICE, 0, 0, 64), (is, bytes) => (is.device = bytes)],
  [() => request(TO_DEVICE, SET_ADDRESS, 1, 0, 0)],
  [() => read(DEVICE, 0, 0, 18), (is, bytes) => (is.device = bytes)],
  [() => read(CONFIGURATION, 0, 0, 9), (is, bytes) => (is.configuration = bytes)],
  [
    (is) => read(CONFIGURATION, 0, 0, is.configuration[2] | (is.configuration[3] << 8)),
    (is, bytes) => Object.assign(is, { configuration: bytes }, ports(bytes)),
  ],
  [() => read(STRING, 0, 0, 255)],
  [(is) => string(is.device[14]), (is, bytes) => (is.manufacturer = text(bytes))],
  [(is) => string(is.device[15]), (is, bytes) => (is.product = text(bytes))],
  [(is) => string(is.device[16]), (is, bytes) => (is.serial = text(bytes))],
  [(is) => request(TO_DEVICE, SET_CONFIGURATION, is.configuration[5], 0, 0)],
  [(is) => request(TO_CLASS_INTERFACE, SET_LINE_CODING, 0, is.control, 7), undefined, LINE],
  [(is) => request(TO_CLASS_INTERFACE, SET_CONTROL_LINE_STATE, 3, is.control, 0)],
];

function string(index) {
  return index ? read(STRING, index, ENGLISH, 255) : null;
}

function text(bytes) {
  return Buffer.from(bytes.subarray(2)).toString('utf16le');
}

// The numbers of the communication interface and of the data endpoints.
function ports(bytes) {
  const found = { control: 0, in: -1, out: -1 };
  let data = false;
  for (let at = 0; at + 1 < bytes.length && bytes[at] >= 2; at += bytes[at]) {
    if (bytes[at + 1] === 4) {
      if (bytes[at + 5] === 2) found.control = bytes[at + 2];
      data = bytes[at + 5] === 10;
    }
    if (data && bytes[at + 1] === 5 && (bytes[at + 3] & 3) === 2) {
      const address = bytes[at + 2];
      if (address & 0x80) found.in = address & 0xf;
      else found.out = address & 0xf;
    }
  }
  return found;
}

export function enumerate(pipe, opened) {
  const is = { manufacturer: '', product: '', serial: '', stalls: 0 };
  const step = (n) => {
    if (n === STEPS.length) {
      if (is.in > 0 && is.out > 0) opened(is);
      return;
    }
    const [ask, learn, data] = STEPS[n];
    const setup = ask(is);
    if (!setup) return step(n + 1);
    pipe.begin(setup, data, (bytes) => {
      if (bytes === null) is.stalls++;
      else if (learn) learn(is, bytes);
      step(n + 1);
    });
  };
  step(0);
}
