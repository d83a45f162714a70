//! Whether a sheet can be what it says. Texts lose what would break a line or
//! steer a terminal; places are put in order, once each.

use super::{Card, Fault, LacingError, MOST_CARDS, PEG, Place, Sheet, words};
use crate::deck::CardFormat;

pub(super) fn checked(mut sheet: Sheet) -> Result<Sheet, LacingError> {
    match sheet.cards.len() {
        0 => return Err(LacingError::NoCards),
        count if count > MOST_CARDS => return Err(LacingError::TooMany(count)),
        _ => {}
    }
    for text in [&mut sheet.deck, &mut sheet.sha, &mut sheet.date] {
        *text = plain(text);
    }
    for finding in &mut sheet.order {
        finding.finding = plain(&finding.finding);
        finding.remedy = plain(&finding.remedy);
    }
    for (number, card) in (1u32..).zip(&mut sheet.cards) {
        if let Card::Faulty(fault) = card {
            check_fault(number, fault, &sheet.format)?;
        }
    }
    Ok(sheet)
}

fn check_fault(card: u32, fault: &mut Fault, format: &CardFormat) -> Result<(), LacingError> {
    if fault.strokes.len() != usize::from(format.strokes()) {
        return Err(LacingError::Strokes {
            card,
            found: fault.strokes.len(),
            wanted: format.strokes(),
        });
    }
    fault.words = plain(&fault.words);
    for places in [&mut fault.missing, &mut fault.extra] {
        places.sort_unstable();
        places.dedup();
    }
    let missing = fault.missing.iter().map(|place| (place, true));
    let extra = fault.extra.iter().map(|place| (place, false));
    for (place, missing) in missing.chain(extra) {
        let cut = cut(card, fault, *place, format)?;
        if cut != missing {
            return Err(LacingError::NotAFault {
                card,
                place: words::place(format, &fault.strokes, *place),
                said: if missing { "missing" } else { "extra" },
            });
        }
    }
    Ok(())
}

/// Whether the card should have a hole here.
fn cut(card: u32, fault: &Fault, place: Place, format: &CardFormat) -> Result<bool, LacingError> {
    let Place { stroke, hole } = place;
    match fault.strokes.get(usize::from(stroke)) {
        Some(what) if hole == PEG => Ok(what.peg()),
        Some(what) if hole <= format.holes_per_row() => Ok(what.punches().has(hole)),
        _ => Err(LacingError::NoSuchPlace { card, stroke, hole }),
    }
}

/// One line: control characters become spaces, and spaces are single.
fn plain(text: &str) -> String {
    let spaced: String = text
        .chars()
        .map(|letter| {
            if letter.is_control() || matches!(letter, '\u{fffe}' | '\u{ffff}') {
                ' '
            } else {
                letter
            }
        })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}
