//! A loom file: which sensors the loom has and how they are wired. Enters: TOML.
//! Leaves: the unit's settings, and how much cloth an event of the take-up stands
//! for. Refuses: unknown keys, a loom without any sensor of its picks, and figures
//! that cannot be a loom's.

use std::path::Path;

use cardwright_protocol::loom::{LINES, LoomLine, LoomSettings};
use serde::Deserialize;
use toml::Spanned;

use crate::weave::watch::Fitted;

/// Longest name, in characters.
const LONGEST_NAME: usize = 200;

/// Longest time a line can be told to settle: the firmware's limit.
const MOST_SETTLE_MS: f64 = 200.0;

/// A loom file's content.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoomFile {
    /// What it is called.
    name: Spanned<String>,
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
    settle_ms: Spanned<f64>,
    #[serde(default)]
    low: bool,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Tracks {
    settle_ms: Spanned<f64>,
    #[serde(default)]
    low: bool,
    #[serde(default)]
    swapped: bool,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct TakeUp {
    settle_ms: Spanned<f64>,
    #[serde(default)]
    low: bool,
    #[serde(default)]
    swapped: bool,
    edges_a_cm: Spanned<f64>,
    edges_an_event: Spanned<u64>,
}

impl TakeUp {
    /// Edges to an event, which is within bounds once the file is checked.
    fn edges(&self) -> u16 {
        u16::try_from(*self.edges_an_event.get_ref()).unwrap_or(u16::MAX)
    }
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
    /// It is no text.
    #[error(
        "loom file {file} is no text (UTF-8); give a file such as the built-in one (`cardwright rig settings --loom`)"
    )]
    NoText {
        /// The file.
        file: String,
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
    #[error(
        "loom file {file}, line {line}: {name} is {}; give a number from {lowest} to {highest}",
        figure(*value)
    )]
    Figure {
        /// The file.
        file: String,
        /// The line, from 1.
        line: usize,
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

/// A figure as it is told: a very large one by its power of ten.
fn figure(value: f64) -> String {
    match value.abs() {
        ..1e9 => value.to_string(),
        _ => format!("{value:.3e}"),
    }
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
            Err(error) if error.kind() == std::io::ErrorKind::InvalidData => {
                Err(LoomFileError::NoText { file })
            }
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
        loom.check(text, file)?;
        Ok(loom)
    }

    /// What it is called.
    #[must_use]
    pub fn name(&self) -> &str {
        self.name.get_ref()
    }

    fn check(&self, text: &str, file: &str) -> Result<(), LoomFileError> {
        let line_of = |span: std::ops::Range<usize>| crate::deck::line_at(text, &span);
        let in_bounds = |name, span, value: f64, lowest: f64, highest: f64| {
            if (lowest..=highest).contains(&value) {
                return Ok(());
            }
            Err(LoomFileError::Figure {
                file: file.to_string(),
                line: line_of(span),
                name,
                value,
                lowest,
                highest,
            })
        };
        let name = self.name();
        let shown = !name.trim().is_empty() && !name.chars().any(char::is_control);
        if !shown || name.chars().count() > LONGEST_NAME {
            let start: String = name.chars().take(40).collect();
            return Err(LoomFileError::Wrong {
                file: file.to_string(),
                line: line_of(self.name.span()),
                cause: format!("name {start:?} cannot be; give 1 to 200 characters on one line"),
            });
        }
        for (settle, _) in self.lines().into_iter().flatten() {
            let value = *settle.get_ref();
            in_bounds("settle_ms", settle.span(), value, 0.0, MOST_SETTLE_MS)?;
        }
        if let Some(take_up) = &self.take_up {
            let (name, edges) = ("take_up.edges_a_cm", &take_up.edges_a_cm);
            in_bounds(name, edges.span(), *edges.get_ref(), 0.01, 100_000.0)?;
            let (name, edges) = ("take_up.edges_an_event", &take_up.edges_an_event);
            let (value, most) = (*edges.get_ref() as f64, f64::from(u16::MAX));
            in_bounds(name, edges.span(), value, 1.0, most)?;
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
    fn lines(&self) -> [Option<(&Spanned<f64>, bool)>; LINES] {
        fn one(sensor: &Sensor) -> (&Spanned<f64>, bool) {
            (&sensor.settle_ms, sensor.low)
        }
        let cylinder = self.cylinder.as_ref().map(|s| (&s.settle_ms, s.low));
        let take_up = self.take_up.as_ref().map(|s| (&s.settle_ms, s.low));
        [
            cylinder,
            cylinder,
            self.griffe.as_ref().map(one),
            self.batten.as_ref().map(one),
            self.left_box.as_ref().map(one),
            self.right_box.as_ref().map(one),
            take_up,
            take_up,
        ]
    }

    /// The lines whose sensor is one of these.
    fn set(&self, which: impl Fn(Option<(&Spanned<f64>, bool)>) -> bool) -> u8 {
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
                .map(|sensor| sensor.map_or(0, |(ms, _)| (ms.get_ref() * 1000.0) as u32)),
            cylinder_swapped: self.cylinder.as_ref().is_some_and(|tracks| tracks.swapped),
            take_up_swapped: self.take_up.as_ref().is_some_and(|tracks| tracks.swapped),
            take_up_edges: self.take_up.as_ref().map_or(1, TakeUp::edges),
        }
    }

    /// Millimetres of cloth that one event of the take-up stands for, if it is seen.
    #[must_use]
    pub fn take_up_mm(&self) -> Option<f64> {
        let take_up = self.take_up.as_ref()?;
        Some(f64::from(take_up.edges()) / take_up.edges_a_cm.get_ref() * 10.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wrong(change: (&str, &str)) -> String {
        let text = LoomFile::BENCH.replacen(change.0, change.1, 1);
        assert_ne!(text, LoomFile::BENCH, "{change:?} changes it");
        let error = LoomFile::parse(&text, "loom.toml").expect_err("it is wrong");
        error.to_string()
    }

    #[test]
    fn what_is_wrong_is_said_with_the_line() {
        let settle = "loom file loom.toml, line 10: settle_ms is 900; give a number from 0 to 200";
        assert_eq!(wrong(("settle_ms = 9.0", "settle_ms = 900")), settle);
        let edges = wrong(("edges_an_event = 10", "edges_an_event = 70000"));
        assert!(
            edges.contains("line 29: take_up.edges_an_event is 70000;"),
            "{edges}"
        );
        let name = "loom file loom.toml, line 7: name \"\" cannot be; give 1 to 200 characters";
        let words = wrong(("\"bench\"", "\"\""));
        assert!(words.starts_with(name), "{words}");
    }

    #[test]
    fn a_number_of_many_digits_is_not_written_out() {
        let digits = "1".repeat(300);
        for settle in [
            format!("settle_ms = {digits}.0"),
            format!("settle_ms = {digits}"),
        ] {
            let words = wrong(("settle_ms = 9.0", &settle));
            assert!(words.contains("line 10") && words.len() < 250, "{words}");
        }
    }

    #[test]
    fn a_file_that_is_no_text_is_called_that() {
        let file = tempfile::NamedTempFile::new().expect("a file for the test");
        std::fs::write(file.path(), b"name = \"caf\xe9\"\n").expect("it is written");
        let error = LoomFile::read(Some(file.path())).expect_err("it is no text");
        assert!(error.to_string().contains("is no text"), "{error}");
    }
}
