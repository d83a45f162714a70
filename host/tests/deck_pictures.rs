//! The drawings: what is drawn is what would be cut, to the hundredth of a
//! millimetre, and every verdict can be seen.

use cardwright::deck::paper::{PaperSettings, deck_from_picture};
use cardwright::deck::{CardFormat, CardNumber, Row, Stroke};
use cardwright::judge::{Cell, Judged, OutOfRegister, Report, Verdict};
use cardwright::picture::{
    CardDrawing, Mark, MarkKind, PEG, card_lines, card_svg, deck_lines, deck_png, design_png,
    marks_of, png_from_svg,
};
use image::GenericImageView;
use std::collections::BTreeMap;

fn some_rows(format: &CardFormat) -> Vec<Row> {
    let full = Row::full(format.holes_per_row()).0;
    (0..format.rows())
        .map(|row| Row((row.wrapping_mul(2_654) ^ 0b1011_0110) & full))
        .collect()
}

fn plain<'a>(format: &'a CardFormat, strokes: &'a [Stroke]) -> CardDrawing<'a> {
    CardDrawing {
        format,
        strokes,
        deck: "Curlew & <sedge>",
        number: Some(CardNumber(7)),
        marks: &[],
    }
}

/// A circle's centre and diameter, in micrometres.
type Circle = (i64, i64, i64);

fn circles(svg: &str) -> BTreeMap<Circle, String> {
    let document = roxmltree::Document::parse(svg).expect("well-formed");
    let um = |node: &roxmltree::Node<'_, '_>, key: &str| {
        let mm: f64 = node
            .attribute(key)
            .expect("a place")
            .parse()
            .expect("a number");
        (mm * 1000.0).round() as i64
    };
    document
        .descendants()
        .filter(|node| {
            node.attribute("class")
                .is_some_and(|class| class.starts_with("cut "))
        })
        .map(|node| {
            let circle = (um(&node, "cx"), um(&node, "cy"), 2 * um(&node, "r"));
            (
                circle,
                node.attribute("class").unwrap_or_default().to_owned(),
            )
        })
        .collect()
}

/// Where the holes must be, reckoned here from the geometry that machine and
/// format share: stroke s at first stroke + s pitches from the leading edge,
/// hole h at (h - middle) pitches from the centre line, pegs one pitch on.
fn wanted(strokes: &[Stroke], holes: u8) -> BTreeMap<Circle, String> {
    let mut circles = BTreeMap::new();
    for (stroke, what) in (0i64..).zip(strokes) {
        let x = 14_200 + stroke * 6_804;
        for hole in what.punches().holes() {
            let y = (2 * i64::from(hole) - i64::from(holes) - 1) * 3_402;
            let lace = matches!(what, Stroke::Lace(_) | Stroke::LaceAndPeg(_));
            circles.insert(
                (x, y, 4_400),
                if lace { "cut lace" } else { "cut needle" }.to_owned(),
            );
        }
        if what.peg() {
            circles.insert((x + 6_804, 0, 10_000), "cut peg".to_owned());
        }
    }
    circles
}

#[test]
fn the_drawn_card_has_its_holes_where_they_are_cut() {
    for name in ["100", "200", "400", "500", "600", "300-eight"] {
        let format = CardFormat::named(name).expect("built in");
        let strokes = format.programme(&some_rows(&format));
        let svg = card_svg(&plain(&format, &strokes));
        assert_eq!(
            circles(&svg),
            wanted(&strokes, format.holes_per_row()),
            "{name}"
        );
        // True size: the drawing's millimetres are its user units.
        let document = roxmltree::Document::parse(&svg).expect("well-formed");
        let root = document.root_element();
        let sizes: Vec<&str> = root
            .attribute("viewBox")
            .unwrap_or_default()
            .split(' ')
            .skip(2)
            .collect();
        for (size, key) in sizes.iter().zip(["width", "height"]) {
            assert_eq!(
                root.attribute(key),
                Some(format!("{size}mm").as_str()),
                "{name}"
            );
        }
    }
}

