//! Plain lines: what happens as it happens, and a line typed for everything that can
//! be said.

use std::path::Path;

use anyhow::Result;
use cardwright_protocol::CardNumber;
use serde_json::{Value, json};

use super::super::screen::{complain, out};
use super::super::session::{Attend, on_the_line};
use super::CAUTION;
use crate::job::{News, Person, WeaveNews};
use crate::service::{Outcome, Request};
use crate::weave::view::{Asking, Line, View};
use crate::weave::watch::{Decision, Stand};
use crate::weave::words::{count, turned};
use crate::weave::{DeckIndex, Says};

const HELP: &str = "\
type and Enter: nothing = yes to what is asked, x = no; u N = I took N picks out; c N = card N
stands; n N = pick N is next; p = pause or go on; t WORDS = a note; 1, 2 ... = decide so about
the last fault; q = leave";

/// Has a weaving request served with plain lines, or with JSON.
pub(super) fn serve(request: Request, data: &Path, json: bool) -> Result<u8> {
    let mut lines = Lines {
        json,
        ..Lines::default()
    };
    if !json {
        eprintln!("{CAUTION}\n{HELP}");
    }
    let outcome = on_the_line(request, data, &mut lines);
    lines.end(&outcome);
    Ok(outcome.exit)
}

/// The same with nobody who types, and with only now and then a pick told of.
pub(super) fn watched(request: Request, data: &Path, json: bool) -> Watched {
    let mut lines = Lines {
        json,
        watched: true,
        ..Lines::default()
    };
    let outcome = on_the_line(request, data, &mut lines);
    if !json {
        lines.end(&outcome);
    }
    Watched {
        exit: outcome.exit,
        summary: lines.summary(&outcome),
    }
}

/// How weaving ended that was only watched.
pub(in super::super) struct Watched {
    /// The exit status.
    pub exit: u8,
    /// Picks, length, faults left open.
    pub summary: Value,
}

/// Of so many picks one is told of to whoever only watches.
const ONE_OF: u64 = 40;

/// What was shown last.
#[derive(Debug, Default)]
struct Lines {
    json: bool,
    watched: bool,
    view: Option<View>,
    asked: Option<Asking>,
}

impl Attend for Lines {
    fn news(&mut self, news: &News) {
        if let News::Weave(news) = news
            && let WeaveNews::View(view) = &**news
        {
            self.show(view);
            self.view = Some((**view).clone());
            if self.json {
                return;
            }
        }
        if self.json {
            if let Ok(line) = serde_json::to_string(news) {
                out(&line);
            }
            return;
        }
        match news {
            News::Weave(news) => {
                if let WeaveNews::Line { line, sound } = &**news
                    && self.tells(line)
                {
                    let bell = if *sound && !self.watched { "\u{7}" } else { "" };
                    out(&format!("{}{bell}", line.words));
                }
            }
            News::Unit {
                board,
                firmware,
                boot,
            } => out(&format!("unit {board}, firmware {firmware}, boot {boot}")),
            News::UnitSilent => out("the unit is not heard; check its cable and power"),
            News::UnitHeard => out("the unit is heard again"),
            News::Refused { words } | News::Note { words } => out(words),
            _ => {}
        }
    }

    fn types(&self) -> bool {
        !self.watched
    }

    fn typed(&mut self, line: &str) -> Option<Person> {
        let says = match self.says(line.trim()) {
            Ok(Some(says)) => says,
            Ok(None) => return Some(Person::Stop),
            Err(words) => {
                eprintln!("{words}");
                return None;
            }
        };
        Some(Person::Weave(Box::new(says)))
    }

    fn refused(&mut self, words: &str) {
        eprintln!("{words}");
    }
}

impl Lines {
    /// Whether a line is told of: every one, but for whoever only watches not every
    /// pick.
    fn tells(&self, line: &Line) -> bool {
        !self.watched || line.pick.is_none_or(|pick| pick.is_multiple_of(ONE_OF))
    }

    /// Says what is asked, once.
    fn show(&mut self, view: &View) {
        if view.asking == self.asked {
            return;
        }
        self.asked.clone_from(&view.asking);
        if self.json {
            return;
        }
        match &view.asking {
            Some(asking @ Asking::Chain { .. }) => out(&format!(
                "lay the chain so that {}, then press Enter",
                asking.next_turn().unwrap_or_default()
            )),
            Some(Asking::CatchUp {
                events,
                turns,
                beats,
                next,
                faults,
            }) => {
                let faults = if faults.is_empty() {
                    String::new()
                } else {
                    format!(", with faults: {}", faults.join(", "))
                };
                out(&format!(
                    "while this program was off: {}, {}, {}{faults}; if that was weaving, pick \
                     {next} is next. Enter: take it so; x: leave it out",
                    count(*events, "event"),
                    turned(*turns),
                    count(*beats, "beat")
                ));
            }
            Some(Asking::Place { next, proposed, .. }) => out(&format!(
                "{}. Enter: {proposed} is next; n N: pick N is next, such as n {next}",
                view.asking
                    .as_ref()
                    .and_then(Asking::changed)
                    .unwrap_or_default()
            )),
            None => {}
        }
    }

