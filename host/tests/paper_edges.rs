//! A sheet ends where its ruling does: what the scan cut off, gaps, other ruling, frames
//! and marks beside it. The sheets were drawn by `paper_drawn`, which shares nothing with
//! the reader.

#[path = "paper_drawn/mod.rs"]
mod drawn;

use cardwright::paper::{How, PaperFault, Picture, Rgb, Why, squares};
use drawn::{BLACK, Drawn, PAPER, read, sheet};

/// Where paint shows in what the scan left of a column, the column is one of the sheet;
/// what is bare there may be the margin.
#[test]
fn a_strip_that_shows_paint_is_a_column_that_was_cut_off() {
    for side in 0..4 {
        for painted in [true, false] {
            let mut drawn = sheet((40, 36), &[PAPER, BLACK], |column, row| {
                let own = match (column, row) {
                    (5..20, 8..14) => 1,
                    _ => 0,
                };
                let (from_edge, along) = [
                    (column, row),
                    (row, column),
                    (39 - column, row),
                    (35 - row, column),
                ][side];
                if from_edge == 0 && painted && (10..18).contains(&along) {
                    return 1;
                }
                own
            });
            drawn.margin[side] = -8.4;
            let sheet = squares(&drawn.picture(), How::Ruled).expect("a sheet");
            let size = (sheet.columns as usize, sheet.rows as usize);
            let told = format!("side {side} painted {painted}");
            if painted {
                assert_eq!(size, (40, 36), "{told}");
                let cut = if side % 2 == 0 { 36 } else { 40 };
                assert_eq!(sheet.doubtful.len(), cut, "{told}");
            } else {
                assert!(sheet.doubtful.is_empty(), "{told}");
            }
        }
    }
}

/// A gap of a few squares' width, within which no ruling is seen, is no bare column.
#[test]
fn a_gap_in_the_ruling_is_doubtful() {
    let drawn = sheet((40, 36), &[PAPER, BLACK], |column, row| {
        usize::from((4..12).contains(&column) && (10..20).contains(&row))
    });
    let whole = drawn.picture();
    let left = (drawn.margin[0] + 20.0 * drawn.pitch[0]) as usize;
    // two columns are stuck over, their outer lines too
    let stuck = left - 2..left + 22;
    let levels = whole.colours().enumerate().flat_map(|(at, colour)| {
        match stuck.contains(&(at % whole.width())) {
            true => PAPER,
            false => colour.0,
        }
    });
    let size = (whole.width() as u32, whole.height() as u32);
    let picture = Picture::new(size.0, size.1, levels.collect()).expect("a picture");
    let sheet = squares(&picture, How::Ruled).expect("a sheet");
    assert_eq!((sheet.columns, sheet.rows), (40, 36));
    let doubted: Vec<_> = sheet
        .doubtful
        .iter()
        .map(|at| (at.row, at.column))
        .collect();
    let wanted: Vec<_> = (0..36).flat_map(|row| [(row, 20), (row, 21)]).collect();
    assert_eq!(doubted, wanted);
    assert!(sheet.doubtful.iter().all(|doubt| doubt.why == Why::Unruled));
}

/// Ruling behind a gap, or of a sheet beside the other, is not left out without a word.
#[test]
fn more_ruling_than_was_read_is_told() {
    let first = sheet((40, 36), &[PAPER, BLACK], |column, row| {
        usize::from((12..20).contains(&column) && (10..20).contains(&row))
    });
    let second = sheet((24, 28), &[PAPER, BLACK], |column, _| {
        usize::from(column == 9)
    });
    let (one, other) = (first.picture(), second.picture());
    let (width, height) = (one.width(), one.height());
    let white = Rgb(PAPER);
    let [of_one, of_other] = [&one, &other].map(|sheet| sheet.colours().collect::<Vec<_>>());
    let at = |sheet: &Picture, colours: &[Rgb], x: usize, y: usize| match x < sheet.width()
        && y < sheet.height()
    {
        true => colours[y * sheet.width() + x],
        false => white,
    };
    for (beside, wanted) in [(true, "right"), (false, "below")] {
        let (across, down) = match beside {
            true => (width + other.width(), height),
            false => (width, height + other.height()),
        };
        let levels = (0..across * down).flat_map(|place| {
            let (x, y) = (place % across, place / across);
            let colour = match beside {
                true if x >= width => at(&other, &of_other, x - width, y),
                false if y >= height => at(&other, &of_other, x, y - height),
                _ => at(&one, &of_one, x, y),
            };
            colour.0
        });
        let both = Picture::new(across as u32, down as u32, levels.collect()).expect("a picture");
        let fault = squares(&both, How::Ruled).expect_err("two sheets");
        assert!(
            matches!(fault, PaperFault::Another { .. }) && fault.to_string().contains(wanted),
            "{fault}"
        );
    }
}

/// Lines that go on a little beyond the outermost ones make no squares there, neither in
/// a wide margin nor in what the scan left of a narrow one.
#[test]
fn lines_drawn_a_little_too_far_add_no_squares() {
    for margin in [6.0, 40.0] {
        let drawn = Drawn {
            thin: 1.3,
            heavy: 3.0,
            ink: [64; 3],
            too_far: 1.0,
            margin: [margin; 4],
            ..figure()
        };
        read(&drawn, &format!("{margin} pixels beside the sheet"));
    }
}

