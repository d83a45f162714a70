//! Where trust in the reader ends: wrong verdicts and cards not judged against the
//! noise of the light bar, with the limit of noise as it is and with it lifted.
//!
//! Enters: the name of the picture, and how many cards to judge for each point
//! (4,000 without). Leaves: the picture (SVG), and its numbers beside it (CSV).

use cardwright::judge::Limits;
use cardwright_tests::trust::{Counts, Worst, judge_many};
use cardwright_virtual::WorldSettings;
use cardwright_virtual::card_maker::Make;
use std::fmt::Write;
use std::path::Path;
use std::process::ExitCode;

/// Noise of one level, in levels.
const NOISES: [f64; 16] = [
    0.2, 0.5, 0.7, 0.9, 1.1, 1.3, 1.5, 1.7, 2.0, 2.3, 2.6, 3.0, 4.0, 5.0, 6.5, 8.0,
];
const CARDS: u64 = 4_000;
const SEED: u64 = 601;

/// A panel's corner and size, in the picture's units.
const LEFT: f64 = 70.0;
const PANEL: (f64, f64) = (380.0, 300.0);
const TOP: f64 = 80.0;
const GAP: f64 = 50.0;
/// Least share of cards that the scale shows, in per cent.
const LEAST: f64 = 0.01;

/// A curve: its name, its colour, and its share in per cent.
type Curve = (&'static str, &'static str, fn(&Counts) -> f64);
const CURVES: [Curve; 3] = [
    ("sound cards not judged", "#777777", |counts| {
        percent(counts.sound_unread, counts.sound)
    }),
    ("sound cards called faulty", "#0072b2", |counts| {
        percent(counts.alarms, counts.sound)
    }),
    ("flawed cards called good", "#d55e00", |counts| {
        percent(counts.missed, counts.flawed)
    }),
];

fn percent(part: u64, all: u64) -> f64 {
    100.0 * part as f64 / all.max(1) as f64
}

fn main() -> ExitCode {
    let mut words = std::env::args().skip(1);
    let cards = |text: Option<String>| text.map_or(Ok(CARDS), |text| text.parse());
    let (Some(name), Ok(cards)) = (words.next(), cards(words.next())) else {
        eprintln!("give the name of the picture, and perhaps a number of cards");
        return ExitCode::from(2);
    };
    let lifted = Limits {
        most_noise: f64::INFINITY,
        ..Limits::default()
    };
    let panels = [
        ("with the limit of noise", Limits::default()),
        ("the limit of noise lifted", lifted),
    ]
    .map(|(title, limits)| (title, NOISES.map(|noise| counts(noise, &limits, cards))));
    let written = std::fs::write(&name, picture(&panels, cards))
        .and_then(|()| std::fs::write(Path::new(&name).with_extension("csv"), table(&panels)));
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(cause) => {
            eprintln!("{name}: {cause}");
            ExitCode::FAILURE
        }
    }
}

type Panel = (&'static str, [Counts; NOISES.len()]);

fn counts(noise: f64, limits: &Limits, cards: u64) -> Counts {
    let worst = Worst {
        noise,
        ..Worst::RANGE
    };
    judge_many(worst, limits, cards, SEED, false)
}

fn table(panels: &[Panel]) -> String {
    let mut csv = "limit,noise_levels,sound,sound_called_faulty,sound_not_judged,\
                   flawed,flawed_called_good,flawed_not_judged\n"
        .to_owned();
    for (title, points) in panels {
        for (noise, at) in NOISES.iter().zip(points) {
            let _ = writeln!(
                csv,
                "{title},{noise},{},{},{},{},{},{}",
                at.sound, at.alarms, at.sound_unread, at.flawed, at.missed, at.flawed_unread
            );
        }
    }
    csv
}

/// Across: noise on a scale of its logarithm.
fn x(noise: f64) -> f64 {
    let (low, high) = (NOISES[0].ln(), NOISES[NOISES.len() - 1].ln());
    (noise.ln() - low) / (high - low) * PANEL.0
}

/// Down: per cent on a scale of its logarithm; none at all lies on the bottom line.
fn y(percent: f64) -> f64 {
    let least = (LEAST / 2.0).ln();
    (1.0 - (percent.max(LEAST / 2.0).ln() - least) / (100f64.ln() - least)) * PANEL.1
}

fn picture(panels: &[Panel], cards: u64) -> String {
    let width = LEFT + 2.0 * PANEL.0 + GAP + 20.0;
    let height = TOP + PANEL.1 + 85.0;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         width=\"{width}\" height=\"{height}\" font-family=\"sans-serif\" font-size=\"12\">\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"white\"/>\n\
         <text x=\"{LEFT}\" y=\"26\" font-size=\"16\">Where trust in the reader ends</text>\n\
         <text x=\"{LEFT}\" y=\"46\" fill=\"#444\">{cards} cards a point, every second with one \
         flaw; lamps, dust and stray light over the whole range</text>\n"
    );
    for (number, panel) in (0u8..).zip(panels) {
        let left = LEFT + f64::from(number) * (PANEL.0 + GAP);
        let _ = writeln!(svg, "<g transform=\"translate({left} {TOP})\">");
        axes(&mut svg, panel.0);
        // the last may lie on those before, which are drawn wider
        for (width, curve) in [4.5, 3.5, 2.0].into_iter().zip(&CURVES) {
            line(&mut svg, curve, width, &panel.1);
        }
        svg.push_str("</g>\n");
    }
    let _ = writeln!(
        svg,
        "<text transform=\"translate(16 {}) rotate(-90)\" text-anchor=\"middle\">share of the \
         sound, or of the flawed, cards</text>",
        TOP + PANEL.1 / 2.0
    );
    legend(&mut svg, TOP + PANEL.1 + 66.0);
    svg.push_str("</svg>\n");
    svg
}

