//! A draft out of its text: which shafts each pick names, and which end is on
//! which shaft.
//!
//! Enters: the bytes of a draft. Leaves: a [`Draft`] that has been checked.
//! Refuses: what the draft contradicts or leaves out, naming the line. What is
//! counted is limited before anything is made of it, so that a number too many
//! costs an error and no memory.

use super::MOST_BYTES;
use super::faults::{DraftError, DraftFault, quoted, shafts};
use super::ini::{Entry, Section, Wrong, sections, twice};
use super::numbers::{Count, ENDS, Limit, Numbering, PICKS, SHAFTS, Set, TREADLES, count, yes};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The sections that are read.
const READ: [&str; 9] = [
    "WIF",
    "CONTENTS",
    "WEAVING",
    "WARP",
    "WEFT",
    "THREADING",
    "TIEUP",
    "TREADLING",
    "LIFTPLAN",
];

/// Numbered lines: the numbers that each lists, and its line.
pub(super) type Table = BTreeMap<u32, (Set, usize)>;

/// What says which shafts a pick works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ShedFrom {
    /// The liftplan.
    Liftplan,
    /// Tie-up and treadling.
    TieUp,
}

/// Which end is on which shafts.
#[derive(Clone, Debug)]
pub(super) struct Threading {
    pub line: usize,
    pub ends: Count,
    pub table: Table,
}

/// A draft, checked.
#[derive(Clone, Debug)]
pub struct Draft {
    pub(super) file: PathBuf,
    pub(super) sha256: String,
    pub(super) shafts: Count,
    pub(super) threading: Option<Threading>,
    picks: u32,
    /// The shafts named for each pick; no entry for a pick that is left out.
    named: Table,
    rising: bool,
    from: ShedFrom,
}

impl Draft {
    /// Reads a draft. `file` is what errors call it.
    ///
    /// # Errors
    /// The draft is refused.
    pub fn parse(bytes: &[u8], file: &Path) -> Result<Draft, DraftError> {
        let refused = |(line, fault)| DraftError {
            file: file.to_owned(),
            line,
            fault,
        };
        if bytes.len() as u64 > MOST_BYTES {
            return Err(refused((None, DraftFault::TooLong(bytes.len() as u64))));
        }
        // Notes may be in any code page of their time; what is read is ASCII.
        let text = String::from_utf8_lossy(bytes);
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
        let sha256 = crate::deck::hex(&<sha2::Sha256 as sha2::Digest>::digest(bytes));
        let draft = Sections::of(text).and_then(|sections| sections.draft(file, sha256));
        draft.map_err(refused)
    }

    /// Shafts of the draft.
    #[must_use]
    pub fn shafts(&self) -> u32 {
        self.shafts.count
    }

    /// Picks of the draft.
    #[must_use]
    pub fn picks(&self) -> u32 {
        self.picks
    }

    /// The last pick that names a shaft; none if no pick does.
    #[must_use]
    pub fn last_named(&self) -> Option<u32> {
        self.named.keys().copied().max()
    }

    /// Whether the shafts named rise; if not, they sink and the others rise.
    #[must_use]
    pub fn rising(&self) -> bool {
        self.rising
    }

    /// What says which shafts a pick works.
    #[must_use]
    pub fn shed_from(&self) -> ShedFrom {
        self.from
    }

    /// What rises at this pick, by the shafts it is on; what is on none never does,
    /// whatever the shed (common practice, no source).
    pub(super) fn shed(&self, pick: u32) -> impl Fn(&Set) -> bool + use<> {
        let named = self.named.get(&pick).map(|(named, _)| *named);
        let (named, rising) = (named.unwrap_or_default(), self.rising);
        move |on| !on.is_empty() && named.meets(on) == rising
    }
}

/// How many of everything the draft says there are.
struct Said {
    shafts: Option<Count>,
    treadles: Option<Count>,
    ends: Option<Count>,
    picks: Option<Count>,
}

