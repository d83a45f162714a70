//! Risk: the picture of the cloth shows another cloth than the cards will weave, or
//! in another form.

use cardwright::cloth::{Cloth, Squares, Woven};
use cardwright::picture::{ClothSide, cloth_png, paper_png};
use std::path::Path;

const CLOTH: &str = r##"
[sett]
unit = "inch"
ends = 40
picks = 80

[card]
format = "100"
cast_out = "auto"

[warp]
colour = "#f0e8d8"

[[weft]]
name = "linen"
colour = "#3a5378"

[[weft]]
name = "silk"
colour = "#a02038"

[[colour]]
name = "rose"
paint = "#ff0000"
weave = { linen = "plain", silk = "leave bound 4 ends" }

[[colour]]
name = "field"
paint = "#ffffff"
weave = { linen = "twill 2/1 right", silk = "lift" }
"##;

const WARP: [u8; 3] = [0xf0, 0xe8, 0xd8];
const WEFTS: [[u8; 3]; 2] = [[0x3a, 0x53, 0x78], [0xa0, 0x20, 0x38]];

/// Space left and above, for figures.
const MARGIN: u32 = 56;
/// Pixels of an end: 40 ends and 80 picks an inch, and a pick has eight.
const END: u32 = 16;
const PICK: u32 = 8;

fn squares() -> Squares {
    let rose = |at: usize| (at % 20).abs_diff(10) + (at / 20).abs_diff(6) < 6;
    let colours = (0..20 * 12).map(|at| u8::from(!rose(at))).collect();
    Squares::new(20, colours).expect("whole lines")
}

#[test]
fn every_thread_of_face_and_back_is_the_one_the_cards_lift() {
    let cloth = Cloth::parse(CLOTH, Path::new("rose.toml")).expect("a cloth");
    let (deck, mounting) = cloth
        .deck(Path::new("rose.png"), &[], &squares())
        .expect("a deck");
    let woven = Woven::new(&deck, &cloth, &mounting).expect("of these cards");
    let ends = u32::try_from(woven.ends()).expect("few");
    let picture = |side| {
        let png = cloth_png(&cloth, &woven, side).expect("a picture");
        image::load_from_memory(&png).expect("a PNG").to_rgb8()
    };
    let (face, back) = (picture(ClothSide::Face), picture(ClothSide::Back));
    for pick in 0..woven.picks() {
        // the first line of the paper is the lowest
        let y = MARGIN + (woven.picks() - 1 - pick) * PICK + PICK / 2;
        let weft = WEFTS[pick as usize % 2];
        for end in 0..ends {
            let up = woven.warp_on_face(pick, end as usize);
            let seen = |warp| if warp { WARP } else { weft };
            let x = |column: u32| MARGIN + column * END + END / 2;
            assert_eq!(face.get_pixel(x(end), y).0, seen(up), "{pick} {end}");
            let turned = x(ends - 1 - end);
            assert_eq!(back.get_pixel(turned, y).0, seen(!up), "{pick} {end}");
        }
    }
}

#[test]
fn the_paper_shows_its_paint_its_ruling_and_what_is_lifted() {
    let cloth = Cloth::parse(CLOTH, Path::new("rose.toml")).expect("a cloth");
    let squares = squares();
    let (deck, mounting) = cloth
        .deck(Path::new("rose.png"), &[], &squares)
        .expect("a deck");
    let png = |cards| {
        let png = paper_png(&cloth, &squares, cards).expect("a picture");
        image::load_from_memory(&png).expect("a PNG").to_rgb8()
    };
    let (bare, dotted) = (png(None), png(Some((&deck, &mounting))));
    // 4 holes a row; a line of two wefts is 2 picks of 1/80 in: as high as an end is wide
    let ruling = cloth.ruling();
    assert_eq!((ruling.across, ruling.up), (4, 4));
    let side = (bare.width() - MARGIN - 16) / 20;
    assert_eq!((bare.height() - MARGIN - 16) / 12, side);
    let middle = |column: u32, line: u32| {
        (
            MARGIN + column * side + side / 2,
            MARGIN + line * side + side - 2,
        )
    };
    for line in 0..12 {
        for column in 0..20 {
            let rose = (column as usize).abs_diff(10) + (line as usize).abs_diff(6) < 6;
            let paint = if rose { [255, 0, 0] } else { [255; 3] };
            let (x, y) = middle(column, line);
            assert_eq!(bare.get_pixel(x, y).0, paint, "{column} {line}");
        }
    }
    assert_ne!(bare, dotted, "dots where the cards lift");
}
