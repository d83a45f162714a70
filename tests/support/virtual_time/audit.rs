//! What really happened against the deck. Written from the truth's strokes and
//! holes alone: which card a piece of stock was to be is told from the pattern
//! the punches really cut, never from what the program says.

use std::collections::{BTreeMap, HashMap, HashSet};

use cardwright::deck::{Deck, Stroke};
use cardwright::ledger::Verdict;
use cardwright_protocol::CardNumber;
use cardwright_virtual::faults::FaultKind;
use cardwright_virtual::truth::{self, Difference, StrokeEnd};
use cardwright_virtual::{World, WorldSettings};

/// A chad that leaves at least this share of its hole open is let pass, by the
/// reader and by a needle alike (a needle is thinner than its hole).
pub const LEAST_OPEN: f64 = 0.55;

/// How far a hole may lie from its place for the cloth not to show it.
const REGISTER_MM: f64 = 1.0;

/// Rows from which on no two random cards are alike; before them lie the end
/// lace and the blank stroke.
const TELLING: std::ops::Range<usize> = 2..6;

/// Whether an extra hole's middle lies in a peg hole, where there is no card:
/// the reader sees the peg hole open in any case, no needle stands there, and at
/// most a sliver of 0.6 mm is cut from the peg hole's rim.
fn in_peg_hole(stroke: f64, hole: f64, strokes: &[Stroke], world: &WorldSettings) -> bool {
    let middle = (f64::from(world.holes) + 1.0) / 2.0;
    let pegs = (1u32..).zip(strokes).filter(|(_, s)| s.peg());
    let reach = world.peg_diameter_mm / 2.0 / world.pitch_mm;
    pegs.into_iter()
        .any(|(at, _)| (stroke - f64::from(at)).hypot(hole - middle) < reach)
}

/// What a look at a card found.
struct Look {
    differs: Vec<Difference>,
    least_open: f64,
    in_peg_holes: u32,
}

/// What is wrong with a card.
fn look_at(card: &truth::Card, strokes: &[Stroke], world: &WorldSettings) -> Look {
    let mut look = Look {
        differs: card.matches(strokes, world.holes, world.pitch_mm, REGISTER_MM),
        least_open: 1.0,
        in_peg_holes: 0,
    };
    look.differs.retain(|difference| match difference {
        Difference::Chad { open, .. } if *open >= LEAST_OPEN => {
            look.least_open = look.least_open.min(*open);
            false
        }
        Difference::Extra { stroke, hole, .. } if in_peg_hole(*stroke, *hole, strokes, world) => {
            look.in_peg_holes += 1;
            false
        }
        _ => true,
    });
    look
}

/// What one physical stroke of a piece locked.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Cut {
    locked: u16,
    peg: bool,
    along_mm: f64,
}

/// A piece of stock that strokes were made on, or that left whole.
#[derive(Clone, Debug)]
pub struct Piece {
    /// Its serial number in the world.
    pub serial: u64,
    /// Strokes that came down on it.
    pub strokes: usize,
    /// In what it differs from what the deck wants.
    pub differs: Vec<Difference>,
    /// The least share of a hole that a chad leaves open.
    pub least_open: f64,
    /// Extra holes that lie in a peg hole.
    pub in_peg_holes: u32,
}

/// The account kept from the truth.
pub struct Audit {
    programmes: Vec<Vec<Stroke>>,
    telling: HashMap<Vec<(u16, bool)>, u32>,
    world: WorldSettings,
    cuts: HashMap<u64, Vec<Cut>>,
    /// Pieces of each card, in the order they were taken.
    pub pieces: BTreeMap<CardNumber, Vec<Piece>>,
    /// Everything that must never be.
    pub wrongs: Vec<String>,
    /// Strokes that came down on card.
    pub strokes: u64,
    /// Strokes that came down with no card under them.
    pub in_the_air: u64,
    /// Strokes that were let go half-way and driven on without any punch.
    pub raised: u64,
    /// Pieces whose strokes are too few to tell which card they were to be.
    pub unknown: u64,
    /// Pieces that left the machine.
    pub left_count: u64,
    /// Injected faults by kind.
    pub injected: BTreeMap<FaultKind, u64>,
    /// The least share of a hole left open on a card called good.
    pub worst_chad_passed: f64,
    /// Extra holes in peg holes of cards called good.
    pub in_peg_holes_passed: u32,
    /// Cards with a fault that moves them against the punches.
    moved: HashSet<u64>,
    /// Cards under which the light changed.
    dimmed: HashSet<u64>,
}

