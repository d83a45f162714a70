//! One section of a plan file.

use super::faults::PlanFault;
use super::read::words;
use super::runs::{self, Runs};
use super::table::{Found, Table, Value};
use super::{
    Between, Cards, DeckIndex, MOST_ENTRIES, MOST_PICKS, Mark, MarkPlace, Plan, PlanWeft, Section,
    SectionWork, Side, WeftIndex,
};
use crate::deck::file::MOST_CARDS;
use crate::weave::walk::Direction;
use cardwright_protocol::CardNumber;

const KEYS: [&str; 9] = [
    "name",
    "ground",
    "deck",
    "cards",
    "repeat",
    "weft",
    "wefts_by_card",
    "ground_between",
    "marks",
];

/// Keys that a section without cards has no use for.
const ONLY_CARDS: [&str; 3] = ["cards", "wefts_by_card", "ground_between"];

const MARK_KEYS: [&str; 7] = [
    "before",
    "after",
    "before_pick",
    "after_pick",
    "every",
    "way",
    "say",
];

/// Most ground picks between two cards.
const MOST_BETWEEN: u64 = 10_000;

/// A section, and where it says that it fills the length.
pub(super) struct Written<'a> {
    pub section: Section,
    pub fill: Option<Value<'a>>,
}

/// Reads a section of `plan`, whose decks are known. Without a list of wefts those
/// that the section names are added to the plan.
pub(super) fn read<'a>(value: &Value<'a>, plan: &mut Plan) -> Result<Written<'a>, Found> {
    let table = value.table("a [[section]]", &KEYS)?;
    let name = words(&table.need("name", "what it is called, such as name = \"border\"")?)?;
    let wefts = match table.get("weft") {
        None => Vec::new(),
        Some(value) => in_turn(&value, plan)?,
    };
    let work = match (table.get("ground"), table.get("deck")) {
        (Some(ground), None) => {
            if let Some(odd) = ONLY_CARDS.iter().find_map(|key| table.get(key)) {
                return odd.refuse_key(PlanFault::OnlyCards(odd.key.to_owned()));
            }
            SectionWork::Ground(ground.whole(1, MOST_PICKS)?)
        }
        (None, Some(deck)) => SectionWork::Cards(cards(&table, &deck, &wefts, plan)?),
        (Some(_), Some(deck)) => {
            return deck.refuse_key(PlanFault::Body("leave deck or ground out"));
        }
        (None, None) => return Err(table.found(PlanFault::Body("write deck or ground"))),
    };
    let (repeats, fill) = repeat(&table)?;
    let mut section = Section {
        name,
        work,
        repeats,
        to_length: fill.is_some(),
        wefts,
        marks: Vec::new(),
    };
    if let Some(value) = table.get("marks") {
        for value in value.list(
            "marks, such as [{ every = 80, say = \"measure\" }]",
            MOST_ENTRIES,
        )? {
            section.marks.push(mark(&value, &section)?);
        }
    }
    Ok(Written { section, fill })
}

fn repeat<'a>(table: &Table<'a>) -> Result<(u64, Option<Value<'a>>), Found> {
    match table.get("repeat") {
        None => Ok((1, None)),
        Some(value) if value.is_text() => match value.text()? {
            "to length" => Ok((1, Some(value))),
            text => value.refuse(PlanFault::Repeat(text.to_owned())),
        },
        Some(value) => Ok((value.whole(1, MOST_PICKS)?, None)),
    }
}

/// The wefts that a text or a list names, one a pick.
fn in_turn(value: &Value, plan: &mut Plan) -> Result<Vec<WeftIndex>, Found> {
    let names = value.texts(MOST_ENTRIES)?;
    names.iter().map(|(value, _)| weft(value, plan)).collect()
}

