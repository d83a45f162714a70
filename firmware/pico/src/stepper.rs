//! The feed's pulse generator: a PIO state machine with intervals in hand.
//!
//! Enters: intervals in microseconds. Leaves: pulses on the step pin, and one
//! word back for each. It counts in its own clock, so neither interrupts nor
//! USB nor flash can shift a pulse; it waits when it has no interval.

use cardwright_rig::hardware::Stepper;
use embassy_rp::interrupt;
use embassy_rp::interrupt::{InterruptExt, Priority};
use embassy_rp::peripherals::{PIN_6, PIO0};
use embassy_rp::pio::program::pio_asm;
use embassy_rp::pio::{Config, Direction, InterruptHandler, Pio, StateMachine};
use embassy_rp::{Peri, bind_interrupts, pac};

bind_interrupts!(struct Irqs {
    PIO0_IRQ_0 => InterruptHandler<PIO0>;
});

/// The state machine's clock is 125 MHz over this: 1 MHz.
const DIVIDER: u8 = 125;

/// Microseconds of one turn of the program with a count of 0.
const OVERHEAD_US: u32 = 7;

/// The step pin among the chip's: GP6.
const STEP_PIN: u32 = 1 << 6;

/// Processor cycles of a pulse of 2 us.
const PULSE_CYCLES: u32 = 250;

/// The generator.
pub struct Pulses {
    machine: StateMachine<'static, PIO0, 0>,
    start: u16,
}

impl Pulses {
    /// The generator on its pin, waiting. Its pulses raise `PIO0_IRQ_1`.
    pub fn new(pio: Peri<'static, PIO0>, step: Peri<'static, PIN_6>) -> Pulses {
        let Pio {
            mut common,
            sm0: mut machine,
            ..
        } = Pio::new(pio, Irqs);
        // the pulse is 2 us wide: common stepper drivers want 1 to 2
        let program = pio_asm!(
            ".wrap_target",
            "pull block",
            "mov x, osr",
            "count:",
            "jmp x-- count",
            "set pins, 1 [1]",
            "set pins, 0",
            "push noblock",
            ".wrap",
        );
        let loaded = common.load_program(&program.program);
        let pin = common.make_pio_pin(step);
        let mut config = Config::default();
        config.use_program(&loaded, &[]);
        config.set_set_pins(&[&pin]);
        config.clock_divider = DIVIDER.into();
        machine.set_pin_dirs(Direction::Out, &[&pin]);
        machine.set_config(&config);
        machine.set_enable(true);
        pac::PIO0.irqs(1).inte().write(|w| w.set_sm0_rxnempty(true));
        interrupt::PIO0_IRQ_1.set_priority(Priority::P0);
        // Safety: the handler takes the machine only under a critical section.
        unsafe { interrupt::PIO0_IRQ_1.enable() };
        Pulses {
            machine,
            start: loaded.origin.into(),
        }
    }
}

impl Stepper for Pulses {
    fn give(&mut self, us: u32) {
        // there is always room: the queue holds four, and no more are ever under way
        self.machine.tx().try_push(us.saturating_sub(OVERHEAD_US));
    }

    fn made(&mut self) -> u32 {
        let mut made = 0;
        while self.machine.rx().try_pull().is_some() {
            made += 1;
        }
        made
    }

    fn halt(&mut self) {
        /// `set pins, 0`
        const PIN_LOW: u16 = 0xe000;
        /// `pull noblock`
        const PULL: u16 = 0x8080;
        self.machine.set_enable(false);
        if pac::SIO.gpio_in(0).read() & STEP_PIN != 0 {
            // a pulse cut short would be a step or none, as the driver likes
            cortex_m::asm::delay(PULSE_CYCLES);
        }
        while self.machine.tx().level() > 0 {
            // Safety: on a stopped machine it takes what is there.
            unsafe { self.machine.exec_instr(PULL) };
        }
        self.machine.restart();
        // Safety: a jump to the program's own start (an unconditional jump is
        // the address itself), and the pin low, as the program leaves it.
        unsafe {
            self.machine.exec_instr(PIN_LOW);
            self.machine.exec_instr(self.start);
        }
        self.machine.set_enable(true);
    }
}
