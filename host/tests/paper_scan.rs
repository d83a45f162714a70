//! Scanned sheets of point paper: every square that was painted is read, or is
//! listed as doubtful. What is read was drawn by `paper_drawn`, which shares
//! nothing with the reader.

#[path = "paper_drawn/mod.rs"]
mod drawn;

use cardwright::paper::{Doubt, How, Paints, PaperFault, Picture, Rgb, Sheet, Why};
use cardwright::paper::{squares, squares_painted};
use drawn::{BLACK, BLUE, Chance, Drawn, GREEN, Half, PAPER, RED, YELLOW};

/// Reads the sheet; nothing wrong may go unlisted, and what is listed must be
/// few: a reader that doubts everything reads nothing.
fn read(drawn: &Drawn) -> Sheet {
    let told = Drawn {
        design: Vec::new(),
        halves: Vec::new(),
        ..drawn.clone()
    };
    let sheet = squares(&drawn.picture(), How::Ruled).unwrap_or_else(|e| panic!("{e}: {told:?}"));
    let unlisted: Vec<_> = drawn
        .wrong(&sheet)
        .into_iter()
        .filter(|(_, _, doubted)| !doubted)
        .collect();
    assert!(unlisted.is_empty(), "wrong: {unlisted:?}: {told:?}");
    let most = drawn.halves.len() + drawn.design.len() / 500;
    let doubtful = &sheet.doubtful;
    assert!(doubtful.len() <= most, "{doubtful:?}: {told:?}");
    let ruling = sheet.ruling.expect("a ruling");
    assert!(
        (ruling.skew_degrees - drawn.skew_degrees).abs() < 0.1,
        "{ruling:?}"
    );
    // a bend stretches the sheet by a little
    for (found, wanted) in [ruling.pitch_across, ruling.pitch_down]
        .into_iter()
        .zip(drawn.pitch)
    {
        assert!((found / wanted - 1.0).abs() < 0.006, "{ruling:?}: {told:?}");
    }
    sheet
}

#[test]
fn a_skewed_sheet_in_uneven_light_is_read_without_a_fault() {
    let sheet = read(&Drawn {
        skew_degrees: 3.0,
        gradient: 0.4,
        vignette: 0.25,
        noise: 5.0,
        blur: 0.9,
        group: [8, 12],
        bend: 2.0,
        ..Drawn::random(96, 64, &[PAPER, BLACK, RED, YELLOW, BLUE, GREEN], 7)
    });
    assert!(sheet.doubtful.is_empty(), "{:?}", sheet.doubtful);
    assert_eq!(sheet.palette.len(), 6);
}

#[test]
fn every_ruling_is_told_with_its_heavy_lines() {
    let rulings = (8..=16).flat_map(|across| (8..=16).map(move |down| (across, down)));
    for (seed, (across, down)) in rulings.enumerate() {
        let sheet = read(&Drawn {
            group: [across, down],
            pitch: [9.0, (9.0 * across as f64 / down as f64).max(6.0)],
            skew_degrees: (seed % 11) as f64 - 5.0,
            rays: 2,
            noise: 3.0,
            ..Drawn::random(34, 33, &[PAPER, BLACK, RED], seed as u64)
        });
        let ruling = sheet.ruling.expect("a ruling");
        let heavy =
            [ruling.heavy_across, ruling.heavy_down].map(|group| group.map(|g| (g.every, g.first)));
        assert_eq!(heavy, [Some((across as u32, 0)), Some((down as u32, 0))]);
    }
}

