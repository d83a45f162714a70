//! Two lengths of one cloth: by the sett, and by the take-up sensor. Enters: the picks.
//! Leaves: by how much they differ, and stretch by stretch how many picks lie in a unit
//! of measured cloth.

use super::picks::WovenPick;
use serde::Serialize;

/// Most stretches that are compared,
const STRETCHES: i64 = 10;
/// and fewest picks and steps of the wheel in one: it tells short lengths coarsely
/// (common practice, no source).
const FEWEST: i64 = 20;
const FEWEST_STEPS: usize = 8;

/// What picks are counted to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Unit {
    /// The centimetre.
    #[serde(rename = "cm")]
    Centimetre,
    /// The inch.
    #[serde(rename = "in")]
    Inch,
}

impl Unit {
    /// Its length.
    #[must_use]
    pub const fn mm(self) -> f64 {
        match self {
            Unit::Centimetre => 10.0,
            Unit::Inch => 25.4,
        }
    }

    /// Its sign.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self {
            Unit::Centimetre => "cm",
            Unit::Inch => "in",
        }
    }

    /// The one that a plan's sett is said in.
    pub(super) fn of_plan(plan: &str) -> Unit {
        let plan: Option<toml::Table> = toml::from_str(plan).ok();
        let per = plan.as_ref().and_then(|plan| plan.get("sett")?.get("per"));
        match per.and_then(toml::Value::as_str) {
            Some("in") => Unit::Inch,
            _ => Unit::Centimetre,
        }
    }
}

/// A stretch of the cloth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Stretch {
    /// The first pick of the cloth in it, counted from the cloth's first.
    pub first: i64,
    /// The last.
    pub last: i64,
    /// How long it is by the sett, in millimetres.
    pub sett_mm: f64,
    /// How long it is by the take-up, in millimetres.
    pub take_up_mm: f64,
    /// Picks to the unit of measured cloth; none if none was taken up.
    pub picks_a_unit: Option<f64>,
    /// By how much it is longer than by the sett, in percent.
    pub longer_percent: Option<f64>,
}

/// The lengths.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Length {
    /// What picks are counted to.
    pub unit: Unit,
    /// By the sett, in millimetres.
    pub sett_mm: Option<f64>,
    /// By the take-up, in millimetres.
    pub take_up_mm: Option<f64>,
    /// Picks to the unit by the sett.
    pub sett: Option<f64>,
    /// From the first pick at which the take-up had just moved to the last.
    pub compared: Option<Stretch>,
    /// The same part by part.
    #[serde(skip)]
    pub stretches: Vec<Stretch>,
}

#[derive(Clone, Copy)]
struct Point {
    in_cloth: i64,
    sett_mm: f64,
    take_up_mm: f64,
}

/// `in_cloth` are all picks that lie in the cloth, those beside the plan with them.
pub(super) fn length(picks: &[WovenPick], in_cloth: i64, unit: Unit) -> Length {
    let standing = || picks.iter().rev().filter(|pick| !pick.taken_out);
    let points = points(picks);
    let pick_mm = standing().find_map(|pick| {
        let (mm, picks) = (pick.length_mm?, pick.in_cloth?);
        (mm > 0.0 && picks > 0).then(|| mm / picks as f64)
    });
    Length {
        unit,
        sett_mm: pick_mm.map(|mm| mm * in_cloth.max(0) as f64),
        take_up_mm: standing().find_map(|pick| pick.take_up_mm),
        sett: pick_mm.map(|mm| unit.mm() / mm),
        compared: points
            .first()
            .zip(points.last())
            .and_then(|(first, last)| between(*first, *last, unit)),
        stretches: stretches(&points, unit),
    }
}

/// The picks that stand and have both lengths, each further in the cloth than the one
/// before, and at each of which the take-up had just moved: between its steps a wheel
/// tells nothing.
fn points(picks: &[WovenPick]) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::new();
    for pick in picks.iter().filter(|pick| !pick.taken_out) {
        let (Some(in_cloth), Some(sett_mm), Some(take_up_mm)) =
            (pick.in_cloth, pick.length_mm, pick.take_up_mm)
        else {
            continue;
        };
        if points.last().is_none_or(|last| in_cloth > last.in_cloth) {
            points.push(Point {
                in_cloth,
                sett_mm,
                take_up_mm,
            });
        }
    }
    let moved = points
        .windows(2)
        .filter(|pair| (pair[0].take_up_mm - pair[1].take_up_mm).abs() > 0.0);
    moved.map(|pair| pair[1]).collect()
}

fn between(from: Point, to: Point, unit: Unit) -> Option<Stretch> {
    let picks = to.in_cloth - from.in_cloth;
    let sett_mm = to.sett_mm - from.sett_mm;
    let take_up_mm = to.take_up_mm - from.take_up_mm;
    (picks > 0).then(|| Stretch {
        first: from.in_cloth + 1,
        last: to.in_cloth,
        sett_mm,
        take_up_mm,
        picks_a_unit: (take_up_mm > 0.0).then(|| picks as f64 / take_up_mm * unit.mm()),
        longer_percent: (sett_mm > 0.0).then(|| (take_up_mm / sett_mm - 1.0) * 100.0),
    })
}

fn stretches(points: &[Point], unit: Unit) -> Vec<Stretch> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return Vec::new();
    };
    let span = last.in_cloth - first.in_cloth;
    let steps = i64::try_from(points.len() / FEWEST_STEPS).unwrap_or(STRETCHES);
    let parts = (span / FEWEST).min(steps).clamp(1, STRETCHES);
    let mut from = *first;
    let mut all = Vec::new();
    for part in 1..=parts {
        let wanted = first.in_cloth + span * part / parts;
        let place = points.partition_point(|point| point.in_cloth < wanted);
        let to = points.get(place).unwrap_or(last);
        all.extend(between(from, *to, unit));
        from = *to;
    }
    all
}
