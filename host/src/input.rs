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

/// The line, from 1, at which a TOML text is wrong, and what is wrong there in a
/// person's words: a file's writer knows no types.
pub(crate) fn wrong_toml(text: &str, error: &toml::de::Error) -> (usize, String) {
    let line = error
        .span()
        .map_or(1, |span| crate::deck::line_at(text, &span));
    let message = error.message();
    let cause = match message.rsplit_once(", expected ") {
        Some((found, wanted)) => {
            format!("{}, expected {}", found_in_words(found), in_words(wanted))
        }
        // it stands where one of a few words should, and would be taken as a table of one
        None if message.starts_with("wanted ") => {
            "invalid type, expected a word in quotes".to_owned()
        }
        None => message.to_owned(),
    };
    (line, cause)
}

fn found_in_words(found: &str) -> &str {
    match found {
        "invalid type: map" => "invalid type: table",
        "invalid type: sequence" => "invalid type: list",
        found => found
            .trim_end_matches(" as i128")
            .trim_end_matches(" as u128"),
    }
}

fn in_words(wanted: &str) -> &str {
    match wanted {
        "f32" | "f64" => "a number",
        "u8" | "u16" | "u32" | "u64" | "usize" => "a whole number that is not negative",
        "i8" | "i16" | "i32" | "i64" => "a whole number",
        "a boolean" => "true or false",
        "a string" => "words in quotes",
        "a sequence" => "a list in brackets",
        wanted if wanted.starts_with("struct ") || wanted == "a map" => "a table",
        wanted => wanted,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wrong_with_a_toml_text_is_said_without_types() {
        #[derive(Debug, serde::Deserialize)]
        #[allow(dead_code)] // it is only read
        struct Text {
            width: f64,
            rows: Option<u16>,
            end: Option<End>,
        }
        #[derive(Debug, serde::Deserialize)]
        #[serde(rename_all = "lowercase")]
        enum End {
            Numbered,
        }
        let wrong = |text: &str| {
            let error = toml::from_str::<Text>(text).expect_err("it is wrong");
            wrong_toml(text, &error)
        };
        let number = "invalid type: string \"wide\", expected a number";
        assert_eq!(wrong("\nwidth = \"wide\"\n"), (2, number.to_owned()));
        let whole = "invalid value: integer `-1`, expected a whole number that is not negative";
        assert_eq!(wrong("width = 1\nrows = -1\n"), (2, whole.to_owned()));
        let word = "invalid type, expected a word in quotes";
        for end in ["3", "[]", "{}", "{ numbered = 1, other = 1 }"] {
            let text = format!("width = 1\nend = {end}\n");
            assert_eq!(wrong(&text), (2, word.to_owned()), "{end}");
        }
        let long = "invalid type: integer `99999999999999999999`, expected a number";
        assert_eq!(
            wrong("width = 99999999999999999999\n"),
            (1, long.to_owned())
        );
        let table = "invalid type: table, expected a number";
        assert_eq!(wrong("width = {}\n"), (1, table.to_owned()));
        let list = "invalid type: list, expected a number";
        assert_eq!(wrong("width = []\n"), (1, list.to_owned()));
        assert_eq!(wrong("rows = 1\n"), (1, "missing field `width`".to_owned()));
    }

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
