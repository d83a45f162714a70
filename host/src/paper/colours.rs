//! Which colour each square was painted.
//!
//! Enters: a picture, its grid and outline, and a first idea of its light.
//! Leaves: the painted colours, the one of every square, and the squares that
//! are in doubt with why. Refuses a sheet of more colours than anyone paints.

use super::PaperFault;
use super::clusters::{Clusters, Shade, distance, even};
use super::grid::{Grid, Seen};
use super::lattice::Count;
use super::light::Light;
use super::outline::Outline;
use super::paints::Paints;
use super::picture::{Picture, Rgb};
use super::sheet::{Doubt, Why};
use super::tint::Tint;

/// Most colours of a painted sheet.
pub const MOST_PAINTED: usize = 48;

/// How far from the middle a square must be of its colour, in squares.
const REACH: f64 = 0.32;

/// What part of it must be.
const WHOLE: f32 = 0.78;

/// A square is between two colours if it is this part of the way or more.
const BETWEEN: f32 = 0.35;

/// Farthest from every colour, in levels.
const UNLIKE: f32 = 45.0;

/// Levels, in the mean, of what is brighter than paper, which has 255.
const BRIGHTER: f32 = 270.0;

/// What the squares are.
pub struct Colours {
    /// The painted colours, the commonest first.
    pub palette: Vec<Rgb>,
    /// The colour of each square, line by line from the top.
    pub squares: Vec<u16>,
    /// Squares in doubt.
    pub doubtful: Vec<Doubt>,
}

/// The colours of a ruled sheet.
///
/// # Errors
/// No colour holds, or too many do.
pub fn colours(
    picture: &Picture,
    grid: &Grid,
    outline: &Outline,
    first: Light,
    paints: &Paints,
) -> Result<Colours, PaperFault> {
    let seen = grid.seen(picture, &outline.columns, &outline.rows);
    let even = even(&seen);
    let mut light = first;
    let mut clusters = clusters(&seen, &even, &light, paints);
    for _ in 0..3 {
        let painted = |at: usize| {
            let seen = seen[at].as_ref().filter(|_| even[at])?;
            let shade = shade(&light, seen);
            let (nearest, off, _) = clusters.nearest(shade)?;
            let middle = clusters.middles[nearest];
            (off < UNLIKE / 2.0).then(|| middle.map(|level| level / 255.0))
        };
        light = light.of_painted(&seen, &painted);
        clusters = self::clusters(&seen, &even, &light, paints);
    }
    // the outermost lines may lie a little within the picture
    let margin = outline.columns.len() + 2 < grid.columns || outline.rows.len() + 2 < grid.rows;
    if !margin && let Some(paper) = brighter(&clusters) {
        light = light.with_white(paper.map(|level| level / 255.0));
        clusters = self::clusters(&seen, &even, &light, paints);
    }
    match clusters.middles.len() {
        0 => return Err(PaperFault::NoColours),
        1..=MOST_PAINTED => {}
        count => return Err(PaperFault::ManyColours { count }),
    }
    let clusters = whitened(clusters);
    let bare = clusters.middles.iter().position(|m| *m == [255.0; 3]);
    let taken_for_bare = seen.iter().flatten().filter(|seen| {
        let nearest = clusters.nearest(shade(&light, seen));
        nearest.is_some_and(|(nearest, _, _)| Some(nearest) == bare)
    });
    let told = Told {
        picture,
        grid,
        light: &light,
        clusters: &clusters,
        paints,
        bare,
        tint: Tint::of(taken_for_bare, paints),
        of_paint: clusters
            .middles
            .iter()
            .map(|middle| paints.of(*middle))
            .collect(),
    };
    Ok(told.all(outline, &seen))
}

fn clusters(seen: &[Option<Seen>], even: &[bool], light: &Light, paints: &Paints) -> Clusters {
    let shades: Vec<Shade> = seen
        .iter()
        .zip(even)
        .filter_map(|(seen, even)| seen.as_ref().filter(|_| *even))
        .map(|seen| shade(light, seen))
        .collect();
    Clusters::of(&shades).with_paints(paints, &shades)
}

/// A colour clearly brighter than what was taken for paper: that was paint then, put on
/// nearly everywhere. Where there is a margin the paper is known, and this is white paint.
fn brighter(clusters: &Clusters) -> Option<Shade> {
    let bright = |shade: &Shade| shade.iter().sum::<f32>();
    let brightest = clusters
        .middles
        .iter()
        .max_by(|a, b| bright(a).total_cmp(&bright(b)))?;
    let no_darker = brightest.iter().all(|level| *level >= 250.0);
    (no_darker && bright(brightest) > 3.0 * BRIGHTER).then_some(*brightest)
}

fn shade(light: &Light, seen: &Seen) -> Shade {
    light
        .share(seen.place, seen.levels)
        .map(|share| share * 255.0)
}

/// Light is known but for a factor: the brightest colour is given as it is if
/// it is nearly white, and as white then.
fn whitened(mut clusters: Clusters) -> Clusters {
    let bright = |shade: &Shade| shade.iter().sum::<f32>();
    let brightest = clusters
        .middles
        .iter_mut()
        .max_by(|a, b| bright(a).total_cmp(&bright(b)));
    if let Some(shade) = brightest
        && distance(*shade, [255.0; 3]) < 25.0
    {
        *shade = [255.0; 3];
    }
    clusters
}

