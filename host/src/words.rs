//! Words that every part has. Enters: a number and what is counted, or text from outside.
//! Leaves: both as a person says them, or text that is safe to show. Refuses nothing.

use std::fmt::Display;

/// `1 card`, `2 cards`.
pub(crate) fn counted<N: Display + PartialEq + From<u8>>(count: N, one: &str) -> String {
    let several = if count == N::from(1) { "" } else { "s" };
    format!("{count} {one}{several}")
}

/// Text without what a terminal would take for an order, or would turn the words around
/// by: names come from files and from units. Its lines stay.
pub(crate) fn clean(text: &str) -> String {
    let safe = |letter: char| letter == '\n' || !(letter.is_control() || moves(letter));
    shown(text, safe)
}

/// The same of a name that stands within a line, and must not break it.
pub(crate) fn one_line(name: &str) -> String {
    shown(name, |letter| !(letter.is_control() || moves(letter)))
}

fn shown(text: &str, safe: impl Fn(char) -> bool) -> String {
    let letters = text.chars();
    letters
        .map(|letter| if safe(letter) { letter } else { '\u{fffd}' })
        .collect()
}

/// Separators of lines and paragraphs, and what changes the direction of writing
/// (Unicode Standard Annex 9, table of explicit formatting characters).
fn moves(letter: char) -> bool {
    matches!(
        letter,
        '\u{2028}' | '\u{2029}' | '\u{61c}' | '\u{200e}' | '\u{200f}'
            | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
    )
}

#[cfg(test)]
mod tests {
    use super::{clean, counted, one_line};

    #[test]
    fn what_would_move_the_words_is_not_shown() {
        let text = "a\u{202e}b\u{2028}c\u{2066}d\u{1b}e\nf \u{5d0}\u{e4}";
        let safe = "a\u{fffd}b\u{fffd}c\u{fffd}d\u{fffd}e\nf \u{5d0}\u{e4}";
        assert_eq!(clean(text), safe);
        assert_eq!(one_line(text), safe.replace('\n', "\u{fffd}"));
    }

    #[test]
    fn one_is_no_several() {
        assert_eq!(counted(0_u64, "card"), "0 cards");
        assert_eq!(counted(1_usize, "card"), "1 card");
        assert_eq!(counted(2_u32, "card"), "2 cards");
    }
}
