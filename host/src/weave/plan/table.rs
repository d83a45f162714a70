//! The tables of a plan file, with the place of every value.
//!
//! Enters: what the TOML library read. Leaves: texts, numbers and lists. Refuses:
//! keys that nobody asks for, and values of the wrong kind, in our own words: the
//! library's name types of the program, which say nothing to a weaver.

use super::faults::PlanFault;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A fault and the place of the value it was found in.
#[derive(Debug)]
pub(super) struct Found {
    pub at: Range<usize>,
    pub fault: PlanFault,
}

/// A table of which every key is known.
#[derive(Clone)]
pub(super) struct Table<'a> {
    /// What it is called, such as "a mark".
    place: &'static str,
    at: Range<usize>,
    entries: &'a DeTable<'a>,
}

/// A value under its key.
#[derive(Clone)]
pub(super) struct Value<'a> {
    pub key: &'a str,
    key_at: Range<usize>,
    written: &'a Spanned<DeValue<'a>>,
}

impl<'a> Table<'a> {
    /// The table of the whole file.
    pub fn whole(
        place: &'static str,
        written: &'a Spanned<DeTable<'a>>,
        keys: &[&str],
    ) -> Result<Table<'a>, Found> {
        let table = Table {
            place,
            at: written.span(),
            entries: written.get_ref(),
        };
        table.known(keys)
    }

    /// The first key in the file that is none of these is refused.
    fn known(self, keys: &[&str]) -> Result<Table<'a>, Found> {
        let stranger = self.entries().into_iter().find(|value| {
            let known = keys.contains(&value.key);
            !known
        });
        match stranger {
            None => Ok(self),
            Some(value) => value.refuse_key(PlanFault::UnknownKey {
                key: value.key.to_owned(),
                place: self.place,
                known: keys.join(", "),
            }),
        }
    }

    pub fn get(&self, key: &str) -> Option<Value<'a>> {
        let (key, written) = self.entries.get_key_value(key)?;
        Some(Value::new(key, written))
    }

    /// What must be there.
    pub fn need(&self, key: &'static str, remedy: &'static str) -> Result<Value<'a>, Found> {
        self.get(key).ok_or_else(|| {
            self.found(PlanFault::Missing {
                place: self.place,
                key,
                remedy,
            })
        })
    }

    /// Everything in it, in the order of the file.
    pub fn entries(&self) -> Vec<Value<'a>> {
        let mut entries: Vec<Value> = self
            .entries
            .iter()
            .map(|(key, written)| Value::new(key, written))
            .collect();
        entries.sort_by_key(|value| value.key_at.start);
        entries
    }

    pub fn found(&self, fault: PlanFault) -> Found {
        Found {
            at: self.at.clone(),
            fault,
        }
    }
}

impl<'a> Value<'a> {
    fn new(
        key: &'a Spanned<std::borrow::Cow<'a, str>>,
        written: &'a Spanned<DeValue<'a>>,
    ) -> Value<'a> {
        Value {
            key: key.get_ref(),
            key_at: key.span(),
            written,
        }
    }

    pub fn found(&self, fault: PlanFault) -> Found {
        Found {
            at: self.written.span(),
            fault,
        }
    }

    pub fn refuse<T>(&self, fault: PlanFault) -> Result<T, Found> {
        Err(self.found(fault))
    }

    /// Refuses it at its key: a table's own place may be elsewhere.
    pub fn refuse_key<T>(&self, fault: PlanFault) -> Result<T, Found> {
        let at = self.key_at.clone();
        Err(Found { at, fault })
    }

    pub fn place(&self) -> Range<usize> {
        self.written.span()
    }

    pub fn is_text(&self) -> bool {
        self.written.get_ref().is_str()
    }

    pub fn text(&self) -> Result<&'a str, Found> {
        match self.written.get_ref().as_str() {
            Some(text) => Ok(text),
            None => self.other_kind("text in quotation marks"),
        }
    }

    pub fn whole(&self, least: u64, most: u64) -> Result<u64, Found> {
        let value = match self.written.get_ref() {
            DeValue::Integer(written) => written.to_string(),
            DeValue::Float(written) => written.to_string(),
            _ => return self.other_kind("a whole number"),
        };
        let number = match self.written.get_ref() {
            DeValue::Integer(written) => u64::from_str_radix(written.as_str(), written.radix()),
            _ => value.parse(),
        };
        match number {
            Ok(number) if (least..=most).contains(&number) => Ok(number),
            _ => self.refuse(PlanFault::Number {
                key: self.key.to_owned(),
                value,
                wanted: format!("a whole number from {least} to {most}"),
            }),
        }
    }

    /// A number above 0.
    pub fn positive(&self, most: f64) -> Result<f64, Found> {
        let (value, number) = match self.written.get_ref() {
            DeValue::Integer(written) => {
                let number = i64::from_str_radix(written.as_str(), written.radix());
                let number = number.map_or(f64::NAN, |number| number as f64);
                (written.to_string(), number)
            }
            DeValue::Float(written) => {
                let number = written.as_str().parse().unwrap_or(f64::NAN);
                (written.to_string(), number)
            }
            _ => return self.other_kind("a number"),
        };
        if number > 0.0 && number <= most {
            return Ok(number);
        }
        self.refuse(PlanFault::Number {
            key: self.key.to_owned(),
            value,
            wanted: format!("a number above 0 and at most {most}"),
        })
    }

    pub fn table(&self, place: &'static str, keys: &[&str]) -> Result<Table<'a>, Found> {
        self.names(place)?.known(keys)
    }

    /// A table whose keys are names of the weaver's choice.
    pub fn names(&self, place: &'static str) -> Result<Table<'a>, Found> {
        match self.written.get_ref().as_table() {
            Some(entries) => Ok(Table {
                place,
                at: self.written.span(),
                entries,
            }),
            None => self.other_kind("keys and values in braces, such as { key = 3 }"),
        }
    }

    /// The items of a list; each is called by the list's key.
    pub fn list(&self, wanted: &'static str, most: usize) -> Result<Vec<Value<'a>>, Found> {
        let Some(items) = self.written.get_ref().as_array() else {
            return self.other_kind(wanted);
        };
        let item = |written: &'a Spanned<DeValue<'a>>| Value {
            key: self.key,
            key_at: written.span(),
            written,
        };
        match items.len() {
            0 => self.refuse(PlanFault::EmptyList {
                key: self.key.to_owned(),
                wanted,
            }),
            count if count > most => self.refuse(PlanFault::Many {
                key: self.key.to_owned(),
                count,
                most,
            }),
            _ => Ok(items.iter().map(item).collect()),
        }
    }

    /// A text, or a list of texts.
    pub fn texts(&self, most: usize) -> Result<Vec<(Value<'a>, &'a str)>, Found> {
        if self.is_text() {
            return Ok(vec![(self.clone(), self.text()?)]);
        }
        let items = self.list("text in quotation marks, or a list of such", most)?;
        items
            .into_iter()
            .map(|item| item.text().map(|text| (item.clone(), text)))
            .collect()
    }

    pub fn other_kind<T>(&self, wanted: &'static str) -> Result<T, Found> {
        let found = match self.written.get_ref() {
            DeValue::String(_) => "text",
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        self.refuse(PlanFault::Kind {
            key: self.key.to_owned(),
            found,
            wanted,
        })
    }
}
