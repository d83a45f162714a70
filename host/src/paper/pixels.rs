//! A picture with one pixel a square.
//!
//! Enters: a picture. Leaves: the same as a [`Sheet`], exactly. Refuses one of
//! so many colours that it is a photograph, and one with a pixel that is not opaque.

use super::picture::{Picture, Rgb};
use super::sheet::{PaperFault, Sheet};
use std::collections::HashMap;

/// Most colours.
pub const MOST_COLOURS: usize = 1_024;

/// How many colours a picture has, counted as far as `most` and one.
#[must_use]
pub fn colour_count(picture: &Picture, most: usize) -> usize {
    let mut seen = std::collections::HashSet::new();
    for colour in picture.colours() {
        seen.insert(colour);
        if seen.len() > most {
            break;
        }
    }
    seen.len()
}

/// Each pixel as a square.
///
/// # Errors
/// It has too many colours, or is not opaque.
pub fn squares(picture: &Picture) -> Result<Sheet, PaperFault> {
    if let Some((column, line)) = picture.clear() {
        return Err(PaperFault::Clear {
            column: column + 1,
            line: line + 1,
        });
    }
    let mut numbers = HashMap::<Rgb, u16>::new();
    let mut counts: Vec<(Rgb, usize)> = Vec::new();
    let mut squares = Vec::with_capacity(picture.width() * picture.height());
    for colour in picture.colours() {
        let number = *numbers.entry(colour).or_insert_with(|| {
            counts.push((colour, 0));
            counts.len() as u16 - 1
        });
        counts[usize::from(number)].1 += 1;
        if counts.len() > MOST_COLOURS {
            return Err(PaperFault::ManyColours {
                count: counts.len(),
            });
        }
        squares.push(number);
    }
    // the commonest first, as those of a scan; equally common ones as they come
    let mut order: Vec<usize> = (0..counts.len()).collect();
    order.sort_by_key(|at| std::cmp::Reverse(counts[*at].1));
    let mut place = vec![0; order.len()];
    for (to, from) in order.iter().enumerate() {
        place[*from] = to as u16;
    }
    for square in &mut squares {
        *square = place[usize::from(*square)];
    }
    Ok(Sheet {
        columns: picture.width() as u32,
        rows: picture.height() as u32,
        palette: order.iter().map(|at| counts[*at].0).collect(),
        squares,
        doubtful: Vec::new(),
        ruling: None,
    })
}
