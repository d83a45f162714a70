//! What came of a command, in words: results for standard output.

use std::io::Write;

use crate::job::{Account, News};
use crate::ledger::Verdict;
use crate::stack::Whereabouts;
use crate::words::counted;

pub(super) fn write_account(
    out: &mut impl Write,
    account: &Account,
    seconds: f64,
) -> std::io::Result<()> {
    writeln!(
        out,
        "cards        {} asked for, {} good",
        account.cards, account.good
    )?;
    if !account.owed.is_empty() {
        let owed = crate::deck::CardList::from_cards(account.owed.iter().copied());
        writeln!(out, "owed         {owed}")?;
    }
    let counts = |counts: &std::collections::BTreeMap<String, u32>| {
        let words: Vec<String> = counts
            .iter()
            .map(|(kind, count)| format!("{count} {kind}"))
            .collect();
        if words.is_empty() {
            "none".to_string()
        } else {
            words.join(", ")
        }
    };
    let mut spoiled = account.by_verdict.clone();
    // they are sound, or told of where they lie
    let out_of_order = spoiled.remove(Verdict::OutOfOrder.word()).unwrap_or(0);
    if out_of_order > 0 {
        writeln!(out, "out of order {}", counted(out_of_order, "card"))?;
    }
    writeln!(
        out,
        "spoiled      {} cards: {}",
        account.faults - out_of_order,
        counts(&spoiled)
    )?;
    writeln!(out, "wrong holes  {}", counts(&account.by_hole))?;
    writeln!(out, "stops        {}", account.stops)?;
    writeln!(out, "card stock   {} pieces", account.stock)?;
    writeln!(out, "strokes      {}", account.strokes)?;
    let minutes = account.working_us as f64 / 6e7;
    writeln!(
        out,
        "rig time     {minutes:.1} min at work, {:.0} good cards an hour; {seconds:.1} s here",
        account.cards_an_hour
    )?;
    writeln!(
        out,
        "waited       {} us for rows, {} us for records",
        account.waited_us, account.waited_record_us
    )?;
    if !account.take_out.is_empty() {
        writeln!(
            out,
            "take out of the stack, counted as they came out of the rig:"
        )?;
        for spoiled in &account.take_out {
            writeln!(
                out,
                "  no. {:<4} after switching on {:<3} card {:<4} {}",
                spoiled
                    .place
                    .map_or("?".to_string(), |place| place.to_string()),
                spoiled.boot,
                spoiled.card.0,
                spoiled.verdict
            )?;
        }
    }
    Ok(())
}

/// What came of copying a stack.
pub(super) fn copied_text(news: &News) -> String {
    let News::Copied {
        deck,
        cards,
        passes,
        gaps,
        doubtful,
    } = news
    else {
        return String::new();
    };
    let file = deck.display();
    let times = match passes {
        1 => "once".to_string(),
        passes => format!("{passes} times"),
    };
    let mut text = format!("{file}: {cards} cards, read {times}");
    if !gaps.is_empty() {
        let gaps = crate::deck::CardList::from_cards(gaps.iter().copied());
        text.push_str(&format!(
            "\ngaps: cards {gaps}; their lines are blank, and the deck is not cut until they are \
             written and taken off `gaps`"
        ));
    }
    match doubtful {
        0 => text.push_str("\nno position is doubtful"),
        count => text.push_str(&format!(
            "\n{count} doubtful positions hold a guess: read the stack again with --more, or look \
             at each with `cardwright deck settle {file}`"
        )),
    }
    text
}

/// Where a loose card belongs.
pub(super) fn which_text(found: &[Whereabouts], decks: u32) -> String {
    if found.is_empty() {
        return format!(
            "it is a card of none of the {decks} decks that were looked in; name others with --deck"
        );
    }
    let one = |place: &Whereabouts| {
        let cards = crate::deck::CardList::from_cards(place.cards.iter().copied());
        let many = if place.cards.len() > 1 {
            "cards"
        } else {
            "card"
        };
        let wrong = match place.wrong {
            0 => "every hole as it should be".to_string(),
            1 => "1 hole otherwise".to_string(),
            wrong => format!("{wrong} holes otherwise"),
        };
        format!(
            "{many} {cards} of {} ({}), lying {}, {wrong}",
            place.deck, place.sha256, place.lie
        )
    };
    let lines: Vec<String> = found.iter().map(one).collect();
    lines.join("\n")
}