#[test]
fn any_pitch_turn_and_light_is_read() {
    let palette = [PAPER, BLACK, RED, YELLOW, BLUE, GREEN];
    for seed in 0..16 {
        let mut chance = Chance(seed);
        let pitch = 6.0 * 5.0f64.powf(seed as f64 / 15.0);
        let colours = 2 + chance.below(5);
        let margin = [0; 4].map(|_| chance.between(5.0, 60.0));
        read(&Drawn {
            pitch: [pitch, (pitch * chance.between(0.8, 1.25)).clamp(6.0, 30.0)],
            skew_degrees: chance.between(-5.0, 5.0),
            gradient: chance.between(0.0, 0.4),
            vignette: chance.between(0.0, 0.3),
            noise: chance.between(0.0, 6.0),
            blur: chance.between(0.4, 0.11 * pitch),
            bend: chance.between(-2.0, 2.0),
            thin: (0.1 * pitch).max(1.0),
            heavy: (0.22 * pitch).max(2.0),
            painted_over: chance.below(2) == 0,
            ink: [[120, 150, 140], [200, 110, 90], [60, 60, 60]][chance.below(3)],
            margin,
            rays: 2,
            ..Drawn::random(
                40 + chance.below(40),
                36 + chance.below(30),
                &palette[..colours],
                seed,
            )
        });
    }
}

#[test]
fn half_painted_squares_are_listed_and_no_others() {
    let mut drawn = Drawn {
        pitch: [12.0, 10.0],
        skew_degrees: -2.0,
        noise: 4.0,
        gradient: 0.3,
        ..Drawn::random(60, 44, &[PAPER, BLACK, RED], 3)
    };
    let mut chance = Chance(11);
    for at in 0..12 {
        let (column, row) = (at * 5 + 1, chance.below(44));
        let own = drawn.design[row * 60 + column];
        drawn.halves.push(Half {
            column,
            row,
            other: (own + 1) % 3,
            part: chance.between(0.42, 0.58),
        });
    }
    let sheet = read(&drawn);
    for half in &drawn.halves {
        let doubt = sheet
            .doubtful
            .iter()
            .find(|doubt| (doubt.column as usize, doubt.row as usize) == (half.column, half.row))
            .unwrap_or_else(|| panic!("{half:?} is not listed"));
        assert!(
            matches!(doubt.why, Why::Mixed { .. } | Why::Between { .. }),
            "{doubt:?}"
        );
        assert!(doubt.why.to_string().contains('#'));
    }
    assert_eq!(
        sheet.doubtful.len(),
        drawn.halves.len(),
        "{:?}",
        sheet.doubtful
    );
}

/// An export: no margin, no blur, lines between the squares only.
#[test]
fn a_sheet_that_fills_its_picture_is_read() {
    for (painted_over, seed) in [(true, 1), (false, 2)] {
        let sheet = read(&Drawn {
            margin: [0.0; 4],
            blur: 0.0,
            thin: 1.0,
            heavy: 2.0,
            painted_over,
            ..Drawn::random(64, 48, &[PAPER, BLACK, RED, GREEN], seed)
        });
        assert!(sheet.doubtful.is_empty(), "{:?}", sheet.doubtful);
    }
}

/// Paint up to the edge hides the outermost lines; what is a sheet's own must
/// not be cut off, and bare lines and columns neither.
#[test]
fn painted_and_bare_edges_belong_to_the_sheet() {
    let mut drawn = Drawn {
        skew_degrees: 1.5,
        noise: 3.0,
        ..Drawn::random(50, 40, &[PAPER, BLACK, BLUE], 5)
    };
    for at in 0..50 * 40 {
        let (column, row) = (at % 50, at / 50);
        if column < 3 || row >= 38 {
            drawn.design[at] = 1;
        } else if column >= 46 || row < 3 {
            drawn.design[at] = 0;
        }
    }
    read(&drawn);
}