/// The numbered sections.
struct Tables {
    threading: Option<Table>,
    tie_up: Option<Table>,
    treadling: Option<Table>,
    liftplan: Option<Table>,
}

/// The sections that are read, without those that CONTENTS takes out.
struct Sections<'a>(Vec<Section<'a>>);

impl<'a> Sections<'a> {
    fn of(text: &'a str) -> Result<Sections<'a>, Wrong> {
        let mut sections = Sections(sections(text, &READ)?);
        let head = sections.get("WIF").ok_or((None, DraftFault::NotADraft))?;
        version(head)?;
        let mut left_out = Vec::new();
        for name in READ {
            let Some(entry) = sections.entry("CONTENTS", name)? else {
                continue;
            };
            if !yes(&entry)? {
                left_out.push(name);
            } else if sections.get(name).is_none() {
                return Err((Some(entry.line), DraftFault::Promised(name)));
            }
        }
        sections
            .0
            .retain(|section| !left_out.contains(&section.name));
        Ok(sections)
    }

    fn get(&self, name: &str) -> Option<&Section<'a>> {
        self.0.iter().find(|section| section.name == name)
    }

    fn entry(&self, section: &str, key: &str) -> Result<Option<Entry<'a>>, Wrong> {
        self.get(section)
            .map_or(Ok(None), |section| section.entry(key))
    }

    fn said(&self) -> Result<Said, Wrong> {
        let said = |section, key, limit: &Limit| {
            let entry = self.entry(section, key)?;
            entry.map(|entry| count(&entry, limit)).transpose()
        };
        Ok(Said {
            shafts: said("WEAVING", "Shafts", &SHAFTS)?,
            treadles: said("WEAVING", "Treadles", &TREADLES)?,
            ends: said("WARP", "Threads", &ENDS)?,
            picks: said("WEFT", "Threads", &PICKS)?,
        })
    }

    fn tables(&self, said: &Said) -> Result<Tables, Wrong> {
        let shafts = Numbering::new(SHAFTS, said.shafts, "Shafts in [WEAVING]");
        let treadles = Numbering::new(TREADLES, said.treadles, "Treadles in [WEAVING]");
        let ends = Numbering::new(ENDS, said.ends, "Threads in [WARP]");
        let picks = Numbering::new(PICKS, said.picks, "Threads in [WEFT]");
        Ok(Tables {
            threading: self.table("THREADING", &ends, &shafts)?,
            tie_up: self.table("TIEUP", &treadles, &shafts)?,
            treadling: self.table("TREADLING", &picks, &treadles)?,
            liftplan: self.table("LIFTPLAN", &picks, &shafts)?,
        })
    }

    /// The numbered lines of a section; none if there is no such section.
    fn table(
        &self,
        section: &str,
        keys: &Numbering,
        values: &Numbering,
    ) -> Result<Option<Table>, Wrong> {
        let Some(section) = self.get(section) else {
            return Ok(None);
        };
        let mut table = Table::new();
        for entry in &section.entries {
            let at = |fault| (Some(entry.line), fault);
            let number = keys.key(entry.key).map_err(at)?;
            let listed = values.list(entry.value).map_err(at)?;
            if let Some((_, first)) = table.insert(number, (listed, entry.line)) {
                let what = format!("{} {number} of [{}]", keys.one(), section.name);
                return Err(at(twice(what, first)));
            }
        }
        Ok(Some(table))
    }

    fn draft(&self, file: &Path, sha256: String) -> Result<Draft, Wrong> {
        let said = self.said()?;
        let tables = self.tables(&said)?;
        let rising = self.entry("WEAVING", "Rising Shed")?;
        let Tables {
            threading,
            tie_up,
            treadling,
            liftplan,
        } = &tables;
        let shafts = largest(&[threading, tie_up, liftplan]);
        let picks = last(&[treadling, liftplan]);
        let shafts = counted(said.shafts, shafts, &SHAFTS)?;
        let picks = counted(said.picks, picks, &PICKS)?;
        let threading = match (self.get("THREADING"), threading) {
            (Some(section), Some(table)) => Some(Threading {
                line: section.line,
                ends: counted(said.ends, last(&[threading]), &ENDS)?,
                table: table.clone(),
            }),
            _ => None,
        };
        let (named, from) = tables.shed()?;
        Ok(Draft {
            file: file.to_owned(),
            sha256,
            shafts,
            threading,
            picks: picks.count,
            named,
            // a draft that does not say so has a rising shed (from memory)
            rising: rising.map_or(Ok(true), |entry| yes(&entry))?,
            from,
        })
    }
}

