//! The lines of a draft: sections, keys and values, each with its line.
//!
//! Enters: text with any line ends. Leaves: the sections that are read, in the
//! order of the file. Refuses: text before the first section, a section's name
//! without its brackets, a section there twice, a line without an equals sign.
//! The lines of other sections are passed over, whatever they hold.

use super::MOST_ENDS;
use super::faults::{DraftFault, quoted};

/// Most lines of a section that is read: no section has more than one for each end.
const MOST_LINES: usize = MOST_ENDS as usize;

/// Something wrong, and the line where.
pub(super) type Wrong = (Option<usize>, DraftFault);

/// One `keyword=value`. What follows a semicolon is not part of the value: no
/// value that is read can hold one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Entry<'a> {
    pub key: &'a str,
    pub value: &'a str,
    pub line: usize,
}

/// A section that is read.
#[derive(Clone, Debug)]
pub(super) struct Section<'a> {
    pub name: &'static str,
    pub line: usize,
    pub entries: Vec<Entry<'a>>,
}

impl<'a> Section<'a> {
    /// The entry of this key. An empty value counts as none: by the standard it
    /// stands for what holds without it (from memory).
    pub fn entry(&self, key: &str) -> Result<Option<Entry<'a>>, Wrong> {
        let mut found: Option<Entry> = None;
        for entry in self.entries.iter().filter(|entry| same(entry.key, key)) {
            if let Some(first) = found {
                let what = format!("{key} of [{}]", self.name);
                return Err((Some(entry.line), twice(what, first.line)));
            }
            found = Some(*entry);
        }
        Ok(found.filter(|entry| !entry.value.is_empty()))
    }
}

pub(super) fn twice(what: String, first: usize) -> DraftFault {
    DraftFault::Twice { what, first }
}

/// Whether two names are one: in any case, with any spaces between the words.
pub(super) fn same(one: &str, other: &str) -> bool {
    let (mut one, mut other) = (one.split_whitespace(), other.split_whitespace());
    loop {
        match (one.next(), other.next()) {
            (None, None) => return true,
            (Some(a), Some(b)) if a.eq_ignore_ascii_case(b) => {}
            _ => return false,
        }
    }
}

/// The sections of these names.
pub(super) fn sections<'a>(
    text: &'a str,
    read: &[&'static str],
) -> Result<Vec<Section<'a>>, Wrong> {
    let mut sections: Vec<Section> = Vec::new();
    let (mut begun, mut passing) = (false, false);
    for (line, text) in (1..).zip(lines(text)) {
        let text = text.trim();
        if text.is_empty() || text.starts_with(';') {
            continue;
        }
        if text.starts_with('[') {
            let name = header(text).ok_or_else(|| at(line, DraftFault::Header(quoted(text))))?;
            let known = read.iter().find(|known| same(known, name));
            (begun, passing) = (true, known.is_none());
            let Some(name) = known else { continue };
            if let Some(first) = sections.iter().find(|section| section.name == *name) {
                return Err(at(line, twice(format!("[{name}]"), first.line)));
            }
            sections.push(Section {
                name,
                line,
                entries: Vec::new(),
            });
            continue;
        }
        if !begun {
            return Err(at(line, DraftFault::OutsideSection(quoted(text))));
        }
        let Some(section) = sections.last_mut().filter(|_| !passing) else {
            continue;
        };
        let (key, value) = text
            .split_once('=')
            .ok_or_else(|| at(line, DraftFault::NoValue(quoted(text))))?;
        if section.entries.len() == MOST_LINES {
            let fault = DraftFault::TooManyLines(section.name);
            return Err(at(line, fault));
        }
        let value = value.split(';').next().unwrap_or_default();
        section.entries.push(Entry {
            key: key.trim(),
            value: value.trim(),
            line,
        });
    }
    Ok(sections)
}

fn at(line: usize, fault: DraftFault) -> Wrong {
    (Some(line), fault)
}

/// What stands between the brackets, if nothing but a comment follows them.
fn header(text: &str) -> Option<&str> {
    let (name, rest) = text.strip_prefix('[')?.split_once(']')?;
    let rest = rest.trim_start();
    (rest.is_empty() || rest.starts_with(';')).then_some(name)
}

/// The lines of a text whose lines end in LF, CR LF or CR, each as it likes.
fn lines(text: &str) -> impl Iterator<Item = &str> {
    let mut rest = Some(text);
    std::iter::from_fn(move || {
        let text = rest?;
        let Some(end) = text.find(['\n', '\r']) else {
            rest = None;
            return Some(text);
        };
        let (line, after) = text.split_at(end);
        let after = after.strip_prefix("\r\n").unwrap_or_else(|| &after[1..]);
        rest = Some(after);
        Some(line)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Else errors name lines that no editor shows.
    #[test]
    fn lines_are_counted_as_an_editor_counts_them() {
        let found: Vec<&str> = lines("a\nb\r\nc\rd\n\r\n\re").collect();
        assert_eq!(found, ["a", "b", "c", "d", "", "", "e"]);
    }

    #[test]
    fn names_are_one_in_any_case_and_spacing() {
        assert!(same(" rising\tSHED ", "Rising Shed"));
        assert!(!same("RisingShed", "Rising Shed"));
        assert!(!same("Rising", "Rising Shed"));
    }
}
