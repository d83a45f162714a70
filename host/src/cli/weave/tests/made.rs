//! An invented plan, and the work on it at places that the screen must tell apart.

use std::path::Path;
use std::sync::Arc;

use crate::deck::{CardFormat, CardNumber, Cutting, Deck, Row};
use crate::weave::plan::{DeckIndex, Plan};
use crate::weave::view::{Asking, Line, NextPick, OpenFault, View};
use crate::weave::walk::Walk;
use crate::weave::watch::{Apart, Fault, FaultId, FaultKind, Remedy, Stand};
use crate::weave::words;

/// Two decks, a ground section between, and a border woven back again.
pub(super) const PLAN: &str = r##"
name = "Sedge towels"
length = "2.4 m"
sett = { picks = 60, per = "in" }

[decks]
sedge = "sedge.deck"
border = "border.deck"

[wefts]
linen = "#3a5378"
ochre = "#c89632"

[[section]]
name = "hem"
ground = 24
weft = "linen"

[[section]]
name = "border"
deck = "border"
cards = "1-24, 23-2"
repeat = 2
weft = "ochre"

[[section]]
name = "sedge"
deck = "sedge"
repeat = "to length"
weft = "linen"
"##;

/// A lozenge on twill, so that it is seen whether the cloth stands upright.
fn cut(card: u32, cards: u32, hook: u32, hooks: u32) -> bool {
    let (x, y) = (
        f64::from(hook) / f64::from(hooks),
        f64::from(card) / f64::from(cards),
    );
    let figure = (x - 0.5).abs() + (y - 0.5).abs() < 0.4;
    let twill = (hook + card).is_multiple_of(4);
    figure != twill
}

fn deck(name: &str, format: &str, cards: u32) -> Deck {
    let format = CardFormat::named(format).expect("it is built in");
    let (rows, holes) = (u32::from(format.rows()), u32::from(format.holes_per_row()));
    let row = |card: u32, row: u32| {
        let hooks = (0..holes).filter(|hole| cut(card, cards, row * holes + hole, rows * holes));
        Row::from_holes(hooks.map(|hole| hole as u8 + 1))
    };
    let card = |card| (0..rows).map(|at| row(card, at)).collect::<Vec<_>>();
    let all = (0..cards).map(card).collect();
    let cutting = Cutting {
        cut: Default::default(),
        spare_row: crate::deck::SpareRow::Used,
    };
    Deck::new(name, format, None, cutting, all).expect("the cards are of the format")
}

/// The walk along a plan with decks of the test.
pub(super) fn walk(text: &str) -> Walk {
    let mut decks = |file: &Path| {
        Ok(match file.file_stem().and_then(|stem| stem.to_str()) {
            Some("border") => deck("border", "100", 24),
            Some("small") => deck("small", "100", 9),
            _ => deck("sedge", "400", 160),
        })
    };
    let plan = Plan::parse(text, Path::new("plan.toml"), &mut decks);
    Walk::new(Arc::new(plan.expect("the plan is good")))
}

pub(super) fn stand(deck: usize, card: u32) -> Stand {
    Stand {
        deck: DeckIndex(deck),
        card: CardNumber(card),
    }
}

/// In the middle of the sedge, forwards.
pub(super) fn forwards() -> View {
    let start = 1_700_000_000_000;
    let line = |age: i64, words: &str| Line {
        at: start - 1_900 * age,
        words: words.to_string(),
        pick: None,
    };
    View {
        turns_wanted: None,
        plan: "Sedge towels".to_string(),
        piece: 12,
        now: start,
        next: Some(NextPick {
            number: 1_254,
            section: "sedge".to_string(),
            section_of: (3, 3),
            repeat_of: (8, 35),
            card: Some(18),
            deck: Some("sedge".to_string()),
            weft: Some(("linen".to_string(), Some([0x3a, 0x53, 0x78]))),
            back: Some(false),
            turns: None,
        }),
        stands: Some(stand(0, 17)),
        picks: (1_253, 5_716),
        in_cloth: 1_253,
        stray: 0,
        length_mm: (Some(530.4), Some(2_400.0)),
        take_up_mm: Some(512.0),
        picks_a_minute: Some(31.6),
        seconds_left: Some(8_474.0),
        open: Vec::new(),
        asking: None,
        begun: true,
        paused: false,
        heard: true,
        last: vec![
            line(40, "note: new pirn, a little darker"),
            line(
                31,
                "no weft: pick 1237 was beaten, and no shuttle had come over; throw the weft \
                      into the shed of card 1 of sedge and beat again",
            ),
            line(29, "right again: no weft, pick 1237"),
            line(2, "pick 1252: card 16 of sedge, sedge"),
            line(1, "pick 1253: card 17 of sedge, sedge"),
        ],
        woven: (1_053..1_253).collect(),
    }
}

