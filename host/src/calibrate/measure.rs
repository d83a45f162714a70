//! From the two readings to what reader and punches are like. Enters: readings and
//! reports that were accepted. Leaves: the measures. Refuses nothing.

use super::{Calibration, Cards, Channel, FORM};
use crate::judge::{Geometry, Reading, Report};
use crate::ledger::PunchSeen;
use crate::wear::punches_seen;

/// Of the differences from line to line this share, the largest, is left out:
/// specks in the paper.
const SPECKS: f64 = 0.02;

/// All that is stored.
pub(super) fn calibration(
    cards: &Cards,
    blank: &Reading,
    full: &Reading,
    report: &Report,
    lies: &Report,
) -> Calibration {
    let punches = punches_seen(report);
    let beside = beside_line(&punches, &cards.geometry);
    let channels = (1..=cards.geometry.holes)
        .zip(beside)
        .map(|(hole, beside_line_um)| channel(hole, blank, full, beside_line_um))
        .collect();
    let length_um = blank.ended.length_um.midpoint(full.ended.length_um);
    let nominal_um = cards.geometry.card_length_mm * 1000.0;
    Calibration {
        form: FORM,
        format: cards.format.name().to_string(),
        cut: cards.cut,
        channels,
        punches,
        length_um,
        length_off_ppm: ((f64::from(length_um) / nominal_um - 1.0) * 1e6).round() as i32,
        offset_um: lies.offset_um,
        stretch_ppm: lies.stretch_ppm,
        skew_urad: lies.skew_urad,
    }
}

fn channel(hole: u8, blank: &Reading, full: &Reading, beside_line_um: i32) -> Channel {
    let lane = usize::from(hole) - 1;
    let levels = |reading: &Reading| -> Vec<f64> {
        let holes = usize::from(reading.holes.max(1));
        let lines = reading.samples.chunks_exact(holes);
        lines
            .filter_map(|line| line.get(lane).copied().map(f64::from))
            .collect()
    };
    let began = &blank.began;
    let solid = levels(blank);
    let permille = |reading: &Reading, level: f64| {
        let (dark, open) = (reading.began.dark[lane], reading.began.open[lane]);
        let share = (level - f64::from(dark)) / (f64::from(open) - f64::from(dark)).max(1.0);
        (share * 1000.0).round().clamp(0.0, 9999.0) as u16
    };
    Channel {
        hole,
        dark: began.dark[lane],
        open: began.open[lane],
        card_permille: permille(blank, mean(&solid)),
        hole_permille: permille(full, brightest(&levels(full), full.samples_per_row)),
        noise_millilevels: (noise(&solid) * 1000.0).round() as u32,
        beside_line_um,
    }
}

/// Of whole numbers, finer than they are.
fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

/// The middle value; 0 of none.
fn middle(values: &mut [f64]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

/// The level of whole holes: the middle of the rows' brightest lines.
fn brightest(levels: &[f64], per_row: u8) -> f64 {
    let rows = levels.chunks_exact(usize::from(per_row.max(1)));
    let peak = |row: &[f64]| row.iter().copied().fold(0.0, f64::max);
    middle(&mut rows.map(peak).collect::<Vec<_>>())
}

/// Noise of one level by how it differs from line to line, which neither paper
/// nor lamp does as fast. Squares and not their middle, as levels are whole
/// numbers.
fn noise(levels: &[f64]) -> f64 {
    let mut squares: Vec<f64> = levels
        .windows(2)
        .filter_map(|two| Some((two.last()? - two.first()?).powi(2)))
        .collect();
    squares.sort_unstable_by(f64::total_cmp);
    squares.truncate(squares.len() - (squares.len() as f64 * SPECKS) as usize);
    let count = squares.len().max(1) as f64;
    (squares.iter().sum::<f64>() / count / 2.0).sqrt()
}

/// How far each needle channel sees its punch's holes from a straight line through
/// all of them; a line that is not square to the feed is the card's or the bar's
/// skew.
fn beside_line(punches: &[PunchSeen], geometry: &Geometry) -> Vec<i32> {
    let place = |hole: u8| {
        let seen = punches.iter().find(|seen| seen.hole == hole);
        f64::from(seen.map_or(0, |seen| seen.along_um))
    };
    let points: Vec<(f64, f64)> = (1..=geometry.holes)
        .map(|hole| (geometry.across_mm(hole), place(hole)))
        .collect();
    let count = points.len().max(1) as f64;
    let mean = points.iter().map(|(_, along)| along).sum::<f64>() / count;
    let (mut square, mut product) = (0.0, 0.0);
    for (across, along) in &points {
        square += across * across;
        product += across * (along - mean);
    }
    let slope = if square > 0.0 { product / square } else { 0.0 };
    points
        .iter()
        .map(|(across, along)| (along - mean - slope * across).round() as i32)
        .collect()
}
