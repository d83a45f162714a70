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

#[cfg(test)]
mod tests {
    use super::*;

    fn told(hole: u8, findings: Vec<Finding>) -> Vec<String> {
        let state = PunchState {
            hole,
            cards: 40,
            strokes: 900,
            diameter_mm: 4.3,
            along_mm: 0.0,
            findings,
        };
        punch_words(&[state])
    }

    fn wear(mm: f64, strokes_left: Option<u32>) -> Wear {
        Wear {
            mm,
            mm_per_thousand: mm,
            limit_mm: 0.3,
            strokes_left,
        }
    }

    #[test]
    fn each_finding_names_the_punch_what_it_does_and_what_to_do() {
        let cases = [
            (
                Finding::Narrowing(wear(-0.1, Some(2000))),
                "0.10 mm narrower",
                "sharpen",
            ),
            (
                Finding::Drifting(wear(-0.2, None)),
                "card's beginning",
                "guide",
            ),
            (Finding::Drifting(wear(0.2, Some(1))), "card's end", "guide"),
            (
                Finding::Changed {
                    job: 7,
                    card: 12,
                    since: "2026-03-01T08:15:00.250Z".to_string(),
                    wider_mm: -0.12,
                    along_mm: 0.0,
                },
                "0.12 mm narrower since card 12 of job 7 (2026-03-01)",
                "rig calibrate",
            ),
        ];
        for (finding, what, remedy) in cases {
            let lines = told(3, vec![finding]);
            let [line] = lines.as_slice() else {
                panic!("{lines:?}");
            };
            assert!(line.starts_with("punch 3: "), "{line}");
            assert!(line.contains(what) && line.contains(remedy), "{line}");
        }
        let two = told(
            PEG,
            vec![
                Finding::Narrowing(wear(-0.1, None)),
                Finding::Drifting(wear(0.1, None)),
            ],
        );
        assert_eq!(two.len(), 2);
        assert!(
            two.iter().all(|line| line.starts_with("peg punch: ")),
            "{two:?}"
        );
    }

    #[test]
    fn steady_punches_take_one_line() {
        assert_eq!(told(1, Vec::new()), ["all steady over 40 cards"]);
        assert_eq!(punch_words(&[]), ["no card cut yet that would show wear"]);
    }
}
