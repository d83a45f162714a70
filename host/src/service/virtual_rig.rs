//! The virtual rig, started in this process behind a pseudo-terminal. What goes
//! wrong in it is told by a file of rates; the program on this side of the
//! terminal learns of it only what a unit would send.

use std::path::{Path, PathBuf};

use cardwright_protocol::card::MOST_HOLES;
use cardwright_virtual::chance::{Chance, Fault};
use cardwright_virtual::loom::{LoomOptions, MistakeKind, Mistakes};
use cardwright_virtual::pty::{Handle, Options, VirtualRig};
use cardwright_virtual::stock::Card;
use cardwright_virtual::{Attendant, Faults, LineSettings, Nameplate, WorldSettings};
use serde::{Deserialize, Serialize};

use super::ServiceError;
use crate::deck::{CardFormat, CardList, Deck, Stroke};

/// Delay of the virtual line each way, as a USB serial adapter adds it.
const LINE_DELAY_US: u64 = 1_000;

/// How long the attendant takes for anything.
const ATTENDANT_US: u64 = 1_000_000;

/// How long the path must have been empty before the attendant lays a card in:
/// longer than the rig takes to clear it at a start.
const LAYS_IN_US: u64 = 3_000_000;

/// Blank cards in the magazine, and laid in whenever it is empty.
const BLANKS: u64 = 200;

/// How the virtual rig is to be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VirtualChoice {
    /// Virtual seconds in a second.
    pub speed: f64,
    /// What lies in its magazine where it is only to read: a deck file and, after a
    /// colon, which of its cards, in the order in which they lie. The deck at hand if
    /// none is named.
    pub stack: Option<String>,
    /// What goes wrong.
    pub faults: FaultFile,
}

impl Default for VirtualChoice {
    fn default() -> VirtualChoice {
        VirtualChoice {
            speed: 20.0,
            stack: None,
            faults: FaultFile::default(),
        }
    }
}

impl VirtualChoice {
    /// The stack that is named, for cards of this format.
    ///
    /// # Errors
    /// [`ServiceError::Request`] if none is named or it is of another format;
    /// what is wrong with the deck file or the list of cards.
    pub(super) fn magazine(&self, format: &CardFormat) -> Result<Stock, ServiceError> {
        let (file, stock) = self.any_magazine()?;
        match &stock.format {
            Some(other) if other != format => Err(ServiceError::Request(format!(
                "--stack {file} has cards of format {}, and {} is asked for; name another, or give \
                 that --format",
                other.name(),
                format.name()
            ))),
            _ => Ok(stock),
        }
    }

    /// The stack that is named, whatever its format, and the name of its file.
    ///
    /// # Errors
    /// As [`VirtualChoice::magazine`].
    pub(super) fn any_magazine(&self) -> Result<(&str, Stock), ServiceError> {
        let Some(named) = &self.stack else {
            return Err(ServiceError::Request(
                "the virtual rig has only blank cards; name the deck whose cards lie in it with \
                 --stack FILE, or some of them with --stack FILE:CARDS"
                    .to_string(),
            ));
        };
        let (file, list) = match named.rsplit_once(':') {
            Some((file, list)) if !Path::new(named).exists() => (file, Some(list)),
            _ => (named.as_str(), None),
        };
        let deck = Deck::read(Path::new(file))?;
        let list = match list {
            Some(list) => CardList::as_they_lie(list, deck.card_count())?,
            None => CardList::all(deck.card_count()).iter().collect(),
        };
        let stock = Stock {
            format: Some(deck.format().clone()),
            stack: list.iter().filter_map(|card| deck.strokes(*card)).collect(),
            ..Stock::default()
        };
        Ok((file, stock))
    }

    /// Refuses a speed that no clock can run at.
    ///
    /// # Errors
    /// [`ServiceError::Request`] with what can be given.
    pub fn check(&self) -> Result<(), ServiceError> {
        if (0.1..=1000.0).contains(&self.speed) {
            return Ok(());
        }
        let speed = self.speed;
        let words = format!("--speed is {speed}; give a number from 0.1 to 1000");
        Err(ServiceError::Request(words))
    }
}