fn pattern(stroke: Stroke) -> (u16, bool) {
    (stroke.punches().0, stroke.peg())
}

impl Audit {
    /// An audit of work on this deck.
    #[must_use]
    pub fn new(deck: &Deck, world: &WorldSettings) -> Audit {
        let programmes: Vec<Vec<Stroke>> = deck
            .cards()
            .filter_map(|(number, _)| deck.strokes(number))
            .collect();
        let key = |strokes: &Vec<Stroke>| {
            let telling = strokes.get(TELLING).unwrap_or_default();
            telling.iter().map(|s| pattern(*s)).collect::<Vec<_>>()
        };
        let telling = (1..).zip(&programmes).map(|(n, s)| (key(s), n)).collect();
        Audit {
            programmes,
            telling,
            world: world.clone(),
            cuts: HashMap::new(),
            pieces: BTreeMap::new(),
            wrongs: Vec::new(),
            strokes: 0,
            in_the_air: 0,
            raised: 0,
            unknown: 0,
            left_count: 0,
            injected: BTreeMap::new(),
            worst_chad_passed: 1.0,
            in_peg_holes_passed: 0,
            moved: HashSet::new(),
            dimmed: HashSet::new(),
        }
    }

    /// Takes the truth's lists over and looks at every piece that has left.
    pub fn take(&mut self, world: &mut World) {
        let truth = world.truth_mut();
        for fault in truth.take_injected() {
            *self.injected.entry(fault.kind).or_insert(0) += 1;
            let moves = matches!(
                fault.kind,
                FaultKind::FeedSlip | FaultKind::Jam | FaultKind::DoubledFeed
            );
            self.moved.extend(fault.card.filter(|_| moves));
            let dims = matches!(fault.kind, FaultKind::LampDrift | FaultKind::Dust);
            self.dimmed.extend(fault.card.filter(|_| dims));
        }
        for stroke in truth.take_strokes() {
            self.stroke(&stroke);
        }
        let left = truth.take_cards();
        // a card leaves after its last stroke has ended
        for card in left {
            self.left_count += 1;
            self.piece_left(&card);
        }
    }

    fn stroke(&mut self, stroke: &truth::Stroke) {
        if !stroke.came_down || stroke.end == StrokeEnd::NotBegun {
            return;
        }
        let Some(serial) = stroke.card else {
            self.in_the_air += 1;
            return;
        };
        self.strokes += 1;
        self.cuts.entry(serial).or_default().push(Cut {
            locked: stroke.locked,
            peg: stroke.peg_locked,
            along_mm: stroke.along_mm,
        });
    }

    fn wrong(&mut self, what: String) {
        if self.wrongs.len() < 100 {
            self.wrongs.push(what);
        }
    }

    fn piece_left(&mut self, card: &truth::Card) {
        let serial = card.card.serial;
        let mut cuts = self.cuts.remove(&serial).unwrap_or_default();
        // a stroke that was stopped half-way is driven on with nothing locked
        let raised = |cut: &Cut| cut.locked == 0 && !cut.peg;
        if cuts.is_empty() {
            return;
        }
        if !self.moved.contains(&serial) {
            self.places(serial, &cuts);
        }
        let number = self.which(&cuts).or_else(|| {
            let last_raised = cuts.last().is_some_and(raised);
            last_raised.then(|| {
                cuts.pop();
                self.raised += 1;
                self.which(&cuts)
            })?
        });
        match number {
            Some(0) => self.unknown += 1,
            Some(number) => {
                let strokes = &self.programmes[number as usize - 1];
                let look = look_at(card, strokes, &self.world);
                let piece = Piece {
                    serial,
                    strokes: cuts.len(),
                    differs: look.differs,
                    least_open: look.least_open,
                    in_peg_holes: look.in_peg_holes,
                };
                let pieces = self.pieces.entry(CardNumber(number)).or_default();
                pieces.push(piece);
            }
            // the lower of two cards, struck where the upper one ended
            None if card.doubled_with.is_some() => self.unknown += 1,
            None => {
                let seen: Vec<_> = cuts.iter().map(|c| (c.locked, c.peg)).collect();
                self.wrong(format!("piece {serial} is no card's beginning: {seen:?}"));
            }
        }
    }

