//! Plain lines: what happens as it happens, and a line typed for everything that can
//! be said. Or, for other programs, one JSON object a line.
//!
//! With JSON each object has an `event`. Beside those of all commands there are:
//!
//! - `weave`: `line` is what happened, with `at`, `words` and, of a pick woven, `pick`.
//! - `next`: `pick` is the pick that comes next, null when all are woven: its `number`
//!   from 1, `section`, `section_of`, `repeat_of`, `card` (null for ground), `deck`,
//!   `weft`, `back`, `turns` (how the cylinder gets there, if not by one turn); `picks`
//!   are those woven and those of the plan.
//! - `asked`: what an answer would now answer, told at each change. `asking` is null or
//!   has `asks`: `chain` with `card` and `back`, `catch_up` with `events`, `turns`,
//!   `beats`, `next` (null after the last pick), `faults`, `place` (in a changed plan)
//!   with `was`, `same_number`, `next`, `proposed`, or `end` (is the piece done?).
//!   `fault` is null or the fault that a number decides about: its `words`, `evidence`,
//!   `remedy` and, from 1, the `choices`. `open_faults` counts all.
//! - `refused`: `words` say why a typed line was not taken.
//! - `summary`, the last: `piece`, `picks`, `of`, `in_cloth`, `length_mm`, `done`,
//!   `open_faults`, `exit`, `words`.

use std::io::IsTerminal as _;
use std::path::Path;

use anyhow::Result;
use cardwright_protocol::CardNumber;
use serde_json::{Value, json};

use super::super::screen::{clean, complain, err, out};
use super::super::session::{Attend, on_the_line};
use super::cloth::ClothPicture;
use super::lines;
use super::said::{self, DeckKnown};
use crate::job::{News, Person, WeaveNews};
use crate::service::{Outcome, Request};
use crate::weave::view::{Asking, Line, NextPick, View};
use crate::weave::watch::{Decision, Stand};
use crate::weave::{DeckIndex, Says, Walk};

const HELP: &str = "\
type and Enter: nothing = yes to what is asked, x = no; u N = I took N picks out; c N = card N
stands, c DECK N = of that deck; n N = pick N is next; p = pause or go on; t WORDS = a note;
1, 2 ... = decide so about the fault told of; q = leave";

/// Has a weaving request served with plain lines, or with JSON.
pub(super) fn serve(request: Request, walk: &Walk, data: &Path, json: bool) -> Result<u8> {
    let mut lines = Lines {
        json,
        answered: request.port().is_none(),
        decks: DeckKnown::all(walk),
        ..Lines::default()
    };
    if !json {
        err(HELP);
    }
    // no cloth is drawn here, but its file is as wrong as on the full screen
    if let (_, Some(words)) = ClothPicture::new(walk) {
        lines.news(&News::Note { words });
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
pub(super) struct Lines {
    json: bool,
    watched: bool,
    /// Somebody else answers what is asked.
    answered: bool,
    decks: Vec<DeckKnown>,
    view: Option<View>,
    asked: Option<Asking>,
    next: Option<NextPick>,
    /// The fault that is told of, with what can be decided.
    fault: Vec<String>,
    /// What is known of it, and what puts it right.
    about: Option<String>,
}

impl Attend for Lines {
    fn news(&mut self, news: &News) {
        if let News::Weave(news) = news
            && let WeaveNews::View(view) = &**news
        {
            self.show(view);
            self.view = Some((**view).clone());
            return;
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
                    let heard = *sound && !self.watched && std::io::stdout().is_terminal();
                    let bell = if heard { "\u{7}" } else { "" };
                    out(&format!("{}{bell}", clean(&line.words)));
                }
            }
            News::Unit {
                board,
                firmware,
                boot,
            } => {
                let words = format!("unit {board}, firmware {firmware}, boot {boot}");
                out(&clean(&words));
            }
            News::UnitSilent => out("the unit is not heard; check its cable and power"),
            News::UnitHeard => out("the unit is heard again"),
            News::Refused { words } | News::Note { words } => out(&clean(words)),
            _ => {}
        }
    }

    fn waits_for_a_line(&self) -> bool {
        // at the virtual loom the invented weaver answers
        !self.answered && self.asked.is_some()
    }

    fn types(&self) -> bool {
        !self.watched
    }

    fn typed(&mut self, line: &str) -> Option<Person> {
        let says = match self.says(line.trim()) {
            Ok(Some(says)) => says,
            Ok(None) => return Some(Person::Stop),
            Err(words) => {
                self.refused(&words);
                return None;
            }
        };
        Some(Person::Weave(Box::new(says)))
    }

    fn refused(&mut self, words: &str) {
        match self.json {
            true => out(&json!({ "event": "refused", "words": words }).to_string()),
            false => err(words),
        }
    }
}

impl Lines {
    #[cfg(test)]
    pub fn for_decks(decks: Vec<DeckKnown>) -> Lines {
        Lines {
            decks,
            ..Lines::default()
        }
    }

    /// Whether a line is told of: every one, but for whoever only watches not every
    /// pick.
    fn tells(&self, line: &Line) -> bool {
        !self.watched || line.pick.is_none_or(|pick| pick.is_multiple_of(ONE_OF))
    }

