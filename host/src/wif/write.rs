//! A deck as the text of a draft: a straight threading and a liftplan, one shaft a
//! hook.
//!
//! Enters: a deck. Leaves: [`Written`]. Refuses: decks too large for the form, and
//! decks that hold guesses or gaps, which a draft could not tell from what is known.

use super::faults::ExportFault;
use super::{MOST_PICKS, MOST_SHAFTS};
use crate::deck::paper::{PaperSettings, hook_of_hole};
use crate::deck::{Cut, Deck, FirstPick, SpareRow};
use std::fmt::Write as _;

/// What a draft begins with, as the standard prescribes it (from memory). The
/// address belongs to the form and not to whoever writes it.
const HEAD: &str = "\
[WIF]
Version=1.1
Date=April 20, 1997
Developers=wif@mhsoft.com
Source Program=cardwright
";

/// The sections that follow, and the black and white in which they are drawn.
const CONTENTS: &str = "
[CONTENTS]
COLOR PALETTE=yes
TEXT=yes
WEAVING=yes
WARP=yes
WEFT=yes
COLOR TABLE=yes
THREADING=yes
LIFTPLAN=yes

[COLOR PALETTE]
Entries=2
Form=RGB
Range=0,255

[COLOR TABLE]
1=0,0,0
2=255,255,255
";

/// A draft that was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// Its text, with the line ends CR LF of the form's time.
    pub text: String,
    /// Its shafts: the hooks of the deck in use.
    pub shafts: u32,
    /// Its picks: the cards of the deck.
    pub picks: u32,
    /// What the deck's spare row became. A deck that has holes in it has it used.
    pub spare_row: SpareRow,
}

/// Writes a deck as a draft.
///
/// # Errors
/// The deck is too large, or not all of it is known.
pub fn write(deck: &Deck) -> Result<Written, ExportFault> {
    let settings = settings(deck);
    let (shafts, picks) = (settings.hooks(), deck.card_count());
    check(deck, shafts)?;
    let mut text = String::from(HEAD);
    // Writing to a text cannot fail.
    let _ = writeln!(text, "Source Version={}", env!("CARGO_PKG_VERSION"));
    text.push_str(CONTENTS);
    let name = deck.name().replace(char::is_control, " ");
    let _ = write!(text, "\n[TEXT]\nTitle={name}\n");
    // A liftplan works each shaft as by a treadle of its own.
    let _ = write!(
        text,
        "\n[WEAVING]\nShafts={shafts}\nTreadles={shafts}\nRising Shed=yes\n"
    );
    let _ = write!(text, "\n[WARP]\nThreads={shafts}\nColor=1\n");
    let _ = write!(text, "\n[WEFT]\nThreads={picks}\nColor=2\n");
    text.push_str("\n[THREADING]\n");
    for end in 1..=shafts {
        let _ = writeln!(text, "{end}={end}");
    }
    text.push_str("\n[LIFTPLAN]\n");
    liftplan(&mut text, deck, &settings);
    Ok(Written {
        text: text.replace('\n', "\r\n"),
        shafts,
        picks,
        spare_row: settings.spare_row,
    })
}

/// How the deck's hooks are counted: a spare row is left out only if it is solid.
fn settings(deck: &Deck) -> PaperSettings {
    let mut settings = PaperSettings {
        format: deck.format().clone(),
        cut: Cut::Black,
        first_pick: FirstPick::Bottom,
        spare_row: deck.cutting().spare_row,
    };
    let spare = settings.blank_row().map(|row| usize::from(row) - 1);
    let cut = |rows: &[crate::deck::Row]| {
        let row = spare.and_then(|spare| rows.get(spare));
        row.is_some_and(|row| row.count() > 0)
    };
    if deck.cards().any(|(_, rows)| cut(rows)) {
        settings.spare_row = SpareRow::Used;
    }
    settings
}

fn check(deck: &Deck, shafts: u32) -> Result<(), ExportFault> {
    if shafts > MOST_SHAFTS {
        return Err(ExportFault::Hooks(shafts));
    }
    if deck.card_count() > MOST_PICKS {
        return Err(ExportFault::Cards(deck.card_count()));
    }
    let Some(reading) = deck.reading() else {
        return Ok(());
    };
    if let Some(first) = reading.gaps.first() {
        return Err(ExportFault::Gaps {
            count: reading.gaps.len(),
            first: first.0,
        });
    }
    match reading.doubtful.first() {
        Some(first) => Err(ExportFault::Doubtful {
            count: reading.doubtful.len(),
            first: first.card.0,
        }),
        None => Ok(()),
    }
}

/// One line a pick that lifts anything; a pick left out lifts nothing.
fn liftplan(text: &mut String, deck: &Deck, settings: &PaperSettings) {
    for (card, rows) in deck.cards() {
        let mut between = format!("{}=", card.0);
        for (number, row) in (1u16..).zip(rows) {
            let hooks = row
                .holes()
                .filter_map(|hole| hook_of_hole(settings, number, hole));
            for hook in hooks {
                let _ = write!(text, "{between}{hook}");
                between.clear();
                between.push(',');
            }
        }
        if between == "," {
            text.push('\n');
        }
    }
}
