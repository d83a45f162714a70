//! The sheet on paper: every card once, every fault in its place, nothing cut
//! off or on top of something else, and a PDF that another reader understands.

use cardwright::deck::{CardFormat, Row};
use cardwright::lacing::{Card, Cylinders, Fault, Lacing, OrderFinding, PEG, Place, Sheet};
use cardwright::picture::png_from_svg;
use roxmltree::{Document, Node};

fn fault(format: &CardFormat, seed: u16) -> Fault {
    let full = Row::full(format.holes_per_row()).0;
    let rows: Vec<Row> = (0..format.rows())
        .map(|row| Row((row.wrapping_mul(2_654) ^ seed.wrapping_mul(40_503)) & full))
        .collect();
    let strokes = format.programme(&rows);
    let (mut missing, mut extra) = (Vec::new(), Vec::new());
    for row in [2, 9, 17 + seed % 5, format.rows()] {
        let stroke = format.stroke_of_row(row).expect("such a row");
        let punches = strokes[usize::from(stroke)].punches();
        let hole = 1 + (seed % u16::from(format.holes_per_row())) as u8;
        let list = if punches.has(hole) {
            &mut missing
        } else {
            &mut extra
        };
        list.push(Place { stroke, hole });
    }
    missing.push(Place {
        stroke: 0,
        hole: PEG,
    });
    missing.push(Place { stroke: 0, hole: 2 });
    Fault {
        strokes,
        missing,
        extra,
        words: "found when the stack was read".to_owned(),
        cut_again: seed % 3 == 2,
    }
}

fn sheet(format: &str, count: usize, faulty_every: usize, cylinders: Cylinders) -> Sheet {
    let format = CardFormat::named(format).expect("built in");
    let card = |number: usize| {
        if number % faulty_every == 3 {
            Card::Faulty(fault(&format, (number % 251) as u16))
        } else if number % 50 == 10 {
            Card::Owed
        } else {
            Card::Good
        }
    };
    Sheet {
        deck: "Curlew & <sedge>".to_owned(),
        sha: "3f9a12c0".to_owned(),
        date: "12 May 2026".to_owned(),
        cylinders,
        cards: (1..=count).map(card).collect(),
        order: vec![OrderFinding {
            finding: "Card 21 lies before card 20.".to_owned(),
            remedy: "Change the two cards over.".to_owned(),
        }],
        format,
    }
}

fn number(node: &Node<'_, '_>, key: &str) -> f64 {
    let text = node.attribute(key).expect("an attribute");
    text.parse().expect("a number")
}

/// The sheet's own children: what is set on the page, and not inside a card.
fn set<'a, 'input>(document: &'a Document<'input>) -> Vec<Node<'a, 'input>> {
    let group = document
        .descendants()
        .find(|node| node.attribute("class") == Some("sheet"))
        .expect("the sheet");
    group.children().filter(Node::is_element).collect()
}

#[test]
fn every_card_is_listed_once_in_its_chains_order() {
    for (count, cylinders) in [
        (1, Cylinders::One),
        (333, Cylinders::Two),
        (1_200, Cylinders::One),
    ] {
        let lacing = Lacing::plan(sheet("400", count, 100, cylinders)).expect("a sheet");
        let mut listed = Vec::new();
        for page in lacing.pages() {
            let document = Document::parse(&page).expect("well-formed");
            let laced = document
                .descendants()
                .filter_map(|node| node.attribute("data-laced"));
            listed.extend(laced.map(|card| card.parse::<u32>().expect("a number")));
        }
        let chains = lacing.chains().iter().flat_map(|chain| &chain.cards);
        assert!(
            listed.iter().copied().eq(chains.map(|card| card.0)),
            "{count}"
        );
        listed.sort_unstable();
        assert!(listed.into_iter().eq(1..=count as u32), "{count}");
    }
}

#[test]
fn every_wire_is_boxed_on_its_own_card() {
    let lacing = Lacing::plan(sheet("400", 700, 100, Cylinders::Two)).expect("a sheet");
    let mut boxed = Vec::new();
    for page in lacing.pages() {
        let document = Document::parse(&page).expect("well-formed");
        let nodes = set(&document);
        for wire in nodes
            .iter()
            .filter(|node| node.attribute("class") == Some("wire"))
        {
            let (x, y) = (number(wire, "x"), number(wire, "y"));
            let (right, foot) = (x + number(wire, "width"), y + number(wire, "height"));
            let inside = |node: &&Node<'_, '_>| {
                node.has_attribute("data-laced")
                    && (x..right).contains(&number(node, "x"))
                    && (y..foot).contains(&number(node, "y"))
            };
            // The box of the key has no card in it.
            boxed.extend(
                nodes
                    .iter()
                    .find(inside)
                    .map(|node| number(node, "data-laced") as u32),
            );
        }
    }
    let wires = lacing.chains().iter().flat_map(|chain| &chain.wires.cards);
    assert!(boxed.into_iter().eq(wires.map(|card| card.0)));
}