#[test]
fn the_picture_of_the_card_shows_holes_and_solid_card() {
    let format = CardFormat::named("400").expect("built in");
    let strokes = format.programme(&some_rows(&format));
    let svg = card_svg(&plain(&format, &strokes));
    let scale = 4.0;
    let png = png_from_svg(&svg, scale).expect("drawn");
    let picture = image::load_from_memory(&png).expect("a PNG");
    assert_eq!(
        picture.width(),
        ((402.6 + 10.0) * f64::from(scale)).round() as u32
    );
    let view: Vec<f64> = {
        let document = roxmltree::Document::parse(&svg).expect("well-formed");
        let view = document
            .root_element()
            .attribute("viewBox")
            .unwrap_or_default()
            .to_owned();
        view.split(' ')
            .map(|figure| figure.parse().expect("a number"))
            .collect()
    };
    for (stroke, what) in (0u16..).zip(&strokes) {
        let Some(row) = format.row_of_stroke(stroke) else {
            continue;
        };
        for hole in 1..=8 {
            // Off the centre, where solid card has its spot.
            let x = (format.position_mm(stroke) - view[0] + 1.2) * f64::from(scale);
            let y = (format.hole_across_mm(hole) - view[1] + 1.2) * f64::from(scale);
            let white = picture.get_pixel(x as u32, y as u32).0 == [255, 255, 255, 255];
            assert_eq!(white, what.punches().has(hole), "row {row} hole {hole}");
        }
    }
}

#[test]
fn every_verdict_is_drawn_in_its_place_and_counted() {
    let format = CardFormat::named("400").expect("built in");
    let strokes = format.programme(&some_rows(&format));
    let kinds = MarkKind::ALL;
    let marks: Vec<Mark> = (10u16..)
        .zip(kinds)
        .map(|(stroke, kind)| {
            let cut = strokes[usize::from(stroke)].punches();
            let extra = kind == MarkKind::Extra;
            let hole = (1..=8)
                .find(|hole| cut.has(*hole) != extra)
                .expect("such a hole");
            let offset_mm = if kind == MarkKind::OutOfRegister {
                0.9
            } else {
                0.0
            };
            Mark {
                stroke,
                hole,
                kind,
                offset_mm,
            }
        })
        .chain([Mark {
            stroke: 0,
            hole: PEG,
            kind: MarkKind::Good,
            offset_mm: 0.0,
        }])
        .collect();
    let drawing = CardDrawing {
        marks: &marks,
        ..plain(&format, &strokes)
    };
    let svg = card_svg(&drawing);
    let found = circles(&svg);
    for mark in &marks[..5] {
        let x = format.position_mm(mark.stroke);
        let y = format.hole_across_mm(mark.hole);
        let place = |x: f64| {
            (
                (x * 1000.0).round() as i64,
                (y * 1000.0).round() as i64,
                4_400,
            )
        };
        // What is drawn as a hole is what was found, not what was wanted.
        let here = found.contains_key(&place(x));
        let moved = found.contains_key(&place(x + 0.9));
        let wanted = match mark.kind {
            MarkKind::Good | MarkKind::Extra => (true, false),
            MarkKind::Missing | MarkKind::Partial => (false, false),
            MarkKind::OutOfRegister => (false, true),
        };
        assert_eq!((here, moved), wanted, "{:?}", mark.kind);
    }
    let document = roxmltree::Document::parse(&svg).expect("well-formed");
    let mut shapes = BTreeMap::new();
    for kind in kinds {
        let class = format!("mark {}", kind.class());
        let drawn: Vec<_> = document
            .descendants()
            .filter(|node| node.attribute("class") == Some(&class))
            .collect();
        let count = marks.iter().filter(|mark| mark.kind == kind).count();
        assert_eq!(drawn.len(), count, "{class}");
        let legend = format!("{} {count}", kind.word());
        assert!(
            document
                .descendants()
                .any(|node| node.text() == Some(&legend)),
            "{legend}"
        );
        let shape: Vec<&str> = drawn[0]
            .children()
            .map(|node| node.tag_name().name())
            .collect();
        let turns = drawn[0]
            .descendants()
            .filter_map(|node| node.attribute("d"))
            .count();
        let lines = drawn[0]
            .descendants()
            .filter_map(|node| node.attribute("stroke-dasharray"));
        // Told apart without colour.
        let before = shapes.insert((shape, turns, lines.count()), kind);
        assert_eq!(before, None, "{kind:?} has a shape of its own");
    }
    png_from_svg(&svg, 2.0).expect("drawn");
}

fn sample_deck(folder: &std::path::Path) -> cardwright::deck::Deck {
    let file = folder.join("rings.png");
    image::GrayImage::from_fn(400, 40, |x, y| {
        let (x, y) = (x as i32 - 100, y as i32 - 12);
        image::Luma([if (x * x / 30 + y * y) / 60 % 2 == 0 {
            0
        } else {
            255
        }])
    })
    .save(&file)
    .expect("a picture");
    let settings = PaperSettings::usual(CardFormat::named("400").expect("built in"));
    deck_from_picture(&file, &settings).expect("a deck")
}

