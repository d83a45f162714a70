//! How much of a 115200 baud line the rows take when rows are all that is
//! asked of it. All in virtual time, so the figures are the same everywhere.

mod common;

use common::saturation::{Load, saturate};

/// On the wire at 115200 baud, with 16 ms of delay each way, at least 97 % of
/// the time is taken by strokes sent for the first time.
#[test]
fn rows_take_the_line_at_115200_baud() {
    for holes in [8, 12] {
        let figures = saturate(Load::Rows { holes });
        println!("rows of {holes} holes: {figures}");
        assert!(figures.first_rows_share >= 0.97, "{figures}");
        assert_eq!(figures.retransmissions, 0, "{figures}");
        assert_eq!(figures.strokes_arrived_wrong, 0, "{figures}");
    }
}

/// Whole cards, each with its head and an odd message of 8 strokes, and the
/// unit's readings going back at the same time. The frames are shorter, so the
/// unit's slots are filled before a round trip is over and the line is not
/// always busy; it still carries many times what a punch can take (at 25 ms a
/// stroke, 40 a second).
#[test]
fn whole_cards_come_far_faster_than_they_can_be_cut() {
    let figures = saturate(Load::CardsAndReadings);
    println!("cards of 56 strokes, with readings going back: {figures}");
    assert!(figures.strokes_a_second > 20.0 * 40.0, "{figures}");
    assert_eq!(figures.retransmissions, 0, "{figures}");
    assert_eq!(figures.strokes_arrived_wrong, 0, "{figures}");
}
