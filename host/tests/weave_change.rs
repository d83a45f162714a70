//! A plan that is changed while its piece is on the loom. If one of these fails, the
//! place of the piece shifts without a word.

use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::ledger::{Ledger, NewPiece, UnixMillis};
use cardwright::weave::watch::{Place, Stand};
use cardwright::weave::{Change, DeckIndex, Plan, Stored, Walk};
use cardwright_protocol::CardNumber;
use std::error::Error;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

const HEAD: &str = "name = \"p\"\n[decks]\nd = \"d.deck\"\n";
const HEM: &str = "[[section]]\nname = \"hem\"\nground = 2\n";
const FIELD: &str =
    "[[section]]\nname = \"field\"\ndeck = \"d\"\ncards = \"1-4, 3-2\"\nrepeat = 2\n";

fn deck(dir: &Path, name: &str) {
    let format = CardFormat::named("400").expect("a built-in format");
    let cards = vec![vec![Row(0b1001); usize::from(format.rows())]; 6];
    let deck = Deck::new(name, format, None, Cutting::default(), cards).expect("a deck");
    let file = dir.join(format!("{name}.deck"));
    deck.write(&file, true).expect("the disk");
}

fn walk(dir: &Path, text: &str) -> Walk {
    let file = dir.join("p.toml");
    std::fs::write(&file, text).expect("the disk");
    Walk::new(Arc::new(Plan::read(&file).expect("a plan")))
}

fn at(next: u64) -> Place {
    Place {
        next,
        in_cloth: i64::try_from(next).expect("few"),
        ..Place::default()
    }
}

#[test]
fn a_change_further_on_asks_nothing() {
    let dir = tempfile::tempdir().expect("a directory");
    deck(dir.path(), "d");
    let was = walk(dir.path(), &format!("{HEAD}{HEM}{FIELD}{HEM}"));
    let longer = format!("{HEAD}{HEM}{}{HEM}", FIELD.replace("= 2", "= 5"));
    let now = walk(dir.path(), &longer);
    let change = Change::of(Some(&was), &now, &mut at(9)).expect("it is long enough");
    assert_eq!(change.moved, None);
    assert_eq!(
        (change.plan.as_str(), change.plan_sha256.as_str()),
        (longer.as_str(), now.plan().sha256())
    );
    // the pick that is next is not woven yet: it may be another
    let other = format!("{HEAD}{HEM}{}", FIELD.replace("1-4, 3-2", "1-2, 5-6"));
    let now = walk(dir.path(), &other);
    let moved = |next| Change::of(Some(&was), &now, &mut at(next)).map(|c| c.moved.is_some());
    assert_eq!((moved(4), moved(5)), (Ok(false), Ok(true)));
}

#[test]
fn a_place_that_shifts_is_asked_in_words_of_both_plans() {
    let dir = tempfile::tempdir().expect("a directory");
    deck(dir.path(), "d");
    let was = walk(dir.path(), &format!("{HEAD}{HEM}{FIELD}"));
    let hem = HEM.replace("= 2", "= 6");
    let now = walk(dir.path(), &format!("{HEAD}{hem}{FIELD}"));
    let change = Change::of(Some(&was), &now, &mut at(9)).expect("it is long enough");
    let moved = change.moved.expect("two more ground picks came in");
    assert_eq!(moved.was, "pick 10 (card 2, field, repeat 2 of 2)");
    assert_eq!(moved.same_number, "pick 10 (card 4, field, repeat 1 of 2)");
    assert_eq!(moved.proposed, "pick 14 (card 2, field, repeat 2 of 2)");
    assert_eq!(moved.next, 13);
    // what nobody can read any more is asked for, too
    let change = Change::of(None, &now, &mut at(9)).expect("it is long enough");
    assert_eq!(change.moved.map(|moved| moved.next), Some(9));
}

/// Where only the weft is another, the words of the two plans still differ.
#[test]
fn another_weft_is_named() {
    let dir = tempfile::tempdir().expect("a directory");
    deck(dir.path(), "d");
    let wefts = "[wefts]\nflax = \"#b0a080\"\nblue = \"#203070\"\n";
    let text = |weft: &str| format!("{HEAD}{wefts}{FIELD}weft = \"{weft}\"\n");
    let was = walk(dir.path(), &text("flax"));
    let now = walk(dir.path(), &text("blue"));
    let change = Change::of(Some(&was), &now, &mut at(7)).expect("it is long enough");
    let moved = change.moved.expect("seven picks are of another weft");
    assert_eq!(
        (moved.was.as_str(), moved.proposed.as_str()),
        (
            "pick 8 (card 2 with flax, field, repeat 2 of 2)",
            "pick 8 (card 2 with blue, field, repeat 2 of 2)"
        )
    );
}