#[test]
fn every_fault_is_drawn_where_it_is_on_the_card() {
    // Places reckoned here from Taylor p. 122 (1 7/8 in over seven pitches) and
    // the format file's margin: stroke s at 14.2 + 6.804 s from the leading edge,
    // hole h of 8 at 6.804 (h - 4.5) from the centre line, pegs one pitch on.
    let data = sheet("400", 60, 20, Cylinders::One);
    let lacing = Lacing::plan(data.clone()).expect("a sheet");
    let mut drawn = Vec::new();
    for page in lacing.pages() {
        let document = Document::parse(&page).expect("well-formed");
        for face in document
            .descendants()
            .filter(|node| node.attribute("class") == Some("card"))
        {
            let card = number(&face, "data-card") as usize;
            drawn.push(card);
            let Card::Faulty(fault) = &data.cards[card - 1] else {
                panic!("card {card} is not faulty");
            };
            for (class, shape, places) in [
                ("missing", "circle", &fault.missing),
                ("extra", "path", &fault.extra),
            ] {
                let found: Vec<(f64, f64)> = face
                    .descendants()
                    .filter(|node| node.attribute("class") == Some(&format!("mark {class}")))
                    .map(|mark| {
                        let shape = mark
                            .first_element_child()
                            .filter(|node| node.has_tag_name(shape));
                        centre(&shape.expect("its shape"))
                    })
                    .collect();
                let mut wanted: Vec<(f64, f64)> = places
                    .iter()
                    .map(|place| {
                        let x = 14.2 + 6.804 * f64::from(place.stroke);
                        match place.hole {
                            PEG => (x + 6.804, 0.0),
                            hole => (x, 6.804 * (f64::from(hole) - 4.5)),
                        }
                    })
                    .collect();
                assert_eq!(found.len(), wanted.len(), "card {card} {class}");
                for place in found {
                    let at = wanted.iter().position(|want| {
                        (want.0 - place.0).abs() < 0.002 && (want.1 - place.1).abs() < 0.002
                    });
                    wanted.remove(at.expect("a fault that is there"));
                }
            }
        }
    }
    assert_eq!(drawn, [3, 23, 43]);
}

/// The centre of a circle, or of a diamond that starts at its top.
fn centre(shape: &Node<'_, '_>) -> (f64, f64) {
    if shape.has_tag_name("circle") {
        return (number(shape, "cx"), number(shape, "cy"));
    }
    let path = shape.attribute("d").expect("a path");
    let figures: Vec<f64> = path
        .split(|letter: char| !matches!(letter, '0'..='9' | '.' | '-'))
        .filter(|figure| !figure.is_empty())
        .map(|figure| figure.parse().expect("a number"))
        .collect();
    (figures[0], figures[1] + figures[3])
}

#[test]
fn nothing_is_cut_off_or_on_top_of_something_else() {
    // 200 of 1,200 cards are faulty.
    for format in ["400", "600", "100"] {
        let lacing = Lacing::plan(sheet(format, 1_200, 6, Cylinders::Two)).expect("a sheet");
        let pages = lacing.pages();
        let mut faces = 0;
        for (page, svg) in (1..).zip(&pages) {
            let document = Document::parse(svg).expect("well-formed");
            let root = document.root_element();
            assert_eq!(
                root.attribute("viewBox"),
                Some("0 0 210 297"),
                "A4 (ISO 216)"
            );
            let mut last = 0.0;
            let mut line = 0.0;
            let foot = set(&document).len() - 3;
            for node in set(&document).into_iter().take(foot) {
                let case = format!("{format}, page {page}: {:?}", node.text());
                let (top, below) = match node.tag_name().name() {
                    "text" => {
                        let (y, size) = (number(&node, "y"), number(&node, "font-size"));
                        // Letters on one line share it.
                        if y == line {
                            continue;
                        }
                        line = y;
                        (y - 0.75 * size, y + 0.25 * size)
                    }
                    "svg" => {
                        faces += 1;
                        assert!(
                            number(&node, "x") + number(&node, "width") <= 195.01,
                            "{case}"
                        );
                        let top = number(&node, "y");
                        (top, top + number(&node, "height"))
                    }
                    _ => continue,
                };
                assert!(top >= last - 0.01, "{case}: {top} is above {last}");
                assert!(below <= 283.0, "{case}: {below} is under the foot");
                last = below;
            }
        }
        assert_eq!(faces, 200, "{format}");
        assert!(pages.len() < 110, "{format}: {} pages", pages.len());
    }
}