/// In the border, turned back.
pub(super) fn back() -> View {
    View {
        next: Some(NextPick {
            number: 59,
            section: "border".to_string(),
            section_of: (2, 3),
            repeat_of: (1, 2),
            card: Some(13),
            deck: Some("border".to_string()),
            weft: Some(("ochre".to_string(), Some([0xc8, 0x96, 0x32]))),
            back: Some(true),
            turns: None,
        }),
        stands: Some(stand(1, 14)),
        picks: (58, 5_716),
        in_cloth: 58,
        length_mm: (Some(24.6), Some(2_400.0)),
        take_up_mm: None,
        woven: (0..58).collect(),
        ..forwards()
    }
}

/// In the hem, without a card.
pub(super) fn ground() -> View {
    View {
        next: Some(NextPick {
            number: 7,
            section: "hem".to_string(),
            section_of: (1, 3),
            repeat_of: (1, 1),
            weft: Some(("linen".to_string(), Some([0x3a, 0x53, 0x78]))),
            ..NextPick::default()
        }),
        stands: None,
        picks: (6, 5_716),
        in_cloth: 6,
        length_mm: (Some(2.5), Some(2_400.0)),
        take_up_mm: None,
        picks_a_minute: None,
        seconds_left: None,
        last: Vec::new(),
        woven: (0..6).collect(),
        ..forwards()
    }
}

/// A fault that is open, in the words that the work itself has for it.
pub(super) fn open(walk: &Walk, kind: FaultKind, hands: Remedy, evidence: [u32; 3]) -> OpenFault {
    let plan = walk.plan();
    let fault = Fault {
        id: FaultId(4),
        kind,
        pick: 1_253,
        at: 1_700_000_000_000,
        event: 9_120,
        evidence,
    };
    OpenFault {
        words: words::fault(kind).to_string(),
        evidence: words::evidence(walk, &fault),
        remedy: words::remedy(plan, hands, Some(stand(0, 18))),
        hands,
        choices: kind
            .choices()
            .iter()
            .map(|choice| (*choice, words::choice(*choice).to_string()))
            .collect(),
        fault,
    }
}

/// One of each kind of fault, with what rights it and what was seen.
pub(super) fn faults() -> Vec<(&'static str, FaultKind, Remedy, [u32; 3])> {
    let unweave = |picks| Remedy::Unweave { picks };
    let turn = |cards| Remedy::Turn { cards };
    let (stands, wanted) = (stand(0, 20), stand(0, 18));
    vec![
        (
            "beat_without_card",
            FaultKind::BeatWithoutCard,
            Remedy::Decide,
            [0, 0, 0],
        ),
        (
            "stray_pick",
            FaultKind::BeatWithoutCard,
            unweave(1),
            [0, 0, 1],
        ),
        (
            "card_without_beat",
            FaultKind::CardWithoutBeat { card: wanted },
            turn(-1),
            [1, 1, 0],
        ),
        (
            "turned_twice",
            FaultKind::TurnedTwice { passed: wanted },
            turn(-1),
            [2, 0, 0],
        ),
        (
            "wrong_way",
            FaultKind::TurnedWrongWay {
                stands: stand(0, 16),
            },
            turn(2),
            [1, 0, 0],
        ),
        ("no_weft", FaultKind::NoWeft, Remedy::Throw, [1, 1, 0]),
        (
            "apart_beaten",
            FaultKind::Apart(Apart::Beaten { stands, wanted }),
            unweave(3),
            [3, 1, 1],
        ),
        (
            "apart_unit_off",
            FaultKind::Apart(Apart::UnitOff),
            Remedy::SayCard,
            [0, 0, 0],
        ),
    ]
}

/// The same as [`forwards`] with this fault open.
pub(super) fn faulty(walk: &Walk, kind: FaultKind, hands: Remedy, evidence: [u32; 3]) -> View {
    let fault = open(walk, kind, hands, evidence);
    let stray = match hands {
        Remedy::Unweave { picks } => picks,
        _ => 0,
    };
    let mut view = forwards();
    view.last.push(Line {
        at: view.now,
        words: format!("{}: {}; {}", fault.words, fault.evidence, fault.remedy),
        pick: None,
    });
    if hands == Remedy::SayCard {
        view.stands = None;
        view.asking = Some(chain());
    }
    View {
        open: vec![fault],
        stray,
        ..view
    }
}

/// The chain is to be laid.
pub(super) fn chain() -> Asking {
    Asking::Chain {
        card: "card 18 of sedge".to_string(),
        back: false,
    }
}

/// Much has happened while the program was off.
pub(super) fn catch_up() -> Asking {
    Asking::CatchUp {
        events: 131,
        turns: 25,
        beats: 27,
        next: Some(1_279),
        faults: vec!["beat without a card".to_string()],
    }
}