#[test]
fn the_sheets_show_every_square_and_every_hole() {
    let folder = tempfile::tempdir().expect("a folder");
    let deck = sample_deck(folder.path());
    let design = image::load_from_memory(&design_png(&deck).expect("drawn")).expect("a PNG");
    let paper = image::open(folder.path().join("rings.png"))
        .expect("a picture")
        .to_luma8();
    let dark = |pixel: image::Rgba<u8>| {
        pixel.0[..3]
            .iter()
            .map(|part| u32::from(*part))
            .sum::<u32>()
            < 300
    };
    // Five pixels a square, 56 for the figures at the left and above.
    for (x, y, square) in paper.enumerate_pixels() {
        let drawn = dark(design.get_pixel(56 + 5 * x + 2, 56 + 5 * y + 2));
        assert_eq!(drawn, square.0 == [0], "square {x} {y}");
    }
    let sheet = image::load_from_memory(&deck_png(&deck).expect("drawn")).expect("a PNG");
    let mut dots = 0;
    for line in 0..40 {
        let y = 56 + 6 * line + 2;
        let mut before = false;
        for x in 50..sheet.width() {
            let now = dark(sheet.get_pixel(x, y));
            dots += u64::from(now && !before);
            before = now;
        }
    }
    assert_eq!(dots, deck.needle_holes());
}

#[test]
fn a_terminal_shows_card_and_deck_in_its_own_width() {
    let folder = tempfile::tempdir().expect("a folder");
    let deck = sample_deck(folder.path());
    let strokes = deck.strokes(CardNumber(12)).expect("card 12");
    let mut text = String::new();
    for columns in [80, 40] {
        let lines = card_lines(deck.format(), &strokes, &[], columns);
        assert!(
            lines.iter().all(|line| line.chars().count() <= columns),
            "{columns}"
        );
        let drawn = lines
            .iter()
            .filter(|line| line.trim_start().starts_with(char::is_numeric));
        let drawn: String = drawn.map(String::as_str).collect();
        let cut = |mark| drawn.chars().filter(|letter| *letter == mark).count();
        let rows = deck.card(CardNumber(12)).expect("card 12");
        assert_eq!(
            cut('●'),
            rows.iter().map(|row| row.count() as usize).sum::<usize>()
        );
        assert_eq!(cut('○'), 6, "two lace holes three times");
        let trimmed: Vec<&str> = lines.iter().map(|line| line.trim_end()).collect();
        text += &format!("{columns} columns\n{}\n\n", trimmed.join("\n"));
    }
    for columns in [400, 100] {
        let lines = deck_lines(&deck, columns);
        assert!(lines.iter().all(|line| line.chars().count() <= columns));
        text += &format!("{columns} columns\n{}\n\n", lines.join("\n"));
    }
    insta::assert_snapshot!("terminal", text);
}

#[test]
fn a_verdict_becomes_the_marks_that_it_means() {
    let cell = |stroke, required, judged, open_permille, offset_um| Cell {
        stroke,
        hole: 3,
        required,
        judged,
        open_permille,
        offset_um,
        sure: 1.0,
        across_um: None,
        diameter_um: None,
    };
    let mut report = Report {
        skew_urad: 0,
        noise_levels: 0.7,
        verdict: Verdict::Faulty(Vec::new()),
        cells: vec![
            cell(2, true, Judged::Right, 990, Some(40)),
            cell(3, false, Judged::Right, 0, None),
            cell(4, true, Judged::Missing, 0, None),
            cell(5, true, Judged::Partial, 400, Some(-300)),
            cell(6, false, Judged::Extra, 900, Some(0)),
            cell(7, false, Judged::WithinPeg, 900, None),
            cell(8, true, Judged::Right, 950, Some(-1_250)),
        ],
        register: Vec::new(),
        offset_um: 0,
        stretch_ppm: 0,
        length_um: None,
        solid_permille: None,
        summary: String::new(),
        remedy: String::new(),
    };
    let kinds = |report: &Report| -> Vec<(u16, MarkKind)> {
        marks_of(report)
            .iter()
            .map(|mark| (mark.stroke, mark.kind))
            .collect()
    };
    use MarkKind::{Extra, Good, Missing, OutOfRegister as Off, Partial};
    let faulty = [(2, Good), (4, Missing), (5, Partial), (6, Extra), (8, Good)];
    assert_eq!(kinds(&report), faulty);
    report.verdict = Verdict::OutOfRegister(OutOfRegister {
        worst_um: -1_250,
        strokes: vec![8],
        ..OutOfRegister::default()
    });
    let mut off = faulty;
    off[4] = (8, Off);
    assert_eq!(kinds(&report), off);
    assert_eq!(marks_of(&report)[4].offset_mm, -1.25);
    report.verdict = Verdict::Interrupted { strokes: 5 };
    assert_eq!(
        kinds(&report),
        [],
        "nothing is known of a card that was not read"
    );
}
