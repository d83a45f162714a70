//! From a drawing in three flat tones to the squares of a point paper.
//!
//! In: the text of an SVG, one unit a square. Out: the tone of every square.
//! Refused: a drawing of another size, or one with a square of a colour that is
//! none of the three tones.

use resvg::{tiny_skia, usvg};

/// Hooks in one repeat, the squares across.
pub const HOOKS: usize = 400;
/// Picks in one repeat, the squares down.
pub const PICKS: usize = 160;

/// What a square of the drawing stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// White: the cloth behind the picture, mostly weft on the face.
    Ground,
    /// Grey: between the two.
    Shadow,
    /// Black: the picture, mostly warp on the face.
    Figure,
}

impl Tone {
    /// All of them, in the order of the picture's palette.
    pub const ALL: [Tone; 3] = [Tone::Ground, Tone::Shadow, Tone::Figure];

    /// What it is painted in.
    pub fn paint(self) -> [u8; 3] {
        match self {
            Tone::Ground => [255; 3],
            Tone::Shadow => [128; 3],
            Tone::Figure => [0; 3],
        }
    }
}

/// Why a drawing could not be painted.
#[derive(Debug, thiserror::Error)]
pub enum PaintingError {
    /// The text is not a drawing that can be read.
    #[error("the drawing is not readable SVG: {0}; open it in a drawing program and save it again")]
    Unreadable(#[from] usvg::Error),
    /// The drawing has another size than one repeat.
    #[error(
        "the drawing is {width} x {height} units; one repeat is {HOOKS} x {PICKS}: set its width and height"
    )]
    Size {
        /// Units across.
        width: f32,
        /// Units down.
        height: f32,
    },
    /// A square has a colour that stands for nothing.
    #[error(
        "hook {hook}, pick {pick} is coloured #{red:02x}{green:02x}{blue:02x}; \
         use only white (ground), #808080 (shadow) and black (figure)"
    )]
    Colour {
        /// Counted from 1 at the left.
        hook: usize,
        /// Counted from 1 at the bottom.
        pick: usize,
        /// Red, 0 to 255.
        red: u8,
        /// Green, 0 to 255.
        green: u8,
        /// Blue, 0 to 255.
        blue: u8,
    },
}

/// One repeat, square by square; hook 1 is at the left, pick 1 at the bottom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Repeat<T> {
    squares: Vec<T>,
}

impl<T: Copy> Repeat<T> {
    /// The square `end` places right of hook 1 and `pick` lines above pick 1;
    /// both go round, as the repeats do in the cloth.
    pub fn at(&self, end: usize, pick: usize) -> T {
        self.squares[(pick % PICKS) * HOOKS + end % HOOKS]
    }
}

/// Reads the drawing, `shift` units in from its left edge: each square takes
/// the tone at its middle, without smoothing, so every edge is crisp.
pub fn tones(svg: &str, shift: usize) -> Result<Repeat<Tone>, PaintingError> {
    let options = usvg::Options {
        shape_rendering: usvg::ShapeRendering::CrispEdges,
        ..Default::default()
    };
    let tree = usvg::Tree::from_str(svg, &options)?;
    let (width, height) = (tree.size().width(), tree.size().height());
    let wrong_size = PaintingError::Size { width, height };
    if (width, height) != (HOOKS as f32, PICKS as f32) {
        return Err(wrong_size);
    }
    // Curves that meet the edge of the sheet are cut there and bend a little,
    // so three repeats are drawn and the middle one is kept.
    let Some(mut sheet) = tiny_skia::Pixmap::new(3 * HOOKS as u32, PICKS as u32) else {
        return Err(wrong_size);
    };
    sheet.fill(tiny_skia::Color::WHITE);
    let moved = tiny_skia::Transform::from_translate(HOOKS as f32 - shift as f32, 0.0);
    resvg::render(&tree, moved, &mut sheet.as_mut());

    let mut squares = Vec::with_capacity(HOOKS * PICKS);
    for (pick, line) in sheet.pixels().chunks(3 * HOOKS).rev().enumerate() {
        for (end, colour) in line[HOOKS..2 * HOOKS].iter().enumerate() {
            squares.push(tone_of(*colour, end, pick)?);
        }
    }
    Ok(Repeat { squares })
}

fn tone_of(
    colour: tiny_skia::PremultipliedColorU8,
    end: usize,
    pick: usize,
) -> Result<Tone, PaintingError> {
    let (red, green, blue) = (colour.red(), colour.green(), colour.blue());
    let tone = Tone::ALL
        .into_iter()
        .find(|tone| tone.paint() == [red, green, blue]);
    tone.ok_or(PaintingError::Colour {
        hook: end + 1,
        pick: pick + 1,
        red,
        green,
        blue,
    })
}
