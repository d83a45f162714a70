//! If this fails, the weaver laces a card with a wrong hole, or cuts sound cards
//! again for nothing.
//!
//! What is right is known from the model that made each card, not from any
//! reading of it.

use cardwright::judge::Limits;
use cardwright_tests::trust::{POSITIONS, Worst, judge_many};

const CARDS: u64 = 24_000;

#[test]
fn no_flawed_card_is_called_good_and_hardly_a_sound_one_faulty() {
    let counts = judge_many(Worst::RANGE, &Limits::default(), CARDS, 401, true);
    println!("{} positions: {counts:?}", counts.cards() * POSITIONS);
    assert_eq!(counts.missed, 0, "{counts:?}");
    // one in ten thousand: of so few cards that is one; the example `trust_count`
    // counts over a hundred million positions
    assert!(counts.alarms * 10_000 <= counts.sound, "{counts:?}");
    // a card that is not judged costs another reading; one in five here has dust or
    // a drifting lamp
    assert!(counts.sound_unread * 8 <= counts.sound, "{counts:?}");
}

/// Beyond the noise it is made for it says so, instead of guessing.
#[test]
fn in_too_much_noise_nothing_is_called_good_or_faulty() {
    for noise in [3.0, 6.0, 12.0] {
        let worst = Worst {
            noise,
            ..Worst::RANGE
        };
        let counts = judge_many(worst, &Limits::default(), 400, 402, false);
        assert_eq!(counts.sound_unread, counts.sound, "{noise}: {counts:?}");
        assert_eq!(counts.missed, 0, "{noise}: {counts:?}");
    }
}
