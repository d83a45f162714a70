//! Attempts between being chosen and being done with.

use cardwright_protocol::card::{Stroke, strokes_crc};
use cardwright_protocol::host_to_unit::{CardHeader, STROKES_A_MESSAGE, Work};
use cardwright_protocol::{CardId, HostToUnit};

use super::collect::Collect;

/// How far an attempt has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stage {
    /// Its attempt is being written into the ledger.
    Recording,
    /// It may be sent.
    Sendable,
    /// So many of its strokes have been sent.
    Streaming(u16),
    /// Everything has been sent.
    Sent,
    /// The unit has found its edge.
    Begun,
    /// Its end is being written into the ledger.
    Closing,
}

/// A card's place in the order of work: round, then place in the list of cards.
pub(crate) type Key = (u32, usize);

/// One attempt.
#[derive(Clone, Debug)]
pub(crate) struct Flight {
    pub id: CardId,
    pub strokes: Vec<Stroke>,
    pub crc: u32,
    pub stage: Stage,
    pub collect: Collect,
    /// Its place in the order of work; none for a card this run is not to do.
    pub key: Option<Key>,
    /// The boot of the unit it was sent to, if that was in this run.
    pub boot: Option<u32>,
}

impl Flight {
    pub fn new(id: CardId, strokes: Vec<Stroke>, stage: Stage, key: Option<Key>) -> Flight {
        let crc = strokes_crc(id, &strokes);
        Flight {
            id,
            strokes,
            crc,
            stage,
            collect: Collect::default(),
            key,
            boot: None,
        }
    }

    /// Whether the unit may know of it: something of it has been sent.
    pub fn at_unit(&self) -> bool {
        matches!(self.stage, Stage::Streaming(_) | Stage::Sent | Stage::Begun)
    }

    pub fn header(&self, work: Work, more: bool) -> CardHeader {
        let strokes = self.strokes.len() as u16;
        CardHeader {
            id: self.id,
            work,
            strokes,
            crc: self.crc,
            more,
        }
    }

    /// The next strokes to be sent, at most `most`, and the stage after them.
    pub fn next_strokes(&self, most: u32) -> Option<(HostToUnit, u32, Stage)> {
        let Stage::Streaming(first) = self.stage else {
            return None;
        };
        let rest = self.strokes.get(usize::from(first)..)?;
        let count = rest.len().min(STROKES_A_MESSAGE).min(most as usize);
        let strokes = heapless::Vec::from_slice(rest.get(..count)?).ok()?;
        let next = first + count as u16;
        let stage = if usize::from(next) == self.strokes.len() {
            Stage::Sent
        } else {
            Stage::Streaming(next)
        };
        let message = HostToUnit::Strokes {
            id: self.id,
            first,
            strokes,
        };
        (count > 0).then_some((message, count as u32, stage))
    }
}
