//! From a plan file's text to a [`Plan`]: every complaint names the line.

use super::faults::{PlanError, PlanFault};
use super::section::{self, Written};
use super::table::{Found, Table, Value};
use super::{Length, MOST_NAMES, MOST_PICKS, MOST_SECTIONS, Plan, PlanDeck, PlanWeft, Sett};
use crate::cloth::rgb;
use crate::deck::{Deck, DeckFileError, hex, line_at};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use toml::de::DeTable;

/// The longest cloth that is taken for one that was meant: 10 km.
const LONGEST_MM: f64 = 1e7;

/// Closest sett that is taken for one that was meant.
const CLOSEST: f64 = 2_000.0;

/// Longest name, and longest words of a mark, in characters.
const LONGEST_WORDS: usize = 200;

const KEYS: [&str; 9] = [
    "name", "length", "picks", "sett", "loom", "cloth", "decks", "wefts", "section",
];

/// How a deck is got from its file.
type DeckOf<'a> = &'a mut dyn FnMut(&Path) -> Result<Deck, DeckFileError>;

/// A fault of the plan, or of a deck it names.
enum Refused {
    Found(Found),
    Deck(std::ops::Range<usize>, Box<DeckFileError>),
}

impl From<Found> for Refused {
    fn from(found: Found) -> Refused {
        Refused::Found(found)
    }
}

pub(super) fn parse(text: &str, file: &Path, deck: DeckOf) -> Result<Plan, PlanError> {
    let tables = DeTable::parse(text).map_err(|error| PlanError::Toml {
        file: file.to_owned(),
        line: line_at(text, &error.span().unwrap_or_default()),
        cause: error.message().to_owned(),
    })?;
    let whole = Table::whole("a plan", &tables, &KEYS);
    let plan = whole
        .map_err(Refused::from)
        .and_then(|whole| read(&whole, file, deck));
    let mut plan = plan.map_err(|refused| match refused {
        Refused::Found(Found { at, fault }) => PlanError::Fault {
            file: file.to_owned(),
            line: line_at(text, &at),
            fault,
        },
        Refused::Deck(at, cause) => PlanError::Deck {
            file: file.to_owned(),
            line: line_at(text, &at),
            cause,
        },
    })?;
    plan.text = text.to_owned();
    plan.sha256 = hex(&<sha2::Sha256 as sha2::Digest>::digest(text));
    Ok(plan)
}

fn read(whole: &Table, file: &Path, deck: DeckOf) -> Result<Plan, Refused> {
    let name = words(&whole.need(
        "name",
        "what the cloth is called, such as name = \"Towels\"",
    )?)?;
    let length = length(whole)?;
    let folder = file.parent().unwrap_or(Path::new(""));
    let path_of = |key| whole.get(key).map(|value| path(&value, folder)).transpose();
    let mut plan = Plan {
        file: file.to_owned(),
        text: String::new(),
        sha256: String::new(),
        name,
        length,
        sett: sett(whole, length)?,
        loom: path_of("loom")?,
        cloth: path_of("cloth")?,
        decks: Vec::new(),
        wefts: wefts(whole)?,
        sections: Vec::new(),
    };
    let Some(written) = whole.get("section") else {
        return Err(whole.found(PlanFault::NoSections).into());
    };
    if let Some(decks) = whole.get("decks") {
        plan.decks = read_decks(&decks.names("[decks]")?, folder, deck)?;
    }
    let sections = written.list("sections, each under a line [[section]]", MOST_SECTIONS)?;
    let mut filling = None;
    for value in &sections {
        let Written { section, fill } = section::read(value, &mut plan)?;
        if let Some(fill) = fill {
            if filling.is_some() {
                return Err(fill.found(PlanFault::ToLengthTwice).into());
            }
            filling = Some((plan.sections.len(), fill));
        }
        plan.sections.push(section);
        if picks(&plan) > MOST_PICKS {
            return Err(value.found(PlanFault::TooLong { most: MOST_PICKS }).into());
        }
    }
    if let Some((at, fill)) = filling {
        fill_length(&mut plan, at, &fill)?;
    }
    for (value, section) in sections.iter().zip(&plan.sections) {
        section::check_marks(value, section)?;
    }
    Ok(plan)
}

fn picks(plan: &Plan) -> u64 {
    let sum = |sum: u64, section: &super::Section| sum.saturating_add(section.picks());
    plan.sections.iter().fold(0, sum)
}

/// Repeats the section at `at` as often as the wanted length needs.
fn fill_length(plan: &mut Plan, at: usize, fill: &Value) -> Result<(), Found> {
    let Some(wanted) = plan.wanted() else {
        return fill.refuse(PlanFault::ToLengthWithout);
    };
    let others = picks(plan) - plan.sections[at].picks();
    if others >= wanted {
        return fill.refuse(PlanFault::NothingLeft { wanted, others });
    }
    let section = &mut plan.sections[at];
    section.repeats = (wanted - others).div_ceil(section.pass());
    if picks(plan) > MOST_PICKS {
        return fill.refuse(PlanFault::TooLong { most: MOST_PICKS });
    }
    Ok(())
}

