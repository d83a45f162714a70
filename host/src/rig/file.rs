//! A rig file: how a rig is built and how fast it may go. Enters: TOML and a
//! card format. Leaves: the unit's settings and the judge's limits. Refuses:
//! unknown keys, and figures that cannot be a rig's; the unit has limits of its
//! own and refuses what is beyond them.

use std::path::Path;

use cardwright_protocol::card::MOST_HOLES;
use cardwright_protocol::host_to_unit::Settings;
use serde::Deserialize;

use crate::deck::CardFormat;
use crate::judge::{Geometry, Limits};

const BENCH: &str = include_str!("../../rigs/bench.toml");

/// The bench's figures that only estimates use: a rig file may leave them out.
const USUAL_PICK_UP_MM: f64 = 40.0;
const STROKE_MS: f64 = 20.0;

/// A rig file's content.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RigFile {
    /// What it is called.
    pub name: String,
    feed: Feed,
    punch: Punch,
    reader: Reader,
    supply: Supply,
    verdict: VerdictLimits,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Feed {
    steps_per_mm: f64,
    start_speed_mm_s: u16,
    top_speed_mm_s: u16,
    acceleration_mm_s2: u32,
    settle_ms: f64,
    edge_to_punch_mm: f64,
    pick_up_mm: f64,
    usual_pick_up_mm: Option<f64>,
    run_out_mm: f64,
    length_slack_mm: f64,
    magazine: bool,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Punch {
    lock_settle_ms: f64,
    coil_stagger_ms: f64,
    coils_at_once: u8,
    coil_on_limit_ms: f64,
    coil_duty: f64,
    stroke_ms: Option<f64>,
    stroke_timeout_ms: f64,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Reader {
    rows_behind_punch: u8,
    samples_per_row: u8,
    #[serde(default = "every_channel")]
    channels: u8,
    aperture_mm: f64,
    single_card_light: f64,
    gross_holes: u8,
}

fn every_channel() -> u8 {
    MOST_HOLES
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Supply {
    lowest_v: f64,
    highest_v: f64,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct VerdictLimits {
    register_mm: f64,
    length_mm: f64,
}

/// Why a rig file is of no use.
#[derive(Debug, thiserror::Error)]
pub enum RigFileError {
    /// It cannot be read.
    #[error("rig file {file} cannot be read: {cause}; check the name and the permissions")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system says.
        cause: String,
    },
    /// It is not a rig file.
    #[error(
        "rig file {file}, line {line}: {cause}; compare it with the built-in one (`cardwright rig settings`)"
    )]
    Wrong {
        /// The file.
        file: String,
        /// The line, from 1.
        line: usize,
        /// What is wrong.
        cause: String,
    },
    /// Without a reading at the middle between two rows nothing can be judged.
    #[error("rig file {file}: reader.samples_per_row is odd; give an even number from 4 to 32")]
    Odd {
        /// The file.
        file: String,
    },
    /// A figure cannot be meant.
    #[error("rig file {file}: {name} is {value}; give a number from {lowest} to {highest}")]
    Figure {
        /// The file.
        file: String,
        /// The key.
        name: &'static str,
        /// What it is.
        value: f64,
        /// The least that can be meant.
        lowest: f64,
        /// The most that can be meant.
        highest: f64,
    },
}

impl RigFile {
    /// The text of the built-in rig file.
    pub const BENCH: &'static str = BENCH;

    /// The file at `path`, or the built-in one.
    ///
    /// # Errors
    /// As [`RigFileError`] says.
    pub fn read(path: Option<&Path>) -> Result<RigFile, RigFileError> {
        let Some(path) = path else {
            return RigFile::parse(BENCH, "bench");
        };
        let file = path.display().to_string();
        match crate::input::text(path) {
            Ok(text) => RigFile::parse(&text, &file),
            Err(error) => Err(RigFileError::Unreadable {
                file,
                cause: error.to_string(),
            }),
        }
    }

    /// The rig file in `text`, called `file` in errors.
    ///
    /// # Errors
    /// [`RigFileError::Wrong`] and [`RigFileError::Figure`].
    pub fn parse(text: &str, file: &str) -> Result<RigFile, RigFileError> {
        let rig: RigFile = toml::from_str(text).map_err(|error| {
            let (line, cause) = crate::input::wrong_toml(text, &error);
            RigFileError::Wrong {
                file: file.to_string(),
                line,
                cause,
            }
        })?;
        rig.check(file)?;
        Ok(rig)
    }

    fn check(&self, file: &str) -> Result<(), RigFileError> {
        let figures = [
            ("feed.steps_per_mm", self.feed.steps_per_mm, 1.0, 200.0),
            ("feed.settle_ms", self.feed.settle_ms, 0.0, 1000.0),
            (
                "feed.edge_to_punch_mm",
                self.feed.edge_to_punch_mm,
                1.0,
                1000.0,
            ),
            ("feed.pick_up_mm", self.feed.pick_up_mm, 1.0, 1000.0),
            (
                "feed.usual_pick_up_mm",
                self.usual_pick_up_mm(),
                0.1,
                self.feed.pick_up_mm,
            ),
            ("feed.run_out_mm", self.feed.run_out_mm, 1.0, 1000.0),
            (
                "feed.length_slack_mm",
                self.feed.length_slack_mm,
                0.1,
                100.0,
            ),
            (
                "punch.lock_settle_ms",
                self.punch.lock_settle_ms,
                0.0,
                1000.0,
            ),
            (
                "punch.coil_stagger_ms",
                self.punch.coil_stagger_ms,
                0.0,
                100.0,
            ),
            (
                "punch.coil_on_limit_ms",
                self.punch.coil_on_limit_ms,
                1.0,
                1000.0,
            ),
            ("punch.coil_duty", self.punch.coil_duty, 0.01, 1.0),
            ("punch.stroke_ms", self.stroke_ms(), 1.0, 10_000.0),
            (
                "punch.stroke_timeout_ms",
                self.punch.stroke_timeout_ms,
                1.0,
                10_000.0,
            ),
            (
                "reader.samples_per_row",
                f64::from(self.reader.samples_per_row),
                4.0,
                32.0,
            ),
            (
                "reader.channels",
                f64::from(self.reader.channels),
                1.0,
                16.0,
            ),
            (
                "reader.rows_behind_punch",
                f64::from(self.reader.rows_behind_punch),
                1.0,
                32.0,
            ),
            (
                "reader.gross_holes",
                f64::from(self.reader.gross_holes),
                1.0,
                16.0,
            ),
            ("reader.aperture_mm", self.reader.aperture_mm, 0.2, 20.0),
            (
                "reader.single_card_light",
                self.reader.single_card_light,
                0.0,
                0.5,
            ),
            ("supply.lowest_v", self.supply.lowest_v, 0.0, 36.0),
            ("supply.highest_v", self.supply.highest_v, 0.0, 36.0),
            ("verdict.register_mm", self.verdict.register_mm, 0.1, 3.0),
            ("verdict.length_mm", self.verdict.length_mm, 0.1, 20.0),
        ];
        if !self.reader.samples_per_row.is_multiple_of(2) {
            return Err(RigFileError::Odd {
                file: file.to_string(),
            });
        }
        // written so that a NaN is refused too
        match figures
            .into_iter()
            .find(|(_, value, low, high)| !(low..=high).contains(&value))
        {
            None => Ok(()),
            Some((name, value, lowest, highest)) => Err(RigFileError::Figure {
                file: file.to_string(),
                name,
                value,
                lowest,
                highest,
            }),
        }
    }

    /// What the unit is sent for cards of this format.
    #[must_use]
    pub fn settings(&self, format: &CardFormat) -> Settings {
        let um = |mm: f64| (mm * 1000.0).round() as u32;
        let us = um;
        Settings {
            holes: format.holes_per_row(),
            steps_per_metre: um(self.feed.steps_per_mm),
            row_pitch_um: um(format.row_pitch_mm()),
            first_stroke_um: um(format.first_stroke_mm()),
            card_length_um: um(format.card_length_mm()),
            length_slack_um: um(self.feed.length_slack_mm),
            edge_to_punch_um: um(self.feed.edge_to_punch_mm),
            reader_rows: self.reader.rows_behind_punch,
            samples_per_row: self.reader.samples_per_row,
            pick_up_um: um(self.feed.pick_up_mm),
            run_out_um: um(self.feed.run_out_mm),
            start_speed_mm_s: self.feed.start_speed_mm_s,
            top_speed_mm_s: self.feed.top_speed_mm_s,
            acceleration_mm_s2: self.feed.acceleration_mm_s2,
            feed_settle_us: us(self.feed.settle_ms),
            lock_settle_us: us(self.punch.lock_settle_ms),
            coil_stagger_us: us(self.punch.coil_stagger_ms),
            coils_at_once: self.punch.coils_at_once,
            stroke_timeout_us: us(self.punch.stroke_timeout_ms),
            coil_on_limit_us: us(self.punch.coil_on_limit_ms),
            coil_duty_permille: (self.punch.coil_duty * 1000.0).round() as u16,
            gross_holes: self.reader.gross_holes,
            single_card_permille: (self.reader.single_card_light * 1000.0).round() as u16,
            supply_mv: (
                (self.supply.lowest_v * 1000.0) as u16,
                (self.supply.highest_v * 1000.0) as u16,
            ),
            magazine: self.feed.magazine,
        }
    }

    /// Whether a person lays in each card.
    #[must_use]
    pub fn loads_by_hand(&self) -> bool {
        !self.feed.magazine
    }

    /// How far a card usually is from the edge sensor when it is taken up.
    #[must_use]
    pub fn usual_pick_up_mm(&self) -> f64 {
        let feed = &self.feed;
        feed.usual_pick_up_mm
            .unwrap_or(USUAL_PICK_UP_MM.min(feed.pick_up_mm))
    }

    /// What the block takes down and up again.
    #[must_use]
    pub fn stroke_ms(&self) -> f64 {
        self.punch.stroke_ms.unwrap_or(STROKE_MS)
    }

    /// Light channels that are there, whatever the card's width.
    #[must_use]
    pub fn channels(&self) -> u8 {
        self.reader.channels
    }

    /// Where good ends on this rig.
    #[must_use]
    pub fn limits(&self) -> Limits {
        Limits {
            aperture_mm: self.reader.aperture_mm,
            reader_rows: self.reader.rows_behind_punch,
            register_mm: self.verdict.register_mm,
            length_mm: self.verdict.length_mm,
            ..Limits::default()
        }
    }

    /// A card format's measures, as the judge wants them.
    #[must_use]
    pub fn geometry(format: &CardFormat) -> Geometry {
        Geometry {
            holes: format.holes_per_row(),
            row_pitch_mm: format.row_pitch_mm(),
            needle_pitch_mm: format.needle_pitch_mm(),
            hole_diameter_mm: format.needle_hole_mm(),
            peg_diameter_mm: format.peg_hole_mm(),
            peg_offset_rows: format.peg_offset_rows(),
            first_stroke_mm: format.first_stroke_mm(),
            card_length_mm: format.card_length_mm(),
        }
    }
}
