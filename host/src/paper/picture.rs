//! A raster as it was scanned or exported.
//!
//! Enters: a PNG, BMP, GIF, TIFF or PBM file. Leaves: a [`Picture`], red, green
//! and blue of every pixel; what is transparent lies over white paper, and the first
//! such pixel is told, since a pixel that is a square must be opaque. Of a file
//! with several pictures the first is taken. Refuses: other files, damaged ones,
//! and pictures too large to be looked at.

use super::PaperFault;
use super::open::Opened;
use image::DynamicImage;
use std::fmt;
use std::path::Path;

/// Most pixels across or down.
pub const MOST_SIDE: u32 = 32_768;

/// Most pixels in all: a sheet of 1,344 by 1,000 squares at 9 pixels a square
/// each way, or an A0 scan at 250 dots an inch. It takes ten bytes a pixel.
pub const MOST_PIXELS: u64 = 110_000_000;

/// Red, green and blue.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Rgb(pub [u8; 3]);

impl Rgb {
    /// Bare paper.
    pub const WHITE: Rgb = Rgb([255; 3]);
}

impl fmt::Display for Rgb {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Rgb([red, green, blue]) = self;
        write!(f, "#{red:02x}{green:02x}{blue:02x}")
    }
}

/// A raster of red, green and blue, line by line from the top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    width: usize,
    height: usize,
    levels: Vec<u8>,
    /// The first pixel that is not opaque, counted line by line.
    clear: Option<usize>,
}

impl Picture {
    /// Of three levels a pixel, line by line from the top. None if there is no
    /// pixel or the levels do not fill the lines.
    #[must_use]
    pub fn new(width: u32, height: u32, levels: Vec<u8>) -> Option<Picture> {
        let (width, height) = (width as usize, height as usize);
        let wanted = width.checked_mul(height)?.checked_mul(3)?;
        (wanted > 0 && levels.len() == wanted).then_some(Picture {
            width,
            height,
            levels,
            clear: None,
        })
    }

    /// The picture in this file.
    ///
    /// # Errors
    /// It cannot be read, is no picture that is known, or is too large.
    pub fn read(file: &Path) -> Result<Picture, PaperFault> {
        let bytes = crate::input::bytes(file).map_err(PaperFault::Unreadable)?;
        Picture::from_bytes(&bytes)
    }

    /// The picture in a file's bytes.
    ///
    /// # Errors
    /// They are no picture that is known, or it is too large.
    pub fn from_bytes(bytes: &[u8]) -> Result<Picture, PaperFault> {
        if bytes.is_empty() {
            return Err(PaperFault::Empty);
        }
        let opened = Opened::new(bytes).map_err(PaperFault::NotAPicture)?;
        let (width, height) = opened.size();
        if width > MOST_SIDE || height > MOST_SIDE || pixels(width, height) > MOST_PIXELS {
            return Err(PaperFault::TooLarge { width, height });
        }
        let picture = opened.picture().map_err(PaperFault::NotAPicture)?;
        let (levels, clear) = levels(picture);
        let picture = Picture::new(width, height, levels).ok_or(PaperFault::Empty)?;
        Ok(Picture { clear, ..picture })
    }

    /// Pixels across.
    #[must_use]
    pub fn width(&self) -> usize {
        self.width
    }

    /// Pixels down.
    #[must_use]
    pub fn height(&self) -> usize {
        self.height
    }

    /// Column and line, from 0, of the first pixel that is not opaque.
    pub(crate) fn clear(&self) -> Option<(usize, usize)> {
        self.clear.map(|at| (at % self.width, at / self.width))
    }

    /// A line of pixels, three levels each.
    pub(crate) fn line(&self, y: usize) -> &[u8] {
        &self.levels[y * self.width * 3..][..self.width * 3]
    }

    /// Every pixel, line by line from the top.
    pub fn colours(&self) -> impl ExactSizeIterator<Item = Rgb> {
        self.levels
            .chunks_exact(3)
            .map(|pixel| Rgb([pixel[0], pixel[1], pixel[2]]))
    }

    /// The pixel in which this place lies, or the nearest at the edge.
    pub(crate) fn nearest(&self, place: Place) -> [f32; 3] {
        let x = inside(place.x, self.width);
        let y = inside(place.y, self.height);
        let at = (y * self.width + x) * 3;
        let pixel = &self.levels[at..at + 3];
        [pixel[0], pixel[1], pixel[2]].map(f32::from)
    }

