//! What the raw light says before any format is tried: which channels the card
//! covers, and holes wherever they are.
//!
//! Enters: a reading over every channel. Leaves: for each channel whether card
//! lies over it, and how many whole holes it saw beyond a place. Refuses: readings
//! that are not whole, and channels without light.

use crate::judge::{Limits, Reading, UnreadReason};

/// Least light that solid card keeps off and most that it lets through, as shares
/// of the open light: between them it cannot be told whether card is there (a lamp
/// that ages, dust; common practice, no source).
const COVERED: f32 = 0.25;
const OPEN: f32 = 0.45;

/// Light of a hole that is no pinhole.
const HOLE: f32 = 0.6;

/// How near the card's edges light is not looked at, in millimetres.
const EDGE_MM: f64 = 2.0;

/// What lies over a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Over {
    Card,
    Nothing,
    Unclear,
}

/// The light of a whole reading.
#[derive(Clone, Debug)]
pub(super) struct Shares {
    /// For each channel the share of its light, line after line, on the card only.
    channels: Vec<Vec<f32>>,
    /// Where each of these lines lies, from the leading edge.
    along_mm: Vec<f64>,
    pub length_mm: f64,
}

impl Shares {
    /// # Errors
    /// Why the reading is of no use.
    pub fn new(
        reading: &Reading,
        first_mm: f64,
        pitch_mm: f64,
        limits: &Limits,
    ) -> Result<Shares, UnreadReason> {
        let per_row = reading.samples_per_row;
        let (holes, want) = (usize::from(reading.holes), usize::from(reading.ended.lines));
        let got = reading.samples.len() / holes.max(1);
        if holes == 0 || per_row == 0 || !reading.ended.complete || got != want || want == 0 {
            return Err(UnreadReason::Lines {
                got: got as u32,
                want: want as u32,
            });
        }
        let length_mm = f64::from(reading.ended.length_um) / 1000.0;
        let edge_mm = EDGE_MM + limits.aperture_mm / 2.0;
        let along = |line: usize| first_mm + (line as f64 / f64::from(per_row) - 1.0) * pitch_mm;
        let on_card = |line: &usize| (edge_mm..=length_mm - edge_mm).contains(&along(*line));
        let lines: Vec<usize> = (0..want).filter(on_card).collect();
        let mut channels = Vec::with_capacity(holes);
        for channel in 0..holes {
            let level = |levels: &[u8; 16]| levels.get(channel).copied().map_or(0, i16::from);
            let dark = level(&reading.began.dark);
            let levels = level(&reading.began.open) - dark;
            if levels < i16::from(limits.least_light) {
                return Err(UnreadReason::TooLittleLight {
                    hole: channel as u8 + 1,
                    levels,
                });
            }
            let share = |line: &usize| {
                let level = reading.samples.get(line * holes + channel).copied();
                f32::from(level.map_or(0, i16::from) - dark) / f32::from(levels)
            };
            channels.push(lines.iter().map(share).collect());
        }
        Ok(Shares {
            channels,
            along_mm: lines.into_iter().map(along).collect(),
            length_mm,
        })
    }

    /// What lies over this channel, from 0: card is dark between its holes.
    pub fn over(&self, channel: usize) -> Over {
        let mut shares = self.channels.get(channel).cloned().unwrap_or_default();
        shares.sort_unstable_by(f32::total_cmp);
        match shares.get(shares.len() / 10) {
            Some(share) if *share < COVERED => Over::Card,
            Some(share) if *share > OPEN => Over::Nothing,
            _ => Over::Unclear,
        }
    }

    /// Whole holes in channels after the first `holes`, and on every channel
    /// farther along than `end_mm`.
    pub fn holes_beyond(&self, holes: usize, end_mm: f64) -> u32 {
        let mut count = 0;
        for (channel, shares) in self.channels.iter().enumerate() {
            if self.over(channel) != Over::Card {
                continue;
            }
            let lit = shares.iter().zip(&self.along_mm);
            let lit: Vec<bool> = lit
                .map(|(share, along)| *share > HOLE && (channel >= holes || *along > end_mm))
                .collect();
            let runs = lit.chunk_by(|a, b| a == b);
            count += runs
                .filter(|run| run.len() > 1 && run.first() == Some(&true))
                .count();
        }
        u32::try_from(count).unwrap_or(u32::MAX)
    }
}
