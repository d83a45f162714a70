//! From a cloth file's text to a [`Cloth`]: every complaint names the line.

mod colours;

pub(super) use colours::apart;
pub(crate) use colours::rgb;

use super::faults::{ClothError, ClothFault};
use super::hooks::{self, CastOut};
use super::text::{CardText, CastOutText, ClothText, SelvedgeText, SettText, TieText};
use super::tie::{Section, Tie, Turning, Way};
use super::{Cloth, LONGEST_FLOAT, MOST_FLOAT, Selvedge, Sett, Spare};
use crate::deck::{CardFormat, FormatError, SpareRow, hex, line_at};
use colours::{colour, colours, weave, wefts};
use std::collections::BTreeSet;
use std::ops::Range;
use std::path::Path;
use toml::Spanned;

/// Most open sett that is taken for one that was meant: an end in ten inches.
const OPENEST: f64 = 0.1;

/// Closest sett that is taken for one that was meant.
const CLOSEST: f64 = 2_000.0;

/// A fault and the place of the value it was found in.
struct Found {
    at: Range<usize>,
    fault: ClothFault,
}

fn at<V>(value: &Spanned<V>) -> impl FnOnce(ClothFault) -> Found + use<V> {
    let at = value.span();
    move |fault| Found { at, fault }
}

fn refuse<T, V>(value: &Spanned<V>, fault: ClothFault) -> Result<T, Found> {
    Err(at(value)(fault))
}

pub(super) fn parse(text: &str, file: &Path) -> Result<Cloth, ClothError> {
    let written: ClothText = toml::from_str(text).map_err(|error| {
        let (line, cause) = crate::input::wrong_toml(text, &error);
        ClothError::Toml {
            file: file.to_owned(),
            line,
            cause,
        }
    })?;
    let named = &written.card.format;
    let format = card_format(named.get_ref(), file).map_err(|cause| ClothError::Format {
        file: file.to_owned(),
        line: line_at(text, &named.span()),
        cause,
    })?;
    let mut cloth = check(written, format).map_err(|Found { at, fault }| ClothError::Fault {
        file: file.to_owned(),
        line: line_at(text, &at),
        fault,
    })?;
    let name = file.file_name().unwrap_or(file.as_os_str());
    cloth.file = name.to_string_lossy().into_owned();
    cloth.sha256 = hex(&<sha2::Sha256 as sha2::Digest>::digest(text));
    Ok(cloth)
}

/// A built-in format, or a file as seen from the cloth file's folder.
fn card_format(name: &str, file: &Path) -> Result<CardFormat, FormatError> {
    match CardFormat::named(name) {
        Err(FormatError::Unknown { .. }) => {
            let beside = file.parent().unwrap_or(Path::new("")).join(name);
            CardFormat::named_or_file(&beside.display().to_string())
        }
        result => result,
    }
}

fn check(text: ClothText, format: CardFormat) -> Result<Cloth, Found> {
    let sett = sett(&text.sett)?;
    let cast_out = cast_out(&text.card, &format)?;
    let spare = spare(&text, &format)?;
    if matches!(spare, Spare::Selvedge(_)) {
        spare_row_in_use(&text.card, &format)?;
    }
    let wefts = wefts(&text.weft)?;
    let tolerance = match &text.tolerance {
        Some(value) => number("tolerance", value, 0, 127)?,
        None => 0,
    };
    let colours = colours(&text.colour, &wefts, tolerance, sett.ends_per_hook)?;
    let weaving = text.weaving.unwrap_or_default();
    let longest_float = match &weaving.longest_float {
        Some(value) => number("longest_float", value, 1, MOST_FLOAT)?,
        None => LONGEST_FLOAT,
    };
    let mut cloth = Cloth {
        file: String::new(),
        sha256: String::new(),
        sett,
        format,
        hooks: None,
        cast_out,
        spare,
        first_end: text.first_end,
        tie: tie(&text.tie)?,
        first_line: weaving.first_line,
        face: weaving.face,
        longest_float: longest_float as usize,
        warp: colour(&text.warp.colour)?,
        wefts,
        tolerance: u8::try_from(tolerance).unwrap_or(u8::MAX),
        colours,
    };
    hooks_in_use(&mut cloth, &text.card)?;
    Ok(cloth)
}

fn number(key: &'static str, value: &Spanned<u32>, least: u32, most: u32) -> Result<u32, Found> {
    let number = *value.get_ref();
    if (least..=most).contains(&number) {
        return Ok(number);
    }
    let fault = ClothFault::Number {
        key,
        value: number,
        least,
        most,
    };
    refuse(value, fault)
}

fn sett(text: &SettText) -> Result<Sett, Found> {
    for (key, value) in [("ends", &text.ends), ("picks", &text.picks)] {
        let sett = *value.get_ref();
        if !(OPENEST..=CLOSEST).contains(&sett) {
            return refuse(value, ClothFault::Sett { key, value: sett });
        }
    }
    let ends_per_hook = match &text.ends_per_hook {
        Some(value) => number("ends_per_hook", value, 1, 16)?,
        None => 1,
    };
    Ok(Sett {
        unit: text.unit,
        ends: *text.ends.get_ref(),
        picks: *text.picks.get_ref(),
        ends_per_hook,
    })
}