/// Rates of faults, each from 0 to 1, and the seed of chance.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct FaultFile {
    /// Where chance begins.
    pub seed: u64,
    /// For each hole of a card that came cut: that it is partly closed.
    pub worn_hole: f64,
    /// For each hole that should be cut.
    pub missing_hole: f64,
    /// For each hole cut.
    pub hanging_chad: f64,
    /// For each place that should stay solid.
    pub extra_hole: f64,
    /// For each stroke.
    pub feed_slip: f64,
    /// For each card.
    pub doubled_feed: f64,
    /// For each card.
    pub jam: f64,
    /// For each stroke.
    pub stuck_stroke: f64,
    /// For each card.
    pub lamp_drift: f64,
    /// For each card.
    pub dust: f64,
    /// For each stroke.
    pub guard_opened: f64,
    /// For each stroke.
    pub stop_pressed: f64,
    /// For each stroke.
    pub unit_restarted: f64,
    /// For each stroke.
    pub cable_pulled: f64,
    /// For each frame on the line.
    pub frame_lost: f64,
    /// For each frame on the line.
    pub frame_repeated: f64,
    /// For each byte on the line.
    pub byte_damaged: f64,
    /// For each byte on the line.
    pub byte_dropped: f64,
    /// For each pick: that the weaver turns a card too far.
    pub turned_twice: f64,
    /// For each pick: that the weaver turns the wrong way.
    pub turned_wrong_way: f64,
    /// For each pick: that the weaver does not turn the card.
    pub not_turned: f64,
    /// For each pick: that the weaver forgets the weft.
    pub weft_forgotten: f64,
    /// For each pick: that the weaver does not beat.
    pub beat_skipped: f64,
    /// For each pick: that the weaver beats once more.
    pub beaten_twice: f64,
    /// For each pick: that the weaver takes some out.
    pub unwoven: f64,
}

impl FaultFile {
    /// Reads a file of rates.
    ///
    /// # Errors
    /// [`ServiceError::Request`] naming the file, the line and the cause.
    pub fn read(path: &Path) -> Result<FaultFile, ServiceError> {
        let file = path.display();
        let text = crate::input::text(path).map_err(|error| {
            ServiceError::Request(format!(
                "fault file {file} cannot be read: {error}; check its name"
            ))
        })?;
        FaultFile::parse(&text, &file.to_string())
    }

    /// Reads rates from text.
    ///
    /// # Errors
    /// As [`FaultFile::read`].
    pub fn parse(text: &str, file: &str) -> Result<FaultFile, ServiceError> {
        let faults: FaultFile = toml::from_str(text).map_err(|error| {
            let (line, cause) = crate::input::wrong_toml(text, &error);
            ServiceError::Request(format!("fault file {file}, line {line}: {cause}"))
        })?;
        match faults
            .rates()
            .into_iter()
            .find(|(_, rate)| !(0.0..=1.0).contains(rate))
        {
            None => Ok(faults),
            Some((name, rate)) => Err(ServiceError::Request(format!(
                "fault file {file}: {name} is {rate}; give a rate from 0 to 1"
            ))),
        }
    }

    fn rates(&self) -> [(&'static str, f64); 25] {
        [
            ("missing_hole", self.missing_hole),
            ("hanging_chad", self.hanging_chad),
            ("extra_hole", self.extra_hole),
            ("feed_slip", self.feed_slip),
            ("doubled_feed", self.doubled_feed),
            ("jam", self.jam),
            ("stuck_stroke", self.stuck_stroke),
            ("lamp_drift", self.lamp_drift),
            ("dust", self.dust),
            ("guard_opened", self.guard_opened),
            ("stop_pressed", self.stop_pressed),
            ("unit_restarted", self.unit_restarted),
            ("cable_pulled", self.cable_pulled),
            ("frame_lost", self.frame_lost),
            ("frame_repeated", self.frame_repeated),
            ("byte_damaged", self.byte_damaged),
            ("byte_dropped", self.byte_dropped),
            ("worn_hole", self.worn_hole),
            ("turned_twice", self.turned_twice),
            ("turned_wrong_way", self.turned_wrong_way),
            ("not_turned", self.not_turned),
            ("weft_forgotten", self.weft_forgotten),
            ("beat_skipped", self.beat_skipped),
            ("beaten_twice", self.beaten_twice),
            ("unwoven", self.unwoven),
        ]
    }

    fn line(&self) -> LineSettings {
        let fault = |rate| Fault::new(rate, self.seed);
        LineSettings {
            frame_lost: fault(self.frame_lost),
            frame_repeated: fault(self.frame_repeated),
            byte_damaged: fault(self.byte_damaged),
            byte_dropped: fault(self.byte_dropped),
            ..LineSettings::sound(super::BAUD, LINE_DELAY_US)
        }
    }

    /// What the weaver at the virtual loom does wrong.
    pub(super) fn mistakes(&self) -> Mistakes {
        let kinds = [
            (MistakeKind::TurnsTwice, self.turned_twice),
            (MistakeKind::TurnsWrongWay, self.turned_wrong_way),
            (MistakeKind::ForgetsToTurn, self.not_turned),
            (MistakeKind::ForgetsWeft, self.weft_forgotten),
            (MistakeKind::SkipsBeat, self.beat_skipped),
            (MistakeKind::BeatsTwice, self.beaten_twice),
            (MistakeKind::Unweaves, self.unwoven),
        ];
        kinds
            .into_iter()
            .fold(Mistakes::default(), |mistakes, (kind, rate)| {
                mistakes.with(kind, Fault::new(rate, self.seed))
            })
    }

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        // both lists begin in the order of the faults' own declaration
        for ((_, fault), (_, rate)) in faults.each_mut().into_iter().zip(self.rates()) {
            *fault = Fault::new(rate, self.seed);
        }
        faults
    }
}

