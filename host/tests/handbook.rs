//! What the handbooks say about cards, held against the built-in formats. If
//! one of these fails, cards would not fit the machine they are cut for.
//!
//! Bell: T. F. Bell, Jacquard Weaving and Designing, 1895. Taylor: J. T.
//! Taylor, Cotton Weaving and Designing, 6th ed., 1909. Brooks: C. P. Brooks,
//! Cotton Manufacturing.

use cardwright::deck::format::BUILT_IN;
use cardwright::deck::paper::{PaperSettings, Squares, hook_of_hole, lay_out};
use cardwright::deck::{CardFormat, CardNumber, Deck, Row, Stroke};

const MM_AN_INCH: f64 = 25.4;

fn format(name: &str) -> CardFormat {
    CardFormat::named(name).expect("a built-in format is accepted")
}

/// Rows that can be told from one another by their holes.
fn telling_rows(format: &CardFormat) -> Vec<Row> {
    (1..=format.rows())
        .map(|row| Row(row & Row::full(format.holes_per_row()).0))
        .collect()
}

#[test]
fn a_400_card_is_cut_in_taylors_order_in_56_strokes() {
    // Taylor pp. 122-123: end lace holes and peg hole; one blank stroke; rows
    // 1-26; middle lace holes; rows 27-51, the far peg hole with row 51; one
    // blank stroke; end lace holes: 56 strokes.
    let format = format("400");
    let rows = telling_rows(&format);
    let lace = Row::from_holes([2, 7]);
    let mut wanted = vec![Stroke::LaceAndPeg(lace), Stroke::Blank];
    wanted.extend(rows[..26].iter().map(|row| Stroke::Needles(*row)));
    wanted.push(Stroke::Lace(lace));
    wanted.extend(rows[26..50].iter().map(|row| Stroke::Needles(*row)));
    wanted.extend([
        Stroke::NeedlesAndPeg(rows[50]),
        Stroke::Blank,
        Stroke::Lace(lace),
    ]);
    assert_eq!(wanted.len(), 56);
    assert_eq!(format.programme(&rows), wanted);
    assert_eq!(format.strokes(), 56);
}

#[test]
fn the_peg_holes_of_a_400_card_are_nearly_14_and_a_half_inches_apart() {
    // Taylor p. 122 says "nearly 14 1/2 in". Fifty-three strokes of the needle
    // pitch make 14.2 in, which is what is cut; so "nearly" is taken as short of
    // it by less than one half of an inch.
    let format = format("400");
    let pegs: Vec<f64> = (0u16..)
        .zip(format.steps())
        .filter(|(_, step)| step.peg)
        .map(|(stroke, _)| format.peg_position_mm(stroke))
        .collect();
    let [first, last] = pegs[..] else {
        panic!("two peg holes, not {pegs:?}")
    };
    let inches = (last - first) / MM_AN_INCH;
    assert!(inches < 14.5 && inches > 14.0, "{inches} in");
}

#[test]
fn a_row_of_eight_spans_one_and_seven_eighths_inches() {
    // Taylor p. 122: between the centres of the first and last needle, exactly.
    let format = format("400");
    let span = (format.hole_across_mm(8) - format.hole_across_mm(1)) / MM_AN_INCH;
    assert!((span - 1.875).abs() < 0.001, "{span} in");
}

#[test]
fn lace_holes_are_the_second_from_each_edge() {
    // Bell ch. V: the 2nd and 7th of 8, the 2nd and 9th of 10, 2nd and 11th of 12.
    for (name, holes) in [("400", [2, 7]), ("500", [2, 9]), ("600", [2, 11])] {
        let format = format(name);
        assert_eq!(format.lace_holes(), Row::from_holes(holes), "{name}");
        let strokes = format.programme(&[]);
        let laced: Vec<usize> = strokes
            .iter()
            .enumerate()
            .filter(|(_, stroke)| matches!(stroke, Stroke::Lace(_) | Stroke::LaceAndPeg(_)))
            .map(|(place, _)| place)
            .collect();
        // At both ends and in the middle, between rows 26 and 27 (Taylor p. 122).
        assert_eq!(laced, [0, 28, 55], "{name}");
        assert_eq!(format.row_of_stroke(27), Some(26), "{name}");
        assert_eq!(format.row_of_stroke(29), Some(27), "{name}");
    }
}

