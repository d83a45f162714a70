//! The pixels of a picture file.
//!
//! Enters: the bytes of a PNG, BMP, GIF, TIFF or PBM file. Leaves: the colour of
//! each pixel. Refuses: what is no picture, and pictures far too large for any
//! card.

use super::file::MOST_CARDS;
use super::paper::{MOST_HOOKS, PaperError};
use crate::paper::{Opened, narrow};
use image::DynamicImage;
use std::path::Path;

/// A picture's pixels.
pub(crate) struct Pixels {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Red, green, blue and opacity at a place, from the left and the top.
    pub colour: Box<dyn Fn(u32, u32) -> [u8; 4]>,
}

/// The pixels of a picture file's bytes. `fits` looks at its width before the
/// whole picture is read.
pub(crate) fn pixels(
    bytes: &[u8],
    file: &Path,
    fits: impl FnOnce(u32) -> Result<(), PaperError>,
) -> Result<Pixels, PaperError> {
    let not_a_picture = |cause| PaperError::NotAPicture {
        file: file.to_owned(),
        cause,
    };
    let opened = Opened::new(bytes).map_err(not_a_picture)?;
    let (width, height) = opened.size();
    if width > MOST_HOOKS || height > MOST_CARDS {
        return Err(PaperError::TooLarge {
            file: file.to_owned(),
            width,
            height,
        });
    }
    fits(width)?;
    let colour = colours(opened.picture().map_err(not_a_picture)?);
    Ok(Pixels {
        width,
        height,
        colour,
    })
}

/// The colour of each pixel.
fn colours(picture: DynamicImage) -> Box<dyn Fn(u32, u32) -> [u8; 4]> {
    let kind = picture.color();
    if kind.bytes_per_pixel() > kind.channel_count() {
        let deep = picture.into_rgba16();
        Box::new(move |x, y| deep.get_pixel(x, y).0.map(narrow))
    } else {
        let plain = picture.into_rgba8();
        Box::new(move |x, y| plain.get_pixel(x, y).0)
    }
}
