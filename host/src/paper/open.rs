//! Opening a picture file, wherever one is read.
//!
//! Enters: a file's bytes. Leaves: the picture's size, then the picture as it is meant
//! to be looked at: scanners and cameras say in the file how it must be turned (TIFF
//! 6.0, tag Orientation; the same tag in a PNG file's eXIf chunk). Refuses: what is no
//! picture, in words.

use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, ImageReader, Limits};
use std::io::Cursor;

/// A picture that was begun to be read.
pub(crate) struct Opened<'a> {
    bytes: &'a [u8],
    decoder: Box<dyn ImageDecoder + 'a>,
    orientation: Orientation,
}

impl Opened<'_> {
    /// The picture's head.
    ///
    /// # Errors
    /// It is no picture that is known.
    pub fn new(bytes: &[u8]) -> Result<Opened<'_>, ImageError> {
        let reader = ImageReader::new(Cursor::new(bytes)).with_guessed_format()?;
        let mut decoder = reader.into_decoder()?;
        let orientation = decoder.orientation()?;
        Ok(Opened {
            bytes,
            decoder: Box::new(decoder),
            orientation,
        })
    }

    /// Pixels across and down, as it is to be looked at.
    pub fn size(&self) -> (u32, u32) {
        let (width, height) = self.decoder.dimensions();
        match self.orientation {
            Orientation::Rotate90
            | Orientation::Rotate270
            | Orientation::Rotate90FlipH
            | Orientation::Rotate270FlipH => (height, width),
            _ => (width, height),
        }
    }

    /// The picture.
    ///
    /// # Errors
    /// It is damaged, would be read as another, or takes more memory than a picture of
    /// its size does.
    pub fn picture(mut self) -> Result<DynamicImage, ImageError> {
        let (width, height) = self.size();
        let mut limits = Limits::default();
        // a deep picture with opacity has eight bytes a pixel
        limits.max_alloc = Some(u64::from(width) * u64::from(height) * 16 + (1 << 20));
        limits.reserve(self.decoder.total_bytes())?;
        self.decoder.set_limits(limits)?;
        super::stored::sound(self.bytes)?;
        let mut picture = DynamicImage::from_decoder(self.decoder)?;
        picture.apply_orientation(self.orientation);
        Ok(picture)
    }
}

/// Why a file is no picture that can be read, behind its name, and what to do.
pub(crate) fn refusal(cause: &ImageError) -> String {
    match cause {
        ImageError::Unsupported(kind) if kind.format_hint() == image::ImageFormat::Tiff.into() => {
            "is a TIFF picture of a kind that is not read, such as one with a palette of colours \
             or with its bits from right to left: only levels of grey, or of red, green and blue, \
             of 8 or 16 bits each are, and black and white; save it as PNG"
                .to_owned()
        }
        cause => format!(
            "is not a picture that can be read: {cause}; save it as PNG, BMP, GIF, TIFF or PBM"
        ),
    }
}
