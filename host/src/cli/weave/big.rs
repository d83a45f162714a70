//! Words and numbers in letters that are read from across a room.
//!
//! Enters: text and the room there is. Leaves: lines of block letters, as large as
//! fit; nothing if none do, or if there is a sign that has no block letter.

/// Squares a letter is high.
const HIGH: usize = 5;

/// Sizes that are tried: columns a square is wide. A line on a terminal is two
/// squares high, so a square of two columns is one line high.
pub(super) const LARGEST: usize = 8;

/// Letters, from the top line to the bottom, with `#` where there is a square.
const LETTERS: &[(char, [&str; HIGH])] = &[
    ('0', ["###", "# #", "# #", "# #", "###"]),
    ('1', [" # ", "## ", " # ", " # ", "###"]),
    ('2', ["###", "  #", "###", "#  ", "###"]),
    ('3', ["###", "  #", "###", "  #", "###"]),
    ('4', ["# #", "# #", "###", "  #", "  #"]),
    ('5', ["###", "#  ", "###", "  #", "###"]),
    ('6', ["###", "#  ", "###", "# #", "###"]),
    ('7', ["###", "  #", "  #", "  #", "  #"]),
    ('8', ["###", "# #", "###", "# #", "###"]),
    ('9', ["###", "# #", "###", "  #", "###"]),
    ('A', [" # ", "# #", "###", "# #", "# #"]),
    ('B', ["## ", "# #", "## ", "# #", "## "]),
    ('C', ["###", "#  ", "#  ", "#  ", "###"]),
    ('D', ["## ", "# #", "# #", "# #", "## "]),
    ('E', ["###", "#  ", "## ", "#  ", "###"]),
    ('F', ["###", "#  ", "## ", "#  ", "#  "]),
    ('G', ["####", "#   ", "# ##", "#  #", "####"]),
    ('H', ["# #", "# #", "###", "# #", "# #"]),
    ('I', ["#", "#", "#", "#", "#"]),
    ('J', ["  #", "  #", "  #", "# #", "###"]),
    ('K', ["# #", "# #", "## ", "# #", "# #"]),
    ('L', ["#  ", "#  ", "#  ", "#  ", "###"]),
    ('M', ["#   #", "## ##", "# # #", "#   #", "#   #"]),
    ('N', ["#  #", "## #", "# ##", "#  #", "#  #"]),
    ('O', ["###", "# #", "# #", "# #", "###"]),
    ('P', ["###", "# #", "###", "#  ", "#  "]),
    ('Q', ["#### ", "#  # ", "#  # ", "#  # ", "#####"]),
    ('R', ["###", "# #", "## ", "# #", "# #"]),
    ('S', ["###", "#  ", "###", "  #", "###"]),
    ('T', ["###", " # ", " # ", " # ", " # "]),
    ('U', ["# #", "# #", "# #", "# #", "###"]),
    ('V', ["# #", "# #", "# #", "# #", " # "]),
    ('W', ["#   #", "#   #", "# # #", "## ##", "#   #"]),
    ('X', ["# #", "# #", " # ", "# #", "# #"]),
    ('Y', ["# #", "# #", " # ", " # ", " # "]),
    ('Z', ["###", "  #", " # ", "#  ", "###"]),
    (' ', ["  ", "  ", "  ", "  ", "  "]),
    ('→', ["#   ", "##  ", "####", "##  ", "#   "]),
    ('←', ["   #", "  ##", "####", "  ##", "   #"]),
];

/// Lines of block letters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Big {
    /// The lines, all of one width.
    pub lines: Vec<String>,
    /// Their width in columns.
    pub width: usize,
}

fn letter(wanted: char) -> Option<&'static [&'static str; HIGH]> {
    let wanted = wanted.to_ascii_uppercase();
    LETTERS
        .iter()
        .find(|(sign, _)| *sign == wanted)
        .map(|(_, squares)| squares)
}

/// How many squares wide this is, with the gaps between letters.
fn squares_wide(text: &str) -> Option<usize> {
    let mut wide = 0;
    for sign in text.chars() {
        wide += letter(sign)?[0].len() + 1;
    }
    Some(wide.saturating_sub(1))
}

/// Lines on the terminal for letters of this size.
pub(super) fn lines_high(size: usize) -> usize {
    (HIGH * size).div_ceil(2)
}

/// One line of text on as many lines of the terminal as it needs.
fn set(text: &str, size: usize) -> Option<Vec<String>> {
    let mut rows: Vec<Vec<bool>> = vec![Vec::new(); HIGH];
    for (place, sign) in text.chars().enumerate() {
        for (row, squares) in rows.iter_mut().zip(letter(sign)?) {
            if place > 0 {
                row.push(false);
            }
            row.extend(squares.chars().map(|square| square == '#'));
        }
    }
    let full = |half: usize, square: usize| {
        let row = rows.get(half / size);
        row.and_then(|row| row.get(square)) == Some(&true)
    };
    let wide = rows[0].len();
    let line = |at: usize| -> String {
        (0..wide * size)
            .map(
                |column| match (full(2 * at, column / size), full(2 * at + 1, column / size)) {
                    (true, true) => '█',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (false, false) => ' ',
                },
            )
            .collect()
    };
    Some((0..lines_high(size)).map(line).collect())
}