struct Told<'a> {
    picture: &'a Picture,
    grid: &'a Grid,
    light: &'a Light,
    clusters: &'a Clusters,
    paints: &'a Paints,
    /// The one of the clusters that is bare paper, and its tint.
    bare: Option<usize>,
    tint: Option<Tint>,
    /// The paint that each of the clusters is.
    of_paint: Vec<Option<usize>>,
}

impl Told<'_> {
    fn all(&self, outline: &Outline, seen: &[Option<Seen>]) -> Colours {
        let mut squares = Vec::with_capacity(seen.len());
        let mut doubtful = Vec::new();
        let mut counts = Vec::new();
        for (at, seen) in seen.iter().enumerate() {
            let column = at % outline.columns.len();
            let row = at / outline.columns.len();
            let place = (outline.columns.start + column, outline.rows.start + row);
            let (colour, why) = match seen {
                None => (self.at_edge(place), Some(Why::Outside)),
                Some(seen) => self.square(place, seen, &mut counts),
            };
            squares.push(colour as u16);
            if let Some(why) = why {
                doubtful.push(Doubt {
                    column: column as u32,
                    row: row as u32,
                    why,
                    seen: seen.as_ref().map(|seen| rgb(shade(self.light, seen))),
                });
            }
        }
        Colours {
            palette: (0..self.clusters.middles.len())
                .map(|at| self.rgb(at))
                .collect(),
            squares,
            doubtful,
        }
    }

    /// The likeliest colour of a square that is cut by the picture's edge.
    fn at_edge(&self, (column, row): (usize, usize)) -> usize {
        let mut counts = vec![0; self.clusters.middles.len()];
        let middle = self.grid.place(Count {
            column: column as f64 + 0.5,
            row: row as f64 + 0.5,
        });
        self.grid
            .levels(self.picture, column, row, REACH, |levels| {
                let share = self.light.share(middle, levels).map(|share| share * 255.0);
                if let Some((nearest, _, _)) = self.clusters.nearest(share) {
                    counts[nearest] += 1;
                }
            });
        let most = (0..counts.len()).max_by_key(|at| counts[*at]);
        most.unwrap_or_default()
    }

    /// The colour of one square, and what is wrong with it.
    fn square(
        &self,
        (column, row): (usize, usize),
        seen: &Seen,
        counts: &mut Vec<u32>,
    ) -> (usize, Option<Why>) {
        let shade = shade(self.light, seen);
        let Some((own, off, next)) = self.clusters.nearest(shade) else {
            return (0, Some(Why::Outside));
        };
        counts.clear();
        counts.resize(self.clusters.middles.len(), 0);
        let white = self.light.white(seen.place);
        self.grid
            .levels(self.picture, column, row, REACH, |levels| {
                let share = [0, 1, 2].map(|colour: usize| levels[colour] / white[colour] * 255.0);
                if let Some((nearest, _, _)) = self.clusters.nearest(share) {
                    counts[nearest] += 1;
                }
            });
        let whole: u32 = counts.iter().sum();
        // heaps of one paint are one colour
        let same = |at: &usize| {
            *at == own || (self.of_paint[own].is_some() && self.of_paint[*at] == self.of_paint[own])
        };
        let all = 0..counts.len();
        let of_own: u32 = all.clone().filter(same).map(|at| counts[at]).sum();
        let part = |count: u32| count as f32 / whole.max(1) as f32;
        let other = all.filter(|at| !same(at)).max_by_key(|at| counts[*at]);
        let parts = [of_own, other.map_or(0, |other| counts[other])].map(part);
        let why = match (other, next) {
            (Some(other), _) if parts[0] < WHOLE => Some(Why::Mixed {
                colours: [self.rgb(own), self.rgb(other)],
                percent: parts.map(|part| (part * 100.0).round() as u8),
            }),
            _ if self.bare == Some(own) && self.tinted(seen) => Some(Why::Tinted),
            _ if self.of_paint[own].is_some() && self.paints.of(shade) == self.of_paint[own] => {
                None
            }
            (_, Some((next, far))) if off > BETWEEN * (off + far) => Some(Why::Between {
                colours: [self.rgb(own), self.rgb(next)],
            }),
            _ if self.paints.beyond(self.clusters.middles[own], shade) => Some(Why::Beyond {
                seen: rgb(shade),
                nearest: self.rgb(own),
            }),
            _ if off > UNLIKE => Some(Why::Unlike {
                seen: rgb(shade),
                nearest: self.rgb(own),
            }),
            _ => None,
        };
        (own, why)
    }

    fn tinted(&self, seen: &Seen) -> bool {
        let tint = self.tint.as_ref();
        tint.is_some_and(|tint| tint.differs(seen.levels))
    }

    fn rgb(&self, at: usize) -> Rgb {
        rgb(self.clusters.middles[at])
    }
}

fn rgb(shade: Shade) -> Rgb {
    Rgb(shade.map(|level| level.round().clamp(0.0, 255.0) as u8))
}
