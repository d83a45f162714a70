//! The wefts and the colours of a cloth file, checked.

use super::{Found, at, refuse};
use crate::cloth::faults::ClothFault;
use crate::cloth::text::{ColourText, WeaveText, WeavesText, WeftText};
use crate::cloth::weave::Weave;
use crate::cloth::{Colour, Edges, MOST_COLOURS, MOST_WEFTS, Rgb, Weft};
use toml::Spanned;

pub(super) fn colour(written: &Spanned<String>) -> Result<Rgb, Found> {
    let text = written.get_ref();
    match rgb(text) {
        Some(colour) => Ok(colour),
        None => refuse(written, ClothFault::Colour(text.clone())),
    }
}

/// The colour of `#` and six hexadecimal digits.
pub(crate) fn rgb(text: &str) -> Option<Rgb> {
    let digits = text.strip_prefix('#').filter(|digits| {
        digits.len() == 6 && digits.bytes().all(|digit| digit.is_ascii_hexdigit())
    })?;
    let [_, red, green, blue] = u32::from_str_radix(digits, 16).ok()?.to_be_bytes();
    Some([red, green, blue])
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

pub(super) fn wefts(written: &Spanned<Vec<WeftText>>) -> Result<Vec<Weft>, Found> {
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

pub(super) fn colours(
    written: &Spanned<Vec<ColourText>>,
    wefts: &[Weft],
    tolerance: u32,
    ends_per_hook: u32,
) -> Result<Vec<Colour>, Found> {
    let text = written.get_ref();
    if !(1..=MOST_COLOURS).contains(&text.len()) {
        return refuse(written, ClothFault::Colours(text.len()));
    }
    let mut colours: Vec<Colour> = Vec::new();
    for one in text {
        let before = colours.iter().map(|colour| colour.name.as_str());
        let mut colour = paper_colour(one, name("colour", &one.name, before)?, wefts)?;
        for weave in &mut colour.weaves {
            let bound = weave.bind_by_hooks(ends_per_hook);
            bound.map_err(ClothFault::from).map_err(at(&one.weave))?;
        }
        let near = |other: &&Colour| apart(other.paint, colour.paint) <= 2 * tolerance;
        if let Some(other) = colours.iter().find(near) {
            let (first, second) = (other.name.clone(), colour.name);
            let fault = if other.paint == colour.paint {
                ClothFault::OnePaint { first, second }
            } else {
                ClothFault::Near {
                    first,
                    second,
                    tolerance,
                }
            };
            return refuse(&one.paint, fault);
        }
        colours.push(colour);
    }
    Ok(colours)
}

/// The most by which red, green or blue differ.
pub(in crate::cloth) fn apart(one: Rgb, other: Rgb) -> u32 {
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

pub(super) fn weave(written: &Spanned<WeaveText>) -> Result<Weave, Found> {
    in_words_or_drawn(written.get_ref()).map_err(at(written))
}

fn in_words_or_drawn(text: &WeaveText) -> Result<Weave, ClothFault> {
    Ok(match text {
        WeaveText::Words(words) => Weave::parse(words)?,
        WeaveText::Drawn(lines) => Weave::drawn(lines)?,
    })
}
