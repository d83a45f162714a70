//! The firmware's way onto a board: a linked program becomes an image, an image
//! is checked, and a board's bootloader is given it.

pub mod drive;
pub mod elf;
pub mod uf2;

use std::path::Path;

/// Longest image a board has room for: two bytes of file for one of flash.
const MOST_BYTES: u64 = 2 * (uf2::FLASH.end - uf2::FLASH.start) as u64;

/// Reads a file of no more than an image may have.
///
/// # Errors
/// What the system says, or that it is too long.
pub fn bytes_of(path: &Path, most: u64) -> std::io::Result<Vec<u8>> {
    let length = std::fs::metadata(path)?.len();
    if length > most {
        let words = format!("it is {length} bytes long, and {most} are the most it can be");
        return Err(std::io::Error::new(std::io::ErrorKind::InvalidInput, words));
    }
    crate::input::bytes(path)
}

/// Why an image is not put on a board.
#[derive(Debug, thiserror::Error)]
pub enum ImageError {
    /// It cannot be read.
    #[error("image {file} cannot be read: {cause}; check its name")]
    File {
        /// Which file.
        file: String,
        /// What the system says.
        cause: std::io::Error,
    },
    /// It is not what a board of this kind takes.
    #[error(
        "image {file}: {cause}; build it anew (`firmware/pico/build`) or give another, nothing has been written"
    )]
    Content {
        /// Which file.
        file: String,
        /// What is wrong with it.
        cause: uf2::Uf2Error,
    },
}

/// An image that a board takes.
#[derive(Debug)]
pub struct Image {
    /// The file's bytes.
    pub bytes: Vec<u8>,
    /// Where they go.
    pub pages: uf2::Pages,
}

impl Image {
    /// Reads and checks an image.
    ///
    /// # Errors
    /// [`ImageError`] naming the file, the block and the cause.
    pub fn read(path: &Path) -> Result<Image, ImageError> {
        let file = path.display().to_string();
        let bytes = match bytes_of(path, MOST_BYTES) {
            Ok(bytes) => bytes,
            Err(cause) => return Err(ImageError::File { file, cause }),
        };
        match uf2::read(&bytes) {
            Ok(pages) => Ok(Image { bytes, pages }),
            Err(cause) => Err(ImageError::Content { file, cause }),
        }
    }
}
