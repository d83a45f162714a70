//! What is told of the punches, in words. Enters: their states. Leaves: a line a
//! punch that is not steady, or one line for all. Refuses nothing.

use super::judge::PEG;
use super::{Finding, PunchState, Wear};

/// What a person is told of the punches: one line each that is not steady, with
/// what to do about it, or one line for all.
#[must_use]
pub fn punch_words(states: &[PunchState]) -> Vec<String> {
    let cards = states.iter().map(|state| state.cards).max().unwrap_or(0);
    let lines: Vec<String> = states.iter().flat_map(state_lines).collect();
    match (lines.is_empty(), cards) {
        (false, _) => lines,
        (true, 0) => vec!["no card cut yet that would show wear".to_string()],
        (true, 1) => vec!["one card cut; more have to be before wear shows".to_string()],
        (true, _) => vec![format!("all steady over {cards} cards")],
    }
}

fn state_lines(state: &PunchState) -> Vec<String> {
    let punch = match state.hole {
        PEG => "peg punch".to_string(),
        hole => format!("punch {hole}"),
    };
    let line = |finding: &Finding| format!("{punch}: {}", finding_words(finding));
    state.findings.iter().map(line).collect()
}

fn finding_words(finding: &Finding) -> String {
    match finding {
        Finding::Narrowing(wear) => format!(
            "its holes have become {:.2} mm narrower, {}; sharpen or change it",
            wear.mm.abs(),
            rate(wear)
        ),
        Finding::Drifting(wear) => format!(
            "its holes have moved {:.2} mm towards the card's {}, {}; check its guide and that \
             it is not bent",
            wear.mm.abs(),
            if wear.mm < 0.0 { "beginning" } else { "end" },
            rate(wear)
        ),
        Finding::Changed {
            job,
            card,
            since,
            wider_mm,
            along_mm,
        } => {
            let day = since.get(..10).unwrap_or(since);
            let mut how = Vec::new();
            if *wider_mm != 0.0 {
                let way = if *wider_mm < 0.0 { "narrower" } else { "wider" };
                how.push(format!("{:.2} mm {way}", wider_mm.abs()));
            }
            if *along_mm != 0.0 {
                how.push(format!("{along_mm:+.2} mm along the feed"));
            }
            format!(
                "its holes are {} since card {card} of job {job} ({day}), from one card to the \
                 next: a new punch, or one that was set anew or knocked; if that was meant, run \
                 `cardwright rig calibrate --cut`, else look at it",
                how.join(" and ")
            )
        }
    }
}

/// How fast, and how long it may go on.
fn rate(wear: &Wear) -> String {
    let Some(left) = wear.strokes_left else {
        return format!("no more at present (cards fail at {:.2} mm)", wear.limit_mm);
    };
    let rate = wear.mm_per_thousand.abs();
    format!(
        "{rate:.2} mm more with each thousand strokes: cards fail at {:.2} mm, in about {left} \
         strokes of it",
        wear.limit_mm
    )
}
