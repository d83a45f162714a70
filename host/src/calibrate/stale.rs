//! Whether a calibration still holds. Enters: it, the time, the levels read last,
//! the punches. Leaves: lines of advice; none if it holds. Nothing is stopped by
//! any of it.

use super::{Calibration, Channel};
use crate::ledger::{LevelsRow, UnixMillis};
use crate::wear::{Finding, PunchState};

/// After so long a calibration is old (common practice, no source).
const OLD_DAYS: i64 = 90;

const DAY_MS: i64 = 24 * 3600 * 1000;

/// The light has changed if it did by this share (common practice, no source).
const CHANGED: f64 = 0.15;

/// A channel is dim if it has lost so much more than the others: dust, which lies
/// on one, where the lamp ages for all (common practice, no source).
const DIM: f64 = 0.10;

/// The dark level has changed if it did by so many levels.
const DARK_LEVELS: u8 = 8;

/// What a person is advised, now, of a calibration made `at` and of the levels
/// with which the last card was read.
#[must_use]
pub fn advice(
    made: Option<(&Calibration, UnixMillis)>,
    now: UnixMillis,
    levels: Option<LevelsRow>,
    punches: &[PunchState],
) -> Vec<String> {
    let Some((found, at)) = made else {
        return vec![
            "the rig is not calibrated yet; `cardwright rig calibrate --cut` does it with two cards"
                .to_string(),
        ];
    };
    let mut advice = Vec::new();
    let days = now.0.saturating_sub(at.0) / DAY_MS;
    if days > OLD_DAYS {
        advice.push(format!(
            "the calibration is {days} days old; calibrate again"
        ));
    }
    if let Some(levels) = levels.filter(|levels| levels.at.0 > at.0) {
        advice.extend(light(&found.channels, &levels));
    }
    let changed = |state: &&PunchState| {
        let change = |found: &Finding| matches!(found, Finding::Changed { .. });
        state.findings.iter().any(change)
    };
    if punches.iter().any(|state| changed(&state)) {
        advice.push("punches have been changed since the calibration; calibrate again".to_string());
    }
    advice
}

fn light(channels: &[Channel], levels: &LevelsRow) -> Vec<String> {
    let mut advice = Vec::new();
    // what is left of each channel's light
    let left = |channel: &Channel| {
        let lane = usize::from(channel.hole) - 1;
        let (dark, open) = (levels.dark.get(lane)?, levels.open.get(lane)?);
        let span = |open: u8, dark: u8| f64::from(open) - f64::from(dark);
        Some(span(*open, *dark) / span(channel.open, channel.dark).max(1.0))
    };
    let mut shares: Vec<f64> = channels.iter().filter_map(left).collect();
    shares.sort_unstable_by(f64::total_cmp);
    let Some(all) = shares.get(shares.len() / 2).copied() else {
        return advice;
    };
    for channel in channels {
        let Some(share) = left(channel).filter(|share| *share < all - DIM) else {
            continue;
        };
        advice.push(format!(
            "channel {} has {:.0} % of the light it had when calibrated, the others {:.0} %: \
             clean it",
            channel.hole,
            100.0 * share,
            100.0 * all
        ));
    }
    if (all - 1.0).abs() > CHANGED {
        advice.push(format!(
            "the lamp gives {:.0} % of the light it had when calibrated; see to it, then calibrate \
             again",
            100.0 * all
        ));
    }
    let stray = channels.iter().find(|channel| {
        let dark = levels.dark.get(usize::from(channel.hole) - 1);
        dark.is_some_and(|dark| dark.abs_diff(channel.dark) > DARK_LEVELS)
    });
    if let Some(channel) = stray {
        advice.push(format!(
            "channel {} is no longer as dark with the lamp off as it was when calibrated: shade \
             the reader",
            channel.hole
        ));
    }
    advice
}

#[cfg(test)]
mod tests {
    use super::*;

    fn calibration() -> Calibration {
        let channel = |hole| Channel {
            hole,
            dark: 5,
            open: 205,
            card_permille: 60,
            hole_permille: 1000,
            noise_millilevels: 500,
            beside_line_um: 0,
        };
        Calibration {
            form: super::super::FORM,
            format: "400".to_string(),
            cut: true,
            channels: (1..=8).map(channel).collect(),
            punches: Vec::new(),
            length_um: 402_600,
            length_off_ppm: 0,
            offset_um: 0,
            stretch_ppm: 0,
            skew_urad: 0,
        }
    }

    fn levels(change: impl Fn(usize) -> (u8, u8)) -> Option<LevelsRow> {
        let (mut dark, mut open) = ([0; 16], [0; 16]);
        for lane in 0..8 {
            (dark[lane], open[lane]) = change(lane);
        }
        let at = UnixMillis(2);
        Some(LevelsRow { dark, open, at })
    }

    fn told(now: UnixMillis, levels: Option<LevelsRow>) -> Vec<String> {
        advice(Some((&calibration(), UnixMillis(1))), now, levels, &[])
    }

    #[test]
    fn what_holds_needs_no_advice() {
        let (soon, same) = (UnixMillis(1000), |_| (6, 196));
        assert_eq!(told(soon, levels(same)), [""; 0]);
        assert_eq!(told(UnixMillis(90 * DAY_MS), None), [""; 0]);
        // a reading from before it says nothing
        let before = levels(|_| (5, 80)).map(|levels| LevelsRow {
            at: UnixMillis(0),
            ..levels
        });
        assert_eq!(told(soon, before), [""; 0]);
    }

    #[test]
    fn each_reason_is_told_once_and_by_name() {
        let now = UnixMillis(1000);
        let one = |advice: Vec<String>, word: &str| {
            assert_eq!(advice.len(), 1, "{advice:?}");
            assert!(advice.iter().all(|line| line.contains(word)), "{advice:?}");
        };
        one(advice(None, now, None, &[]), "not calibrated");
        one(told(UnixMillis(92 * DAY_MS), None), "91 days");
        let dusty = |lane| if lane == 2 { (5, 150) } else { (5, 200) };
        one(told(now, levels(dusty)), "channel 3");
        one(told(now, levels(|_| (5, 165))), "lamp");
        let stray = |lane| if lane == 4 { (20, 205) } else { (5, 205) };
        one(told(now, levels(stray)), "channel 5");
    }
}
