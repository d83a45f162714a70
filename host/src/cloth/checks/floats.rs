//! The longest floats of a woven cloth, on both of its sides.
//!
//! Enters: a woven cloth. Leaves: the longest float of warp and weft on face and
//! back, with its place. Along the cloth floats go on over the last card to the
//! first, since the cards go round.

use crate::cloth::Woven;
use serde::Serialize;

/// A float: yarn that lies over others without being bound.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Float {
    /// Picks that a warp float passes, ends that a weft float passes. 0 if there
    /// is none.
    pub length: u32,
    /// The end, from 1 at the left with the selvedge's, where it begins.
    pub end: u32,
    /// The pick, from 1, where it begins.
    pub pick: u32,
    /// Whether this yarn is nowhere bound from edge to edge, or however often
    /// the cards go round.
    pub unbound: bool,
}

/// The longest floats; the first of equals, by picks and then by ends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Floats {
    /// Warp on the face.
    pub warp_face: Float,
    /// Warp on the back.
    pub warp_back: Float,
    /// Weft on the face.
    pub weft_face: Float,
    /// Weft on the back.
    pub weft_back: Float,
}

/// What an end did so far.
#[derive(Clone, Copy)]
struct Run {
    on_face: bool,
    /// The pick where it came to lie so.
    since: u32,
    /// The pick where it first changed.
    first_change: Option<u32>,
}

impl Floats {
    pub(super) fn of(woven: &Woven<'_>) -> Floats {
        let mut floats = Floats::default();
        let mut runs: Vec<Run> = Vec::with_capacity(woven.ends());
        let mut line: Vec<bool> = Vec::with_capacity(woven.ends());
        for pick in 0..woven.picks() {
            line.clear();
            line.extend(woven.pick_on_face(pick));
            floats.weft(&line, pick);
            if pick == 0 {
                runs.extend(line.iter().map(|on_face| Run {
                    on_face: *on_face,
                    since: 0,
                    first_change: None,
                }));
                continue;
            }
            for (end, (run, on_face)) in runs.iter_mut().zip(&line).enumerate() {
                if run.on_face == *on_face {
                    continue;
                }
                // the first run is told with what comes before it, at the end
                if run.first_change.is_some() {
                    floats.warp(run.on_face, pick - run.since, end, run.since);
                }
                run.first_change = run.first_change.or(Some(pick));
                (run.on_face, run.since) = (*on_face, pick);
            }
        }
        for (end, run) in runs.iter().enumerate() {
            floats.round(*run, woven, end);
        }
        floats
    }

    /// The float of an end that goes on from the last card to the first.
    fn round(&mut self, run: Run, woven: &Woven<'_>, end: usize) {
        let picks = woven.picks();
        let Some(first_change) = run.first_change else {
            self.warp(run.on_face, picks, end, 0);
            self.warp_mut(run.on_face).unbound = true;
            return;
        };
        let last = picks - run.since;
        if woven.warp_on_face(0, end) == run.on_face {
            self.warp(run.on_face, last + first_change, end, run.since);
        } else {
            self.warp(run.on_face, last, end, run.since);
            self.warp(!run.on_face, first_change, end, 0);
        }
    }

    fn warp_mut(&mut self, on_face: bool) -> &mut Float {
        if on_face {
            &mut self.warp_face
        } else {
            &mut self.warp_back
        }
    }

    fn warp(&mut self, on_face: bool, length: u32, end: usize, since: u32) {
        longer(self.warp_mut(on_face), length, end, since);
    }

    /// The floats of one pick: where the warp is on the face, the weft is on the
    /// back.
    fn weft(&mut self, line: &[bool], pick: u32) {
        let mut end = 0;
        for run in line.chunk_by(|one, next| one == next) {
            let float = if run[0] {
                &mut self.weft_back
            } else {
                &mut self.weft_face
            };
            longer(float, count(run.len()), end, pick);
            float.unbound |= run.len() == line.len();
            end += run.len();
        }
    }
}

fn count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

/// Keeps the longer of two; of equals the one that begins first.
fn longer(float: &mut Float, length: u32, end: usize, pick: u32) {
    let place = (pick + 1, count(end) + 1);
    let first = length == float.length && place < (float.pick, float.end);
    if length > float.length || first {
        *float = Float {
            length,
            end: place.1,
            pick: place.0,
            unbound: float.unbound,
        };
    }
}
