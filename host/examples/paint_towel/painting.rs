//! From a drawing in three flat tones to the painted squares of a damask.
//!
//! In: the text of an SVG, one unit a square. Out: a [`Painted`] grid, black
//! (painted, so cut, so lifted) or white. Refused: a drawing of another size,
//! or one with a square of a colour that is none of the three tones.

use resvg::{tiny_skia, usvg};

/// Hooks in one repeat, the squares across.
pub const HOOKS: usize = 400;
/// Picks in one repeat, the squares down.
pub const PICKS: usize = 160;

/// The ground's order of raising, one end in five a pick: the 5-end sateen of
/// C. P. Brooks, *Cotton Manufacturing*.
pub const SATIN_5: [usize; 5] = [1, 3, 5, 2, 4];
/// The figure's order of binding, one end in eight a pick: the 8-end satin of
/// J. Taylor's jacquard handbook, p. 132.
pub const SATIN_8: [usize; 8] = [1, 4, 7, 2, 5, 8, 3, 6];
/// Ends raised of each eight in the shadow, side by side from the satin's
/// point on: the 8-end satin thickened regularly to between ground and figure.
pub const SHADOW_RAISED: usize = 5;
/// No binding dot is dropped at an edge where that would leave a float over
/// more threads than this, on either face (common practice, no source: a hand
/// towel must not snag).
pub const LONGEST_FLOAT: usize = 12;

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

/// The painted squares: `true` is black, cut and lifted.
pub type Painted = Repeat<bool>;

impl<T: Copy> Repeat<T> {
    fn from_squares(mut square: impl FnMut(usize, usize) -> T) -> Self {
        let squares = (0..PICKS * HOOKS)
            .map(|n| square(n % HOOKS, n / HOOKS))
            .collect();
        Self { squares }
    }

    /// The square `end` places right of hook 1 and `pick` lines above pick 1;
    /// both go round, as the repeats do in the cloth.
    pub fn at(&self, end: usize, pick: usize) -> T {
        self.squares[(pick % PICKS) * HOOKS + end % HOOKS]
    }

    fn set(&mut self, end: usize, pick: usize, square: T) {
        self.squares[(pick % PICKS) * HOOKS + end % HOOKS] = square;
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
    match (red, green, blue) {
        (255, 255, 255) => Ok(Tone::Ground),
        (128, 128, 128) => Ok(Tone::Shadow),
        (0, 0, 0) => Ok(Tone::Figure),
        _ => Err(PaintingError::Colour {
            hook: end + 1,
            pick: pick + 1,
            red,
            green,
            blue,
        }),
    }
}

/// Whether the weave that fills `tone` raises this end on this pick.
pub fn raised(tone: Tone, end: usize, pick: usize) -> bool {
    let from_eighth = (end + 8 - (SATIN_8[pick % 8] - 1)) % 8;
    match tone {
        Tone::Ground => end % 5 == SATIN_5[pick % 5] - 1,
        Tone::Shadow => from_eighth < SHADOW_RAISED,
        Tone::Figure => from_eighth != 0,
    }
}

/// Fills each tone with its weave, then cleans the edges.
pub fn paint(tones: &Repeat<Tone>) -> Painted {
    let mut painted = Repeat::from_squares(|end, pick| raised(tones.at(end, pick), end, pick));
    // A dropped dot can shorten a float of the other colour and so free a dot
    // passed before. Every turn drops at least one dot, so this ends.
    while clean_edges(tones, &mut painted) {}
    painted
}

/// Drops each binding dot of ground and figure that touches another tone: it
/// would make the outline ragged (common practice, no source). A dot stays
/// where the cloth needs it more than the outline does. Tells whether a dot
/// was dropped.
fn clean_edges(tones: &Repeat<Tone>, painted: &mut Painted) -> bool {
    let mut dropped = false;
    for pick in 0..PICKS {
        for end in 0..HOOKS {
            let tone = tones.at(end, pick);
            let is_dot = match tone {
                Tone::Ground => painted.at(end, pick),
                Tone::Shadow => false,
                Tone::Figure => !painted.at(end, pick),
            };
            if is_dot && touches_another_tone(tones, end, pick) {
                painted.set(end, pick, tone == Tone::Figure);
                if across(painted, end, pick).max(along(painted, end, pick)) > LONGEST_FLOAT {
                    painted.set(end, pick, tone != Tone::Figure);
                } else {
                    dropped = true;
                }
            }
        }
    }
    dropped
}

fn touches_another_tone(tones: &Repeat<Tone>, end: usize, pick: usize) -> bool {
    let around = [(1, 0), (HOOKS - 1, 0), (0, 1), (0, PICKS - 1)];
    around
        .iter()
        .any(|(right, up)| tones.at(end + right, pick + up) != tones.at(end, pick))
}

/// How many squares side by side, this one among them, are painted alike: the
/// weft's float there, on the face if white, on the back if black.
pub fn across(painted: &Painted, end: usize, pick: usize) -> usize {
    run(HOOKS, |step| painted.at(end + step, pick))
}

/// How many squares one above the other, this one among them, are painted
/// alike: the warp's float there, on the face if black, on the back if white.
pub fn along(painted: &Painted, end: usize, pick: usize) -> usize {
    run(PICKS, |step| painted.at(end, pick + step))
}

/// The length of the run through step 0 on a ring of `around` squares.
fn run(around: usize, square: impl Fn(usize) -> bool) -> usize {
    let here = square(0);
    let after = (1..around).take_while(|step| square(*step) == here).count();
    let before = (1..around)
        .take_while(|step| square(around - step) == here)
        .count();
    (1 + after + before).min(around)
}
