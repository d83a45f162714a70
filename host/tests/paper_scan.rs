//! Scanned sheets of point paper: every square that was painted is read, or is
//! listed as doubtful. What is read was drawn by `paper_drawn`, which shares
//! nothing with the reader.

#[path = "paper_drawn/mod.rs"]
mod drawn;

use cardwright::paper::{How, Sheet, squares};
use drawn::{BLACK, BLUE, Chance, Drawn, GREEN, PAPER, RED, YELLOW};

/// Reads the sheet; nothing wrong may go unlisted.
fn read(drawn: &Drawn) -> Sheet {
    let picture = drawn.picture();
    if let Some(folder) = std::env::var_os("CARDWRIGHT_DRAWN") {
        let name = format!("{}x{}-{}.png", drawn.columns, drawn.rows, drawn.seed);
        let levels: Vec<u8> = picture.colours().flat_map(|colour| colour.0).collect();
        image::save_buffer(
            std::path::Path::new(&folder).join(name),
            &levels,
            picture.width() as u32,
            picture.height() as u32,
            image::ColorType::Rgb8,
        )
        .expect("saved");
    }
    let start = std::time::Instant::now();
    let sheet =
        squares(&picture, How::Ruled).unwrap_or_else(|fault| panic!("{fault}: {}", told(drawn)));
    eprintln!(
        "{:?} {} colours, {} doubtful, {:?}",
        start.elapsed(),
        sheet.palette.len(),
        sheet.doubtful.len(),
        sheet.ruling
    );
    let unlisted: Vec<_> = drawn
        .wrong(&sheet)
        .into_iter()
        .filter(|(_, _, doubted)| !doubted)
        .collect();
    assert!(
        unlisted.is_empty(),
        "{} wrong: {unlisted:?} {}",
        unlisted.len(),
        told(drawn)
    );
    sheet
}

fn told(drawn: &Drawn) -> String {
    format!(
        "{:?}",
        Drawn {
            design: Vec::new(),
            ..drawn.clone()
        }
    )
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
    let ruling = sheet.ruling.expect("a ruling");
    assert!((ruling.skew_degrees - 3.0).abs() < 0.05);
    let _ = Chance(0);
}