    /// No place of a card is struck twice, and none is left out.
    fn places(&mut self, serial: u64, cuts: &[Cut]) {
        let pitch = self.world.pitch_mm;
        for (at, pair) in cuts.windows(2).enumerate() {
            let step = pair[1].along_mm - pair[0].along_mm;
            if (step - pitch).abs() > 0.5 {
                let locked = (pair[1].locked, pair[1].peg);
                // driven on after a stop: where it was, with nothing locked
                if at + 2 == cuts.len() && locked == (0, false) && step.abs() < 0.5 {
                    continue;
                }
                self.wrong(format!(
                    "piece {serial}: {step:.2} mm from stroke {} to {}",
                    at + 1,
                    at + 2
                ));
            }
        }
    }

    /// Which card begins like this; 0 if too little has been cut to tell.
    fn which(&self, cuts: &[Cut]) -> Option<u32> {
        let seen: Vec<_> = cuts.iter().map(|cut| (cut.locked, cut.peg)).collect();
        let begins = |number: u32| {
            let strokes = self.programmes.get(number as usize - 1)?;
            let same = strokes.len() >= seen.len()
                && strokes.iter().zip(&seen).all(|(s, c)| pattern(*s) == *c);
            same.then_some(number)
        };
        if let Some(telling) = seen.get(TELLING) {
            return begins(*self.telling.get(telling)?);
        }
        (1..=self.programmes.len() as u32)
            .find_map(begins)
            .map(|_| 0)
    }

    /// A card's last piece, if it was cut.
    #[must_use]
    pub fn last(&self, card: CardNumber) -> Option<&Piece> {
        self.pieces.get(&card).and_then(|pieces| pieces.last())
    }

    /// Each card's pieces, for messages: serial number, strokes, differences.
    #[must_use]
    pub fn in_short(&self) -> BTreeMap<u32, Vec<(u64, usize, usize)>> {
        let short = |piece: &Piece| (piece.serial, piece.strokes, piece.differs.len());
        let all = self.pieces.iter();
        all.map(|(card, pieces)| (card.0, pieces.iter().map(short).collect()))
            .collect()
    }

    /// Whether all strokes of a card's programme came down on this piece.
    #[must_use]
    pub fn whole(&self, card: CardNumber, piece: &Piece) -> bool {
        let programme = self.programmes.get(card.0 as usize - 1);
        programme.is_some_and(|strokes| strokes.len() == piece.strokes)
    }

    /// A card recorded good: its last piece is whole and as the deck wants it.
    /// Everything that speaks against it is noted.
    pub fn called_good(&mut self, card: CardNumber) {
        let verdict = match self.last(card).cloned() {
            None => Some("was never cut".to_string()),
            Some(piece) if !self.whole(card, &piece) => {
                Some(format!("has {} strokes", piece.strokes))
            }
            Some(piece) if !piece.differs.is_empty() => Some(format!(
                "differs (piece {}): {:?}",
                piece.serial, piece.differs
            )),
            Some(piece) => {
                self.worst_chad_passed = self.worst_chad_passed.min(piece.least_open);
                self.in_peg_holes_passed += piece.in_peg_holes;
                None
            }
        };
        if let Some(why) = verdict {
            self.wrong(format!("card {} is called good and {why}", card.0));
        }
    }

    /// No card was begun more often than it was tried, and how many pieces
    /// were good and thrown away.
    pub fn tried(&mut self, card: CardNumber, tries: usize, called_good: bool) -> u32 {
        let pieces = self.pieces.get(&card).map_or(0, Vec::len);
        if pieces > tries {
            self.wrong(format!("card {}: {tries} tries, {pieces} pieces", card.0));
        }
        let good = self.pieces.get(&card).into_iter().flatten();
        let good = good.filter(|piece| piece.differs.is_empty()).count() as u32;
        good.saturating_sub(u32::from(called_good))
    }

    /// Pieces of this card that were as the deck wants them and were judged
    /// faulty all the same, with the light changing under them and without;
    /// counted only where tries and pieces tally.
    #[must_use]
    pub fn false_alarms(&self, card: CardNumber, tries: &[Verdict]) -> (u32, u32) {
        let pieces = self.pieces.get(&card).map_or(&[][..], Vec::as_slice);
        if pieces.len() != tries.len() {
            return (0, 0);
        }
        let judged = [
            Verdict::Missing,
            Verdict::Extra,
            Verdict::Mixed,
            Verdict::OutOfRegister,
        ];
        let alarm = |(piece, verdict): &(&Piece, &Verdict)| {
            judged.contains(verdict) && piece.differs.is_empty() && piece.least_open > 0.9
        };
        let alarms = pieces.iter().zip(tries).filter(alarm);
        let (dimmed, clear): (Vec<_>, Vec<_>) =
            alarms.partition(|(piece, _)| self.dimmed.contains(&piece.serial));
        (dimmed.len() as u32, clear.len() as u32)
    }
}
