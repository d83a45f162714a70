//! After an opening or a stop: which attempts became what. Enters: the unit's
//! status and the attempts it may know of, in the order sent. Leaves: for each
//! what is to be done. What was in the rig is never assumed good.

use cardwright_protocol::CardId;
use cardwright_protocol::JobNumber;
use cardwright_protocol::unit_to_host::Status;

use super::flight::{Flight, Stage};

/// What becomes of an attempt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fate {
    /// The unit holds its readings, whole.
    Held,
    /// It was in the rig.
    Interrupted,
    /// It never entered the rig.
    NotBegun,
}

/// The fate of each of `flights`, all of which something was sent of.
pub(super) fn fates(
    flights: &[&Flight],
    status: &Status,
    job: JobNumber,
    boot: u32,
) -> Vec<(CardId, Fate)> {
    let last = status.last_begun;
    let last_at = flights.iter().position(|flight| Some(flight.id) == last);
    // The first attempt may have been in the rig if the unit cannot know: it
    // has restarted, or has worked for another since.
    let unknown = |flight: &Flight| match last {
        None => flight.boot != Some(boot),
        Some(id) => id.job != job,
    };
    let held = |id| {
        status
            .held
            .iter()
            .any(|ended| ended.complete && ended.id == id)
    };
    let mut first_missing = true;
    let fate = |(at, flight): (usize, &&Flight)| {
        let first = std::mem::take(&mut first_missing);
        let fate = if held(flight.id) {
            first_missing = first;
            Fate::Held
        } else if last_at.is_some_and(|last| at <= last)
            || flight.stage == Stage::Begun
            || first && unknown(flight)
        {
            Fate::Interrupted
        } else {
            Fate::NotBegun
        };
        (flight.id, fate)
    };
    flights.iter().enumerate().map(fate).collect()
}
