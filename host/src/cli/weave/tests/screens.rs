//! What the weaver sees, as text. If one of these changes, look whether it can still
//! be read from the loom's bench.

use super::made::{self, *};
use crate::cli::weave::cloth::ClothPicture;
use crate::cli::weave::colours::Colours;
use crate::cli::weave::draw::{Shown, draw};
use crate::cli::weave::facts;
use crate::cli::weave::keys::Keys;
use crate::cli::weave::said::DeckKnown;
use crate::weave::view::{Asking, Line, View};
use crate::weave::walk::Walk;
use crate::weave::words;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::crossterm::event::{KeyCode, KeyEvent};

const SIZES: [(u16, u16); 3] = [(80, 24), (120, 40), (60, 20)];

fn keys() -> Keys {
    let deck = |name: &str, cards| DeckKnown {
        name: name.to_string(),
        cards,
    };
    Keys::new(vec![deck("sedge", 160), deck("border", 24)])
}

fn on(
    walk: &Walk,
    view: Option<&View>,
    keys: &Keys,
    size: (u16, u16),
    colours: Colours,
) -> Terminal<TestBackend> {
    let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).expect("it never fails");
    let (mut cloth, _) = ClothPicture::new(walk);
    let shown = Shown {
        view,
        keys,
        notices: &[],
        colours,
        zone: &jiff::tz::TimeZone::UTC,
        digits: 3,
    };
    terminal
        .draw(|frame| draw(frame, &shown, &mut cloth))
        .expect("it never fails");
    terminal
}

fn text(terminal: &Terminal<TestBackend>) -> String {
    let buffer = terminal.backend().buffer();
    let area = buffer.area;
    let mut text = String::new();
    for y in 0..area.height {
        let line: String = (0..area.width).map(|x| buffer[(x, y)].symbol()).collect();
        text += line.trim_end();
        text.push('\n');
    }
    text
}

/// The screen in all three sizes, without colours.
fn golden(name: &str, walk: &Walk, view: Option<&View>, keys: &Keys) {
    let mut all = String::new();
    for size in SIZES {
        let rule = "=".repeat(usize::from(size.0));
        let drawn = text(&on(walk, view, keys, size, Colours::None));
        all += &format!("{rule}\n{drawn}");
    }
    insta::assert_snapshot!(name, all);
}

#[test]
fn weaving() {
    let walk = walk(PLAN);
    golden("forwards", &walk, Some(&forwards()), &keys());
    golden("back", &walk, Some(&back()), &keys());
    golden("ground", &walk, Some(&made::ground()), &keys());
    let mut by_hand = forwards();
    if let Some(next) = &mut by_hand.next {
        next.turns = Some("turn the chain by hand to card 18".to_string());
        next.back = None;
    }
    by_hand.stray = 2;
    golden("by_hand", &walk, Some(&by_hand), &keys());
}

#[test]
fn faults() {
    let walk = walk(PLAN);
    for (name, kind, hands, evidence) in made::faults() {
        let view = faulty(&walk, kind, hands, evidence);
        golden(&format!("fault_{name}"), &walk, Some(&view), &keys());
    }
    let (_, kind, hands, evidence) = made::faults()[6];
    let mut two = faulty(&walk, kind, hands, evidence);
    let (_, kind, hands, evidence) = made::faults()[5];
    two.open.push(open(&walk, kind, hands, evidence));
    golden("two_faults", &walk, Some(&two), &keys());
}

#[test]
fn asked() {
    let walk = walk(PLAN);
    let view = View {
        asking: Some(chain()),
        stands: None,
        ..forwards()
    };
    golden("asks_chain", &walk, Some(&view), &keys());
    let view = View {
        asking: Some(catch_up()),
        ..forwards()
    };
    golden("asks_catch_up", &walk, Some(&view), &keys());
    let view = View {
        asking: Some(Asking::End),
        next: None,
        picks: (5_716, 5_716),
        ..forwards()
    };
    golden("asks_end", &walk, Some(&view), &keys());
    let (_, kind, hands, evidence) = made::faults()[6];
    let open_at_the_end = View {
        open: vec![open(&walk, kind, hands, evidence)],
        ..view
    };
    golden(
        "asks_end_with_a_fault",
        &walk,
        Some(&open_at_the_end),
        &keys(),
    );
}