    /// Says what is asked and what is next, once.
    fn show(&mut self, view: &View) {
        let asked = view.asking != self.asked;
        self.asked.clone_from(&view.asking);
        let fault = lines::fault(view);
        let decided = fault != self.fault;
        self.fault = fault;
        let about = self.about(view, decided);
        let before = std::mem::replace(&mut self.next, view.next.clone());
        if self.json {
            if self.watched {
                return;
            }
            if self.view.is_none() || asked || decided {
                out(&lines::asked_in_json(view).to_string());
            }
            if self.view.is_none() || view.next != before {
                let next = json!({ "event": "next", "pick": view.next, "picks": view.picks });
                out(&next.to_string());
            }
            return;
        }
        if asked && let Some(asking) = &view.asking {
            out(&clean(&lines::asked(asking)));
        }
        if self.watched {
            return;
        }
        let turns = view.next.as_ref().and_then(|next| next.turns.as_ref());
        if turns != before.as_ref().and_then(|next| next.turns.as_ref())
            && let Some(words) = turns
        {
            out(&clean(&format!("for the next pick: {words}")));
        }
        if decided {
            self.fault.iter().for_each(|line| out(&clean(line)));
        }
        if let Some(about) = about {
            out(&clean(&format!("  {about}")));
        }
    }

    /// What was seen of the fault and what puts it right, where that is new: as it happens
    /// a fault is told of with both.
    pub(super) fn about(&mut self, view: &View, is_another: bool) -> Option<String> {
        let open = said::to_decide(view);
        let about = open.map(|open| format!("{}; {}", open.evidence, open.remedy));
        let happened = is_another && self.view.is_some();
        let is_new = about != self.about && !happened;
        self.about.clone_from(&about);
        about.filter(|_| is_new)
    }

    /// What a typed line says; nothing to leave.
    pub fn says(&self, line: &str) -> Result<Option<Says>, String> {
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        let rest = rest.trim();
        let number = |what: &str| whole(rest, what, &format!("{word} 3"));
        let decided = |decision| Ok(Some(Says::Decided { decision }));
        match word {
            "" => match &self.asked {
                Some(asking) => Ok(Some(asking.yes())),
                None => Err(HELP.to_string()),
            },
            "x" if matches!(self.asked, Some(Asking::CatchUp { .. })) => {
                Ok(Some(Says::CatchUp { take: false }))
            }
            "x" => Err("nothing is asked that x could answer".to_string()),
            "u" => {
                let picks = number("how many picks")?;
                decided(Decision::Unwove { picks })
            }
            "c" => decided(Decision::Stands {
                card: self.card(rest)?,
            }),
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
            "t" if !rest.is_empty() => said::note(rest).map(Some),
            "q" => Ok(None),
            choice => self.choice(choice),
        }
    }

    /// The card that is said to stand: of the deck that is named before it, else of the
    /// one that is woven from now.
    fn card(&self, typed: &str) -> Result<Stand, String> {
        if self.decks.is_empty() {
            return Err("the plan has no cards".to_string());
        }
        let (deck, card) = match typed.rsplit_once(' ') {
            Some((name, card)) => (self.deck(name.trim())?, card),
            None => {
                let in_hand = |view| said::deck_in_hand(&self.decks, view);
                (self.view.as_ref().map_or(DeckIndex(0), in_hand), typed)
            }
        };
        let example = match self.decks.as_slice() {
            [_, second, ..] => format!("c {} 3", second.name),
            _ => "c 3".to_string(),
        };
        let card = CardNumber(whole(card, "the card", &example)?);
        Ok(Stand { deck, card })
    }

    fn deck(&self, name: &str) -> Result<DeckIndex, String> {
        let at = self.decks.iter().position(|deck| deck.name == name);
        at.map(DeckIndex).ok_or_else(|| {
            let names: Vec<&str> = self.decks.iter().map(|deck| deck.name.as_str()).collect();
            let names = names.join(", ");
            format!("the plan has no deck called {name}; it has {names}")
        })
    }

    fn choice(&self, typed: &str) -> Result<Option<Says>, String> {
        let Ok(number) = typed.parse::<usize>() else {
            return Err(HELP.to_string());
        };
        let view = self.view.as_ref();
        let view = view.ok_or("nothing is known of the loom yet; wait for its unit")?;
        said::decided(number, view).map(Some)
    }

    fn summary(&self, outcome: &Outcome) -> Value {
        let view = self.view.clone().unwrap_or_default();
        json!({
            "event": "summary", "piece": view.piece, "picks": view.picks.0, "of": view.picks.1,
            "in_cloth": view.in_the_cloth(), "length_mm": view.length_mm.0,
            "done": view.is_done(), "open_faults": view.open.len(), "exit": outcome.exit,
            "words": outcome.words,
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
        if let Some(view) = &self.view {
            out(&lines::woven(view));
        }
    }
}

/// The number that was typed.
fn whole(typed: &str, what: &str, example: &str) -> Result<u32, String> {
    let number = typed.parse();
    number.map_err(|_| format!("give {what} as a whole number, such as {example}"))
}