/// What lies in the virtual rig and how it gets there.
#[derive(Clone, Debug, Default)]
pub struct Stock {
    /// The card format; the world's own sizes if not given.
    pub format: Option<CardFormat>,
    /// Cards already cut, which lie in the magazine instead of blank ones.
    pub stack: Vec<Vec<Stroke>>,
    /// Whether the attendant lays each card in by hand.
    pub by_hand: bool,
    /// Whether every channel of the light bar is looked at, those beside the card
    /// too.
    pub whole_bar: bool,
    /// A loom whose sensors are wired to the unit.
    pub loom: Option<LoomOptions>,
    /// How often its board has been started before.
    pub boots: u32,
}

impl Stock {
    /// What is left when so many cards have been taken.
    pub(super) fn after(mut self, taken: usize) -> Stock {
        self.stack.drain(..taken.min(self.stack.len()));
        self
    }
}

/// Starts a virtual rig. `link` is a name that always points to its present
/// terminal.
///
/// # Errors
/// [`ServiceError::Virtual`] if the system gives no terminal or thread.
pub fn serve(
    choice: &VirtualChoice,
    stock: &Stock,
    link: Option<PathBuf>,
) -> Result<Handle, ServiceError> {
    choice.check()?;
    let mut world = WorldSettings::default();
    let format = stock.format.as_ref();
    if let Some(format) = format {
        world.holes = format.holes_per_row();
        world.pitch_mm = format.row_pitch_mm();
        world.needle_diameter_mm = format.needle_hole_mm();
        world.peg_diameter_mm = format.peg_hole_mm();
        world.stock.length_mm = format.card_length_mm();
        world.stock.width_mm = format.card_width_mm();
    }
    if stock.whole_bar {
        world.beside = MOST_HOLES.saturating_sub(world.holes);
    }
    world.seed = choice.faults.seed.wrapping_add(1);
    world.stock.seed = world.seed;
    let first_mm = format.map_or(0.0, CardFormat::first_stroke_mm);
    let mut wear = Chance::new(Fault::new(choice.faults.worn_hole, world.seed), 0);
    let cards: Vec<Card> = stock
        .stack
        .iter()
        .map(|strokes| Card::cut(&world, strokes, first_mm).worn(&mut wear))
        .collect();
    let options = Options {
        world,
        faults: choice.faults.faults(),
        factor: choice.speed,
        link,
        line: choice.faults.line(),
        attendant: Attendant {
            refills: Some(BLANKS),
            takes_out_stopped_us: Some(ATTENDANT_US),
            lays_in_us: stock.by_hand.then_some(LAYS_IN_US),
            ..Attendant::mending_after(ATTENDANT_US)
        },
        blanks: if cards.is_empty() { BLANKS } else { 0 },
        cards,
        loom: stock.loom.clone(),
        nameplate: Nameplate {
            boots: stock.boots,
            ..Nameplate::default()
        },
        ..Options::default()
    };
    VirtualRig::serve(options).map_err(|error| ServiceError::Virtual(error.to_string()))
}