/// A name, or words for the weaver: they are shown on one line.
pub(super) fn words(value: &Value) -> Result<String, Found> {
    let text = value.text()?;
    checked_words(value, value.key, text)
}

fn checked_words(value: &Value, what: &str, text: &str) -> Result<String, Found> {
    let shown = !text.trim().is_empty() && !text.chars().any(char::is_control);
    if shown && text.chars().count() <= LONGEST_WORDS {
        return Ok(text.to_owned());
    }
    let start: String = text.chars().take(40).collect();
    let fault = PlanFault::Words {
        what: what.to_owned(),
        text: start.escape_debug().to_string(),
    };
    value.refuse(fault)
}

fn path(value: &Value, folder: &Path) -> Result<PathBuf, Found> {
    match value.text()? {
        text if text.trim().is_empty() || text.contains('\0') => {
            value.refuse(PlanFault::NoPath(value.key.to_owned()))
        }
        text => Ok(folder.join(text)),
    }
}

fn length(whole: &Table) -> Result<Option<Length>, Found> {
    let (length, picks) = (whole.get("length"), whole.get("picks"));
    match (length, picks) {
        (Some(_), Some(picks)) => picks.refuse(PlanFault::TwoLengths),
        (None, None) => Ok(None),
        (None, Some(picks)) => Ok(Some(Length::Picks(picks.whole(1, MOST_PICKS)?))),
        (Some(length), None) => {
            if !length.is_text() {
                return length.other_kind("text with a unit, such as \"2.4 m\"");
            }
            let text = length.text()?;
            match millimetres(text) {
                Some(mm) => Ok(Some(Length::Millimetres(mm))),
                None => length.refuse(PlanFault::Length(text.to_owned())),
            }
        }
    }
}

/// A number and a unit, with or without a space between.
fn millimetres(text: &str) -> Option<f64> {
    let text = text.trim();
    let unit = text.find(|sign: char| !sign.is_ascii_digit() && sign != '.')?;
    let number: f64 = text[..unit].parse().ok()?;
    let mm = number * unit_mm(text[unit..].trim_start())?;
    (mm > 0.0 && mm <= LONGEST_MM).then_some(mm)
}

fn unit_mm(unit: &str) -> Option<f64> {
    match unit {
        "m" => Some(1_000.0),
        "cm" => Some(10.0),
        "mm" => Some(1.0),
        "in" | "inch" => Some(25.4),
        "yd" => Some(914.4),
        _ => None,
    }
}

fn sett(whole: &Table, length: Option<Length>) -> Result<Option<Sett>, Found> {
    let Some(written) = whole.get("sett") else {
        return match (length, whole.get("length")) {
            (Some(Length::Millimetres(_)), Some(value)) => value.refuse(PlanFault::NoSett),
            _ => Ok(None),
        };
    };
    let table = written.table("sett", &["picks", "per"])?;
    let picks = table.need("picks", "how many there are in a unit, such as picks = 30")?;
    let per = table.need("per", "the unit: per = \"in\", or \"cm\"")?;
    let unit_mm = match per.text()? {
        unit @ ("in" | "inch" | "cm") => unit_mm(unit),
        _ => None,
    };
    match unit_mm {
        None => per.refuse(PlanFault::Per(per.text()?.to_owned())),
        Some(unit_mm) => Ok(Some(Sett {
            picks: picks.positive(CLOSEST)?,
            unit_mm,
        })),
    }
}

/// What a table names, each by a name that can be shown.
fn named<'a>(table: &Table<'a>, what: &str) -> Result<Vec<Value<'a>>, Found> {
    let entries = table.entries();
    if let Some(value) = entries.get(MOST_NAMES) {
        return value.refuse_key(PlanFault::Many {
            key: what.to_owned(),
            count: entries.len(),
            most: MOST_NAMES,
        });
    }
    for value in &entries {
        checked_words(value, &format!("a name in {what}"), value.key)?;
    }
    Ok(entries)
}

fn wefts(whole: &Table) -> Result<Vec<PlanWeft>, Found> {
    let Some(written) = whole.get("wefts") else {
        return Ok(Vec::new());
    };
    let weft = |value: Value| {
        let text = value.text()?;
        let Some(colour) = rgb(text) else {
            return value.refuse(PlanFault::Colour(text.to_owned()));
        };
        Ok(PlanWeft {
            name: value.key.to_owned(),
            colour: Some(colour),
        })
    };
    let named = named(&written.names("[wefts]")?, "[wefts]")?;
    named.into_iter().map(weft).collect()
}

fn read_decks(table: &Table, folder: &Path, deck: DeckOf) -> Result<Vec<PlanDeck>, Refused> {
    let mut decks = Vec::new();
    for value in named(table, "[decks]")? {
        let file = path(&value, folder)?;
        let deck = deck(&file).map_err(|cause| Refused::Deck(value.place(), Box::new(cause)))?;
        decks.push(PlanDeck {
            name: value.key.to_owned(),
            file,
            deck: Arc::new(deck),
        });
    }
    Ok(decks)
}
