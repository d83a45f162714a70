//! The sheet on paper: what is to be seen to first, the order, the wires, and
//! then the faulty cards one by one.

use super::face::Face;
use super::flow::{Flow, LEFT, PLAIN, SMALL, Set, WIDTH, height, letters, text_width};
use super::text::capital;
use super::words::{REMINDERS, mending, numbers, rule, standing, to_see_to, wires, wires_source};
use super::{Card, Chain, Fault, Lacing};
use crate::words::counted;
use cardwright_protocol::CardNumber;
use std::fmt::Write as _;

/// Figures in the list of a chain's cards.
const FIGURE: Set = Set {
    size: 2.6,
    class: "",
    indent: 0.0,
};
/// Most cards that are drawn: a deck with more is cut again, not mended, and its
/// sheet would be a book (common practice, no source).
const MOST_FACES: usize = 500;
/// From one line of them to the next.
const LINE: f64 = 5.2;

pub(super) fn pages(lacing: &Lacing) -> Vec<String> {
    let mut flow = Flow::new();
    head(&mut flow, lacing);
    see_to_first(&mut flow, lacing);
    flow.section("Order of lacing", 25.0);
    flow.words(PLAIN, &rule(lacing));
    key(&mut flow);
    for chain in &lacing.chains {
        chain_list(&mut flow, lacing, chain);
    }
    wire_list(&mut flow, lacing);
    flow.section("While lacing", 10.0);
    for reminder in REMINDERS {
        flow.words(PLAIN, reminder);
    }
    flow.words(SMALL, "Bell ch. V.");
    signature(&mut flow);
    faults(&mut flow, lacing);
    let sheet = &lacing.sheet;
    flow.finish(&format!(
        "Lacing sheet: {}, deck {}, {}",
        sheet.deck, sheet.sha, sheet.date
    ))
}

fn head(flow: &mut Flow, lacing: &Lacing) {
    let sheet = &lacing.sheet;
    flow.words(
        Set {
            size: 4.0,
            class: "accent",
            indent: 0.0,
        },
        "Lacing sheet",
    );
    flow.words(Set { size: 8.0, ..PLAIN }, &sheet.deck);
    let cards = counted(sheet.cards.len(), "card");
    flow.words(PLAIN, &format!("{}, {cards}", sheet.format.title()));
    flow.words(SMALL, &format!("deck {}, {}", sheet.sha, sheet.date));
    rule_line(flow);
    flow.words(Set { size: 4.6, ..PLAIN }, &standing(lacing));
}

fn rule_line(flow: &mut Flow) {
    flow.piece(5.0, |page, top| {
        let _ = writeln!(
            page,
            r#"<path class="rule" d="M{LEFT} {:.2}h{WIDTH}"/>"#,
            top + 2.0
        );
    });
}

fn see_to_first(flow: &mut Flow, lacing: &Lacing) {
    for (what, cards) in to_see_to(lacing) {
        flow.gap(1.0);
        flow.words(
            PLAIN,
            &format!("{what} ({}): {}", cards.len(), numbers(&cards)),
        );
    }
    if lacing.sheet.order.is_empty() {
        return;
    }
    flow.section("Order of the stack", 12.0);
    for finding in &lacing.sheet.order {
        flow.keep(height(PLAIN, &finding.finding) + height(SMALL, &finding.remedy));
        flow.words(PLAIN, &finding.finding);
        flow.words(
            Set {
                indent: 4.0,
                ..SMALL
            },
            &finding.remedy,
        );
        flow.gap(1.0);
    }
}

/// What the marks in the list mean.
fn key(flow: &mut Flow) {
    flow.gap(1.5);
    flow.piece(LINE, |page, top| {
        let foot = top + 3.6;
        wire_box(page, (LEFT, top), 8.0);
        letters(page, (LEFT + 10.0, foot), SMALL, "", "carries a wire");
        letters(
            page,
            (LEFT + 42.0, foot),
            SMALL,
            "",
            "(n)  is to be seen to first",
        );
    });
}

fn wire_box(page: &mut String, (x, top): (f64, f64), width: f64) {
    let _ = writeln!(
        page,
        r#"<rect class="wire" x="{x:.2}" y="{:.2}" width="{width:.2}" height="{:.2}" rx=".8"/>"#,
        top + 0.5,
        LINE - 1.0,
    );
}

