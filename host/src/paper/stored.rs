//! How a picture file stores its pixels, where the decoder does not look.
//!
//! Enters: a file's bytes. Leaves: nothing. Refuses: a PNG file in which pixels have
//! numbers that its palette has not (PNG, third edition, 11.2.2: an error), and a TIFF
//! file whose bits go from right to left (TIFF 6.0, tag FillOrder): both would be read
//! as other pixels than were painted. Whatever else is wrong the decoder says.

use image::ImageFormat;
use image::error::{
    DecodingError, ImageError, ImageFormatHint, UnsupportedError, UnsupportedErrorKind,
};

/// Tag of a TIFF file that says in which order bits are filled, and the order from
/// left to right, which is meant where there is none.
const FILL_ORDER: u16 = 266;
const LEFT_TO_RIGHT: u16 = 1;

/// Refuses what would be read as other pixels than were painted.
///
/// # Errors
/// See the module.
pub fn sound(bytes: &[u8]) -> Result<(), ImageError> {
    if let Some(number) = beyond_palette(bytes) {
        let cause = format!("a pixel has number {number}, which the palette has not");
        let hint = ImageFormatHint::Exact(ImageFormat::Png);
        return Err(ImageError::Decoding(DecodingError::new(hint, cause)));
    }
    if fill_order(bytes).is_some_and(|order| order != LEFT_TO_RIGHT) {
        let kind = UnsupportedErrorKind::GenericFeature("FillOrder".to_owned());
        let hint = ImageFormatHint::Exact(ImageFormat::Tiff);
        let unsupported = UnsupportedError::from_format_and_kind(hint, kind);
        return Err(ImageError::Unsupported(unsupported));
    }
    Ok(())
}

/// A number beyond the palette of a PNG file.
fn beyond_palette(bytes: &[u8]) -> Option<u8> {
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
        .read_info()
        .ok()?;
    let info = reader.info();
    let (depth, width) = (info.bit_depth as u32, info.width);
    let colours = info.palette.as_ref()?.len() / 3;
    if info.color_type != png::ColorType::Indexed || colours >= 1 << depth {
        return None;
    }
    let interlaced = info.interlaced;
    // a pass of an interlaced picture has shorter lines, which end in empty bits
    let numbers_in = |line: &[u8]| {
        let in_line = if interlaced { u32::MAX } else { width };
        let places = (0..8 / depth).map(|place| 8 - depth * (place + 1));
        let numbers = line
            .iter()
            .flat_map(|byte| places.clone().map(move |shift| u32::from(*byte) >> shift));
        numbers
            .take(in_line as usize)
            .map(|number| (number & ((1 << depth) - 1)) as u8)
            .find(|number| usize::from(*number) >= colours)
    };
    while let Some(line) = reader.next_row().ok()? {
        if let Some(number) = numbers_in(line.data()) {
            return Some(number);
        }
    }
    None
}

/// The fill order in the first directory of a TIFF file.
fn fill_order(bytes: &[u8]) -> Option<u16> {
    let little = match bytes.get(..4)? {
        b"II*\0" => true,
        b"MM\0*" => false,
        _ => return None,
    };
    let short = |at: usize| -> Option<u16> {
        let two = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(match little {
            true => u16::from_le_bytes(two),
            false => u16::from_be_bytes(two),
        })
    };
    let four = bytes.get(4..8)?.try_into().ok()?;
    let start = match little {
        true => u32::from_le_bytes(four),
        false => u32::from_be_bytes(four),
    } as usize;
    let entries = usize::from(short(start)?);
    let mut tags = (0..entries).filter_map(|entry| start.checked_add(2 + entry * 12));
    let own = tags.find(|at| short(*at) == Some(FILL_ORDER))?;
    short(own.checked_add(8)?)
}