#[test]
fn not_weaving() {
    let walk = walk(PLAN);
    golden("before_anything", &walk, None, &keys());
    let paused = View {
        paused: true,
        ..forwards()
    };
    golden("paused", &walk, Some(&paused), &keys());
    let lost = View {
        heard: false,
        ..forwards()
    };
    golden("unit_lost", &walk, Some(&lost), &keys());
    let finished = View {
        next: None,
        picks: (5_716, 5_716),
        in_cloth: 5_716,
        length_mm: (Some(2_419.8), Some(2_400.0)),
        seconds_left: Some(0.0),
        woven: (5_516..5_716).collect(),
        ..forwards()
    };
    golden("finished", &walk, Some(&finished), &keys());
}

#[test]
fn extremes() {
    let walk = walk(PLAN);
    let mut long = forwards();
    let name = "the long border of reeds and water with a curlew standing in it, second version";
    long.plan = format!("Towels for the summer house, eight of them, {name}");
    if let Some(next) = &mut long.next {
        next.section = name.to_string();
        next.deck = Some(name.to_string());
        next.weft = Some((format!("linen, {name}"), None));
    }
    golden("long_names", &walk, Some(&long), &keys());
    let mut huge = forwards();
    huge.picks = (99_999_998, 100_000_000);
    huge.in_cloth = 99_999_998;
    huge.length_mm = (Some(9_999_999.0), Some(1e7));
    huge.take_up_mm = Some(9.9e6);
    huge.seconds_left = Some(9e9);
    if let Some(next) = &mut huge.next {
        next.number = 99_999_999;
        next.repeat_of = (624_999, 625_000);
        next.card = Some(999_999);
    }
    huge.stands = Some(stand(0, 999_998));
    golden("huge_numbers", &walk, Some(&huge), &keys());
    let unknown = View {
        length_mm: (None, None),
        take_up_mm: None,
        picks_a_minute: None,
        seconds_left: None,
        ..forwards()
    };
    golden("no_length", &walk, Some(&unknown), &keys());
    let elsewhere = View {
        picks: (499, 500),
        in_cloth: 9,
        length_mm: (Some(3.8), Some(211.7)),
        seconds_left: Some(2.0),
        ..forwards()
    };
    golden("place_said", &walk, Some(&elsewhere), &keys());
}

#[test]
fn typed() {
    let walk = walk(PLAN);
    let view = forwards();
    let type_in = |typed: &str| {
        let mut keys = keys();
        for letter in typed.chars() {
            let code = match letter {
                '\n' => KeyCode::Enter,
                letter => KeyCode::Char(letter),
            };
            keys.press(KeyEvent::from(code), Some(&view));
        }
        keys
    };
    golden("typing_unwove", &walk, Some(&view), &type_in("u9999\n"));
    golden("typing_card", &walk, Some(&view), &type_in("c12"));
    let note = format!(
        "t{}",
        "the weft is a little darker from here on; ".repeat(4)
    );
    golden("typing_note", &walk, Some(&view), &type_in(&note));
    golden("leaving", &walk, Some(&view), &type_in("q"));
    golden("help", &walk, Some(&view), &type_in("?"));
}

/// Every size down to one cell is drawn without a panic, and what must be told is
/// told on every one that is large enough.
#[test]
fn every_size_tells_what_is_needed() {
    let walk = walk(PLAN);
    let fault = faulty(&walk, made::faults()[6].1, made::faults()[6].2, [3, 1, 1]);
    let asked = View {
        asking: Some(chain()),
        ..forwards()
    };
    let mut help = keys();
    help.press(KeyEvent::from(KeyCode::Char('?')), None);
    for (width, height) in [(1, 1), (3, 40), (10, 3), (200, 1), (30, 6), (59, 20)] {
        for view in [None, Some(&fault), Some(&asked)] {
            for keys in [&keys(), &help] {
                on(&walk, view, keys, (width, height), Colours::None);
            }
        }
    }
    for width in (60..=200).step_by(7) {
        for height in 20..=60 {
            let size = (width, height);
            let drawn = text(&on(&walk, Some(&fault), &keys(), size, Colours::None));
            for needed in [
                "take the last 3 picks out",
                "  u  ",
                "  1  leave the cloth",
                "FAULT",
            ] {
                assert!(drawn.contains(needed), "{needed} at {size:?}:\n{drawn}");
            }
            let drawn = text(&on(&walk, Some(&forwards()), &keys(), size, Colours::None));
            for needed in [
                "card 18 of sedge, → forwards",
                "linen",
                "stands card 17",
                "1,253 of 5,716, 4,463 left",
                "53.0 cm of 2.40 m, 1.87 m left",
                "32 picks a minute",
                "█",
            ] {
                assert!(drawn.contains(needed), "{needed} at {size:?}:\n{drawn}");
            }
        }
    }
}

