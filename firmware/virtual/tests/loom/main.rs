//! The modelled loom and its weaver, read by a decoder of the tests' own, which
//! knows only how such sensors are read: levels after their bounce, and the
//! reflected binary code of two tracks.

mod decoder;
mod mistakes;
mod movements;
mod weaving;

use cardwright_protocol::Micros;
use cardwright_virtual::loom::{Act, Loom, LoomPlace};

/// Every change of the lines: when, and how they are from then on.
pub type Trace = Vec<(u64, u8)>;

/// Does these acts one after the other, with `pause_us` between; every change.
pub fn perform(loom: &mut Loom, acts: &[Act], pause_us: u64) -> Trace {
    let mut trace = Trace::new();
    for act in acts {
        let done = loom.begin(*act, loom.now()).expect("no act is under way");
        watch_loom(loom, done.plus(pause_us), &mut trace);
    }
    trace
}

/// Looks at the loom at each change until `until`.
pub fn watch_loom(loom: &mut Loom, until: Micros, trace: &mut Trace) {
    while loom.next_change() <= until {
        let at = loom.next_change();
        loom.advance(at);
        trace.push((at.0, loom.lines()));
    }
    loom.advance(until);
}

/// Lets the weaver work until the weaver stands, has finished, or `until`; every
/// change.
pub fn watch(place: &mut LoomPlace, until: Micros) -> Trace {
    let mut trace = Trace::new();
    let mut lines = place.loom.lines();
    loop {
        let at = place.next_change();
        if at > until {
            return trace;
        }
        place.advance(at);
        if place.loom.lines() != lines {
            lines = place.loom.lines();
            trace.push((place.loom.now().0, lines));
        }
    }
}
