//! Messages from host to unit. The order of variants and fields is the wire's:
//! it only grows at the end, and every form ever sent is kept as literal bytes
//! in `protocol/tests/wire/`.

use crate::card::{CardId, Stroke};
use crate::loom::LoomSettings;
use heapless::Vec;
use serde::{Deserialize, Serialize};

/// Most strokes in one [`HostToUnit::Strokes`] message, so that it fits a
/// frame at the widest encoding (4 bytes a stroke).
pub const STROKES_A_MESSAGE: usize = 48;

/// What the host asks or orders.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum HostToUnit {
    /// Say something about yourself.
    Ask(Question),
    /// Take these settings; refused while anything moves.
    Configure(Settings),
    /// A person has looked at the machine and lets it move again.
    Reset,
    /// Begin to take cards from the queue.
    Start,
    /// Finish the stroke in hand, then hold the card in register.
    Pause,
    /// Go on after [`HostToUnit::Pause`].
    Resume,
    /// Outputs off, now.
    Stop,
    /// A card joins the queue; its strokes follow.
    Card(CardHeader),
    /// Strokes of the card announced last, in order.
    Strokes {
        /// The card they belong to.
        id: CardId,
        /// Number of the first of them, from 0.
        first: u16,
        /// The strokes.
        strokes: Vec<Stroke, STROKES_A_MESSAGE>,
    },
    /// This card's readings are on disk; the unit may forget them.
    Recorded(CardId),
    /// Send this card's readings again from the start.
    Resend(CardId),
    /// Move one part on its own, for a person at the machine to watch.
    Exercise(Exercise),
    /// Stock has been laid in by hand or the magazine refilled.
    CardLaidIn,
    /// Forget the cards of the queue that have not been begun.
    DropQueue,
    /// How the loom's sensors are wired. What was seen before stays.
    ConfigureLoom(LoomSettings),
    /// Send the loom's events from this number on, and those to come. All before
    /// it are on disk; the unit may forget them.
    LoomFrom(u32),
}

/// What can be asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Question {
    /// Answered by `Identity`.
    Identity,
    /// Answered by `Status`.
    Status,
    /// Answered by `Counters`.
    Counters,
    /// Answered by `Loom`.
    Loom,
}

/// What the rig is to do with a card.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Work {
    /// Punch the strokes and read every row back.
    Cut,
    /// Only read; the strokes say what the card should be and are not punched.
    Read,
}

/// The head of a card in the queue.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CardHeader {
    /// Which card.
    pub id: CardId,
    /// Cut or read.
    pub work: Work,
    /// How many strokes it takes, 1 to [`crate::card::MOST_STROKES`].
    pub strokes: u16,
    /// [`crate::card::strokes_crc`] over all of them.
    pub crc: u32,
    /// Whether the host means to send another card after this one. If not, the
    /// unit does not count the time after it as waiting.
    pub more: bool,
}

/// Parts that can be moved alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Exercise {
    /// One stroke with the punch of this hole (1 to 16) locked.
    Punch(u8),
    /// One stroke with the peg punch locked.
    Peg,
    /// One stroke with nothing locked.
    BlankStroke,
    /// Run the feed forward this far, in micrometres.
    Feed(u32),
    /// Lamp on, read every channel, lamp off, read again.
    Lamp,
    /// Read every switch and the supply; nothing moves.
    Sensors,
}

/// How a rig is built and how fast it may go. Lengths are in micrometres along
/// the feed, times in microseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// Holes in a row of this card format: reader channels and punches in use.
    pub holes: u8,
    /// Feed steps in a metre.
    pub steps_per_metre: u32,
    /// From one stroke to the next.
    pub row_pitch_um: u32,
    /// From the card's leading edge to its first stroke.
    pub first_stroke_um: u32,
    /// The card's nominal length.
    pub card_length_um: u32,
    /// How much the measured length may differ before the feed counts as
    /// stalled or doubled.
    pub length_slack_um: u32,
    /// From the edge sensor to the needle punches.
    pub edge_to_punch_um: u32,
    /// From the needle punches to the light bar, in rows.
    pub reader_rows: u8,
    /// Readings taken in each row pitch.
    pub samples_per_row: u8,
    /// From the magazine to the edge sensor: how far a card may be fed before
    /// its edge must have been seen.
    pub pick_up_um: u32,
    /// Run-out after the last reading, so that the card leaves the rollers.
    pub run_out_um: u32,
    /// Feed speed from standstill, in millimetres a second.
    pub start_speed_mm_s: u16,
    /// Highest feed speed, in millimetres a second.
    pub top_speed_mm_s: u16,
    /// Feed acceleration, in millimetres a second a second.
    pub acceleration_mm_s2: u32,
    /// Rest between the last step of a feed and the stroke.
    pub feed_settle_us: u32,
    /// Rest between locking the punches and the stroke.
    pub lock_settle_us: u32,
    /// Rest between two groups of coils switched on.
    pub coil_stagger_us: u32,
    /// Coils switched on at one time; at most the unit's own limit.
    pub coils_at_once: u8,
    /// Longest time for the block to go down, and to come up.
    pub stroke_timeout_us: u32,
    /// Longest time a coil may be on; at most the unit's own limit.
    pub coil_on_limit_us: u32,
    /// Largest share of time a coil may be on, in thousandths; at most the
    /// unit's own limit.
    pub coil_duty_permille: u16,
    /// So many holes of one row reading wrong stop the rig at once.
    pub gross_holes: u8,
    /// Light through single card, in thousandths of the open light; less is
    /// taken for two cards. 0 switches this check off.
    pub single_card_permille: u16,
    /// Lowest and highest supply at the coils, in millivolts.
    pub supply_mv: (u16, u16),
    /// Whether a magazine feeds cards; otherwise they are laid in by hand.
    pub magazine: bool,
}
