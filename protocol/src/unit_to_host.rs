//! Messages from unit to host. The order of variants and fields is the wire's:
//! it only grows at the end, and every form ever sent is kept as literal bytes
//! in `protocol/tests/wire/`.

use crate::card::{CardId, MOST_HOLES};
use crate::host_to_unit::Exercise;
use crate::loom::{LoomEvents, LoomStatus};
use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

/// Most sample bytes in one [`UnitToHost::Lines`] message.
pub const SAMPLES_A_MESSAGE: usize = 192;

/// Most cards whose readings a unit keeps until the host has them on disk.
pub const CARDS_HELD: usize = 2;

/// Sample bytes that a unit keeps of one card.
pub const SAMPLES_HELD: usize = 8192;

/// One reading of the light bar: a level for each channel, 0 dark to 255.
/// Channels beyond the format's holes read 0.
pub type Levels = [u8; MOST_HOLES as usize];

/// What the unit reports.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum UnitToHost {
    /// What this unit is.
    Identity(Identity),
    /// How it stands.
    Status(Status),
    /// What it has counted.
    Counters(Counters),
    /// How much may be sent, as totals since the link was opened.
    Credit {
        /// Strokes.
        strokes: u32,
        /// Cards.
        cards: u32,
    },
    /// A card's edge has been found.
    CardBegan(CardBegan),
    /// So many of the card's strokes are done.
    StrokesDone {
        /// Which card.
        id: CardId,
        /// How many.
        done: u16,
    },
    /// Raw readings of a card.
    Lines {
        /// Which card.
        id: CardId,
        /// Number of the first line, from 0. Line `n` was taken with the card
        /// position `(n / samples_per_row - 1)` rows from the first stroke
        /// under the light bar.
        first: u16,
        /// Levels, `holes` bytes a line.
        samples: Vec<u8, SAMPLES_A_MESSAGE>,
    },
    /// The card has left the reader, or never will.
    CardEnded(CardEnded),
    /// The outputs have been switched off.
    Stopped(Stop),
    /// The unit's state has changed.
    State(State),
    /// An order was not carried out.
    Refused(Refusal),
    /// What an exercise showed.
    Exercised {
        /// Which exercise.
        exercise: Exercise,
        /// What was seen.
        report: ExerciseReport,
    },
    /// How the loom's part stands.
    Loom(LoomStatus),
    /// What has happened at the loom.
    LoomEvents(LoomEvents),
}

/// What kind of unit this is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Role {
    /// Punch, feed and reader.
    Rig,
    /// Sensors at the loom.
    Loom,
}

/// What a unit is and what it has.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Identity {
    /// Its kind.
    pub role: Role,
    /// The board's own unchanging number.
    pub board: [u8; 8],
    /// Firmware version.
    pub firmware: String<24>,
    /// How often it has started; the boot number.
    pub boot: u32,
    /// Needle punches and light channels.
    pub channels: u8,
    /// Strokes it can hold.
    pub stroke_room: u16,
    /// Cards it can hold in the queue.
    pub card_room: u8,
    /// Why it last stopped, as far as it knows.
    pub last_stop: StopReason,
    /// Limits compiled into it.
    pub limits: Limits,
}

/// Limits that no host can loosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limits {
    /// Longest time a coil may be on, in microseconds.
    pub coil_on_us: u32,
    /// Largest share of time a coil may be on, in thousandths.
    pub coil_duty_permille: u16,
    /// Coils switched on at one time.
    pub coils_at_once: u8,
    /// Longest time for the block to go down or come up, in microseconds.
    pub stroke_us: u32,
    /// A host silent for this long stops the unit, in microseconds.
    pub host_silent_us: u32,
}

/// What the unit is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum State {
    /// Outputs are off until a person resets it.
    Stopped,
    /// Reset, nothing moves, [`crate::HostToUnit::Start`] begins.
    Ready,
    /// Running out a card that was in the rig before the start.
    Clearing,
    /// Bringing in the next card.
    Loading,
    /// Waiting for a card to be laid in.
    WaitingForCard,
    /// Waiting for rows from the host.
    WaitingForRows,
    /// Waiting until the host has recorded an earlier card.
    WaitingForRecord,
    /// Cutting or reading.
    Working,
    /// Held in register by [`crate::HostToUnit::Pause`].
    Paused,
    /// Moving one part alone.
    Exercising,
    /// Started, with no card in the queue and none announced.
    Idle,
}

/// How the unit stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// What it is doing.
    pub state: State,
    /// Why it last stopped.
    pub last_stop: StopReason,
    /// The card begun last since this boot, if any.
    pub last_begun: Option<CardId>,
    /// Cards whose readings wait for the host to record them, oldest first.
    pub held: Vec<CardEnded, CARDS_HELD>,
    /// Whether it has settings.
    pub configured: bool,
    /// Switches and supply.
    pub inputs: Inputs,
}

/// Switches and supply, as read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Inputs {
    /// The guard is shut.
    pub guard_shut: bool,
    /// The stop button is out.
    pub stop_out: bool,
    /// A card covers the edge sensor.
    pub edge_covered: bool,
    /// The block is at the top.
    pub block_up: bool,
    /// The block is at the bottom.
    pub block_down: bool,
    /// Supply at the coils, in millivolts.
    pub supply_mv: u16,
}

