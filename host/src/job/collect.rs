//! Puts a card's messages together. Enters: its beginning, lines, end. Leaves:
//! a whole reading. Lines that come twice are taken once; after a gap the
//! reading stays short, which the judge sees.

use cardwright_protocol::unit_to_host::{CardBegan, CardEnded};

use crate::judge::Reading;

/// Most bytes of samples taken for a card; a unit keeps no more.
const MOST_SAMPLES: usize = 64 * 1024;

/// A reading that is coming in.
#[derive(Clone, Debug, Default)]
pub(crate) struct Collect {
    pub began: Option<CardBegan>,
    samples: Vec<u8>,
}

impl Collect {
    pub fn begin(&mut self, began: CardBegan) {
        self.began = Some(began);
        self.samples.clear();
    }

    pub fn lines(&mut self, first: u16, holes: u8, samples: &[u8]) {
        let at = usize::from(first) * usize::from(holes);
        if at == self.samples.len() && at + samples.len() <= MOST_SAMPLES {
            self.samples.extend_from_slice(samples);
        }
    }

    /// The reading, if its beginning was seen.
    pub fn end(&mut self, ended: CardEnded, holes: u8, samples_per_row: u8) -> Option<Reading> {
        let samples = std::mem::take(&mut self.samples);
        self.began.map(|began| Reading {
            began,
            ended,
            samples_per_row,
            holes,
            samples,
        })
    }
}