#[test]
fn a_plan_shorter_than_the_piece_is_refused() {
    let dir = tempfile::tempdir().expect("a directory");
    deck(dir.path(), "d");
    let was = walk(dir.path(), &format!("{HEAD}{HEM}{FIELD}"));
    let now = walk(dir.path(), &format!("{HEAD}{HEM}"));
    let refused = Change::of(Some(&was), &now, &mut at(9)).expect_err("it has two picks");
    assert_eq!(
        refused.to_string(),
        "the plan was changed and has 2 picks now, and 9 of it lie behind the piece (next was \
         pick 10 (card 2, field, repeat 2 of 2)); put back what was taken out of the plan, or give \
         --new to begin a new piece"
    );
}

/// Decks may be listed in another order.
#[test]
fn the_card_that_stands_is_of_the_same_deck_afterwards() {
    let dir = tempfile::tempdir().expect("a directory");
    deck(dir.path(), "d");
    deck(dir.path(), "a");
    let was = walk(dir.path(), &format!("{HEAD}{FIELD}"));
    let border = "[[section]]\nname = \"border\"\ndeck = \"a\"\n";
    let text = format!("name = \"p\"\n[decks]\na = \"a.deck\"\nd = \"d.deck\"\n{FIELD}{border}");
    let now = walk(dir.path(), &text);
    let deck = now.plan().decks().iter().position(|deck| deck.name == "d");
    let card = CardNumber(3);
    let stands = Stand {
        deck: DeckIndex(0),
        card,
    };
    let mut place = Place {
        stands: Some(stands),
        ..at(3)
    };
    let change = Change::of(Some(&was), &now, &mut place).expect("it is long enough");
    assert_eq!(change.moved, None);
    let deck = DeckIndex(deck.expect("it is there"));
    assert_eq!(place.stands, Some(Stand { deck, card }));
}

/// Runs the program at the virtual loom: its status, and what it has said.
fn weave(dir: &Path, more: &[&str]) -> Result<(Option<i32>, String), Box<dyn Error>> {
    let mut child = Command::new(env!("CARGO_BIN_EXE_cardwright"))
        .args(["weave", "--rig", "virtual", "--speed", "100", "--data"])
        .arg(dir.join("data"))
        .args(more)
        .arg(dir.join("p.toml"))
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()?;
    // a weaver who does not find the place would stand at the loom for ever
    for _ in 0..600 {
        if child.try_wait()?.is_some() {
            break;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    child.kill()?;
    let out = child.wait_with_output()?;
    let said = String::from_utf8([out.stdout, out.stderr].concat())?;
    Ok((out.status.code(), said))
}

/// A ledger with a piece of this plan, nine picks of it woven.
fn nine_woven(dir: &Path, was: &Walk) -> Result<(), Box<dyn Error>> {
    let stored = Stored {
        place: at(9),
        decks: was.plan().deck_sha256s(),
        ..Stored::default()
    };
    let mut ledger = Ledger::open(&dir.join("data"))?;
    ledger.begin_piece(&NewPiece {
        name: "p".to_string(),
        plan_sha256: was.plan().sha256().to_string(),
        plan: was.plan().text().to_string(),
        at: UnixMillis(1_700_000_000_000),
        place: serde_json::to_value(stored)?,
        instead_of: Vec::new(),
    })?;
    ledger.close()?;
    Ok(())
}

/// The plan is the same, the cards are not.
#[test]
fn a_deck_made_anew_is_a_plan_that_was_changed() -> Result<(), Box<dyn Error>> {
    let dir = tempfile::tempdir()?;
    deck(dir.path(), "d");
    let was = walk(dir.path(), &format!("{HEAD}{HEM}{FIELD}"));
    nine_woven(dir.path(), &was)?;
    let format = CardFormat::named("400")?;
    let cards = vec![vec![Row(0b0110); usize::from(format.rows())]; 12];
    let other = Deck::new("d", format, None, Cutting::default(), cards)?;
    other.write(&dir.path().join("d.deck"), true)?;
    let (code, said) = weave(dir.path(), &[])?;
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("d.deck has changed since piece 1"), "{said}");
    let (code, said) = weave(dir.path(), &["--changed"])?;
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("Enter: pick 10 (card 2, field, repeat 2 of 2) is next"));
    let pieces = Ledger::open_read_only(&dir.path().join("data"))?.pieces()?;
    let decks = walk(dir.path(), was.plan().text()).plan().deck_sha256s();
    assert_eq!(pieces[0].place["decks"], serde_json::to_value(decks)?);
    Ok(())
}

