//! Raw readings on disk. Enters: the levels of a card, line by line. Leaves:
//! zlib bytes (RFC 1950), whose Adler-32 tells damage, and the same levels
//! again. Refuses: more or fewer bytes than the lines say, so that a damaged
//! length cannot fill the memory.

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;
use std::io::{self, Read, Write};

/// Presses `samples`.
pub(super) fn press(samples: &[u8]) -> io::Result<Vec<u8>> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(samples)?;
    encoder.finish()
}

/// The samples again, if they are exactly `length` bytes.
pub(super) fn unpress(pressed: &[u8], length: usize) -> io::Result<Vec<u8>> {
    let mut samples = Vec::with_capacity(length.min(1 << 20));
    let limit = (length as u64).saturating_add(1);
    ZlibDecoder::new(pressed)
        .take(limit)
        .read_to_end(&mut samples)?;
    if samples.len() == length {
        Ok(samples)
    } else {
        Err(io::Error::new(
            io::ErrorKind::InvalidData,
            format!("{length} bytes of readings expected, others found"),
        ))
    }
}
