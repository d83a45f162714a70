//! What a screen shows, and what the ledger keeps of a pick or a fault.

use serde_json::{Value, json};

use super::catch_up::sums;
use super::{Asking, Told, Weave};
use crate::weave::view::{NextPick, OpenFault, View};
use crate::weave::walk::{Direction, Pick, Turns, Work};
use crate::weave::watch::{Choice, Decision, Fault, Stand};
use crate::weave::words;
use crate::words::counted;

impl Weave {
    pub(super) fn view(&self, now: i64) -> View {
        let (walk, place) = (self.watch.walk(), self.watch.place());
        let plan = walk.plan();
        let left = walk.len().saturating_sub(place.next);
        let woven_mm = walk.length_of(self.watch.in_the_cloth());
        View {
            plan: plan.name().to_string(),
            piece: self.order.piece.0,
            now,
            next: walk.pick(place.next).map(|pick| self.next_pick(&pick)),
            stands: place.stands,
            turns_wanted: self.watch.turns_wanted(),
            picks: (place.next.min(walk.len()), walk.len()),
            in_cloth: place.in_cloth,
            stray: place.stray,
            length_mm: (woven_mm, walk.length_of(walk.len())),
            take_up_mm: self.take_up_mm(),
            picks_a_minute: self.pace.picks_a_minute(),
            seconds_left: self.pace.seconds_for(left),
            open: place
                .open
                .iter()
                .map(|fault| self.open_fault(fault))
                .collect(),
            asking: self.asking(),
            begun: self.begun,
            paused: self.paused,
            heard: self.heard,
            last: self.lines.iter().cloned().collect(),
            woven: self.woven.iter().copied().collect(),
        }
    }

    fn take_up_mm(&self) -> Option<f64> {
        Some(self.order.take_up_mm? * self.watch.place().take_up as f64)
    }

    pub(super) fn asking(&self) -> Option<Asking> {
        if let Some(place) = self.asking_place() {
            return Some(place);
        }
        if let Some(catch_up) = self.asks_catch_up() {
            let mut tried = self.watch.clone();
            let mut told = Vec::new();
            let events = &catch_up.missed.seen;
            for seen in events {
                tried.see(*seen, &mut told);
            }
            let (turns, beats) = sums(events);
            return Some(Asking::CatchUp {
                events: events.len() as u64,
                turns,
                beats,
                next: (!tried.is_finished()).then(|| tried.place().next + 1),
                faults: told
                    .iter()
                    .filter_map(|told| match told {
                        Told::Fault(fault) => Some(words::fault(fault.kind).to_string()),
                        _ => None,
                    })
                    .collect(),
            });
        }
        if self.watch.is_finished() {
            return (self.begun && self.catch_up.is_none() && !self.ended).then_some(Asking::End);
        }
        let target = self.watch.target().filter(|_| self.wants_chain)?;
        Some(Asking::Chain {
            card: words::card(self.watch.walk().plan(), target),
            back: self.watch.next_turn() == Some(Direction::Back),
        })
    }

    fn next_pick(&self, pick: &Pick<'_>) -> NextPick {
        let plan = self.watch.walk().plan();
        let stand = stand(pick);
        let back = stand.map(|_| match pick.turns {
            Turns::One(_) | Turns::Hang { .. } => {
                self.watch.walk().way_at(pick.number) == Direction::Back
            }
            _ => false,
        });
        let weft = pick.weft.and_then(|weft| plan.wefts().get(weft.0));
        NextPick {
            number: pick.number + 1,
            section: pick.section_name.to_string(),
            section_of: (pick.section + 1, plan.sections().len()),
            repeat_of: (pick.repeat, pick.repeats),
            card: stand.map(|stand| stand.card.0),
            deck: stand
                .filter(|_| plan.decks().len() > 1)
                .and_then(|stand| plan.decks().get(stand.deck.0))
                .map(|deck| deck.name.clone()),
            weft: weft.map(|weft| (weft.name.clone(), weft.colour)),
            back,
            turns: match pick.turns {
                Turns::ByHand { to } => Some(format!("turn the chain by hand to card {}", to.0)),
                Turns::Hang { card, .. } => Some(format!("hang the chain, card {} first", card.0)),
                Turns::None | Turns::One(_) => None,
            },
        }
    }