/// What becomes of the piece before, and that a finished one is not gone on with
/// without a word.
#[test]
fn a_new_piece_ends_the_one_before_and_says_so() -> Result<(), Box<dyn Error>> {
    let dir = tempfile::tempdir()?;
    deck(dir.path(), "d");
    nine_woven(
        dir.path(),
        &walk(dir.path(), &format!("{HEAD}{HEM}{FIELD}")),
    )?;
    for (more, words) in [
        (
            &["--new"][..],
            "piece 1 of this plan is ended here, left unfinished; piece 2 begins",
        ),
        (&[], "piece 2 of this plan is finished; piece 3 begins"),
    ] {
        let (code, said) = weave(dir.path(), more)?;
        assert_eq!(code, Some(0), "{said}");
        assert!(said.contains(words), "{words}:\n{said}");
    }
    let list = Command::new(env!("CARGO_BIN_EXE_cardwright"))
        .args(["ledger", "pieces", "--data"])
        .arg(dir.path().join("data"))
        .output()?;
    let list = String::from_utf8(list.stdout)?;
    let states: Vec<&str> = list
        .lines()
        .skip(1)
        .filter_map(|row| row.split_whitespace().nth(3))
        .collect();
    assert_eq!(states, ["left", "done", "done"], "{list}");
    let (code, said) = weave(dir.path(), &["--changed"])?;
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("leave --changed out to begin one"), "{said}");
    let pieces = Ledger::open_read_only(&dir.path().join("data"))?.pieces()?;
    let left: Vec<bool> = pieces.iter().map(|piece| piece.is_left()).collect();
    assert_eq!(left, [true, false, false]);
    assert!(pieces.iter().all(|piece| piece.ended.is_some()));
    assert_eq!(pieces[0].place["place"]["next"], 9);
    Ok(())
}

/// What the program says, and what the ledger has afterwards. The virtual weaver
/// confirms what is proposed.
#[test]
fn the_accepted_plan_is_the_pieces_from_then_on() -> Result<(), Box<dyn Error>> {
    let dir = tempfile::tempdir()?;
    deck(dir.path(), "d");
    let before = format!("{HEAD}{HEM}{FIELD}");
    let was = walk(dir.path(), &before);
    let stored = Stored {
        place: at(9),
        ..Stored::default()
    };
    let data = dir.path().join("data");
    let mut ledger = Ledger::open(&data)?;
    ledger.begin_piece(&NewPiece {
        name: "p".to_string(),
        plan_sha256: was.plan().sha256().to_string(),
        plan: before.clone(),
        at: UnixMillis(1_700_000_000_000),
        place: serde_json::to_value(stored)?,
        instead_of: Vec::new(),
    })?;
    ledger.close()?;
    let now = walk(
        dir.path(),
        &format!("{HEAD}{}{FIELD}", HEM.replace("= 2", "= 6")),
    );
    let weave = |more: &[&str]| weave(dir.path(), more);
    let (code, said) = weave(&[])?;
    assert_eq!(code, Some(2), "{said}");
    let (code, said) = weave(&["--changed"])?;
    assert_eq!(code, Some(0), "{said}");
    for words in [
        "by the plan as it was pick 10 (card 2, field, repeat 2 of 2) was next",
        "Enter: pick 14 (card 2, field, repeat 2 of 2) is next",
        "pick 14: card 2, field",
    ] {
        assert!(said.contains(words), "{words}:\n{said}");
    }
    assert!(!said.contains("pick 13: "), "{said}");
    let pieces = Ledger::open_read_only(&data)?.pieces()?;
    assert_eq!(pieces.len(), 1);
    assert_eq!(pieces[0].plan_sha256, now.plan().sha256());
    assert_eq!(
        pieces[0].plan,
        std::fs::read_to_string(dir.path().join("p.toml"))?
    );
    Ok(())
}
