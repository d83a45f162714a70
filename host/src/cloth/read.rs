//! From a cloth file's text to a [`Cloth`]: every complaint names the line.

use super::faults::{ClothError, ClothFault};
use super::hooks::{self, CastOut};
use super::text::{CardText, CastOutText, ClothText, ColourText, SelvedgeText, SettText, TieText};
use super::text::{WeaveText, WeavesText, WeftText};
use super::tie::{Section, Tie, Turning, Way};
use super::weave::Weave;
use super::{Cloth, Colour, Edges, MOST_COLOURS, MOST_WEFTS, Rgb, Selvedge, Sett, Spare, Weft};
use crate::deck::{CardFormat, FormatError, SpareRow, hex, line_at};
use std::collections::BTreeSet;
use std::ops::Range;
use std::path::Path;
use toml::Spanned;

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
    let written: ClothText = toml::from_str(text).map_err(|error| ClothError::Toml {
        file: file.to_owned(),
        line: line_at(text, &error.span().unwrap_or_default()),
        cause: error.message().to_owned(),
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
    let wefts = wefts(&text.weft)?;
    let tolerance = match &text.tolerance {
        Some(value) => number("tolerance", value, 0, 127)?,
        None => 0,
    };
    let colours = colours(&text.colour, &wefts, tolerance)?;
    let weaving = text.weaving.unwrap_or_default();
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
        if !(sett > 0.0 && sett <= CLOSEST) {
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

fn spare(text: &ClothText, format: &CardFormat) -> Result<Spare, Found> {
    let used = text.card.spare_row.as_ref();
    let used = used.filter(|row| *row.get_ref() == SpareRow::Used);
    match (&text.selvedge, used) {
        (None, None) => Ok(Spare::Blank),
        (None, Some(_)) => Ok(Spare::Used),
        (Some(_), Some(used)) => refuse(used, ClothFault::SpareRowTwice),
        (Some(written), None) if format.spare_row().is_none() => {
            refuse(written, ClothFault::NoSpareRow(format.name().to_owned()))
        }
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

fn colour(written: &Spanned<String>) -> Result<Rgb, Found> {
    let text = written.get_ref();
    let digits = text.strip_prefix('#').filter(|digits| {
        digits.len() == 6 && digits.bytes().all(|digit| digit.is_ascii_hexdigit())
    });
    match digits.map(|digits| u32::from_str_radix(digits, 16)) {
        Some(Ok(value)) => {
            let [_, red, green, blue] = value.to_be_bytes();
            Ok([red, green, blue])
        }
        _ => refuse(written, ClothFault::Colour(text.clone())),
    }
}

/// A name that nothing before it has.
fn name<'a>(
    what: &'static str,
    written: &Spanned<String>,
    mut before: impl Iterator<Item = &'a str>,
) -> Result<String, Found> {
    let name = written.get_ref();
    if name.trim().is_empty() || before.any(|other| other == name) {
        let name = name.clone();
        return refuse(written, ClothFault::Name { what, name });
    }
    Ok(name.clone())
}

fn wefts(written: &Spanned<Vec<WeftText>>) -> Result<Vec<Weft>, Found> {
    let text = written.get_ref();
    if !(1..=MOST_WEFTS).contains(&text.len()) {
        return refuse(written, ClothFault::Wefts(text.len()));
    }
    let mut wefts: Vec<Weft> = Vec::new();
    for weft in text {
        let before = wefts.iter().map(|weft| weft.name.as_str());
        let name = name("weft", &weft.name, before)?;
        let colour = colour(&weft.colour)?;
        wefts.push(Weft { name, colour });
    }
    Ok(wefts)
}

fn colours(
    written: &Spanned<Vec<ColourText>>,
    wefts: &[Weft],
    tolerance: u32,
) -> Result<Vec<Colour>, Found> {
    let text = written.get_ref();
    if !(1..=MOST_COLOURS).contains(&text.len()) {
        return refuse(written, ClothFault::Colours(text.len()));
    }
    let mut colours: Vec<Colour> = Vec::new();
    for one in text {
        let before = colours.iter().map(|colour| colour.name.as_str());
        let colour = paper_colour(one, name("colour", &one.name, before)?, wefts)?;
        let near = |other: &&Colour| apart(other.paint, colour.paint) <= 2 * tolerance;
        if let Some(other) = colours.iter().find(near) {
            let fault = ClothFault::Near {
                first: other.name.clone(),
                second: colour.name,
                tolerance,
            };
            return refuse(&one.paint, fault);
        }
        colours.push(colour);
    }
    Ok(colours)
}

/// The most by which red, green or blue differ.
pub(super) fn apart(one: Rgb, other: Rgb) -> u32 {
    let levels = one.iter().zip(other);
    let differ = levels.map(|(a, b)| u32::from(a.abs_diff(b)));
    differ.max().unwrap_or_default()
}

fn paper_colour(text: &ColourText, name: String, wefts: &[Weft]) -> Result<Colour, Found> {
    let weaves = weaves(&text.weave, &name, wefts)?;
    if let Some(edges) = &text.edges
        && *edges.get_ref() == Edges::Clear
        && !weaves
            .iter()
            .any(|weave| weave.is_satin() || !weave.bound().is_none())
    {
        return refuse(edges, ClothFault::Edges(name));
    }
    let edges = text.edges.as_ref();
    Ok(Colour {
        paint: colour(&text.paint)?,
        weaves,
        binding: text.binding,
        edges: edges.map_or(Edges::default(), |edges| *edges.get_ref()),
        name,
    })
}

fn weaves(
    written: &Spanned<WeavesText>,
    colour: &str,
    wefts: &[Weft],
) -> Result<Vec<Weave>, Found> {
    let each = match written.get_ref() {
        WeavesText::One(one) if wefts.len() == 1 => {
            return Ok(vec![in_words_or_drawn(one).map_err(at(written))?]);
        }
        WeavesText::One(_) => {
            let fault = ClothFault::OneWeave {
                colour: colour.to_owned(),
                wefts: wefts.len(),
                weft: wefts[0].name.clone(),
            };
            return refuse(written, fault);
        }
        WeavesText::Each(each) => each,
    };
    let stranger = |key: &Spanned<String>| wefts.iter().all(|weft| weft.name != *key.get_ref());
    if let Some((key, _)) = each.iter().find(|(key, _)| stranger(key)) {
        let known: Vec<&str> = wefts.iter().map(|weft| weft.name.as_str()).collect();
        let fault = ClothFault::UnknownWeft {
            weft: key.get_ref().clone(),
            known: known.join(", "),
        };
        return refuse(key, fault);
    }
    let for_weft = |weft: &Weft| {
        let found = each.iter().find(|(key, _)| *key.get_ref() == weft.name);
        match found {
            Some((_, value)) => weave(value),
            None => {
                let fault = ClothFault::NoWeave {
                    colour: colour.to_owned(),
                    weft: weft.name.clone(),
                };
                refuse(written, fault)
            }
        }
    };
    wefts.iter().map(for_weft).collect()
}

fn weave(written: &Spanned<WeaveText>) -> Result<Weave, Found> {
    in_words_or_drawn(written.get_ref()).map_err(at(written))
}

fn in_words_or_drawn(text: &WeaveText) -> Result<Weave, ClothFault> {
    Ok(match text {
        WeaveText::Words(words) => Weave::parse(words)?,
        WeaveText::Drawn(lines) => Weave::drawn(lines)?,
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