/// Every card of a chain once, in lines that are read from left to right.
fn chain_list(flow: &mut Flow, lacing: &Lacing, chain: &Chain) {
    let (name, way) = chain.run.words();
    let count = counted(chain.cards.len(), "card");
    flow.gap(2.5);
    flow.keep(3.0 * LINE);
    flow.words(PLAIN, &format!("{}, {way}, {count}", capital(name)));
    let highest = chain.cards.iter().map(|card| card.0).max().unwrap_or(0);
    let widest = text_width(&format!("({highest})"), FIGURE.size);
    let columns = if widest < WIDTH / 20.0 { 20 } else { 15 };
    let cell = WIDTH / columns as f64;
    for line in chain.cards.chunks(columns) {
        flow.piece(LINE, |page, top| {
            for (column, card) in line.iter().enumerate() {
                let x = LEFT + cell * column as f64;
                figure(page, lacing, chain, *card, (x, top, cell));
            }
        });
    }
}

fn figure(
    page: &mut String,
    lacing: &Lacing,
    chain: &Chain,
    card: CardNumber,
    (x, top, cell): (f64, f64, f64),
) {
    if chain.wires.cards.contains(&card) {
        wire_box(page, (x + 0.2, top), cell - 0.4);
    }
    let words = match lacing.card(card) {
        Some(Card::Good) => card.0.to_string(),
        _ => format!("({})", card.0),
    };
    let more = format!(r#" text-anchor="middle" data-laced="{}""#, card.0);
    letters(page, (x + cell / 2.0, top + 3.5), FIGURE, &more, &words);
}

fn wire_list(flow: &mut Flow, lacing: &Lacing) {
    flow.section("Wires", 12.0);
    for chain in &lacing.chains {
        let (name, _) = chain.run.words();
        flow.words(
            PLAIN,
            &format!("{}: {}", capital(name), wires(&chain.wires)),
        );
        let cards: Vec<String> = chain
            .wires
            .cards
            .iter()
            .map(|card| card.0.to_string())
            .collect();
        let list = format!("Under {}", cards.join(", "));
        flow.words(
            Set {
                indent: 4.0,
                ..PLAIN
            },
            &list,
        );
        flow.gap(1.0);
    }
    flow.words(SMALL, &wires_source());
}

fn signature(flow: &mut Flow) {
    flow.gap(4.0);
    flow.piece(12.0, |page, top| {
        for (x, width, words) in [(0.0, 110.0, "Laced by"), (120.0, 60.0, "Date")] {
            let (x, foot) = (LEFT + x, top + 8.0);
            letters(page, (x, foot), SMALL, "", words);
            let line = x + text_width(words, SMALL.size) + 1.0;
            let _ = writeln!(
                page,
                r#"<path class="rule" d="M{line:.2} {:.2}H{:.2}"/>"#,
                foot + 0.5,
                x + width,
            );
        }
    });
}

fn faults(flow: &mut Flow, lacing: &Lacing) {
    if lacing.faults().next().is_none() {
        return;
    }
    let key = "The face as seen from the numbered end, which is at the left. A round hole is right; \
               a cross in a broken ring is a hole that is missing; a diamond round a hole is one too many. \
               Lace and peg holes are grey. Rows are numbered above, holes at the left.";
    flow.section("Faulty cards", 60.0);
    flow.words(SMALL, key);
    for (place, (number, fault)) in lacing.faults().enumerate() {
        if place == MOST_FACES {
            let words =
                format!("Of more than {MOST_FACES} faulty cards, the others are not drawn.");
            flow.gap(5.0);
            flow.words(PLAIN, &words);
        }
        fault_block(flow, lacing, (number, fault), place < MOST_FACES);
    }
}

fn fault_block(flow: &mut Flow, lacing: &Lacing, (number, fault): (u32, &Fault), draw: bool) {
    let format = &lacing.sheet.format;
    let title = Set { size: 4.2, ..PLAIN };
    let what = if fault.is_cut_again() {
        "cut again"
    } else {
        "mend"
    };
    let title_words = format!("Card {number}: {what}");
    let mut lines = Vec::new();
    if !fault.words.is_empty() {
        lines.push((SMALL, fault.words.clone()));
    }
    for (what, places) in mending(format, fault) {
        lines.push((PLAIN, format!("{}: {places}", capital(what))));
    }
    let marked = draw && !(fault.missing.is_empty() && fault.extra.is_empty());
    let face = marked.then(|| Face::of(format, number, fault, WIDTH));
    let drawn = face.as_ref().map_or(0.0, |face| face.height() + 2.0);
    let words: f64 = lines.iter().map(|(set, line)| height(*set, line)).sum();
    flow.gap(5.0);
    flow.keep(height(title, &title_words) + words + drawn);
    flow.words(title, &title_words);
    for (set, line) in &lines {
        flow.words(*set, line);
    }
    if let Some(face) = face {
        flow.gap(1.0);
        flow.piece(face.height() + 1.0, |page, top| {
            face.draw(page, number, (LEFT, top))
        });
    }
}
