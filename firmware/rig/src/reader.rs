//! The light bar: dark and open levels before a card, a line of levels at each
//! place of the card, and two plain decisions that stop the rig at once: a row
//! that reads grossly wrong, and too little light through the solid card, as
//! two cards together give. The verdict on the card is the host's.

use cardwright_protocol::card::Stroke;
use cardwright_protocol::unit_to_host::{Levels, StopReason};

use crate::limits::{LEAST_LIGHT, LEVEL_SCANS};
use crate::plan::Plan;

/// Solid readings that are averaged before two cards are suspected.
const SOLID_READINGS: u32 = 24;

/// Sums of several scans of the light bar.
#[derive(Clone, Copy, Debug, Default)]
pub struct LevelSum {
    sums: [u16; 16],
    scans: u16,
}

impl LevelSum {
    /// Adds a scan. The mean, once there are enough.
    pub fn add(&mut self, levels: &Levels) -> Option<Levels> {
        self.sums
            .iter_mut()
            .zip(levels)
            .for_each(|(sum, level)| *sum += u16::from(*level));
        self.scans += 1;
        (self.scans == LEVEL_SCANS).then(|| self.sums.map(|sum| (sum / LEVEL_SCANS) as u8))
    }
}

/// Whether every channel in use tells lamp from no lamp.
#[must_use]
pub fn lamp_is_good(dark: &Levels, open: &Levels, holes: u8) -> bool {
    let channels = dark.iter().zip(open).take(usize::from(holes));
    channels
        .into_iter()
        .all(|(dark, open)| open.saturating_sub(*dark) >= LEAST_LIGHT)
}

/// What has been read of the card in the rig.
#[derive(Debug)]
pub struct Reader {
    dark: Levels,
    open: Levels,
    lines: u16,
    solid_permille: u32,
    solid_readings: u32,
}

impl Reader {
    /// No card.
    #[must_use]
    pub fn new() -> Reader {
        Reader {
            dark: [0; 16],
            open: [0; 16],
            lines: 0,
            solid_permille: 0,
            solid_readings: 0,
        }
    }

    /// A card comes; the levels without it.
    pub fn begin(&mut self, dark: Levels, open: Levels) {
        *self = Reader {
            dark,
            open,
            ..Reader::new()
        };
    }

    /// Levels with the lamp off.
    #[must_use]
    pub fn dark(&self) -> Levels {
        self.dark
    }

    /// Levels with the lamp on and no card.
    #[must_use]
    pub fn open(&self) -> Levels {
        self.open
    }

    /// Lines read so far.
    #[must_use]
    pub fn lines(&self) -> u16 {
        self.lines
    }

    /// Takes the next line. `strokes` is what the card should show, or nothing
    /// if this unit has not punched it.
    ///
    /// # Errors
    /// The reason to stop at once.
    pub fn line(
        &mut self,
        levels: &Levels,
        strokes: Option<&[Stroke]>,
        plan: &Plan,
    ) -> Result<(), StopReason> {
        let line = self.lines;
        self.lines += 1;
        let samples = u16::from(plan.settings.samples_per_row);
        if line < samples / 2 {
            // the margin before the first stroke: solid on every channel
            self.solid_line(levels, 0, plan);
        } else if let Some(strokes) = strokes.filter(|_| line.is_multiple_of(samples)) {
            self.row(levels, usize::from(line / samples), strokes, plan)?;
        }
        self.two_cards(plan)
    }

    /// The centre line of a row: `place` 1 is the first stroke.
    fn row(
        &mut self,
        levels: &Levels,
        place: usize,
        strokes: &[Stroke],
        plan: &Plan,
    ) -> Result<(), StopReason> {
        let Some(stroke) = place.checked_sub(1).and_then(|at| strokes.get(at)) else {
            return Ok(());
        };
        // the peg punch stands one row pitch behind the needle punches
        let peg_here = place >= 2 && strokes.get(place - 2).is_some_and(|s| s.peg());
        if peg_here {
            return Ok(());
        }
        let wanted = stroke.punches();
        let wrong = (1..=plan.settings.holes)
            .filter(|hole| self.permille(levels, *hole) > 500)
            .fold(wanted.0, |bits, hole| bits ^ 1 << (hole - 1))
            .count_ones();
        self.solid_line(levels, wanted.0, plan);
        if wrong >= u32::from(plan.settings.gross_holes.max(1)) {
            return Err(StopReason::GrossMisread);
        }
        Ok(())
    }

    /// Notes the light through the channels that are not in `holes`.
    fn solid_line(&mut self, levels: &Levels, holes: u16, plan: &Plan) {
        for hole in (1..=plan.settings.holes).filter(|hole| holes >> (hole - 1) & 1 == 0) {
            let permille = self.permille(levels, hole);
            // a hole where none should be says nothing of the card's thickness
            if permille < 300 {
                self.solid_permille += permille;
                self.solid_readings += 1;
            }
        }
    }

    fn two_cards(&mut self, plan: &Plan) -> Result<(), StopReason> {
        if self.solid_readings < SOLID_READINGS {
            return Ok(());
        }
        let mean = self.solid_permille / self.solid_readings;
        self.solid_permille = 0;
        self.solid_readings = 0;
        if mean < u32::from(plan.settings.single_card_permille) {
            return Err(StopReason::DoubleFeed);
        }
        Ok(())
    }

    fn permille(&self, levels: &Levels, hole: u8) -> u32 {
        let channel = usize::from(hole) - 1;
        let above = |level: u8| u32::from(level.saturating_sub(self.dark[channel]));
        above(levels[channel]) * 1000 / above(self.open[channel]).max(1)
    }
}

impl Default for Reader {
    fn default() -> Reader {
        Reader::new()
    }
}