fn axes(svg: &mut String, title: &str) {
    let (wide, high) = PANEL;
    let (from, to) = limit_levels();
    let _ = writeln!(
        svg,
        "<rect x=\"{:.1}\" width=\"{:.1}\" height=\"{high}\" fill=\"#f5ecc8\"/>\n\
         <text x=\"0\" y=\"-10\" font-weight=\"bold\">{title}</text>",
        x(from),
        x(to) - x(from)
    );
    for (percent, label) in [
        (LEAST / 2.0, "none"),
        (0.01, "0.01 %"),
        (0.1, "0.1 %"),
        (1.0, "1 %"),
        (10.0, "10 %"),
        (100.0, "100 %"),
    ] {
        let at = y(percent);
        let _ = writeln!(
            svg,
            "<path d=\"M0 {at:.1}H{wide}\" stroke=\"#ddd\"/>\
             <text x=\"-6\" y=\"{:.1}\" text-anchor=\"end\">{label}</text>",
            at + 4.0
        );
    }
    for noise in [0.2, 0.5, 1.0, 2.0, 4.0, 8.0] {
        let at = x(noise);
        let _ = writeln!(
            svg,
            "<path d=\"M{at:.1} {high}v5\" stroke=\"black\"/>\
             <text x=\"{at:.1}\" y=\"{}\" text-anchor=\"middle\">{noise}</text>",
            high + 18.0
        );
    }
    let _ = writeln!(
        svg,
        "<path d=\"M0 0V{high}H{wide}\" fill=\"none\" stroke=\"black\"/>\n\
         <text x=\"{}\" y=\"{}\" text-anchor=\"middle\">noise of one reading, in levels of 255 \
         (standard deviation)</text>",
        wide / 2.0,
        high + 36.0
    );
}

/// Between which noises the limit lies, for the oldest and for a new lamp.
fn limit_levels() -> (f64, f64) {
    let machine = WorldSettings::for_card(8, 56);
    let light = machine.open_level - machine.dark_level;
    // it is a share of what solid card keeps off
    let most = Limits::default().most_noise * light * (1.0 - Make::default().paper);
    (most * (1.0 - Worst::RANGE.ageing), most)
}

fn line(svg: &mut String, (_, colour, share): &Curve, width: f64, points: &[Counts]) {
    let places: Vec<(f64, f64)> = NOISES
        .iter()
        .zip(points)
        .map(|(noise, counts)| (x(*noise), y(share(counts))))
        .collect();
    let path: Vec<String> = places
        .iter()
        .map(|(x, y)| format!("{x:.1},{y:.1}"))
        .collect();
    let _ = writeln!(
        svg,
        "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"/>",
        path.join(" ")
    );
    for (x, y) in places {
        let _ = writeln!(
            svg,
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{width}\" fill=\"{colour}\"/>"
        );
    }
}

fn legend(svg: &mut String, at: f64) {
    let mut left = LEFT;
    for (name, colour, _) in &CURVES {
        let _ = writeln!(
            svg,
            "<circle cx=\"{left}\" cy=\"{}\" r=\"4\" fill=\"{colour}\"/>\
             <text x=\"{}\" y=\"{at}\">{name}</text>",
            at - 4.0,
            left + 10.0
        );
        left += 190.0;
    }
    let _ = writeln!(
        svg,
        "<rect x=\"{}\" y=\"{}\" width=\"14\" height=\"12\" fill=\"#f5ecc8\"/>\
         <text x=\"{}\" y=\"{at}\">where the limit lies, old to new lamp</text>",
        left - 4.0,
        at - 10.0,
        left + 16.0
    );
}