/// Where there is no room for all of it, it is still seen what is next and how to leave.
#[test]
fn a_small_terminal_tells_what_is_next_and_how_to_leave() {
    let walk = walk(PLAN);
    let fault = faulty(&walk, made::faults()[6].1, made::faults()[6].2, [3, 1, 1]);
    for size in [(80, 16), (59, 20), (60, 19), (40, 10), (30, 6)] {
        let drawn = text(&on(&walk, Some(&forwards()), &keys(), size, Colours::None));
        for needed in ["card 18 of sedge", "weft linen", "q leave"] {
            assert!(drawn.contains(needed), "{needed} at {size:?}:\n{drawn}");
        }
        if size.1 < 10 {
            continue;
        }
        let drawn = text(&on(&walk, Some(&fault), &keys(), size, Colours::None));
        for needed in ["card ", "weft linen", "FAULT", "q leave"] {
            assert!(drawn.contains(needed), "{needed} at {size:?}:\n{drawn}");
        }
        if size.1 > 10 {
            assert!(drawn.contains("  1  leave the cloth"), "{size:?}:\n{drawn}");
        }
    }
}

/// With colours and without, the same words: nothing is told by a colour alone.
#[test]
fn colours_tell_nothing_more() {
    let walk = walk(PLAN);
    for view in [
        forwards(),
        faulty(&walk, made::faults()[5].1, made::faults()[5].2, [1, 1, 0]),
    ] {
        let words = |colours| {
            let drawn = text(&on(&walk, Some(&view), &keys(), (120, 40), colours));
            let letters = drawn.chars().filter(|letter| letter.is_alphanumeric());
            letters.collect::<String>()
        };
        for colours in [Colours::Sixteen, Colours::Indexed, Colours::True] {
            assert_eq!(words(colours), words(Colours::None));
        }
        let plain = on(&walk, Some(&view), &keys(), (120, 40), Colours::None);
        let cells = &plain.backend().buffer().content;
        use ratatui::style::Color;
        assert!(
            cells
                .iter()
                .all(|cell| (cell.fg, cell.bg) == (Color::Reset, Color::Reset))
        );
    }
}

/// A name that holds orders for a terminal reaches it without them.
#[test]
fn no_order_for_a_terminal_gets_through() {
    let walk = walk(PLAN);
    let mut view = forwards();
    view.plan = "\u{1b}[2Jtowels\u{7}".to_string();
    view.last.push(Line {
        at: view.now,
        words: "note: \u{1b}]0;title\u{7}\r\nmore".to_string(),
        pick: None,
    });
    let drawn = text(&on(&walk, Some(&view), &keys(), (80, 24), Colours::True));
    assert!(drawn.contains("towels") && drawn.contains("more"));
    assert!(!drawn.contains(['\u{1b}', '\u{7}', '\r']));
}

/// What is left of the cloth is what the plan still weaves, as the picks say: a plan
/// that weaves more than was wanted said that 1.1 cm and 216 picks were left.
#[test]
fn the_length_left_is_that_of_the_picks_left() {
    let view = View {
        picks: (1_532, 1_748),
        in_cloth: 1_532,
        length_mm: (Some(648.6), Some(740.0)),
        take_up_mm: None,
        ..forwards()
    };
    let told = facts::progress(&view, 80);
    assert_eq!(
        told[..2],
        [
            "picks 1,532 of 1,748, 216 left",
            "woven 64.9 cm of 74.0 cm, 9.1 cm left"
        ]
    );
}

#[test]
fn what_the_plan_weaves_is_told_where_it_is_not_what_is_wanted() {
    let plan = |length: &str, sett: &str, repeat: &str| {
        let text = format!(
            "name = \"p\"\nlength = {length}\n{sett}[decks]\nsmall = \"small.deck\"\n\
             [[section]]\nname = \"s\"\ndeck = \"small\"\nrepeat = {repeat}\n"
        );
        words::plan_weaves(&walk(&text))
    };
    let sett = "sett = { picks = 10, per = \"cm\" }\n";
    // nine cards: 9 mm a repeat
    let told = |words: &str| Some(format!("the plan weaves {words} than wanted"));
    assert_eq!(plan("\"10 m\"", sett, "10"), told("9.0 cm, 9.91 m less"));
    assert_eq!(plan("\"66 cm\"", sett, "80"), told("72.0 cm, 6.0 cm more"));
    assert_eq!(
        plan("\"10 cm\"", sett, "\"to length\""),
        told("10.8 cm, 0.8 cm more")
    );
    assert_eq!(plan("\"9 cm\"", sett, "\"to length\""), None);
}
