//! A format file's text: TOML with every key known, each remembering its line.

use super::checks::{Found, check};
use super::{CardFormat, FormatError};
use crate::deck::line_at;
use serde::Deserialize;
use std::ops::Range;
use toml::Spanned;

/// A format file as written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FormatText {
    pub name: Spanned<String>,
    pub title: String,
    pub source: String,
    pub holes_per_row: Spanned<u32>,
    pub rows: Spanned<u32>,
    pub needles: Spanned<u32>,
    pub spare_row: Option<Spanned<u32>>,
    pub division: Spanned<Vec<u32>>,
    pub row_pitch_mm: Spanned<f64>,
    pub needle_pitch_mm: Spanned<f64>,
    pub needle_hole_mm: Spanned<f64>,
    pub lace_hole_mm: Spanned<f64>,
    pub peg_hole_mm: Spanned<f64>,
    pub peg_offset_rows: Spanned<f64>,
    pub lace_holes: Spanned<Vec<u32>>,
    pub card_width_mm: Spanned<f64>,
    pub card_length_mm: Spanned<f64>,
    pub first_stroke_mm: Spanned<f64>,
    pub programme: Spanned<Vec<Spanned<String>>>,
}

pub(super) fn parse(text: &str, file: &str) -> Result<CardFormat, FormatError> {
    let written: FormatText = toml::from_str(text).map_err(|error| {
        let (line, cause) = crate::input::wrong_toml(text, &error);
        FormatError::Toml {
            file: file.to_owned(),
            line,
            cause,
        }
    })?;
    check(&written).map_err(|Found { at, fault }| FormatError::Fault {
        file: file.to_owned(),
        line: line_at(text, &at),
        fault,
    })
}

/// Where a value stands in the text, in bytes.
pub(super) type Place = Range<usize>;