#[test]
fn brookss_hooks_land_in_brookss_holes() {
    // Brooks, "Card cutting": with rows of 8, hooks 1, 2, 9, 15, 18, 30, 31, 32,
    // 33 and 40 raised give row 1: holes 1, 2; row 2: 1, 7; row 3: 2; row 4: 6,
    // 7, 8; row 5: 1, 8. He counts from the first row that works the pattern.
    let settings = PaperSettings::usual(format("400"));
    let mut painted = vec![false; 400];
    for hook in [1, 2, 9, 15, 18, 30, 31, 32, 33, 40] {
        painted[hook - 1] = true;
    }
    let squares = Squares::new(400, painted).expect("one whole line");
    let cards = lay_out(&squares, &settings);
    let [card] = &cards[..] else {
        panic!("one pick is one card")
    };
    assert_eq!(card.len(), 51);
    // Row 1 is the spare row (Taylor pp. 122-123).
    assert_eq!(card[0], Row::BLANK);
    let wanted: [&[u8]; 5] = [&[1, 2], &[1, 7], &[2], &[6, 7, 8], &[1, 8]];
    for (row, holes) in card[1..].iter().zip(wanted) {
        assert_eq!(row.holes().collect::<Vec<_>>(), holes);
    }
    assert!(card[6..].iter().all(|row| *row == Row::BLANK));
    assert_eq!(hook_of_hole(&settings, 2, 1), Some(1));
    assert_eq!(hook_of_hole(&settings, 5, 6), Some(30));
    assert_eq!(hook_of_hole(&settings, 1, 1), None);
}

#[test]
fn every_machine_has_its_needles() {
    // Brooks, "The cards"; Bell ch. V; Taylor p. 122: see the sources in the
    // format files. Name, rows, holes in a row, needles.
    let table = [
        ("100", 25, 4, 100),
        ("200", 51, 4, 204),
        ("200-half", 26, 8, 208),
        ("300", 51, 6, 306),
        ("300-half", 26, 12, 312),
        ("300-eight", 38, 8, 304),
        ("400", 51, 8, 408),
        ("500", 51, 10, 510),
        ("600", 51, 12, 612),
    ];
    assert_eq!(table.map(|(name, ..)| name), BUILT_IN.map(|(name, _)| name));
    for (name, rows, holes, needles) in table {
        let format = format(name);
        assert_eq!(
            (format.rows(), format.holes_per_row(), format.needles()),
            (rows, holes, needles),
            "{name}"
        );
        // Every row is cut once, and its stroke knows it.
        for row in 1..=rows {
            let stroke = format.stroke_of_row(row).expect("every row has its stroke");
            assert_eq!(format.row_of_stroke(stroke), Some(row), "{name}");
        }
        if rows == 51 {
            // Taylor p. 122: 26 and 25; row 1 is the spare row.
            assert_eq!(format.division(), [26, 25], "{name}");
            assert_eq!(format.spare_row(), Some(1), "{name}");
        }
    }
}

#[test]
fn with_the_spare_row_left_out_the_machine_has_its_name_in_hooks() {
    // Bell ch. IV: heads without the spare row have exactly 400, 500, 600.
    for (name, hooks) in [
        ("200", 200),
        ("300", 300),
        ("400", 400),
        ("500", 500),
        ("600", 600),
    ] {
        assert_eq!(PaperSettings::usual(format(name)).hooks(), hooks);
    }
}

#[test]
fn a_user_can_have_the_fine_pitch_card_with_16_holes_a_row() {
    // Bell ch. II: 16 holes deep, 880 needles to the full card, 440 to the half:
    // 55 and 27 1/2 rows. A format is data, so a full card of 55 rows is written
    // here as a user would; sizes and division are invented.
    let text = BUILT_IN
        .iter()
        .find(|(name, _)| *name == "600")
        .map(|(_, text)| *text)
        .expect("built in")
        .replace("name = \"600\"", "name = \"fine\"")
        .replace("holes_per_row = 12", "holes_per_row = 16")
        .replace("rows = 51", "rows = 55")
        .replace("needles = 612", "needles = 880")
        .replace("[26, 25]", "[28, 27]")
        .replace("rows 1-26", "rows 1-28")
        .replace("rows 27-50", "rows 29-54")
        .replace("row 51 + peg", "row 55 + peg")
        .replace("lace_holes = [2, 11]", "lace_holes = [2, 15]")
        .replace("needle_pitch_mm = 6.804", "needle_pitch_mm = 5.5")
        .replace("card_width_mm = 99.6", "card_width_mm = 106.0")
        .replace("card_length_mm = 402.6", "card_length_mm = 429.8");
    let format = CardFormat::parse(&text, "fine.toml").unwrap_or_else(|error| panic!("{error}"));
    assert_eq!((format.needles(), format.strokes()), (880, 60));
    let rows = vec![Row::full(16); 55];
    let deck = Deck::new("fine", format, None, Default::default(), vec![rows])
        .unwrap_or_else(|error| panic!("{error}"));
    let strokes = deck.strokes(CardNumber(1)).unwrap_or_default();
    assert_eq!(
        strokes.iter().map(|stroke| stroke.punches().count()).max(),
        Some(16)
    );
}