fn cast_out(text: &CardText, format: &CardFormat) -> Result<CastOut, Found> {
    let Some(written) = &text.cast_out else {
        return Ok(CastOut::None);
    };
    let fault = |entry: &str| ClothFault::CastOut {
        entry: entry.to_owned(),
        rows: format.rows(),
        holes: format.holes_per_row(),
    };
    match written.get_ref() {
        CastOutText::Word(word) if word == "auto" => Ok(CastOut::Auto),
        CastOutText::Word(word) => refuse(written, fault(word)),
        CastOutText::Places(entries) => {
            let mut places = BTreeSet::new();
            for entry in entries {
                match hooks::named(entry.get_ref(), format) {
                    Some(named) => places.extend(named),
                    None => return refuse(entry, fault(entry.get_ref())),
                }
            }
            Ok(CastOut::Places(places))
        }
    }
}

/// The spare row cannot be cast out where it works the selvedges.
fn spare_row_in_use(text: &CardText, format: &CardFormat) -> Result<(), Found> {
    let Some(CastOutText::Places(entries)) = text.cast_out.as_ref().map(Spanned::get_ref) else {
        return Ok(());
    };
    let spare = |place: &hooks::Place| Some(place.row) == format.spare_row();
    for entry in entries {
        let named = hooks::named(entry.get_ref(), format).unwrap_or_default();
        if let Some(place) = named.iter().find(|place| spare(place)) {
            return refuse(entry, ClothFault::SelvedgeCastOut(place.row));
        }
    }
    Ok(())
}

fn spare(text: &ClothText, format: &CardFormat) -> Result<Spare, Found> {
    let used = text.card.spare_row.as_ref();
    let used = used.filter(|row| *row.get_ref() == SpareRow::Used);
    let name = || format.name().to_owned();
    let none = format.spare_row().is_none();
    match (&text.selvedge, used) {
        (None, None) => Ok(Spare::Blank),
        (_, Some(used)) if none => refuse(used, ClothFault::NoSpareRowToUse(name())),
        (None, Some(_)) => Ok(Spare::Used),
        (Some(_), Some(used)) => refuse(used, ClothFault::SpareRowTwice),
        (Some(written), None) if none => refuse(written, ClothFault::NoSpareRow(name())),
        (Some(written), None) => Ok(Spare::Selvedge(selvedge(written)?)),
    }
}

fn selvedge(written: &Spanned<SelvedgeText>) -> Result<Selvedge, Found> {
    let text = written.get_ref();
    let weave = weave(&text.weave)?;
    if !weave.bound().is_none() {
        let fault =
            ClothFault::Selvedge("a selvedge is not bound by floats; give it a plain weave");
        return refuse(&text.weave, fault);
    }
    if !(1..=2_000).contains(&text.left.saturating_add(text.right)) {
        let fault = ClothFault::Selvedge(
            "the selvedges have no ends, or too many; give left and right, 1 to 2000 together",
        );
        return refuse(written, fault);
    }
    Ok(Selvedge {
        left: text.left,
        right: text.right,
        weave,
    })
}

fn tie(text: &[TieText]) -> Result<Tie, Found> {
    if text.is_empty() {
        return Ok(Tie::straight());
    }
    let sections: Result<Vec<Section>, Found> = text.iter().map(section).collect();
    Ok(Tie {
        sections: sections?,
    })
}

fn section(text: &TieText) -> Result<Section, Found> {
    let hooks = match &text.hooks {
        None => None,
        Some(written) => match super::words::range(written.get_ref()) {
            Some(range) => Some(range),
            None => return refuse(written, ClothFault::Section(written.get_ref().clone())),
        },
    };
    if let Some(turning) = &text.turning
        && text.way != Way::Centred
    {
        return refuse(turning, ClothFault::Turning);
    }
    let repeats = match &text.repeats {
        Some(value) => number("repeats", value, 1, 10_000)?,
        None => 1,
    };
    let turning = text.turning.as_ref();
    Ok(Section {
        hooks,
        way: text.way,
        turning: turning.map_or(Turning::default(), |turning| *turning.get_ref()),
        repeats,
    })
}

/// How many hooks are in use, as far as that is known without the paper.
fn hooks_in_use(cloth: &mut Cloth, text: &CardText) -> Result<(), Found> {
    let of_card = cloth.hooks_of_card();
    let left = match &cloth.cast_out {
        CastOut::None | CastOut::Auto => of_card,
        CastOut::Places(places) => {
            let kept_out = cloth.row_kept_out();
            let idle = hooks::in_use(&cloth.format, kept_out, places, cloth.first_end);
            u32::try_from(idle.len()).unwrap_or(u32::MAX)
        }
    };
    if left == 0 {
        let written = text.cast_out.as_ref().map(Spanned::span);
        return Err(Found {
            at: written.unwrap_or_default(),
            fault: ClothFault::NoHooks,
        });
    }
    let Some(written) = &text.hooks else {
        return Ok(());
    };
    let named = number("hooks", written, 1, of_card)?;
    if cloth.cast_out != CastOut::Auto && named != left {
        let remedy = match cloth.cast_out {
            CastOut::None => "write cast_out = \"auto\", or say what is cast out",
            _ => "mend the number, or what is cast out",
        };
        let fault = ClothFault::Hooks {
            named,
            left,
            remedy: remedy.to_owned(),
        };
        return refuse(written, fault);
    }
    cloth.hooks = Some(named);
    Ok(())
}
