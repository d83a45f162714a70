//! All of a sheet is read: light paint at its edges and across it, stripes all over it,
//! ruling that is hardly seen. The sheets were drawn by `paper_drawn`, which shares
//! nothing with the reader.

#[path = "paper_drawn/mod.rs"]
mod drawn;

use cardwright::paper::{How, PaperFault, Rgb, squares};
use drawn::{BLACK, BLUE, Drawn, PAPER, RED, read, sheet};

/// Light paints that hide the ruling: none is much darker than bare paper.
const LIGHT: [[u8; 3]; 4] = [
    [250, 170, 160],
    [190, 205, 235],
    [250, 238, 170],
    [205, 205, 205],
];

#[test]
fn light_paint_at_an_edge_belongs_to_the_sheet() {
    for paint in LIGHT {
        for side in 0..4 {
            let drawn = sheet((50, 40), &[PAPER, paint, BLUE], |column, row| {
                let from_edge = [column, row, 49 - column, 39 - row][side];
                match from_edge {
                    0..4 => 1,
                    18..24 if column > 20 && row > 15 => 2,
                    _ => 0,
                }
            });
            read(&drawn, &format!("{paint:?} at side {side}"));
        }
    }
}

#[test]
fn light_paint_wider_than_half_the_sheet_ends_it_nowhere() {
    for paint in LIGHT {
        for across in [false, true] {
            let drawn = sheet((48, 60), &[PAPER, paint, BLACK], |column, row| {
                let (long, wide) = match across {
                    false => (row, column),
                    true => (column, row),
                };
                match (long, wide) {
                    (24..34, 0..31) => 1,
                    (5..9, 36..40) => 2,
                    _ => 0,
                }
            });
            read(&drawn, &format!("{paint:?} across {across}"));
        }
    }
}

/// Columns or lines that are painted from end to end, in every rhythm, between lines that
/// are seen everywhere: the ruling is what all of it lies on. Where that is not found the
/// sheet is refused; it is never read with other squares.
#[test]
fn stripes_over_all_of_a_sheet_are_no_ruling() {
    let mut found = Vec::new();
    for (painted, bare) in [(1, 3), (3, 1), (1, 2), (4, 4), (3, 5)] {
        for across in [false, true] {
            let drawn = Drawn {
                painted_over: false,
                ..sheet((60, 48), &[PAPER, BLACK], |column, row| {
                    let place = if across { row } else { column };
                    usize::from(place % (painted + bare) < painted)
                })
            };
            let told = format!("{painted} + {bare} across {across}");
            match squares(&drawn.picture(), How::Ruled) {
                Err(PaperFault::Painted { .. } | PaperFault::NoSquares { .. }) => {}
                Err(fault) => panic!("{told}: {fault}"),
                Ok(_) => {
                    read(&drawn, &told);
                    found.push(told);
                }
            }
        }
    }
    assert!(found.len() >= 6, "of ten only these are read: {found:?}");
}

/// Ground painted all over a sheet that is scanned to its ruling: what is brighter still
/// is the paper.
#[test]
fn the_brightest_squares_of_a_painted_sheet_are_its_paper() {
    let tinted = Drawn {
        margin: [0.0; 4],
        painted_over: false,
        ..sheet(
            (64, 48),
            &[PAPER, [190, 205, 235], BLACK],
            |column, row| match (column, row) {
                (5..20, 5..12) => 0,
                (20..40, 15..35) => 2,
                _ => 1,
            },
        )
    };
    read(&tinted, "tinted");
    let sheet = squares(&tinted.picture(), How::Ruled).expect("a sheet");
    assert_eq!(sheet.colour(10, 8), Some(Rgb::WHITE));
    // 190 of 252, 205 of 250, 235 of 244 parts of white
    let ground = sheet.colour(60, 40).expect("a square").0;
    for (found, wanted) in ground.into_iter().zip([192, 209, 246]) {
        assert!(found.abs_diff(wanted) < 8, "{ground:?}");
    }
}

/// Paint that repeats all over hides the ruling: that is said, and not only contrast.
#[test]
fn a_chequered_sheet_is_told_that_its_paint_hides_the_ruling() {
    let drawn = Drawn {
        painted_over: false,
        ..sheet((48, 40), &[PAPER, BLACK], |column, row| (column + row) % 2)
    };
    let fault = squares(&drawn.picture(), How::Ruled).expect_err("nothing but edges");
    let said = fault.to_string();
    assert!(said.contains("what is painted repeats"), "{said}");
}

/// A fine ruling that is hardly seen between heavy lines that are plainly seen: these are
/// not the sheet's squares. Where the ruling is too faint the sheet is refused; it is never
/// read by its heavy lines without a word.
#[test]
fn a_faint_ruling_is_not_passed_over_for_its_heavy_lines() {
    for seed in 0..16u8 {
        let fainter = 4 + seed % 8;
        let drawn = Drawn {
            pitch: [8.0; 2],
            thin: 1.0,
            heavy: 2.0 + f64::from(seed % 3),
            ink: [70, 80, 90],
            thin_ink: Some(PAPER.map(|level| level - fainter)),
            painted_over: false,
            blur: 0.3,
            // single squares, in the corners of those that the heavy lines make
            ..sheet((80, 80), &[PAPER, BLACK], |column, row| {
                usize::from((column % 8, row % 8) == (0, 1) && (column * 7 + row) % 5 == 0)
            })
        };
        if let Ok(sheet) = squares(&drawn.picture(), How::Ruled) {
            let size = (sheet.columns, sheet.rows);
            assert!(
                size == (80, 80) || !sheet.doubtful.is_empty(),
                "{fainter} levels: read as {size:?}"
            );
        }
    }
}

/// The same on cream paper, where a grey line is darker in red and lighter in blue, in
/// areas as large as the heavy lines' squares, of which most are painted.
#[test]
fn a_faint_ruling_is_seen_on_cream_paper_between_painted_areas() {
    let cream = [251, 245, 230];
    let drawn = Drawn {
        pitch: [8.0; 2],
        thin: 1.0,
        ink: [96; 3],
        thin_ink: Some([240; 3]),
        ..sheet((96, 80), &[cream, BLACK, RED, BLUE], |column, row| {
            let area = column / 8 * 7 + row / 8 * 5;
            if area % 5 == 0 { 0 } else { 1 + area % 3 }
        })
    };
    match squares(&drawn.picture(), How::Ruled) {
        Err(PaperFault::NoSquares { .. }) => {}
        Err(fault) => panic!("{fault}"),
        Ok(_) => read(&drawn, "cream paper"),
    }
}
