// The PIO blocks in chip time.
//
// Enters: accesses to their registers, and time. Leaves: pin changes, interrupts
// and queue contents at the exact moments of the machines' own clocks (the
// system clock over the divider). A machine that waits costs nothing, and a
// machine that counts `x` or `y` down in place is brought forward in one go.

const CTRL = 0x000;
const INSTR_MEM0 = 0x048;
const SM0 = 0x0c8;
const SM_SIZE = 0x18;
const SM_SHIFTCTRL = 0x08;
const SM_INSTR = 0x10;
const JOIN_BITS = 0xc0000000;

const NEVER = Infinity;

export class PioClock {
  constructor(rp, cycleNs) {
    this.rp = rp;
    this.cycleNs = cycleNs;
    this.nextAt = NEVER;
    for (const pio of rp.pio) this.take(pio);
  }

  // Puts this clock in the place of the block's own.
  take(pio) {
    pio.run = () => {};
    for (const machine of pio.machines) {
      // ticks of the machine's own clock since `base`
      machine.base = 0;
      machine.tick = NEVER;
      machine.at = NEVER;
      const wake = machine.checkWait.bind(machine);
      machine.checkWait = () => {
        const waited = machine.waiting;
        wake();
        if (waited && !machine.waiting && machine.at === NEVER) {
          this.resume(machine, 1 + Math.max(machine.waitDelay, 0));
        }
      };
    }
    const read = pio.readUint32.bind(pio);
    pio.readUint32 = (offset) => {
      this.sync(this.rp.clock.nanosCounter);
      const value = read(offset);
      this.plan();
      return value;
    };
    const write = pio.writeUint32.bind(pio);
    pio.writeUint32 = (offset, value) => {
      this.sync(this.rp.clock.nanosCounter);
      this.before(pio, offset, value);
      write(offset, value);
      this.after(pio, offset);
      pio.checkChangedPins();
      this.plan();
    };
  }

  before(pio, offset, value) {
    if (offset === CTRL) {
      const now = this.rp.clock.nanosCounter;
      pio.machines.forEach((machine, n) => {
        const starts = (value >> n) & 1 && !machine.enabled;
        if (starts || (value >> (8 + n)) & 1) machine.base = now;
      });
    }
    if (offset < SM0 || offset >= SM0 + 4 * SM_SIZE) return;
    const machine = pio.machines[Math.floor((offset - SM0) / SM_SIZE)];
    const register = (offset - SM0) % SM_SIZE;
    if (register === SM_SHIFTCTRL && (machine.shiftCtrl ^ value) & JOIN_BITS) {
      machine.txFIFO.reset();
      machine.rxFIFO.reset();
    }
    // an instruction from outside goes before the one that waits, which is
    // tried again afterwards
    if (register === SM_INSTR) machine.waiting = false;
  }

  after(pio) {
    for (const machine of pio.machines) {
      if (!machine.enabled || machine.waiting) {
        machine.at = NEVER;
      } else if (machine.at === NEVER) {
        this.resume(machine, 1);
      }
    }
  }

  period(machine) {
    return this.cycleNs() * ((machine.clockDivInt || 65536) + machine.clockDivFrac / 256);
  }

  // The machine goes on at its next tick and so many after it.
  resume(machine, ticks) {
    if (!machine.enabled) return;
    const period = this.period(machine);
    const now = this.rp.clock.nanosCounter;
    machine.tick = Math.ceil((now - machine.base) / period) + ticks - 1;
    if (machine.base + machine.tick * period <= now) machine.tick++;
    machine.at = machine.base + machine.tick * period;
  }

  // How often the machine still counts down in place.
  counts(pio, machine) {
    const opcode = pio.instructions[machine.pc];
    if ((opcode & 0x1f) !== machine.pc) return 0;
    if ((opcode & 0xffe0) === 0x0040) return machine.x >>> 0;
    if ((opcode & 0xffe0) === 0x0080) return machine.y >>> 0;
    return 0;
  }

  // When a block must be looked at next.
  plan() {
    let next = NEVER;
    for (const pio of this.rp.pio) {
      for (const machine of pio.machines) {
        if (machine.at === NEVER) continue;
        const at = machine.at + this.counts(pio, machine) * this.period(machine);
        if (at < next) next = at;
      }
    }
    this.nextAt = next;
  }

  // Everything up to and with this moment.
  sync(until) {
    for (;;) {
      let first = null;
      let block = null;
      for (const pio of this.rp.pio) {
        for (const machine of pio.machines) {
          if (machine.at <= until && (first === null || machine.at < first.at)) {
            first = machine;
            block = pio;
          }
        }
      }
      if (first === null) return;
      this.go(block, first, until);
    }
  }

  // Lets time pass to `until`, the next moment of some machine.
  advance(until) {
    this.sync(until);
    this.plan();
  }

  go(pio, machine, until) {
    const period = this.period(machine);
    const counts = this.counts(pio, machine);
    if (counts > 0) {
      const most = Math.floor((until - machine.at) / period + 1e-9) + 1;
      const count = Math.min(counts, most);
      if ((pio.instructions[machine.pc] & 0xe0) === 0x40) machine.x = (machine.x - count) >>> 0;
      else machine.y = (machine.y - count) >>> 0;
      machine.tick += count;
    } else {
      const before = machine.cycles;
      machine.step();
      pio.checkChangedPins();
      if (machine.waiting) {
        machine.at = NEVER;
        return;
      }
      machine.tick += Math.max(machine.cycles - before, 1);
    }
    machine.at = machine.base + machine.tick * period;
  }
}
