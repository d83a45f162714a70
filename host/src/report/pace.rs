//! How fast it went. Enters: picks with the time each took. Leaves: the middle pace, and
//! the best and the worst ten minutes, rests and pauses left out.

use super::picks::{WovenPick, median};
use crate::ledger::UnixMillis;
use serde::Serialize;

/// The stretch that is called best or worst, in milliseconds.
pub(super) const STRETCH_MS: i64 = 600_000;

/// Ten minutes of weaving.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TenMinutes {
    /// When they began.
    pub from: UnixMillis,
    /// The session's number, from 1.
    pub session: usize,
    /// The pace.
    pub picks_a_minute: f64,
}

/// How fast it went.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Pace {
    /// By the middle pick that was no rest.
    pub median: Option<f64>,
    /// The quickest ten minutes; none if no session has ten minutes of weaving.
    pub best: Option<TenMinutes>,
    /// The slowest ten minutes.
    pub worst: Option<TenMinutes>,
}

/// Picks a minute by the middle pick of these.
pub(super) fn median_pace<'a>(picks: impl Iterator<Item = &'a WovenPick>) -> Option<f64> {
    let middle = median(picks.filter_map(WovenPick::took_ms).collect())?;
    (middle > 0.0).then(|| 60_000.0 / middle)
}

pub(super) fn pace(picks: &[WovenPick]) -> Pace {
    let mut pace = Pace {
        median: median_pace(picks.iter()),
        ..Pace::default()
    };
    for of_session in picks.chunk_by(|a, b| a.session == b.session) {
        for stretch in stretches(of_session) {
            let better = |than: TenMinutes| stretch.picks_a_minute > than.picks_a_minute;
            if pace.best.is_none_or(better) {
                pace.best = Some(stretch);
            }
            let worse = |than: TenMinutes| stretch.picks_a_minute < than.picks_a_minute;
            if pace.worst.is_none_or(worse) {
                pace.worst = Some(stretch);
            }
        }
    }
    pace
}

/// From each pick on, the fewest picks that took ten minutes.
fn stretches(picks: &[WovenPick]) -> Vec<TenMinutes> {
    let took: Vec<(i64, UnixMillis)> = picks
        .iter()
        .filter_map(|pick| pick.took_ms().map(|ms| (ms, pick.at)))
        .collect();
    let mut all = Vec::new();
    let (mut end, mut sum) = (0, 0);
    for (begin, (first_ms, at)) in took.iter().enumerate() {
        while sum < STRETCH_MS {
            let Some((ms, _)) = took.get(end) else {
                return all;
            };
            sum += ms;
            end += 1;
        }
        all.push(TenMinutes {
            from: UnixMillis(at.0 - first_ms),
            session: picks.first().map_or(0, |pick| pick.session),
            picks_a_minute: (end - begin) as f64 * 60_000.0 / sum as f64,
        });
        sum -= first_ms;
    }
    all
}
