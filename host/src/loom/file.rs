//! A loom file: which sensors the loom has and how they are wired. Enters: TOML.
//! Leaves: the unit's settings, and how much cloth an event of the take-up stands
//! for. Refuses: unknown keys, a loom without any sensor of its picks, and figures
//! that cannot be a loom's.

use std::path::Path;

use cardwright_protocol::loom::{LINES, LoomLine, LoomSettings};
use serde::Deserialize;

use crate::weave::watch::Fitted;

/// Longest time a line can be told to settle: the firmware's limit.
const MOST_SETTLE_MS: f64 = 200.0;

/// A loom file's content.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoomFile {
    /// What it is called.
    pub name: String,
    cylinder: Option<Tracks>,
    griffe: Option<Sensor>,
    batten: Option<Sensor>,
    left_box: Option<Sensor>,
    right_box: Option<Sensor>,
    take_up: Option<TakeUp>,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Sensor {
    settle_ms: f64,
    #[serde(default)]
    low: bool,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Tracks {
    settle_ms: f64,
    #[serde(default)]
    low: bool,
    #[serde(default)]
    swapped: bool,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct TakeUp {
    settle_ms: f64,
    #[serde(default)]
    low: bool,
    #[serde(default)]
    swapped: bool,
    edges_a_cm: f64,
    edges_an_event: u16,
}

/// Why a loom file is of no use.
#[derive(Debug, thiserror::Error)]
pub enum LoomFileError {
    /// It cannot be read.
    #[error("loom file {file} cannot be read: {cause}; check the name and the permissions")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system says.
        cause: String,
    },
    /// It is not a loom file.
    #[error(
        "loom file {file}, line {line}: {cause}; compare it with the built-in one (`cardwright rig settings --loom`)"
    )]
    Wrong {
        /// The file.
        file: String,
        /// The line, from 1.
        line: usize,
        /// What is wrong.
        cause: String,
    },
    /// A figure cannot be meant.
    #[error("loom file {file}: {name} is {value}; give a number from {lowest} to {highest}")]
    Figure {
        /// The file.
        file: String,
        /// The key.
        name: &'static str,
        /// What stands there.
        value: f64,
        /// Least.
        lowest: f64,
        /// Most.
        highest: f64,
    },
    /// Nothing in it sees a pick.
    #[error(
        "loom file {file} has no sensor that sees a pick; give it one of [batten], [griffe], [left_box], [right_box] or [cylinder]"
    )]
    SeesNothing {
        /// The file.
        file: String,
    },
}

impl LoomFile {
    /// The text of the built-in loom file.
    pub const BENCH: &str = include_str!("../../looms/bench.toml");

    /// The built-in loom.
    ///
    /// # Errors
    /// None, as long as the built-in file is right.
    pub fn bench() -> Result<LoomFile, LoomFileError> {
        LoomFile::parse(LoomFile::BENCH, "bench")
    }

    /// Reads a loom file; the built-in one if none is named.
    ///
    /// # Errors
    /// [`LoomFileError`].
    pub fn read(path: Option<&Path>) -> Result<LoomFile, LoomFileError> {
        let Some(path) = path else {
            return LoomFile::bench();
        };
        let file = path.display().to_string();
        match crate::input::text(path) {
            Ok(text) => LoomFile::parse(&text, &file),
            Err(error) => Err(LoomFileError::Unreadable {
                file,
                cause: error.to_string(),
            }),
        }
    }

    /// Reads a loom from text.
    ///
    /// # Errors
    /// [`LoomFileError`].
    pub fn parse(text: &str, file: &str) -> Result<LoomFile, LoomFileError> {
        let loom: LoomFile = toml::from_str(text).map_err(|error| {
            let (line, cause) = crate::input::wrong_toml(text, &error);
            LoomFileError::Wrong {
                file: file.to_string(),
                line,
                cause,
            }
        })?;
        loom.check(file)?;
        Ok(loom)
    }

    fn check(&self, file: &str) -> Result<(), LoomFileError> {
        let in_bounds = |name, value: f64, lowest: f64, highest: f64| {
            if (lowest..=highest).contains(&value) {
                return Ok(());
            }
            Err(LoomFileError::Figure {
                file: file.to_string(),
                name,
                value,
                lowest,
                highest,
            })
        };
        for (settle, _) in self.lines().into_iter().flatten() {
            in_bounds("settle_ms", settle, 0.0, MOST_SETTLE_MS)?;
        }
        if let Some(take_up) = &self.take_up {
            in_bounds("take_up.edges_a_cm", take_up.edges_a_cm, 0.01, 100_000.0)?;
            let edges = f64::from(take_up.edges_an_event);
            in_bounds("take_up.edges_an_event", edges, 1.0, f64::from(u16::MAX))?;
        }
        let sees = self.cylinder.is_some()
            || self.griffe.is_some()
            || self.batten.is_some()
            || self.left_box.is_some()
            || self.right_box.is_some();
        if sees {
            return Ok(());
        }
        Err(LoomFileError::SeesNothing {
            file: file.to_string(),
        })
    }

    /// For each line its sensor's settling time and whether it pulls low, if it has one.
    fn lines(&self) -> [Option<(f64, bool)>; LINES] {
        let one = |sensor: &Option<Sensor>| sensor.as_ref().map(|s| (s.settle_ms, s.low));
        let cylinder = self.cylinder.as_ref().map(|s| (s.settle_ms, s.low));
        let take_up = self.take_up.as_ref().map(|s| (s.settle_ms, s.low));
        [
            cylinder,
            cylinder,
            one(&self.griffe),
            one(&self.batten),
            one(&self.left_box),
            one(&self.right_box),
            take_up,
            take_up,
        ]
    }

    /// The lines whose sensor is one of these.
    fn set(&self, which: impl Fn(Option<(f64, bool)>) -> bool) -> u8 {
        let lines = LoomLine::ALL.into_iter().zip(self.lines());
        lines
            .filter(|(_, sensor)| which(*sensor))
            .fold(0, |set, (line, _)| set | line.bit())
    }

    /// The sensors it has.
    #[must_use]
    pub fn fitted(&self) -> Fitted {
        Fitted(self.set(|sensor| sensor.is_some()))
    }

    /// What the unit is told.
    #[must_use]
    pub fn settings(&self) -> LoomSettings {
        LoomSettings {
            fitted: self.fitted().0,
            inverted: self.set(|sensor| sensor.is_some_and(|(_, low)| low)),
            settle_us: self
                .lines()
                .map(|sensor| sensor.map_or(0, |(ms, _)| (ms * 1000.0) as u32)),
            cylinder_swapped: self.cylinder.as_ref().is_some_and(|tracks| tracks.swapped),
            take_up_swapped: self.take_up.as_ref().is_some_and(|tracks| tracks.swapped),
            take_up_edges: self
                .take_up
                .as_ref()
                .map_or(1, |tracks| tracks.edges_an_event),
        }
    }

    /// Millimetres of cloth that one event of the take-up stands for, if it is seen.
    #[must_use]
    pub fn take_up_mm(&self) -> Option<f64> {
        let take_up = self.take_up.as_ref()?;
        Some(f64::from(take_up.edges_an_event) / take_up.edges_a_cm * 10.0)
    }
}
