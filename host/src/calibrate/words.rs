//! What was found, for a person. Enters: a calibration. Leaves: lines. Refuses
//! nothing.

use super::Calibration;
use crate::ledger::PunchSeen;

/// The calibration in a few lines.
#[must_use]
pub fn calibration_words(found: &Calibration) -> Vec<String> {
    let channels = &found.channels;
    let least = |value: fn(&super::Channel) -> f64| {
        channels.iter().map(value).fold(f64::INFINITY, f64::min)
    };
    let most = |value: fn(&super::Channel) -> f64| {
        channels.iter().map(value).fold(f64::NEG_INFINITY, f64::max)
    };
    let span = |channel: &super::Channel| f64::from(channel.open) - f64::from(channel.dark);
    let mut lines = vec![
        format!(
            "light        {:.0} to {:.0} levels between dark and open, noise up to {:.1}",
            least(span),
            most(span),
            most(|channel| f64::from(channel.noise_millilevels)) / 1000.0
        ),
        format!(
            "card         lets {:.1} to {:.1} % of it through, a whole hole {:.0} to {:.0} %",
            least(|channel| f64::from(channel.card_permille)) / 10.0,
            most(|channel| f64::from(channel.card_permille)) / 10.0,
            least(|channel| f64::from(channel.hole_permille)) / 10.0,
            most(|channel| f64::from(channel.hole_permille)) / 10.0
        ),
        format!(
            "light bar    straight within {:.2} mm",
            most(|channel| f64::from(channel.beside_line_um.abs())) / 1000.0
        ),
        format!(
            "feed         measures a card {:+.2} % from the format's length; it lies {:+.2} mm \
             from its place and {:+.2} mm a metre askew",
            f64::from(found.length_off_ppm) / 1e4,
            f64::from(found.offset_um) / 1000.0,
            f64::from(found.skew_urad) / 1000.0
        ),
    ];
    lines.push(format!("holes, mm    {}", widths(found)));
    if !found.cut {
        lines.push(
            "punches      not begun anew: the card was laid in, so its holes may be another \
             rig's; --cut has one cut here"
                .to_string(),
        );
    }
    lines
}

/// The diameter of each punch's holes.
fn widths(found: &Calibration) -> String {
    let width = |seen: &PunchSeen| {
        let punch = match seen.hole {
            0 => "peg".to_string(),
            hole => hole.to_string(),
        };
        format!("{punch}: {:.2}", f64::from(seen.diameter_um) / 1000.0)
    };
    let widths: Vec<String> = found.punches.iter().map(width).collect();
    widths.join(", ")
}