/// What the unit has counted since it started. Times in microseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counters {
    /// Strokes of the block.
    pub strokes: u32,
    /// Cards begun.
    pub cards_begun: u32,
    /// Cards read to the end.
    pub cards_complete: u32,
    /// Time a started rig stood because rows had not come.
    pub waited_rows_us: u64,
    /// Time it stood because an earlier card was not recorded.
    pub waited_record_us: u64,
    /// Time it stood for a card to be laid in.
    pub waited_card_us: u64,
    /// Time it stood to let a coil cool.
    pub waited_cool_us: u64,
    /// Time from the start of each card's pick-up to its end, added up.
    pub working_us: u64,
    /// Frames sent again.
    pub retransmissions: u32,
    /// Frames received that were damaged.
    pub frames_damaged: u32,
    /// Longest single poll.
    pub worst_poll_us: u32,
    /// Longest time from a stop's cause to the last output being off.
    pub worst_off_us: u32,
    /// On-time of each needle punch's coil, then the peg punch's.
    pub coil_on_us: [u64; MOST_HOLES as usize + 1],
}

/// A card's edge has been found and its light measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CardBegan {
    /// Which card.
    pub id: CardId,
    /// Which card this is since the unit started: its place in the stack.
    pub place: u32,
    /// Levels with the lamp off.
    pub dark: Levels,
    /// Levels with the lamp on and no card.
    pub open: Levels,
}

/// The end of a card in the rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CardEnded {
    /// Which card.
    pub id: CardId,
    /// Its place in the stack, as in [`CardBegan`].
    pub place: u32,
    /// Whether every stroke was made and every line read.
    pub complete: bool,
    /// Strokes begun.
    pub strokes: u16,
    /// Lines read.
    pub lines: u16,
    /// From leading to trailing edge as the feed measured it, in micrometres;
    /// 0 if the trailing edge was not seen.
    pub length_um: u32,
}

/// Why outputs went off. Only grows at the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum StopReason {
    /// The unit has just started.
    PowerOn,
    /// The guard is open.
    GuardOpen,
    /// The stop button was pressed.
    StopPressed,
    /// The supply fell below its limit.
    SupplyLow,
    /// The supply rose above its limit.
    SupplyHigh,
    /// Nothing was heard from the host for too long.
    HostSilent,
    /// Another host, or the same one restarted, has opened the link.
    HostReplaced,
    /// The host ordered it.
    HostStop,
    /// The block did not reach the bottom in time.
    StrokeNotDown,
    /// The block did not come back to the top in time.
    StrokeNotUp,
    /// Top and bottom sensor both say yes.
    StrokeSensors,
    /// A card did not arrive or did not leave.
    FeedStalled,
    /// Two cards were fed together.
    DoubleFeed,
    /// Too many holes of one row read wrong.
    GrossMisread,
    /// The lamp gives too little light, or light comes without it.
    LampFault,
    /// The watchdog restarted the unit.
    Watchdog,
    /// The firmware met a state it cannot be in.
    Internal,
}

/// A stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stop {
    /// Why.
    pub reason: StopReason,
    /// The card in the rig, if any.
    pub id: Option<CardId>,
    /// Strokes begun on that card.
    pub strokes: u16,
    /// Unit time, in microseconds since it started.
    pub at_us: u64,
    /// At most this long after the cause the last output was off: the time
    /// since the inputs were last seen to be good.
    pub off_after_us: u32,
}

/// An order that was not carried out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refusal {
    /// It needs a reset first.
    NeedsReset,
    /// A reset, while this input is not safe.
    Unsafe(StopReason),
    /// It needs settings first.
    NeedsSettings,
    /// Settings, a start or an exercise while something moves.
    Busy,
    /// Settings: this one is outside the unit's limits.
    Setting(BadSetting),
    /// A card's strokes did not come whole; the card is dropped.
    CardDamaged(CardId),
    /// Strokes or a resend of a card that is not here.
    NoSuchCard(CardId),
    /// A card beyond the credit, or of no or too many strokes.
    CardTooLarge(CardId),
    /// A card with an identity that was used before.
    CardUsed(CardId),
    /// An exercise with a part that this unit has not got, or an order for a rig to
    /// a unit that is at a loom only.
    NoSuchPart,
    /// Events from a number on that none has got yet.
    NoSuchEvent(u32),
}

/// The setting that was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum BadSetting {
    /// `holes`
    Holes,
    /// `steps_per_metre`
    StepsPerMetre,
    /// `row_pitch_um`, `samples_per_row`, `reader_rows` or a length
    Geometry,
    /// a feed speed or the acceleration
    Speed,
    /// `coils_at_once`
    CoilsAtOnce,
    /// `coil_on_limit_us`
    CoilOnTime,
    /// `coil_duty_permille`
    CoilDuty,
    /// `stroke_timeout_us`
    StrokeTimeout,
    /// `supply_mv`
    Supply,
    /// `settle_us` or `take_up_edges` of a loom
    Loom,
}

/// What an exercise showed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ExerciseReport {
    /// The block went down and came up in these times.
    Stroke {
        /// From start to the bottom.
        down_us: u32,
        /// From the bottom to the top.
        up_us: u32,
    },
    /// The feed ran.
    Fed {
        /// Steps made.
        steps: u32,
        /// Whether a card covered the edge sensor at the end.
        edge_covered: bool,
    },
    /// Levels with the lamp on and off.
    Light {
        /// Lamp on.
        on: Levels,
        /// Lamp off.
        off: Levels,
    },
    /// Switches and supply.
    Inputs(Inputs),
}