fn weft(value: &Value, plan: &mut Plan) -> Result<WeftIndex, Found> {
    let name = words(value)?;
    if let Some(at) = plan.wefts.iter().position(|weft| weft.name == name) {
        return Ok(WeftIndex(at));
    }
    // a list of colours leaves none out
    if plan.wefts.iter().any(|weft| weft.colour.is_some()) {
        let known: Vec<&str> = plan.wefts.iter().map(|weft| weft.name.as_str()).collect();
        return value.refuse(PlanFault::UnknownWeft {
            weft: name,
            known: known.join(", "),
        });
    }
    plan.wefts.push(PlanWeft { name, colour: None });
    Ok(WeftIndex(plan.wefts.len() - 1))
}

fn cards(
    table: &Table,
    deck: &Value,
    wefts: &[WeftIndex],
    plan: &mut Plan,
) -> Result<Cards, Found> {
    let name = deck.text()?;
    let Some(at) = plan.decks.iter().position(|deck| deck.name == name) else {
        let known: Vec<&str> = plan.decks.iter().map(|deck| deck.name.as_str()).collect();
        let known = match known.join(", ") {
            none if none.is_empty() => format!("write {name} = \"FILE.deck\" there"),
            names => format!("it has {names}; add it there, or use one of these"),
        };
        let deck_named = name.to_owned();
        return deck.refuse(PlanFault::UnknownDeck {
            deck: deck_named,
            known,
        });
    };
    let count = plan.decks[at].deck.card_count();
    let mut all = Vec::new();
    match table.get("cards") {
        None => all = runs::whole(count),
        Some(value) => {
            for (value, text) in value.texts(MOST_ENTRIES)? {
                let runs = runs::parse(text, name, count).map_err(|fault| value.found(fault))?;
                all.extend(runs);
                if all.len() > MOST_ENTRIES {
                    return value.refuse(PlanFault::Many {
                        key: "cards".to_owned(),
                        count: all.len(),
                        most: MOST_ENTRIES,
                    });
                }
            }
        }
    }
    let runs = Runs::new(all);
    let between = match table.get("ground_between") {
        None => None,
        Some(value) => Some(between(&value, &runs, wefts, plan)?),
    };
    let wefts = match table.get("wefts_by_card") {
        None => Vec::new(),
        Some(value) => wefts_by_card(&value, &runs, at, plan)?,
    };
    Ok(Cards {
        deck: DeckIndex(at),
        runs,
        between,
        wefts,
    })
}

fn between(
    value: &Value,
    runs: &Runs,
    section: &[WeftIndex],
    plan: &mut Plan,
) -> Result<Between, Found> {
    let table = value.table("ground_between", &["every", "picks", "weft"])?;
    let every = table.need("every", "after how many cards, such as every = 2")?;
    let picks = table.need("picks", "how many ground picks, such as picks = 1")?;
    let after = every.whole(1, MOST_PICKS)?;
    if after > runs.cards() {
        return every.refuse(PlanFault::GapNever {
            every: after,
            cards: runs.cards(),
        });
    }
    let wefts = match table.get("weft") {
        Some(weft) => in_turn(&weft, plan)?,
        None if section.len() > 1 => return value.refuse(PlanFault::GapWeft),
        None => Vec::new(),
    };
    Ok(Between {
        every: after,
        picks: picks.whole(1, MOST_BETWEEN)?,
        wefts,
    })
}

fn wefts_by_card(
    value: &Value,
    runs: &Runs,
    deck: usize,
    plan: &mut Plan,
) -> Result<Vec<(CardNumber, CardNumber, WeftIndex)>, Found> {
    let deck = &plan.decks[deck];
    let (name, count) = (deck.name.clone(), deck.deck.card_count());
    let mut wefts: Vec<(CardNumber, CardNumber, WeftIndex)> = Vec::new();
    for value in value.names("wefts_by_card")?.entries() {
        let named = runs::parse(value.key, &name, count);
        let named = match named {
            Ok(named) => named,
            Err(fault) => return value.refuse_key(fault),
        };
        let weft = weft(&value, plan)?;
        for run in named {
            let (low, high) = run.range();
            if let Some(card) = runs.first_missing(low.0, high.0) {
                let what = "wefts_by_card".to_owned();
                return value.refuse_key(PlanFault::NotWoven { what, card });
            }
            let overlaps =
                |other: &&(CardNumber, CardNumber, WeftIndex)| other.0 <= high && low <= other.1;
            if let Some(other) = wefts.iter().find(overlaps) {
                return value.refuse_key(PlanFault::TwoWefts(low.max(other.0).0));
            }
            wefts.push((low, high, weft));
            if wefts.len() > MOST_ENTRIES {
                return value.refuse_key(PlanFault::Many {
                    key: "wefts_by_card".to_owned(),
                    count: wefts.len(),
                    most: MOST_ENTRIES,
                });
            }
        }
    }
    wefts.sort_unstable();
    Ok(wefts)
}

