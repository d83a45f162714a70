//! Paper: what is set on it goes down the page, and over to the next one where
//! it does not fit.
//!
//! Enters: lines of words, and drawings with their heights, in millimetres.
//! Leaves: A4 pages as SVG.

use crate::picture::shortened;
pub(super) use crate::picture::text_width;
use std::fmt::Write as _;

/// A4, upright.
const PAPER: (f64, f64) = (210.0, 297.0);
/// Free at the left and at the right.
pub(super) const LEFT: f64 = 15.0;
/// What is left between the margins.
pub(super) const WIDTH: f64 = PAPER.0 - 2.0 * LEFT;
const TOP: f64 = 15.0;
const BOTTOM: f64 = 279.0;

/// From one line's foot to the next, in its letters' sizes.
const LEADING: f64 = 1.45;

/// Black on white with one accent; the card is drawn in these colours too. The
/// card's own heading and legend are left to the sheet, which sets them in
/// letters that can be read at the size of the drawing.
const STYLE: &str = "\
.sheet text{font-family:'DejaVu Sans',sans-serif;fill:#111}
.sheet .accent{fill:#b83a08}
.sheet .quiet{fill:#555}
.sheet .rule{stroke:#111;stroke-width:.25;fill:none}
.sheet .wire{stroke:#b83a08;stroke-width:.4;fill:none}
.sheet .face{fill:#fff;stroke:#111;stroke-width:.4}
.sheet .cut{fill:#fff;stroke:#111;stroke-width:.3}
.sheet .lace,.sheet .peg{fill:#ddd}
.sheet .spot{fill:#bbb}
.sheet .tick{display:none}
.sheet .tick+text{font-size:4.4px}
.sheet .missing{stroke:#b83a08;stroke-width:.8}
.sheet .extra{stroke:#6d2077;stroke-width:.9}
.sheet .legend,.sheet svg text[font-size='4']{display:none}
";

/// How words are set.
#[derive(Clone, Copy, Debug)]
pub(super) struct Set {
    /// Height of the letters' square.
    pub size: f64,
    /// `""`, `accent` or `quiet`.
    pub class: &'static str,
    /// Room left free at the left of the margin.
    pub indent: f64,
}

pub(super) const PLAIN: Set = Set {
    size: 3.6,
    class: "",
    indent: 0.0,
};
pub(super) const SMALL: Set = Set {
    size: 3.0,
    class: "quiet",
    indent: 0.0,
};
pub(super) const SECTION: Set = Set {
    size: 5.0,
    class: "accent",
    indent: 0.0,
};

/// Pages being filled.
pub(super) struct Flow {
    pages: Vec<String>,
    y: f64,
}

impl Flow {
    pub(super) fn new() -> Flow {
        Flow {
            pages: vec![String::new()],
            y: TOP,
        }
    }

    /// Makes sure that what is this high stays on one page, if a page holds it.
    pub(super) fn keep(&mut self, height: f64) {
        if self.y + height > BOTTOM && self.y > TOP {
            self.pages.push(String::new());
            self.y = TOP;
        }
    }

    /// Leaves room free, but not at the head of a page.
    pub(super) fn gap(&mut self, height: f64) {
        if self.y > TOP {
            self.y += height;
        }
    }

    /// Sets a piece of SVG of this height; it is given the place of its top.
    pub(super) fn piece(&mut self, height: f64, draw: impl FnOnce(&mut String, f64)) {
        self.keep(height);
        if let Some(page) = self.pages.last_mut() {
            draw(page, self.y);
        }
        self.y += height;
    }

    /// Sets words in as many lines as they need.
    pub(super) fn words(&mut self, set: Set, words: &str) {
        for line in lines(words, set.size, WIDTH - set.indent) {
            self.piece(set.size * LEADING, |page, top| {
                letters(page, (LEFT + set.indent, top + set.size), set, "", &line);
            });
        }
    }

    /// A heading, kept together with this much of what follows.
    pub(super) fn section(&mut self, words: &str, with: f64) {
        self.gap(6.0);
        self.keep(SECTION.size * LEADING + 2.0 + with);
        self.words(SECTION, words);
        self.gap(1.0);
    }

    /// The pages, each with its foot.
    pub(super) fn finish(self, foot: &str) -> Vec<String> {
        let of = self.pages.len();
        let page = |(number, body): (usize, String)| wrapped(&body, number, of, foot);
        (1..).zip(self.pages).map(page).collect()
    }
}

/// Height of these words.
pub(super) fn height(set: Set, words: &str) -> f64 {
    lines(words, set.size, WIDTH - set.indent).len() as f64 * set.size * LEADING
}

fn wrapped(body: &str, number: usize, of: usize, foot: &str) -> String {
    let (width, height) = PAPER;
    let mut svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}">"#
    );
    let count = format!("page {number} of {of}");
    let _ = write!(
        svg,
        "\n<title>{}, {count}</title>\n<style>{STYLE}</style>\n",
        escaped(foot)
    );
    let _ = writeln!(
        svg,
        r##"<rect width="{width}" height="{height}" fill="#fff"/>"##
    );
    let _ = writeln!(svg, r#"<g class="sheet">"#);
    svg.push_str(body);
    let line = BOTTOM + 4.0;
    let _ = writeln!(svg, r#"<path class="rule" d="M{LEFT} {line}h{WIDTH}"/>"#);
    let room = WIDTH - text_width(&count, SMALL.size) - 5.0;
    letters(
        &mut svg,
        (LEFT, line + 4.5),
        SMALL,
        "",
        &shortened(foot, SMALL.size, room),
    );
    let end = LEFT + WIDTH;
    letters(
        &mut svg,
        (end, line + 4.5),
        SMALL,
        r#" text-anchor="end""#,
        &count,
    );
    svg.push_str("</g>\n</svg>\n");
    svg
}

/// One line of letters; `more` is further attributes.
pub(super) fn letters(svg: &mut String, (x, y): (f64, f64), set: Set, more: &str, words: &str) {
    let class = if set.class.is_empty() {
        String::new()
    } else {
        format!(r#" class="{}""#, set.class)
    };
    let _ = writeln!(
        svg,
        r#"<text x="{x:.2}" y="{y:.2}" font-size="{:.2}"{class}{more}>{}</text>"#,
        set.size,
        escaped(words),
    );
}

/// Words in lines that fit; a word that is longer than a line is broken.
fn lines(words: &str, size: f64, width: f64) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0.0;
    for word in words.split(' ') {
        let space = text_width(" ", size);
        let long = text_width(word, size);
        if used > 0.0 && used + space + long > width {
            lines.push(String::new());
            used = 0.0;
        }
        if used > 0.0 {
            push(&mut lines, ' ');
            used += space;
        }
        for letter in word.chars() {
            let wide = text_width(letter.encode_utf8(&mut [0; 4]), size);
            if used + wide > width {
                lines.push(String::new());
                used = 0.0;
            }
            push(&mut lines, letter);
            used += wide;
        }
    }
    lines
}

fn push(lines: &mut [String], letter: char) {
    if let Some(line) = lines.last_mut() {
        line.push(letter);
    }
}

fn escaped(words: &str) -> String {
    let safe = words
        .replace('\u{a0}', " ")
        .replace('&', "&amp;")
        .replace('<', "&lt;");
    safe.replace('>', "&gt;").replace('"', "&quot;")
}
