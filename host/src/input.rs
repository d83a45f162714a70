//! Reading what a person names. Enters: a path. Leaves: the file's content.
//! Refuses: pipes and devices, which may never end.

use std::io::{Error, ErrorKind, Result};
use std::path::Path;

/// The bytes of a plain file.
///
/// # Errors
/// What the system says, or that it is no plain file.
pub(crate) fn bytes(path: &Path) -> Result<Vec<u8>> {
    plain(path)?;
    std::fs::read(path)
}

/// The text of a plain file.
///
/// # Errors
/// As [`bytes`], and if it is no UTF-8.
pub(crate) fn text(path: &Path) -> Result<String> {
    plain(path)?;
    std::fs::read_to_string(path)
}

/// Refuses what may never end.
///
/// # Errors
/// What the system says, or that it is no plain file.
pub(crate) fn plain(path: &Path) -> Result<()> {
    let kind = std::fs::metadata(path)?.file_type();
    // a directory has an error of its own when it is read
    if kind.is_file() || kind.is_dir() {
        return Ok(());
    }
    Err(Error::new(
        ErrorKind::InvalidInput,
        "it is a pipe or a device, not a plain file",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Else the program would read from it for ever.
    #[test]
    fn a_device_is_refused_and_a_plain_file_read() {
        let error = bytes(Path::new("/dev/zero")).expect_err("it never ends");
        assert_eq!(error.kind(), ErrorKind::InvalidInput);
        assert!(
            text(Path::new(concat!(
                env!("CARGO_MANIFEST_DIR"),
                "/Cargo.toml"
            )))
            .is_ok()
        );
        assert!(bytes(Path::new("/no/such/file")).is_err());
    }
}
