//! The rhythm of upright lines: how far apart they are and how they lean.
//!
//! Enters: a picture. Leaves: a [`Rhythm`], or none where nothing repeats. The
//! lean is that along which the lines' profile has the most contrast; the pitch
//! is the shortest distance at which the profile is like itself, twice and three
//! times over, and unlike itself half-way between.

use super::lines::Band;
use super::picture::Picture;

/// Shortest and longest pitch that is looked for, in pixels.
pub const PITCHES: std::ops::RangeInclusive<f64> = 5.5..=80.0;

/// Greatest lean that is looked for, in degrees.
pub const MOST_LEAN: f64 = 8.0;

/// What a profile must have in common with itself a pitch further on, of what
/// it has with itself. Photographs without ruling stay below a tenth.
const LEAST_LIKENESS: f64 = 0.15;

/// How well the shortest look must see beside the best.
const NEARLY: f64 = 0.6;

/// How well a shorter look must see a shorter pitch beside the best.
const FINER: f64 = 0.4;

/// Lines of pixels in a band, and how many bands are looked at.
const BAND: usize = 64;
const BANDS: usize = 10;

/// How far to the sides of a line to look; which one is best hangs on the
/// lines' thickness.
const REACHES: [usize; 4] = [2, 4, 7, 12];

/// Lines that repeat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rhythm {
    /// From line to line across, in pixels.
    pub pitch: f64,
    /// To the right a pixel down.
    pub shear: f64,
    /// How far to the sides these lines are best seen, in pixels.
    pub reach: usize,
    /// How alike the lines are, up to 1.
    pub likeness: f64,
    /// So many pitches are what repeats.
    pub lines: usize,
}

impl Rhythm {
    /// The rhythm of so many lines where this has one.
    #[must_use]
    pub fn finer(self, lines: usize) -> Rhythm {
        if lines == 1 {
            return self;
        }
        let pitch = self.pitch / lines as f64;
        Rhythm {
            pitch,
            reach: REACHES[0].max((pitch / 6.0).round() as usize),
            lines: self.lines * lines,
            ..self
        }
    }
}

/// The rhythm of the picture's upright lines.
#[must_use]
pub fn rhythm(picture: &Picture) -> Option<Rhythm> {
    let found: Vec<Rhythm> = REACHES
        .iter()
        .filter_map(|reach| with_reach(picture, *reach))
        .collect();
    let most = found
        .iter()
        .map(|rhythm| rhythm.likeness)
        .fold(0.0, f64::max);
    if most < LEAST_LIKENESS {
        return None;
    }
    // looking half a pitch to the sides, the squares' middles stand out like
    // lines: the shortest look that sees about as well is the right one
    let nearly = found
        .iter()
        .position(|rhythm| rhythm.likeness >= NEARLY * most)?;
    // columns painted all over the sheet look like lines, too, but to longer looks only;
    // the ruling has lines at every square
    let finer = found[..nearly]
        .iter()
        .find(|rhythm| rhythm.likeness >= FINER * most && rhythm.pitch < 0.8 * found[nearly].pitch);
    let mut first = *finer.unwrap_or(&found[nearly]);
    first.reach = first.reach.max((first.pitch / 6.0).round() as usize);
    Some(first)
}

fn with_reach(picture: &Picture, reach: usize) -> Option<Rhythm> {
    let bands = spread_bands(picture, reach);
    let shear = lean(&bands);
    let profiles: Vec<Vec<f32>> = bands
        .iter()
        .map(|band| levelled(&band.profile(shear)))
        .collect();
    let longest = (4.0 * PITCHES.end()).min(picture.width() as f64 * 0.6) as usize;
    let likeness = likeness(&profiles, longest);
    let (pitch, likeness) = pitch(&likeness, 2.5 * reach as f64)?;
    Some(Rhythm {
        pitch,
        shear,
        reach,
        likeness,
        lines: 1,
    })
}