    /// The levels at a place between the middles of four pixels.
    pub(crate) fn between(&self, place: Place) -> [f32; 3] {
        let x = (place.x - 0.5).clamp(0.0, (self.width - 1) as f64);
        let y = (place.y - 0.5).clamp(0.0, (self.height - 1) as f64);
        let (left, top) = (x as usize, y as usize);
        let (right, below) = (
            (left + 1).min(self.width - 1),
            (top + 1).min(self.height - 1),
        );
        let (over, down) = ((x - left as f64) as f32, (y - top as f64) as f32);
        let level =
            |x: usize, y: usize, colour| f32::from(self.levels[(y * self.width + x) * 3 + colour]);
        [0, 1, 2].map(|colour| {
            let upper = level(left, top, colour) * (1.0 - over) + level(right, top, colour) * over;
            let lower =
                level(left, below, colour) * (1.0 - over) + level(right, below, colour) * over;
            upper * (1.0 - down) + lower * down
        })
    }

    /// The part between two corners, each column and line; none if that is nothing.
    pub(crate) fn part(
        &self,
        (left, top): (usize, usize),
        (right, below): (usize, usize),
    ) -> Option<Picture> {
        let (right, below) = (right.min(self.width), below.min(self.height));
        if left >= right {
            return None;
        }
        let lines = (top..below).map(|y| &self.line(y)[left * 3..right * 3]);
        let levels: Vec<u8> = lines.flatten().copied().collect();
        let size = (right - left, below.saturating_sub(top));
        Picture::new(size.0 as u32, size.1 as u32, levels)
    }

    /// The same picture with lines and columns exchanged.
    pub(crate) fn turned(&self) -> Picture {
        // in tiles, so that neither picture is walked through far apart
        const TILE: usize = 32;
        let mut levels = vec![0; self.levels.len()];
        for top in (0..self.height).step_by(TILE) {
            for left in (0..self.width).step_by(TILE) {
                for y in top..(top + TILE).min(self.height) {
                    for x in left..(left + TILE).min(self.width) {
                        let (from, to) = ((y * self.width + x) * 3, (x * self.height + y) * 3);
                        levels[to..to + 3].copy_from_slice(&self.levels[from..from + 3]);
                    }
                }
            }
        }
        Picture {
            width: self.height,
            height: self.width,
            levels,
            clear: None,
        }
    }
}

/// A place in a picture, in pixels: the middle of the first pixel is at 0.5, 0.5.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Place {
    /// From the left edge.
    pub x: f64,
    /// From the upper edge.
    pub y: f64,
}

fn inside(at: f64, side: usize) -> usize {
    (at.max(0.0) as usize).min(side - 1)
}

fn pixels(width: u32, height: u32) -> u64 {
    u64::from(width) * u64::from(height)
}

/// A level of a deep picture, narrowed so that only what is truly black or white stays
/// so.
pub(crate) fn narrow(level: u16) -> u8 {
    match level {
        0 => 0,
        u16::MAX => 255,
        _ => level.to_be_bytes()[0].clamp(1, 254),
    }
}

/// Three levels a pixel, over white, and the first that is not opaque.
fn levels(picture: DynamicImage) -> (Vec<u8>, Option<usize>) {
    let kind = picture.color();
    if kind.bytes_per_pixel() > kind.channel_count() {
        over_white(picture.into_rgba16().pixels().map(|p| p.0.map(narrow)))
    } else if kind.has_alpha() {
        over_white(picture.into_rgba8().pixels().map(|pixel| pixel.0))
    } else {
        (picture.into_rgb8().into_raw(), None)
    }
}

fn over_white(pixels: impl Iterator<Item = [u8; 4]>) -> (Vec<u8>, Option<usize>) {
    let laid = |level: u8, opacity: u8| {
        let (level, opacity) = (u32::from(level), u32::from(opacity));
        ((level * opacity + 255 * (255 - opacity) + 127) / 255) as u8
    };
    let mut clear = None;
    let mut levels = Vec::new();
    for (at, [red, green, blue, opacity]) in pixels.enumerate() {
        if opacity < 255 && clear.is_none() {
            clear = Some(at);
        }
        levels.extend([red, green, blue].map(|level| laid(level, opacity)));
    }
    (levels, clear)
}