    /// What a typed line says; nothing to leave.
    fn says(&self, line: &str) -> Result<Option<Says>, String> {
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        let number = |what: &str| {
            rest.trim().parse::<u32>().map_err(|_| {
                format!("give {what} as a whole number after {word}, such as {word} 3")
            })
        };
        let decided = |decision| Ok(Some(Says::Decided { decision }));
        match word {
            "" => match &self.asked {
                Some(Asking::CatchUp { .. }) => Ok(Some(Says::CatchUp { take: true })),
                Some(Asking::Chain { .. }) => decided(Decision::ChainReady),
                Some(Asking::Place { next, .. }) => decided(Decision::NextIs {
                    pick: next.saturating_sub(1),
                }),
                None => Err(HELP.to_string()),
            },
            "x" => Ok(Some(Says::CatchUp { take: false })),
            "u" => {
                let picks = number("how many picks")?;
                decided(Decision::Unwove { picks })
            }
            "c" => {
                let card = CardNumber(number("the card")?);
                let stands = self.view.as_ref().and_then(|view| view.stands);
                let deck = stands.map_or(DeckIndex(0), |stands| stands.deck);
                let card = Stand { deck, card };
                decided(Decision::Stands { card })
            }
            "n" => match number("the pick")?.checked_sub(1) {
                Some(pick) => decided(Decision::NextIs { pick: pick.into() }),
                None => Err("picks are numbered from 1".to_string()),
            },
            "p" => Ok(Some(
                match self.view.as_ref().is_some_and(|view| view.paused) {
                    true => Says::Resume,
                    false => Says::Pause,
                },
            )),
            "t" if !rest.trim().is_empty() => Ok(Some(Says::Note {
                text: rest.trim().to_string(),
            })),
            "q" => Ok(None),
            choice => self.choice(choice),
        }
    }

    fn choice(&self, typed: &str) -> Result<Option<Says>, String> {
        let open = self.view.as_ref().and_then(|view| view.open.last());
        let chosen = open.and_then(|open| {
            let at = typed.parse::<usize>().ok()?.checked_sub(1)?;
            let (choice, _) = open.choices.get(at)?;
            Some(Decision::Fault {
                fault: open.fault.id,
                choice: *choice,
            })
        });
        match chosen {
            Some(decision) => Ok(Some(Says::Decided { decision })),
            None => Err(HELP.to_string()),
        }
    }

    fn summary(&self, outcome: &Outcome) -> Value {
        let view = self.view.clone().unwrap_or_default();
        json!({
            "event": "summary", "piece": view.piece, "picks": view.picks.0, "of": view.picks.1,
            "in_cloth": view.in_cloth, "length_mm": view.length_mm.0,
            "open_faults": view.open.len(), "exit": outcome.exit, "words": outcome.words,
        })
    }

    fn end(&self, outcome: &Outcome) {
        if !outcome.words.is_empty() {
            complain(&outcome.words, false);
        }
        if self.json {
            out(&self.summary(outcome).to_string());
            return;
        }
        let Some(view) = &self.view else { return };
        let length = view
            .length_mm
            .0
            .map(|mm| format!(", {:.1} cm", mm / 10.0))
            .unwrap_or_default();
        out(&format!(
            "piece {}: {}{length}; `cardwright ledger piece {}` tells of it",
            view.piece,
            place(view),
            view.piece
        ));
    }
}

/// What lies in the cloth, and which pick of the plan is next: where a weaver has said
/// that, the one says nothing of the other.
fn place(view: &View) -> String {
    let in_cloth = u64::try_from(view.in_cloth).unwrap_or_default() + u64::from(view.stray);
    let (done, all) = view.picks;
    let next = match done {
        done if done < all => format!("pick {} of {all} is next", done + 1),
        _ => "no pick of the plan is left".to_string(),
    };
    format!("{} in the cloth, {next}", count(in_cloth, "pick"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where a weaver has said which pick is next, the place is no count: `n 500`
    /// after nine picks made `500 of 500 picks woven`.
    #[test]
    fn the_place_is_no_count() {
        let view = |picks, in_cloth, stray| View {
            picks,
            in_cloth,
            stray,
            ..View::default()
        };
        for (view, words) in [
            (
                view((499, 500), 9, 0),
                "9 picks in the cloth, pick 500 of 500 is next",
            ),
            (
                view((0, 16), 0, 1),
                "1 pick in the cloth, pick 1 of 16 is next",
            ),
            (
                view((16, 16), 16, 0),
                "16 picks in the cloth, no pick of the plan is left",
            ),
        ] {
            assert_eq!(place(&view), words);
        }
    }
}
