//! How bright bare paper is at each place of a picture.
//!
//! Enters: what was seen in the squares. Leaves: a [`Light`], by which levels
//! are made comparable over the sheet. Refuses nothing: paint that lets no paper
//! be seen is taken for its brightest colour.
//!
//! Light is a factor, so its logarithm is a smooth surface, one for each of red,
//! green and blue. First it lies on the brightest squares, wherever they are;
//! once the painted colours are known, every square of each says how the light
//! falls.

use super::grid::Seen;
use super::picture::{Picture, Place};
use super::surface::{Surface, Value};

/// How much darker than the brightest around it bare paper may be, as a
/// logarithm.
const BARE: f64 = 0.15;

/// At most so many squares are asked.
const ASKED: usize = 20_000;

/// Brightness of bare paper over a picture.
#[derive(Clone, Debug)]
pub struct Light {
    colours: [Surface; 3],
}

/// Squares of one colour: its levels under full light, as parts of white, and
/// which it is of a square.
pub type Painted<'a> = dyn Fn(usize) -> Option<[f32; 3]> + 'a;

impl Light {
    /// The light by the brightest squares.
    #[must_use]
    pub fn of_brightest(picture: &Picture, seen: &[Option<Seen>]) -> Light {
        let step = (seen.len() / ASKED).max(1);
        let asked: Vec<(Place, [f64; 3])> = seen
            .iter()
            .step_by(step)
            .flatten()
            .map(|seen| (seen.place, seen.levels.map(logarithm)))
            .collect();
        let flat = Surface::flat(picture.width(), picture.height());
        let mut light = Light {
            colours: [flat.clone(), flat.clone(), flat],
        };
        for colour in 0..3 {
            light.colours[colour] = upper(&light.colours[colour], colour, &asked);
        }
        // what lies on it in all colours is paper; it decides alone
        for degree in [2, 2, 2] {
            let off = |place: Place, logs: &[f64; 3]| {
                (0..3).any(|colour| (logs[colour] - light.colours[colour].at(place)).abs() > BARE)
            };
            let paper: Vec<_> = asked.iter().filter(|(p, logs)| !off(*p, logs)).collect();
            if paper.len() < 12 {
                break;
            }
            light.colours = [0, 1, 2].map(|colour| {
                light.colours[colour].fitted(
                    degree,
                    paper.iter().map(|(place, logs)| Value {
                        place: *place,
                        value: logs[colour],
                        weight: 1.0,
                    }),
                )
            });
        }
        light
    }

    /// The light by all squares, as their colours are known.
    #[must_use]
    pub fn of_painted(&self, seen: &[Option<Seen>], painted: &Painted) -> Light {
        let step = (seen.len() / ASKED).max(1);
        let colours = [0, 1, 2].map(|colour| {
            let values = seen
                .iter()
                .enumerate()
                .step_by(step)
                .filter_map(|(at, seen)| {
                    let (seen, painted) = (seen.as_ref()?, painted(at)?);
                    let share = f64::from(painted[colour]);
                    // dark paint says little: noise is the same at all levels
                    (share > 0.2).then(|| Value {
                        place: seen.place,
                        value: logarithm(seen.levels[colour]) - share.ln(),
                        weight: share * share,
                    })
                });
            let values: Vec<Value> = values.collect();
            let degree = match values.len() {
                0..40 => return self.colours[colour].clone(),
                40..400 => 2,
                _ => 4,
            };
            self.colours[colour].fitted(degree, values.into_iter())
        });
        Light { colours }
    }

    /// The light if what has this share of white now is white.
    #[must_use]
    pub fn with_white(self, share: [f32; 3]) -> Light {
        let mut raised = share.iter().map(|share| f64::from(*share).ln());
        Light {
            colours: self
                .colours
                .map(|surface| surface.raised(raised.next().unwrap_or_default())),
        }
    }

    /// Levels as parts of what bare paper has there.
    #[must_use]
    pub fn share(&self, place: Place, levels: [f32; 3]) -> [f32; 3] {
        let white = self.white(place);
        [0, 1, 2].map(|colour| levels[colour] / white[colour])
    }

    /// The levels of bare paper at a place.
    #[must_use]
    pub fn white(&self, place: Place) -> [f32; 3] {
        [0, 1, 2].map(|colour: usize| (self.colours[colour].at(place).exp() as f32).max(1.0))
    }
}

/// A surface on top of the values: what is below it counts less and less.
fn upper(start: &Surface, colour: usize, asked: &[(Place, [f64; 3])]) -> Surface {
    let mut surface = start.clone();
    let mut below = 0.3;
    for round in 0..14 {
        let degree = if round < 5 { 1 } else { 2 };
        let values = asked.iter().map(|(place, logs)| {
            let value = logs[colour];
            let under = round > 0 && value < surface.at(*place) - 0.02;
            Value {
                place: *place,
                value,
                weight: if under { below } else { 1.0 },
            }
        });
        surface = surface.fitted(degree, values);
        below = (below * 0.5f64).max(0.002);
    }
    surface
}

fn logarithm(level: f32) -> f64 {
    f64::from(level.max(1.0)).ln()
}
