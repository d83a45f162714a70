//! A cloth file's text: TOML with every key known, what can be wrong
//! remembering its line.

use super::hooks::Corner;
use super::tie::{Turning, Way};
use super::{Binding, Edges, Face, Unit};
use crate::deck::{FirstPick, SpareRow};
use serde::Deserialize;
use serde::de::{Deserializer, MapAccess, SeqAccess, Visitor};
use std::fmt;
use toml::Spanned;

/// A cloth file as written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ClothText {
    pub sett: SettText,
    pub card: CardText,
    pub selvedge: Option<Spanned<SelvedgeText>>,
    #[serde(default)]
    pub first_end: Corner,
    #[serde(default)]
    pub tie: Vec<TieText>,
    pub weaving: Option<WeavingText>,
    pub warp: YarnText,
    pub weft: Spanned<Vec<WeftText>>,
    pub tolerance: Option<Spanned<u32>>,
    pub colour: Spanned<Vec<ColourText>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SettText {
    pub unit: Unit,
    pub ends: Spanned<f64>,
    pub picks: Spanned<f64>,
    pub ends_per_hook: Option<Spanned<u32>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CardText {
    pub format: Spanned<String>,
    pub hooks: Option<Spanned<u32>>,
    pub cast_out: Option<Spanned<CastOutText>>,
    pub spare_row: Option<Spanned<SpareRow>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SelvedgeText {
    pub left: u32,
    pub right: u32,
    pub weave: Spanned<WeaveText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TieText {
    pub hooks: Option<Spanned<String>>,
    #[serde(default)]
    pub way: Way,
    pub turning: Option<Spanned<Turning>>,
    pub repeats: Option<Spanned<u32>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WeavingText {
    #[serde(default)]
    pub first_line: FirstPick,
    #[serde(default)]
    pub face: Face,
    pub longest_float: Option<Spanned<u32>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct YarnText {
    pub colour: Spanned<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WeftText {
    pub name: Spanned<String>,
    pub colour: Spanned<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ColourText {
    pub name: Spanned<String>,
    pub paint: Spanned<String>,
    pub weave: Spanned<WeavesText>,
    #[serde(default)]
    pub binding: Binding,
    pub edges: Option<Spanned<Edges>>,
}

/// `"auto"`, or a list of places.
pub(super) enum CastOutText {
    Word(String),
    Places(Vec<Spanned<String>>),
}

/// A weave in words, or drawn.
pub(super) enum WeaveText {
    Words(String),
    Drawn(Vec<String>),
}

/// One weave, or one for each weft by its name.
pub(super) enum WeavesText {
    One(WeaveText),
    Each(Vec<(Spanned<String>, Spanned<WeaveText>)>),
}

/// All items of a list.
fn all<'de, T: Deserialize<'de>, A: SeqAccess<'de>>(mut list: A) -> Result<Vec<T>, A::Error> {
    let mut items = Vec::new();
    while let Some(item) = list.next_element()? {
        items.push(item);
    }
    Ok(items)
}

impl<'de> Deserialize<'de> for CastOutText {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Either;
        impl<'de> Visitor<'de> for Either {
            type Value = CastOutText;
            fn expecting(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
                to.write_str("\"auto\" or a list of places such as [\"row 2\", \"row 3\"]")
            }
            fn visit_str<E>(self, word: &str) -> Result<CastOutText, E> {
                Ok(CastOutText::Word(word.to_owned()))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, list: A) -> Result<CastOutText, A::Error> {
                all(list).map(CastOutText::Places)
            }
        }
        from.deserialize_any(Either)
    }
}

struct WeaveVisitor;

impl<'de> Visitor<'de> for WeaveVisitor {
    type Value = WeaveText;
    fn expecting(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.write_str(
            "a weave in words such as \"twill 2/1 right\", or drawn, such as [\"x.\", \".x\"]",
        )
    }
    fn visit_str<E>(self, words: &str) -> Result<WeaveText, E> {
        Ok(WeaveText::Words(words.to_owned()))
    }
    fn visit_seq<A: SeqAccess<'de>>(self, list: A) -> Result<WeaveText, A::Error> {
        all(list).map(WeaveText::Drawn)
    }
}

impl<'de> Deserialize<'de> for WeaveText {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(WeaveVisitor)
    }
}

impl<'de> Deserialize<'de> for WeavesText {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Any;
        impl<'de> Visitor<'de> for Any {
            type Value = WeavesText;
            fn expecting(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
                to.write_str("a weave, or a table with a weave for each weft by its name")
            }
            fn visit_str<E: serde::de::Error>(self, words: &str) -> Result<WeavesText, E> {
                WeaveVisitor.visit_str(words).map(WeavesText::One)
            }
            fn visit_seq<A: SeqAccess<'de>>(self, list: A) -> Result<WeavesText, A::Error> {
                WeaveVisitor.visit_seq(list).map(WeavesText::One)
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<WeavesText, A::Error> {
                let mut each = Vec::new();
                while let Some(entry) = map.next_entry()? {
                    each.push(entry);
                }
                Ok(WeavesText::Each(each))
            }
        }
        from.deserialize_any(Any)
    }
}
