//! Everything the firmware does to the machine, and what the machine shows it,
//! in order and without times: the same for every board that runs the same
//! firmware over the same world.
//!
//! Enters: outputs as they change, and the inputs at each of these moments.
//! Leaves: a text, a line a happening, steps counted together.

use super::{Input, Output, World};
use std::fmt::Write as _;

const INPUTS: [Input; 5] = [
    Input::Guard,
    Input::Stop,
    Input::BlockUp,
    Input::BlockDown,
    Input::Edge,
];

/// The trace.
#[derive(Clone, Debug, Default)]
pub(super) struct Trace {
    text: String,
    steps: u32,
    shown: [bool; INPUTS.len()],
}

impl Trace {
    fn line(&mut self, line: &str) {
        if self.steps > 0 {
            // a String takes whatever is written to it
            let _ = writeln!(self.text, "steps {}", std::mem::take(&mut self.steps));
        }
        self.text.push_str(line);
        self.text.push('\n');
    }
}

impl World {
    /// Begins to note what happens.
    pub fn begin_trace(&mut self) {
        self.trace = Some(Trace::default());
    }

    /// What has happened since, and no more is noted.
    pub fn take_trace(&mut self) -> String {
        let mut trace = self.trace.take().unwrap_or_default();
        trace.line("end");
        trace.text
    }

    /// Notes what the inputs show, then that this output changes.
    pub(super) fn trace_output(&mut self, output: Output, high: bool) {
        self.trace_inputs();
        let Some(trace) = &mut self.trace else { return };
        match output {
            Output::Step => trace.steps += u32::from(high),
            _ => trace.line(&format!("{output:?} {}", if high { "on" } else { "off" })),
        }
    }

    /// Notes a byte of the lock registers.
    pub(super) fn trace_shift(&mut self, byte: u8) {
        if let Some(trace) = &mut self.trace {
            trace.line(&format!("shift {byte:02x}"));
        }
    }

    fn trace_inputs(&mut self) {
        let Some(mut trace) = self.trace.take() else {
            return;
        };
        for (at, input) in INPUTS.into_iter().enumerate() {
            let high = self.input(input);
            if trace.shown[at] != high {
                trace.shown[at] = high;
                trace.line(&format!(
                    "  {input:?} {}",
                    if high { "high" } else { "low" }
                ));
            }
        }
        self.trace = Some(trace);
    }
}