/// Columns painted from end to end look like bold lines: the sheet must not be read with
/// squares that are two or three of its own; where its lines hardly show it is refused.
#[test]
fn painted_stripes_are_no_ruling() {
    let mut found = 0;
    for (colour, every, painted_over, across) in [
        (RED, 2, false, false),
        (RED, 3, false, true),
        (RED, 2, true, true),
        (BLACK, 2, true, false),
        (BLACK, 3, true, false),
        (BLACK, 3, false, true),
    ] {
        for pitch in [10.0, 12.0] {
            let mut drawn = Drawn {
                pitch: [pitch; 2],
                painted_over,
                noise: 4.0,
                skew_degrees: 1.0,
                ..Drawn::random(64, 48, &[PAPER, colour], 1)
            };
            for (at, square) in drawn.design.iter_mut().enumerate() {
                let place = if across { at / 64 } else { at % 64 };
                *square = usize::from(place.is_multiple_of(every));
            }
            match squares(&drawn.picture(), How::Ruled) {
                Err(fault) => assert!(
                    matches!(
                        fault,
                        PaperFault::Painted { .. } | PaperFault::NoSquares { .. }
                    ),
                    "{fault}: {colour:?} {every} {pitch}"
                ),
                Ok(_) => {
                    read(&drawn);
                    found += 1;
                }
            }
        }
    }
    assert!(found >= 4, "{found} of 12 were read, and none wrongly");
}

/// What lies within the picture's edge is no whole column, but it is one of the sheet.
#[test]
fn squares_cut_by_the_pictures_edge_are_listed() {
    for side in 0..4 {
        let mut drawn = Drawn {
            noise: 3.0,
            ..Drawn::random(40, 36, &[PAPER, BLACK, RED], 21)
        };
        drawn.margin[side] = -5.0;
        let sheet = squares(&drawn.picture(), How::Ruled).expect("a sheet");
        let (columns, rows) = (sheet.columns as usize, sheet.rows as usize);
        assert_eq!((columns, rows), (40, 36), "side {side}");
        let wanted = if side % 2 == 0 { rows } else { columns };
        assert_eq!(sheet.doubtful.len(), wanted, "side {side}");
        for doubt in &sheet.doubtful {
            let place = [doubt.column, doubt.row, 39 - doubt.column, 35 - doubt.row];
            assert_eq!((place[side], doubt.why), (0, Why::Outside), "side {side}");
        }
    }
}

/// A paint that was used once, or that varies from square to square, is one of those
/// that the cloth file names.
#[test]
fn named_paints_are_known_however_few_or_uneven_their_squares() {
    let named = |colour: [u8; 3]| Rgb(colour);
    let paints = Paints {
        named: [PAPER, BLACK, RED, BLUE].map(named).to_vec(),
        tolerance: 50,
    };
    let mut lone = Drawn {
        noise: 4.0,
        ..Drawn::random(40, 36, &[PAPER, RED], 4)
    };
    lone.design.fill(0);
    lone.design[5 * 40 + 7] = 1;
    let plain = squares(&lone.picture(), How::Ruled).expect("a sheet");
    let [doubt] = plain.doubtful[..] else {
        panic!("{:?}", plain.doubtful)
    };
    let seen = doubt.seen.expect("it is in the picture");
    assert_eq!(paints.nearest(seen), Some(Rgb(RED)), "as it was read");
    let sheet = squares_painted(&lone.picture(), How::Ruled, &paints).expect("a sheet");
    assert!(sheet.doubtful.is_empty(), "{:?}", sheet.doubtful);
    assert_eq!(lone.wrong(&sheet), []);

    // paint put on by hand: each square a little other than the next
    let mut chance = Chance(6);
    let mut palette = vec![PAPER];
    for colour in [BLACK, RED, BLUE] {
        palette.extend((0..300).map(|_| {
            colour.map(|level| (f64::from(level) + 8.0 * chance.normal()).clamp(0.0, 255.0) as u8)
        }));
    }
    let mut drawn = Drawn::random(48, 40, &[PAPER, BLACK, RED, BLUE], 8);
    for square in &mut drawn.design {
        if *square > 0 {
            *square = 1 + (*square - 1) * 300 + chance.below(300);
        }
    }
    drawn.palette = palette;
    let sheet = squares_painted(&drawn.picture(), How::Ruled, &paints).expect("a sheet");
    assert!(sheet.doubtful.is_empty(), "{:?}", sheet.doubtful.len());
    for (at, square) in drawn.design.iter().enumerate() {
        let colour = match square {
            0 => PAPER,
            1..=300 => BLACK,
            301..=600 => RED,
            _ => BLUE,
        };
        let found = sheet
            .colour(at as u32 % 48, at as u32 / 48)
            .expect("a square");
        assert_eq!(paints.nearest(found), Some(Rgb(colour)), "square {at}");
    }
}

