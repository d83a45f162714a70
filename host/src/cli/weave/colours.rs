//! Which colours this terminal can show.
//!
//! Enters: what the environment says. Leaves: colours that the terminal knows.
//! Nothing is told by a colour alone, so that none is a choice too.

use crate::cloth::Rgb;
use ratatui::style::{Color, Modifier, Style};

/// How many colours there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Colours {
    /// None: bold and reversed only.
    None,
    /// The sixteen, which every terminal shows as it likes.
    Sixteen,
    /// The 256 of xterm.
    Indexed,
    /// All.
    True,
}

impl Colours {
    /// What the environment asks for (`NO_COLOR`: no-color.org; `COLORTERM`: common
    /// practice).
    pub fn of_environment() -> Colours {
        let said = |name: &str| std::env::var(name).unwrap_or_default();
        Colours::of(&said("NO_COLOR"), &said("COLORTERM"), &said("TERM"))
    }

    fn of(no_color: &str, colorterm: &str, term: &str) -> Colours {
        if !no_color.is_empty() || term == "dumb" {
            Colours::None
        } else if matches!(colorterm, "truecolor" | "24bit") {
            Colours::True
        } else if term.contains("256color") {
            Colours::Indexed
        } else {
            Colours::Sixteen
        }
    }

    /// Whether a yarn's own colour can be shown.
    pub fn has_yarns(self) -> bool {
        matches!(self, Colours::Indexed | Colours::True)
    }

    /// A yarn's colour; nothing if it cannot be shown.
    pub fn yarn(self, colour: Rgb) -> Option<Color> {
        let [red, green, blue] = colour;
        match self {
            Colours::True => Some(Color::Rgb(red, green, blue)),
            Colours::Indexed => Some(Color::Indexed(nearest(colour))),
            Colours::None | Colours::Sixteen => None,
        }
    }

    /// Something is wrong.
    pub fn alarm(self) -> Style {
        match self {
            Colours::None => Style::new().add_modifier(Modifier::BOLD),
            _ => Style::new()
                .fg(Color::LightRed)
                .add_modifier(Modifier::BOLD),
        }
    }

    /// A bar that says that something is wrong.
    pub fn alarm_bar(self) -> Style {
        match self {
            Colours::None => bar(),
            _ => Style::new()
                .fg(Color::White)
                .bg(Color::Red)
                .add_modifier(Modifier::BOLD),
        }
    }

    /// Something is asked.
    pub fn question(self) -> Style {
        match self {
            Colours::None => Style::new().add_modifier(Modifier::BOLD),
            _ => Style::new()
                .fg(Color::LightYellow)
                .add_modifier(Modifier::BOLD),
        }
    }
}

/// A bar that says how it stands.
pub(super) fn bar() -> Style {
    Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD)
}

/// What is less needed.
pub(super) fn quiet() -> Style {
    Style::new().add_modifier(Modifier::DIM)
}

/// What is to be seen first.
pub(super) fn strong() -> Style {
    Style::new().add_modifier(Modifier::BOLD)
}

/// Levels of red, green and blue in xterm's cube, which is colours 16 to 231
/// (xterm's 256colres.h, from memory).
const LEVELS: [u8; 6] = [0, 95, 135, 175, 215, 255];

/// The nearest of the cube's colours and the 24 greys after it.
fn nearest(colour: Rgb) -> u8 {
    let level = |part: u8| (0u8..6).min_by_key(|at| LEVELS[usize::from(*at)].abs_diff(part));
    let cube = colour.map(|part| level(part).unwrap_or(0));
    let mean = colour.iter().map(|part| u32::from(*part)).sum::<u32>() / 3;
    let step = (mean.saturating_sub(3) / 10).min(23) as u8;
    let grey = 8 + 10 * step;
    let away = |shown: Rgb| distance(colour, shown);
    if away([grey; 3]) < away(cube.map(|at| LEVELS[usize::from(at)])) {
        232 + step
    } else {
        16 + 36 * cube[0] + 6 * cube[1] + cube[2]
    }
}

/// How far apart two colours are, in squared levels.
pub(super) fn distance(one: Rgb, other: Rgb) -> u32 {
    let parts = one.iter().zip(other);
    parts
        .map(|(one, other)| u32::from(one.abs_diff(other)).pow(2))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_environment_is_heeded() {
        assert_eq!(Colours::of("1", "truecolor", "xterm"), Colours::None);
        assert_eq!(Colours::of("", "truecolor", "xterm"), Colours::True);
        assert_eq!(Colours::of("", "", "tmux-256color"), Colours::Indexed);
        assert_eq!(Colours::of("", "", "linux"), Colours::Sixteen);
        assert_eq!(Colours::of("", "", "dumb"), Colours::None);
    }

    /// xterm's table: 196 is pure red, 231 white, 244 the grey 128 (from memory).
    #[test]
    fn the_cube_is_xterms() {
        assert_eq!(nearest([255, 0, 0]), 196);
        assert_eq!(nearest([255, 255, 255]), 231);
        assert_eq!(nearest([128, 128, 128]), 244);
        assert_eq!(nearest([0, 0, 95]), 17);
    }
}