/// Bands spread over the picture's height.
fn spread_bands(picture: &Picture, reach: usize) -> Vec<Band> {
    let height = BAND.min(picture.height());
    let count = (picture.height() / height).clamp(1, BANDS);
    let room = picture.height() - height;
    let top = |band: usize| match count {
        1 => room / 2,
        _ => room * band / (count - 1),
    };
    (0..count)
        .map(|band| Band::new(picture, top(band), height, reach))
        .collect()
}

/// The shear along which the bands' profiles have the most contrast.
fn lean(bands: &[Band]) -> f64 {
    let contrast = |degrees: f64| -> f64 {
        let shear = degrees.to_radians().tan();
        let of_band = |band: &Band| -> f64 {
            band.profile(shear)
                .iter()
                .map(|level| f64::from(level * level))
                .sum()
        };
        bands.iter().map(of_band).sum()
    };
    let best = |middle: f64, step: f64, steps: i32| {
        (-steps..=steps)
            .map(|at| middle + f64::from(at) * step)
            .map(|degrees| (degrees, contrast(degrees)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(middle, |(degrees, _)| degrees)
    };
    let coarse = best(0.0, 0.5, (MOST_LEAN / 0.5) as i32);
    best(coarse, 0.1, 5).to_radians().tan()
}

/// A profile in which strong lines count little more than faint ones, less its
/// own mean over a neighbourhood.
pub fn levelled(profile: &[f32]) -> Vec<f32> {
    let roots: Vec<f64> = profile
        .iter()
        .map(|level| f64::from(*level).sqrt())
        .collect();
    let mut sums = vec![0.0];
    for root in &roots {
        sums.push(sums[sums.len() - 1] + root);
    }
    let around = (2.0 * PITCHES.end()) as usize;
    roots
        .iter()
        .enumerate()
        .map(|(place, root)| {
            let (from, to) = (
                place.saturating_sub(around),
                (place + around).min(roots.len()),
            );
            (root - (sums[to] - sums[from]) / (to - from) as f64) as f32
        })
        .collect()
}

/// How alike the profiles are to themselves, so many pixels further on; 1 at 0.
fn likeness(profiles: &[Vec<f32>], longest: usize) -> Vec<f64> {
    let at = |lag: usize| -> f64 {
        let of_one = |profile: &Vec<f32>| -> f64 {
            let pairs = profile.iter().zip(&profile[lag.min(profile.len())..]);
            let sum: f32 = pairs.map(|(a, b)| a * b).sum();
            f64::from(sum) / (profile.len() - lag).max(1) as f64
        };
        profiles.iter().map(of_one).sum()
    };
    let whole = at(0).max(f64::MIN_POSITIVE);
    (0..=longest).map(|lag| at(lag) / whole).collect()
}

/// The shortest pitch that explains the likeness about as well as any.
fn pitch(likeness: &[f64], shortest: f64) -> Option<(f64, f64)> {
    let at = |lag: f64| {
        let (whole, part) = (lag as usize, lag.fract());
        match likeness.get(whole..whole + 2) {
            Some([before, after]) => before * (1.0 - part) + after * part,
            _ => f64::NEG_INFINITY,
        }
    };
    let score = |pitch: f64| {
        let on = (1..=3)
            .map(|k| at(f64::from(k) * pitch))
            .fold(f64::INFINITY, f64::min);
        let off: f64 = (1..=3).map(|k| at((f64::from(k) - 0.5) * pitch)).sum();
        on - off / 3.0
    };
    let longest = ((likeness.len() as f64 - 2.0) / 3.0).min(*PITCHES.end());
    let mut tried = Vec::new();
    let mut next = shortest.max(*PITCHES.start());
    while next <= longest {
        tried.push((next, score(next)));
        next *= 1.002;
    }
    let most = tried.iter().map(|(_, score)| *score).fold(0.0, f64::max);
    // the first summit that is high enough, up to where it falls again
    let start = tried.iter().position(|(_, score)| *score > 0.6 * most)?;
    let end = tried[start..]
        .iter()
        .position(|(_, score)| *score < 0.4 * most)
        .map_or(tried.len(), |falls| start + falls);
    tried[start..end]
        .iter()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .copied()
        .filter(|(_, score)| *score > 0.0)
}