fn mark(value: &Value, section: &Section) -> Result<Mark, Found> {
    let table = value.table("a mark", &MARK_KEYS)?;
    let say = words(&table.need("say", "the words, such as say = \"measure\"")?)?;
    let places: Vec<Value> = MARK_KEYS[..5]
        .iter()
        .filter_map(|key| table.get(key))
        .collect();
    let [place] = places.as_slice() else {
        return value.refuse(PlanFault::MarkPlace);
    };
    let way = table.get("way");
    let side = match place.key {
        "before" | "before_pick" => Side::Before,
        _ => Side::After,
    };
    if let ("before" | "after", Some(cards)) = (place.key, section.cards()) {
        let place = MarkPlace::Card(
            side,
            marked_card(place, cards)?,
            marked_way(way, place, cards)?,
        );
        return Ok(Mark { place, say });
    }
    if let Some(way) = way {
        return way.refuse_key(PlanFault::MarkWay);
    }
    let place = match place.key {
        "before" | "after" => return place.refuse_key(PlanFault::MarkCard),
        "every" => MarkPlace::Every(place.whole(1, MOST_PICKS)?),
        _ => MarkPlace::Step(side, place.whole(1, MOST_PICKS)? - 1),
    };
    Ok(Mark { place, say })
}

fn marked_card(place: &Value, cards: &Cards) -> Result<CardNumber, Found> {
    let card = CardNumber(place.whole(1, u64::from(MOST_CARDS))? as u32);
    if cards.runs.weaves(card) {
        return Ok(card);
    }
    place.refuse(PlanFault::NotWoven {
        what: format!("the mark's \"{}\"", place.key),
        card: card.0,
    })
}

fn marked_way(
    way: Option<Value>,
    place: &Value,
    cards: &Cards,
) -> Result<Option<Direction>, Found> {
    let Some(way) = way else {
        return Ok(None);
    };
    let (direction, name) = match way.text()? {
        "forwards" => (Direction::Forward, "forwards"),
        "back" => (Direction::Back, "back"),
        text => return way.refuse(PlanFault::Way(text.to_owned())),
    };
    let card = marked_card(place, cards)?;
    let goes = cards.runs.places_of(card).any(|place| {
        let found = cards.runs.at(place);
        found.is_some_and(|(_, way)| way == direction)
    });
    match goes {
        true => Ok(Some(direction)),
        false => way.refuse(PlanFault::NotThatWay {
            card: card.0,
            way: name,
        }),
    }
}

/// Refuses marks at picks that do not come, once it is known how often the section
/// is woven.
pub(super) fn check_marks(value: &Value, section: &Section) -> Result<(), Found> {
    let table = value.names("a [[section]]")?;
    let Some(marks) = table.get("marks") else {
        return Ok(());
    };
    let written = marks.list("marks", MOST_ENTRIES)?;
    for (written, mark) in written.iter().zip(&section.marks) {
        let (pick, picks) = match mark.place {
            MarkPlace::Card(..) => continue,
            MarkPlace::Step(_, step) => (step + 1, section.pass()),
            MarkPlace::Every(every) => (every, section.picks()),
        };
        if pick > picks {
            let keys = ["every", "before_pick", "after_pick"];
            let table = written.names("a mark")?;
            let key = keys.iter().find_map(|key| table.get(key));
            let at = key.as_ref().unwrap_or(written);
            return at.refuse(PlanFault::MarkPick {
                key: at.key.to_owned(),
                pick,
                picks,
            });
        }
    }
    Ok(())
}
