//! Which deck is meant. Enters: a deck file, or a name or the beginning of a
//! SHA-256. Leaves: the deck as the ledger knows it. Refuses: decks that are
//! not in the ledger, naming those that are.

use super::wording::plain;
use crate::ledger::{DeckRow, DeckSha, Ledger};
use anyhow::{Context, bail};
use sha2::{Digest, Sha256};
use std::path::Path;

pub(super) fn deck_of_file(ledger: &Ledger, file: &Path) -> anyhow::Result<DeckRow> {
    let content = std::fs::read(file).with_context(|| {
        format!(
            "the deck file {} could not be read; check its name, or give --deck NAME",
            file.display()
        )
    })?;
    let sha256 = DeckSha(Sha256::digest(&content).into());
    let decks = ledger.decks()?;
    decks
        .into_iter()
        .find(|deck| deck.sha256 == sha256)
        .with_context(|| {
            format!(
                "no job has met the deck {} as it is now; an earlier state of it may be in the \
             ledger under its name: give --deck NAME",
                file.display()
            )
        })
}

pub(super) fn deck_of_name(ledger: &Ledger, name: &str) -> anyhow::Result<DeckRow> {
    let decks = ledger.decks()?;
    let by_name: Vec<&DeckRow> = decks.iter().filter(|deck| deck.name == name).collect();
    let found = if by_name.is_empty() && name.len() >= 4 {
        decks
            .iter()
            .filter(|deck| deck.sha256.to_string().starts_with(name))
            .collect()
    } else {
        by_name
    };
    match found.as_slice() {
        [one] => Ok((*one).clone()),
        [] if decks.is_empty() => bail!("there are no decks in the ledger yet; cut one first"),
        [] => {
            let names: Vec<String> = decks.iter().map(|deck| plain(&deck.name)).collect();
            bail!(
                "there is no deck `{name}` in the ledger; there are: {}",
                names.join(", ")
            )
        }
        many => {
            let sums: Vec<String> = many.iter().map(|deck| deck.sha256.to_string()).collect();
            bail!(
                "there are {} decks `{name}` in the ledger; give the beginning of one's SHA-256 \
                 instead: {}",
                many.len(),
                sums.join(", ")
            )
        }
    }
}
