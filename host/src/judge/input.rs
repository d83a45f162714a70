//! What the judge is given: the card as it should be, the reading, the limits.

use cardwright_protocol::unit_to_host::{CardBegan, CardEnded};
use serde::{Deserialize, Serialize};

/// The measures of a card that matter to reading it. Lengths in millimetres.
///
/// Coordinates: `x` along the card from its leading (numbered) edge, stroke `s`
/// (from 0) at `first_stroke_mm + s * row_pitch_mm`; `y` across the card from its
/// centre line, hole `h` (from 1) at `(h - (holes + 1) / 2) * needle_pitch_mm`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Geometry {
    /// Holes in a row, 1 to 16.
    pub holes: u8,
    /// From one stroke to the next.
    pub row_pitch_mm: f64,
    /// From one hole of a row to the next.
    pub needle_pitch_mm: f64,
    /// Diameter of a needle or lace hole.
    pub hole_diameter_mm: f64,
    /// Diameter of a peg hole.
    pub peg_diameter_mm: f64,
    /// How many row pitches behind the needle line the peg punch sits: a peg
    /// hole lies this many strokes after the stroke that cuts it.
    pub peg_offset_rows: f64,
    /// From the leading edge to the first stroke.
    pub first_stroke_mm: f64,
    /// Nominal length of the card.
    pub card_length_mm: f64,
}

impl Geometry {
    /// The 400 card: rows of 8 at 1.875/7 in (Taylor p. 122), 56 strokes.
    /// Diameters and margins: common practice, no source.
    #[must_use]
    pub fn card_400() -> Geometry {
        let pitch = 1.875 * 25.4 / 7.0;
        Geometry {
            holes: 8,
            row_pitch_mm: pitch,
            needle_pitch_mm: pitch,
            hole_diameter_mm: 4.4,
            peg_diameter_mm: 10.0,
            peg_offset_rows: 1.0,
            first_stroke_mm: 14.2,
            card_length_mm: 2.0 * 14.2 + 55.0 * pitch,
        }
    }

    /// Where hole `hole` (from 1) lies across the card, from its centre line.
    #[must_use]
    pub fn across_mm(&self, hole: u8) -> f64 {
        (f64::from(hole) - (f64::from(self.holes) + 1.0) / 2.0) * self.needle_pitch_mm
    }

    /// Whether the measures can be those of a card at all.
    pub(super) fn is_sound(&self) -> bool {
        let sizes = [
            self.row_pitch_mm,
            self.needle_pitch_mm,
            self.hole_diameter_mm,
            self.peg_diameter_mm,
            self.card_length_mm,
        ];
        (1..=16).contains(&self.holes)
            && sizes
                .iter()
                .all(|size| size.is_finite() && (0.1..=5000.0).contains(size))
            && self.first_stroke_mm.is_finite()
            && self.peg_offset_rows.is_finite()
            && self.peg_offset_rows.abs() <= 8.0
            && self.hole_diameter_mm <= 2.0 * self.row_pitch_mm
            && self.peg_diameter_mm <= 4.0 * self.row_pitch_mm
    }
}

/// One card's reading, as the unit sent it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    /// The message that opened the card: its dark and open levels.
    pub began: CardBegan,
    /// The message that closed it: complete or not, and its measured length.
    pub ended: CardEnded,
    /// Lines in each row pitch.
    pub samples_per_row: u8,
    /// Channels in a line.
    pub holes: u8,
    /// Levels, `holes` bytes a line. Line `n` is taken with the card position
    /// `(n / samples_per_row - 1)` rows from the first stroke under the bar; a
    /// whole card has `(strokes + 2) * samples_per_row` lines.
    pub samples: Vec<u8>,
}

/// What is taken out of the holes' offsets before they are judged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Fit {
    /// Nothing: the card was cut and read in one pass, so punch and reader
    /// share one feed and any displacement is a slip between them.
    #[default]
    None,
    /// One shift and one stretch along the feed: the card was cut earlier, is
    /// fed anew, and may have swollen or shrunk with damp.
    OffsetAndStretch,
}

/// Where good ends. Fractions are of the open light.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Diameter of the reader's apertures.
    pub aperture_mm: f64,
    /// Rows between punch and reader.
    pub reader_rows: u8,
    /// How far a row may lie from its place along the feed.
    pub register_mm: f64,
    /// How far the measured length may lie from the nominal one.
    pub length_mm: f64,
    /// With [`Fit::OffsetAndStretch`]: how far the whole card may be shifted.
    pub offset_mm: f64,
    /// With [`Fit::OffsetAndStretch`]: how much it may be stretched or shrunk.
    pub stretch_permille: f64,
    /// Fewest levels between dark and open on a channel.
    pub least_light: u8,
    /// Solid card that lets through less of the open light is two cards.
    pub single_card_permille: u16,
    /// Solid card that lets through more of the open light is no card.
    pub no_card_permille: u16,
    /// Most noise of one line, as a share of the light: beyond it, a chad could hide.
    /// No rig file reaches it; trials of the reader do.
    pub most_noise: f64,
}

impl Limits {
    /// Whether the limits can be meant at all.
    pub(super) fn is_sound(&self) -> bool {
        let lengths = [
            self.register_mm,
            self.length_mm,
            self.offset_mm,
            self.stretch_permille,
        ];
        (0.2..=50.0).contains(&self.aperture_mm)
            && lengths
                .iter()
                .all(|limit| limit.is_finite() && *limit > 0.0)
            && self.single_card_permille < self.no_card_permille
            && self.no_card_permille <= 900
            && self.most_noise > 0.0
    }
}

impl Default for Limits {
    /// For the rig's own reader: common practice, no source.
    fn default() -> Limits {
        Limits {
            aperture_mm: 3.0,
            reader_rows: 6,
            register_mm: 0.7,
            length_mm: 0.9,
            offset_mm: 2.0,
            stretch_permille: 8.0,
            least_light: 32,
            single_card_permille: 22,
            no_card_permille: 350,
            // with more, a chad that covers a fifth of its hole and hangs from the
            // side, where the aperture sees least of it, has a misfit that noise
            // alone could bring
            most_noise: 0.0105,
        }
    }
}
