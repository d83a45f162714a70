//! Risk: lengths and turnings are not what the trade means by them.

use super::made::walk;
use cardwright::weave::{Direction, Turns, Walk, Work};

fn plan(head: &str, sections: &str) -> Walk {
    walk(&format!(
        "name = \"trade\"\n{head}\n[decks]\nfigure = \"160.deck\"\n{sections}"
    ))
}

fn to_length(head: &str, ground: u64) -> u64 {
    let section = format!("[[section]]\nname = \"g\"\nground = {ground}\nrepeat = \"to length\"\n");
    plan(head, &section).len()
}

/// Cards = length x picks per inch (Bell chs. III, IV): 2 in at 100 an inch need
/// 200. What does not come out even is rounded up to a whole pick: cloth may be
/// longer than it was wanted, not shorter (common practice, no source).
#[test]
fn a_length_is_counted_in_picks_by_the_sett() {
    let inches = |length: &str, picks: &str| {
        format!("length = \"{length}\"\nsett = {{ picks = {picks}, per = \"in\" }}")
    };
    let centimetres = |length: &str, picks: &str| {
        format!("length = \"{length}\"\nsett = {{ picks = {picks}, per = \"cm\" }}")
    };
    for (head, picks) in [
        (inches("2 in", "100"), 200),
        // 2400 / 25.4 x 30 = 2834.6
        (inches("2.4 m", "30"), 2_835),
        (inches("240cm", "30"), 2_835),
        (inches("2400 mm", "30.0"), 2_835),
        (inches("1 yd", "30"), 1_080),
        (inches("0.5 yd", "12.5"), 225),
        // 2.3 and 1.1 are no even numbers of the program's
        (centimetres("2.3 m", "10"), 2_300),
        (centimetres("1.1 cm", "10"), 11),
        (centimetres("1.11 cm", "10"), 12),
        (centimetres("0.3 mm", "0.1"), 1),
    ] {
        assert_eq!(to_length(&head, 1), picks, "{head}");
    }
    let walk = plan(
        &inches("2.4 m", "30"),
        "[[section]]\nname = \"g\"\nground = 90",
    );
    let three_inches = walk.length_of(90).expect("with a sett");
    assert!((three_inches - 76.2).abs() < 1e-9);
    assert_eq!(walk.plan().wanted(), Some(2_835));
}

/// A pass is never cut short: the figure would end in the middle (common practice,
/// no source). What comes after it counts towards the length.
#[test]
fn passes_to_length_are_whole_and_count_the_rest_of_the_plan() {
    assert_eq!(to_length("picks = 100", 30), 120);
    assert_eq!(to_length("picks = 90", 30), 90);
    let sections = "[[section]]\nname = \"hem\"\nground = 12\n\
        [[section]]\nname = \"field\"\ndeck = \"figure\"\nrepeat = \"to length\"\n\
        [[section]]\nname = \"hem\"\nground = 12\n";
    let walk = plan("picks = 1000", sections);
    // 976 are left: 6.1 passes
    assert_eq!(walk.plan().sections()[1].repeats(), 7);
    assert_eq!(walk.len(), 24 + 7 * 160);
}

/// Turning back mirrors a figure: the chain runs the other way from its last card,
/// which is woven once (common practice, no source).
#[test]
fn a_figure_turned_back_is_its_mirror() {
    let sections = "[[section]]\nname = \"f\"\ndeck = \"figure\"\n\
        cards = \"1-160, 159-1\"\n";
    let walk = plan("", sections);
    let picks: Vec<_> = (0..walk.len())
        .filter_map(|number| walk.pick(number))
        .collect();
    let cards: Vec<Work> = picks.iter().map(|pick| pick.work).collect();
    let mirrored: Vec<Work> = cards.iter().rev().copied().collect();
    assert_eq!((cards.len(), &cards), (319, &mirrored));
    let turns = |at: usize| picks[at].turns;
    assert!((1..160).all(|at| turns(at) == Turns::One(Direction::Forward)));
    assert!((160..319).all(|at| turns(at) == Turns::One(Direction::Back)));
}

/// A chain is endless: after the last card comes the first.
#[test]
fn the_chain_goes_on_over_its_end() {
    let over = |cards: &str, at: u64| {
        let section =
            format!("[[section]]\nname = \"f\"\ndeck = \"figure\"\ncards = \"{cards}\"\n");
        plan("", &section).pick(at).expect("within the plan").turns
    };
    assert_eq!(over("160, 1", 1), Turns::One(Direction::Forward));
    assert_eq!(over("1, 160", 1), Turns::One(Direction::Back));
    let to = cardwright::deck::CardNumber(5);
    assert_eq!(over("5, 5", 1), Turns::ByHand { to });
    assert_eq!(over("7, 5", 1), Turns::ByHand { to });
}