#[test]
fn the_paper_stays_white_outside_the_margins() {
    let mut long = sheet("400", 1_200, 60, Cylinders::One);
    long.deck = "Wm".repeat(300);
    long.order[0].finding = "A very long finding, which a line does not hold. ".repeat(20);
    let pages = Lacing::plan(long).expect("a sheet").pages();
    let scale = 3.0;
    for (page, svg) in (1..).zip(&pages) {
        let png = png_from_svg(svg, scale).expect("drawn");
        let picture = image::load_from_memory(&png).expect("a PNG").to_luma8();
        assert_eq!(
            picture.dimensions(),
            (630, 891),
            "A4 at 3 pixels a millimetre"
        );
        let mut dark = 0u32;
        for (x, y, pixel) in picture.enumerate_pixels() {
            let margin = !(42..=588).contains(&x) || !(42..=870).contains(&y);
            assert!(!margin || pixel.0[0] > 250, "page {page}: {x} {y}");
            dark += u32::from(pixel.0[0] < 100);
        }
        assert!(dark > 1_000, "page {page} is empty");
    }
}

#[test]
fn another_reader_finds_the_pages_and_the_card_numbers_in_the_pdf() {
    let lacing = Lacing::plan(sheet("400", 1_200, 6, Cylinders::Two)).expect("a sheet");
    let pages = lacing.pages();
    let bytes = lacing.pdf().expect("a PDF");
    let document = lopdf::Document::load_mem(&bytes).expect("a PDF");
    let found: Vec<u32> = document.get_pages().into_keys().collect();
    assert_eq!(found.len(), pages.len());
    let mut read: Vec<u32> = Vec::new();
    let mut faulty = 0;
    for (page, svg) in found.iter().zip(&pages) {
        let words = words_on(&document, *page);
        let foot = format!("page {page} of {}", pages.len());
        assert!(words.join(" ").ends_with(&foot), "{words:?}");
        faulty += words
            .windows(2)
            .filter(|pair| pair[0] == "Card" && pair[1].ends_with(':'))
            .count();
        // What is laced, in its order, as the page's drawing says.
        let drawing = Document::parse(svg).expect("well-formed");
        let laced = drawing
            .descendants()
            .filter_map(|node| node.attribute("data-laced"));
        let mut rest = words.iter();
        for card in laced {
            assert!(
                rest.any(|word| word.trim_matches(['(', ')']) == card),
                "page {page} lacks card {card}, or has it in another place"
            );
            read.push(card.parse().expect("a number"));
        }
    }
    assert_eq!(faulty, 200);
    read.sort_unstable();
    assert!(read.into_iter().eq(1..=1_200));
    // The font is in the file: no reader has to have one.
    let fonts = document
        .objects
        .values()
        .filter_map(|object| object.as_dict().ok())
        .filter(|dict| dict.has(b"FontFile2") || dict.has(b"FontFile3"))
        .count();
    assert!(fonts >= 1, "no font in the file");
}

/// The words on a page, in the order in which they are set. The file has every
/// letter in its own place, so a word ends at a space, at another line, or where
/// the next letter is further away than this one is wide.
fn words_on(document: &lopdf::Document, page: u32) -> Vec<String> {
    let page = document.get_pages()[&page];
    let fonts = document.get_page_fonts(page).expect("fonts");
    let content = document.get_page_content(page);
    let content = lopdf::content::Content::decode(&content).expect("operations");
    let mut words = vec![String::new()];
    let (mut place, mut size, mut letters) = ((0.0, 0.0), 0.0, None);
    let mut end = (0.0, 0.0);
    for operation in &content.operations {
        let number = |operand: usize| operation.operands[operand].as_float().expect("a number");
        match operation.operator.as_str() {
            "cm" => place = (number(4), number(5)),
            "Tf" => {
                size = number(1) * 72.0 / 25.4;
                let font = fonts[operation.operands[0].as_name().expect("a font's name")];
                letters = Some(font.get_font_encoding(document).expect("its letters"));
            }
            "Tj" => {
                let encoding = letters.as_ref().expect("a font");
                let bytes = operation.operands[0].as_str().expect("letters");
                let text = lopdf::Document::decode_text(encoding, bytes).expect("text");
                if (place.1 - end.1 as f32).abs() > 0.1 || place.0 > end.0 as f32 {
                    words.push(String::new());
                }
                for letter in text.chars() {
                    if letter.is_whitespace() {
                        words.push(String::new());
                    } else if let Some(word) = words.last_mut() {
                        word.push(letter);
                    }
                }
                // Advances of the font: figures 0.636, brackets 0.39.
                let wide = match text.chars().last() {
                    Some('0'..='9') => 0.66,
                    Some('(' | ')') => 0.42,
                    _ => 1.05,
                };
                end = (f64::from(place.0 + wide * size), f64::from(place.1));
            }
            _ => {}
        }
    }
    words.retain(|word| !word.is_empty());
    words
}