/// The words on lines of at most so many squares; nothing if a word is wider.
fn broken(text: &str, most: usize) -> Option<Vec<String>> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        if squares_wide(word)? > most {
            return None;
        }
        let joined = lines.last().map(|line| format!("{line} {word}"));
        match joined {
            Some(joined) if squares_wide(&joined)? <= most => {
                if let Some(last) = lines.last_mut() {
                    *last = joined;
                }
            }
            _ => lines.push(word.to_string()),
        }
    }
    Some(lines)
}

/// The text in letters as large as fit into so many columns and lines, broken
/// between words; nothing if not even those of size `least` fit.
pub(super) fn fit(text: &str, columns: usize, rows: usize, least: usize) -> Option<Big> {
    (least..=LARGEST)
        .rev()
        .find_map(|size| fit_size(text, columns, rows, size))
}

/// The same on one line, in letters of any size.
pub(super) fn fit_line(text: &str, columns: usize, rows: usize) -> Option<Big> {
    let fits = |size: &usize| {
        lines_high(*size) <= rows && squares_wide(text).is_some_and(|wide| wide * size <= columns)
    };
    let size = (1..=LARGEST).rev().find(fits)?;
    let lines = set(text, size)?;
    let width = lines.first().map_or(0, |line| line.chars().count());
    Some(Big { lines, width })
}

fn fit_size(text: &str, columns: usize, rows: usize, size: usize) -> Option<Big> {
    let parts = broken(text, columns / size)?;
    let gap = usize::from(size > 1);
    let high = parts.len() * (lines_high(size) + gap);
    if parts.is_empty() || high.saturating_sub(gap) > rows {
        return None;
    }
    let mut lines = Vec::new();
    for (place, part) in parts.iter().enumerate() {
        if place > 0 && gap > 0 {
            lines.push(String::new());
        }
        lines.extend(set(part, size)?);
    }
    let width = lines.iter().map(|line| line.chars().count()).max()?;
    for line in &mut lines {
        let short = width - line.chars().count();
        line.extend(std::iter::repeat_n(' ', short));
    }
    Some(Big { lines, width })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The squares of a letter are read back from the blocks that were set.
    #[test]
    fn what_is_set_is_what_the_letters_are() {
        for size in 1..=4 {
            for (sign, squares) in LETTERS {
                let lines = set(&sign.to_string(), size).expect("every letter can be set");
                let full = |column: usize, half: usize| {
                    let cell = lines[half / 2].chars().nth(column);
                    match half % 2 {
                        0 => matches!(cell, Some('█' | '▀')),
                        _ => matches!(cell, Some('█' | '▄')),
                    }
                };
                for (row, line) in squares.iter().enumerate() {
                    assert_eq!(line.len(), squares[0].len(), "{sign}");
                    for (column, square) in line.chars().enumerate() {
                        let there = full(column * size, row * size);
                        assert_eq!(there, square == '#', "{sign} at {size}: {lines:?}");
                    }
                }
            }
        }
    }

    /// No two letters look alike, but for the letter O and nought.
    #[test]
    fn letters_are_told_apart() {
        for (at, (one, squares)) in LETTERS.iter().enumerate() {
            for (other, others) in &LETTERS[at + 1..] {
                let alike = squares == others;
                let known = matches!((one, other), ('0', 'O') | ('5', 'S'));
                assert_eq!(alike, known, "{one} and {other}");
            }
        }
    }

    #[test]
    fn the_largest_that_fits_is_taken() {
        for (columns, rows) in [(20, 5), (36, 8), (80, 24), (200, 20)] {
            let big = fit("160", columns, rows, 1).expect("it fits");
            assert!(big.width <= columns && big.lines.len() <= rows);
            let wider = big.width / 11 + 1;
            assert!(fit("160", columns, rows, wider).is_none_or(|other| other == big));
        }
        assert_eq!(fit("1234567890", 10, 5, 1), None);
        assert_eq!(fit("Ä", 80, 24, 1), None);
        assert_eq!(fit("", 80, 24, 1), None);
    }

    #[test]
    fn words_go_on_several_lines() {
        let big = fit("no weft", 30, 8, 1).expect("it fits");
        assert_eq!(big.lines.len(), 3, "one line of the smallest letters");
        let big = fit("no weft", 36, 12, 2).expect("it fits on two lines");
        assert_eq!(big.lines.len(), 11);
    }
}