impl Tables {
    /// The shafts named for each pick, and what names them.
    fn shed(self) -> Result<(Table, ShedFrom), Wrong> {
        let treadled = self.tie_up.as_ref().zip(self.treadling.as_ref());
        match (self.liftplan, treadled) {
            (Some(liftplan), None) => Ok((liftplan, ShedFrom::Liftplan)),
            (None, Some((tie_up, treadling))) => Ok((tread(tie_up, treadling), ShedFrom::TieUp)),
            (Some(liftplan), Some((tie_up, treadling))) => {
                agree(&liftplan, &tread(tie_up, treadling))?;
                Ok((liftplan, ShedFrom::Liftplan))
            }
            (None, None) => {
                let lack = match (self.tie_up, self.treadling) {
                    (Some(_), _) => "there is a tie-up and no treadling",
                    (_, Some(_)) => "there is a treadling and no tie-up",
                    _ => "there is no liftplan, no tie-up and no treadling",
                };
                Err((None, DraftFault::NoShed(lack)))
            }
        }
    }
}

fn version(head: &Section) -> Result<(), Wrong> {
    let missing = DraftFault::Missing {
        section: "WIF",
        key: "Version",
        example: "1.1",
    };
    let entry = head.entry("Version")?.ok_or((Some(head.line), missing))?;
    match entry.value {
        "1" | "1.0" | "1.1" => Ok(()),
        other => Err((Some(entry.line), DraftFault::Version(quoted(other)))),
    }
}

/// What each pick works by its treadles: every shaft of each of them.
fn tread(tie_up: &Table, treadling: &Table) -> Table {
    let shed = |treadles: &Set| {
        let mut shed = Set::default();
        for treadle in treadles.numbers() {
            if let Some((shafts, _)) = tie_up.get(&treadle) {
                shed.join(shafts);
            }
        }
        shed
    };
    let pick = |(pick, (treadles, line)): (&u32, &(Set, usize))| (*pick, (shed(treadles), *line));
    treadling.iter().map(pick).collect()
}

/// Refuses a draft that names other shafts by its liftplan than by its treadles.
fn agree(liftplan: &Table, treadled: &Table) -> Result<(), Wrong> {
    for pick in liftplan.keys().chain(treadled.keys()) {
        let of = |table: &Table| table.get(pick).copied().unwrap_or_default();
        let ((lifted, line), (trodden, other)) = (of(liftplan), of(treadled));
        if lifted != trodden {
            let fault = DraftFault::Disagree {
                pick: *pick,
                lifted: shafts(lifted.numbers()),
                treadled: shafts(trodden.numbers()),
            };
            return Err((Some(if line == 0 { other } else { line }), fault));
        }
    }
    Ok(())
}

/// The count that is said, or else the largest number that is named.
fn counted(said: Option<Count>, named: Option<u32>, limit: &Limit) -> Result<Count, Wrong> {
    let named = named.map(|count| Count { count, line: None });
    said.or(named)
        .ok_or((None, DraftFault::NoneAtAll(limit.several)))
}

fn largest(tables: &[&Option<Table>]) -> Option<u32> {
    let tables = tables.iter().copied().flatten();
    let sets = tables.flat_map(|table| table.values());
    sets.filter_map(|(set, _)| set.last()).max()
}

fn last(tables: &[&Option<Table>]) -> Option<u32> {
    let tables = tables.iter().copied().flatten();
    tables
        .filter_map(|table| table.keys().next_back().copied())
        .max()
}
