//! Drawings: the paper, the cloth, the deck, one card at its true size with every hole's
//! verdict, and plain ones for a terminal.
//!
//! Enters: decks, formats, strokes, marks. Leaves: PNG bytes, SVG text, PDF, lines
//! of text. Refuses: pictures too large to be looked at. Nothing here judges;
//! a mark is drawn as it is given.

mod card;
mod cloth;
mod doubts;
mod frame;
mod letters;
mod marks;
mod pdf;
mod render;
mod sheet;
mod terminal;
mod verdict;

pub use card::{CardDrawing, card_svg};
pub use cloth::{ClothSide, cloth_png, paper_png};
pub use doubts::doubts_svg;
pub(crate) use letters::{shortened, text_width};
pub use marks::{Mark, MarkKind, PEG};
pub use pdf::pdf_from_svg;
pub use render::{PictureError, png_from_svg};
pub use sheet::{deck_png, design_png};
pub use terminal::{card_lines, deck_lines};
pub use verdict::marks_of;

/// Text that is safe inside an SVG element or attribute.
pub(crate) fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            letter if letter.is_control() => safe.push(' '),
            letter => safe.push(letter),
        }
    }
    safe
}
