//! How wide words are in the shipped font. Enters: words and their size. Leaves: a bound
//! of their width, and words cut to a width.

/// An upper bound of the width of words in the shipped font, whose figures are
/// 0.64 of their size wide and whose widest Latin letters are as wide as high.
pub(crate) fn text_width(words: &str, size: f64) -> f64 {
    let wide = |letter: char| match letter {
        'i' | 'j' | 'l' | ' ' | '\u{a0}' | '.' | ',' | ':' | ';' | '\'' | '|' | 'I' => 0.37,
        '(' | ')' | '-' | 'f' | 'r' | 't' => 0.42,
        'm' | 'w' | 'M' | 'W' | '%' | '@' | '=' | '+' => 1.01,
        'A'..='Z' => 0.8,
        letter if letter.is_ascii() => 0.65,
        _ => 1.01,
    };
    size * words.chars().map(wide).sum::<f64>()
}

/// Words that fit into one line, with dots for what does not.
pub(crate) fn shortened(words: &str, size: f64, width: f64) -> String {
    if text_width(words, size) <= width {
        return words.to_owned();
    }
    let mut kept = String::new();
    for letter in words.chars() {
        if text_width(&kept, size) + 3.0 * size > width {
            break;
        }
        kept.push(letter);
    }
    kept + "…"
}