/// The picture with ink in these pixels, told by how far right and down of the sheet's
/// upper left corner they are.
fn inked(drawn: &Drawn, ink: impl Fn(f64, f64) -> bool) -> Picture {
    let whole = drawn.picture();
    let width = whole.width();
    let levels = whole.colours().enumerate().flat_map(|(at, colour)| {
        let (x, y) = ((at % width) as f64, (at / width) as f64);
        match ink(x - drawn.margin[0], y - drawn.margin[1]) {
            true => [60, 60, 60],
            false => colour.0,
        }
    });
    let size = (whole.width() as u32, whole.height() as u32);
    Picture::new(size.0, size.1, levels.collect()).expect("a picture")
}

fn figure() -> Drawn {
    sheet((40, 36), &[PAPER, BLACK], |column, row| {
        usize::from((4..12).contains(&column) && (10..20).contains(&row))
    })
}

/// A line around the sheet is none of the ruling, wherever beside it that is.
#[test]
fn a_frame_around_a_sheet_is_left_out() {
    let drawn = figure();
    for (off, wide) in [(5.0, 1.0), (5.0, 2.0), (6.0, 1.0), (15.0, 1.0), (15.0, 2.0)] {
        let picture = inked(&drawn, |x, y| {
            let beyond = |at: f64, size: f64| (-at).max(at - size);
            let far = beyond(x, 400.0).max(beyond(y, 360.0));
            (off..off + wide).contains(&far)
        });
        let told = format!("{off} pixels off, {wide} wide");
        let sheet = squares(&picture, How::Ruled).unwrap_or_else(|e| panic!("{told}: {e}"));
        assert_eq!(drawn.wrong(&sheet), [], "{told}");
        assert!(sheet.doubtful.is_empty(), "{told}: {:?}", sheet.doubtful);
    }
}

/// Marks that stick out of the ruling, and a ruler beside it, make no squares without a
/// word.
#[test]
fn what_sticks_out_of_the_ruling_is_doubtful() {
    let drawn = figure();
    let marks = inked(&drawn, |x, y| {
        (400.0..410.0).contains(&x) && (0.0..=360.0).contains(&y) && y % 10.0 < 1.0
    });
    let ruler = inked(&drawn, |x, y| {
        let across = (0.0..400.0).contains(&x);
        across && ((362.0..372.0).contains(&y) && x % 7.0 < 1.0 || (372.0..373.0).contains(&y))
    });
    for (picture, beyond) in [(marks, "column"), (ruler, "line")] {
        let sheet = squares(&picture, How::Ruled).expect("a sheet");
        let unruled = |column: u32, row: u32| {
            let doubts = sheet.doubtful.iter();
            doubts
                .filter(|at| at.why == Why::Unruled)
                .any(|at| (at.column, at.row) == (column, row))
        };
        let squares = (0..sheet.rows).flat_map(|row| (0..sheet.columns).map(move |c| (c, row)));
        for (column, row) in squares {
            let added = column >= 40 || row >= 36;
            assert_eq!(unruled(column, row), added, "{beyond} {column} {row}");
        }
    }
}

/// Where paint hides the ruling, what goes on beside it is not another sheet.
#[test]
fn ruling_that_goes_on_at_once_is_no_other_sheet() {
    for across in [false, true] {
        for width in [4, 8] {
            let drawn = Drawn {
                painted_over: false,
                ink: [200; 3],
                heavy: 1.2,
                blur: 0.9,
                margin: [80.0; 4],
                ..sheet((64, 48), &[[248; 3], BLACK], |column, row| {
                    let place = if across { row } else { column };
                    usize::from(place / width % 2 == 0)
                })
            };
            match squares(&drawn.picture(), How::Ruled) {
                Err(PaperFault::Painted { .. } | PaperFault::NoSquares { .. }) => {}
                Err(fault) => panic!("{width} across {across}: {fault}"),
                Ok(_) => read(&drawn, &format!("{width} across {across}")),
            }
        }
    }
}

/// The picture without so many pixels at one side: left, top, right or bottom.
fn cropped(whole: &Picture, side: usize, by: usize) -> Picture {
    let (width, height) = (whole.width(), whole.height());
    let kept = |at: usize| {
        let (x, y) = (at % width, at / width);
        [x, y, width - 1 - x, height - 1 - y][side] >= by
    };
    let colours = whole.colours().enumerate().filter(|(at, _)| kept(*at));
    let levels = colours.flat_map(|(_, colour)| colour.0).collect();
    let [across, down] = [[by, 0], [0, by]][side % 2];
    let size = ((width - across) as u32, (height - down) as u32);
    Picture::new(size.0, size.1, levels).expect("a picture")
}

/// Paint that hides the ruling as far as the picture goes belongs to a sheet that was cut
/// at its ruling; where the picture ends within squares nobody can tell it from something
/// dark beside the sheet.
#[test]
fn paint_up_to_the_edge_of_the_picture_is_not_left_out() {
    for side in 0..4 {
        let mut drawn = sheet((64, 48), &[PAPER, BLACK], |column, row| {
            let from_edge = [column, row, 63 - column, 47 - row][side];
            usize::from(from_edge < 8 || (20..26).contains(&column) && (18..30).contains(&row))
        });
        drawn.margin = [0.0; 4];
        read(&drawn, &format!("side {side}"));
        for by in [3, 6] {
            let picture = cropped(&drawn.picture(), side, by);
            let sheet = squares(&picture, How::Ruled).expect("a sheet");
            let told = format!("{by} pixels less at side {side}: {:?}", sheet.doubtful);
            assert!(!sheet.doubtful.is_empty(), "{told}");
            assert_eq!(sheet.columns as usize, drawn.columns, "{told}");
            assert_eq!(sheet.rows as usize, drawn.rows, "{told}");
        }
    }
}