    fn open_fault(&self, fault: &Fault) -> OpenFault {
        OpenFault {
            fault: fault.clone(),
            hands: self.watch.remedy(fault),
            words: words::fault(fault.kind).to_string(),
            evidence: words::evidence(self.watch.walk(), fault),
            remedy: self.remedy_words(fault),
            choices: self
                .watch
                .choices(fault)
                .into_iter()
                .map(|choice| (choice, self.choice_words(choice)))
                .collect(),
        }
    }

    /// What can be decided; where the plan goes on elsewhere then, with the pick.
    fn choice_words(&self, choice: Choice) -> String {
        let words = words::choice(choice);
        let next = match choice {
            Choice::GoOnFromHere => self.watch.goes_on(),
            Choice::WasWoven | Choice::LeaveOut => Some(self.watch.goes_on_after()),
            Choice::OnlyBeaten | Choice::StandsSo => None,
        };
        match next.filter(|next| *next < self.watch.walk().len()) {
            Some(next) => format!("{words}: pick {} is next", next + 1),
            None => words.to_string(),
        }
    }

    fn remedy_words(&self, fault: &Fault) -> String {
        let remedy = self.watch.remedy(fault);
        let card = self.watch.card_of(fault, remedy);
        words::remedy(self.watch.walk().plan(), remedy, card)
    }

    pub(super) fn pick_detail(&self, number: u64) -> Value {
        let walk = self.watch.walk();
        let Some(pick) = walk.pick(number) else {
            return json!({ "pick": number });
        };
        let plan = walk.plan();
        let stand = stand(&pick);
        let in_cloth = self.watch.place().in_cloth;
        let deck = stand.and_then(|stand| plan.decks().get(stand.deck.0));
        json!({
            "pick": number,
            "section": pick.section_name,
            "card": stand.map(|stand| stand.card.0),
            "deck": deck.map(|deck| &deck.name),
            "weft": pick.weft.and_then(|weft| plan.wefts().get(weft.0)).map(|weft| &weft.name),
            "in_cloth": in_cloth,
            "length_mm": walk.length_of(u64::try_from(in_cloth).unwrap_or_default()),
            "take_up_mm": self.take_up_mm(),
        })
    }

    pub(super) fn fault_detail(&self, fault: &Fault) -> Value {
        json!({
            "id": fault.id,
            "kind": fault.kind,
            "pick": fault.pick,
            "event": fault.event,
            "words": words::fault(fault.kind),
            "evidence": words::evidence(self.watch.walk(), fault),
            "remedy": self.remedy_words(fault),
        })
    }

    pub(super) fn words(&self, told: &Told) -> Option<String> {
        let plan = self.watch.walk().plan();
        Some(match told {
            Told::Woven { pick, .. } => {
                let pick = self.watch.walk().pick(*pick)?;
                let with = match stand(&pick) {
                    Some(stand) => words::card(plan, stand),
                    None => "ground".to_string(),
                };
                format!("pick {}: {with}, {}", pick.number + 1, pick.section_name)
            }
            Told::Fault(fault) => format!(
                "{}: {}; {}",
                words::fault(fault.kind),
                words::evidence(self.watch.walk(), fault),
                self.remedy_words(fault)
            ),
            Told::Righted { kind, pick, .. } => {
                format!("right again: {}, pick {}", words::fault(*kind), pick + 1)
            }
            Told::Finished | Told::Mark { .. } | Told::WantsChain => return None,
        })
    }

    pub(super) fn decision_words(&self, decision: &Decision) -> String {
        let plan = self.watch.walk().plan();
        match decision {
            Decision::Unwove { picks } => {
                let next = self.watch.place().next + 1;
                let taken = counted(u64::from(*picks), "pick");
                match self.watch.is_finished() {
                    true => format!("{taken} taken out"),
                    false => format!("{taken} taken out; pick {next} is next"),
                }
            }
            Decision::ChainReady => "the chain is laid".to_string(),
            Decision::Stands { card } => format!("{} stands", words::card(plan, *card)),
            Decision::NextIs { pick } => format!("pick {} is next", pick + 1),
            Decision::Fault { choice, .. } => {
                let words = words::choice(*choice);
                let next = self.watch.place().next;
                let moved = *choice == Choice::GoOnFromHere && !self.watch.is_finished();
                let next = moved.then(|| format!("; pick {} is next", next + 1));
                format!("decided: {words}{}", next.unwrap_or_default())
            }
        }
    }
}

fn stand(pick: &Pick<'_>) -> Option<Stand> {
    match pick.work {
        Work::Card { deck, card } => Some(Stand { deck, card }),
        Work::Ground => None,
    }
}