#[test]
fn a_picture_without_ruling_is_refused() {
    let mut chance = Chance(9);
    for kind in 0..4 {
        let level = |x: f64, y: f64, chance: &mut Chance| match kind {
            // even paper with noise; waves of many lengths; a slope; hills
            0 => 230.0 + 5.0 * chance.normal(),
            1 => 128.0 + 40.0 * (x * x / 900.0).sin() + 40.0 * (y * y / 700.0 + x / 31.0).sin(),
            2 => x / 3.0 + y / 4.0 + 2.0 * chance.normal(),
            _ => 128.0 + 90.0 * ((x / 47.0).sin() * (y / 61.0 + x / 200.0).cos()),
        };
        let (width, height) = (420, 380);
        let levels = (0..width * height)
            .flat_map(|at| {
                let level = level(f64::from(at % width), f64::from(at / width), &mut chance);
                [level.clamp(0.0, 255.0) as u8; 3]
            })
            .collect();
        let picture = Picture::new(width, height, levels).expect("a picture");
        for how in [How::Ruled, How::Either] {
            let fault = squares(&picture, how).expect_err("there is no ruling");
            let said = fault.to_string();
            assert!(
                said.contains("ruling") || said.contains("ruled"),
                "kind {kind}: {said}"
            );
            assert!(!matches!(fault, PaperFault::Neither { .. }) || how == How::Either);
        }
    }
}

/// On tinted paper, paint that is brighter than the paper in one colour is no bare paper,
/// however low the tolerance: it is a colour of its own, or in doubt.
#[test]
fn pale_paint_on_tinted_paper_is_not_bare() {
    let grey = [230; 3];
    let pale = [[232, 226, 238], [240, 236, 210], [225, 230, 245]];
    for (seed, pale) in pale.into_iter().enumerate() {
        for half in [false, true] {
            let mut drawn = Drawn::random(48, 32, &[grey, pale, BLACK], seed as u64);
            drawn.noise = 2.0;
            for (at, square) in drawn.design.iter_mut().enumerate() {
                *square = match (at % 48, at / 48) {
                    (10..18, 8..20) => 2,
                    (24.., _) if half => 1,
                    (24..28, 5..8) => 1,
                    _ => 0,
                };
            }
            let picture = drawn.picture();
            for tolerance in [5, 8, 12] {
                let named = vec![Rgb::WHITE, Rgb([31, 29, 33])];
                let paints = Paints { named, tolerance };
                let sheet = squares_painted(&picture, How::Ruled, &paints).expect("a sheet");
                let told = format!("{pale:?} half {half} tolerance {tolerance}");
                let painted = |paint: usize| {
                    let of_paint = |at: &usize| drawn.design[*at] == paint;
                    let taken = |at: usize| {
                        let (column, row) = ((at % 48) as u32, (at / 48) as u32);
                        let doubted = |at: &Doubt| (at.column, at.row) == (column, row);
                        let colour = sheet.colour(column, row).filter(|colour| {
                            let off = colour.0.map(|level| 255 - level).into_iter().max();
                            off.is_some_and(|off| off <= tolerance)
                        });
                        colour.is_some() && !sheet.doubtful.iter().any(doubted)
                    };
                    let squares = (0..drawn.design.len()).filter(of_paint);
                    squares.filter(|at| taken(*at)).count()
                };
                // most of a sheet is its paper: then that is in doubt and the paint is not
                let taken = [painted(0), painted(1)];
                assert!(taken[0] == 0 || taken[1] == 0, "{taken:?} {told}");
                if !half {
                    assert!(taken[0] > 1_300, "{taken:?} {told}");
                }
            }
        }
    }
}
