//! Risk: a weaving draft that cannot be meant becomes a deck, a deck or a draft is
//! lost in the going there and back, or a refusal does not say what to do.

use super::bad_input::said;
use super::support::{Done, Place, cardwright, run};
use cardwright::deck::Deck;
use std::path::Path;

const TWILL: &str = include_str!("../wif/twill.wif");

fn import(place: &Place, draft: &Path, more: &[&str]) -> Done {
    run(cardwright(&["deck", "import", "--format", "100", "--out"])
        .arg(place.file("out.deck"))
        .arg(draft)
        .args(more))
}

fn export(deck: &Path, draft: &Path, more: &[&str]) -> Done {
    run(cardwright(&["deck", "export", "--wif"])
        .arg(draft)
        .arg(deck)
        .args(more))
}

#[test]
fn a_deck_goes_out_and_comes_back() {
    let place = Place::new();
    let deck = place.deck_of("400", 400, "towel", 12, 7);
    let draft = place.file("towel.wif");
    let done = export(&deck, &draft, &["--json"]);
    assert_eq!(done.status, 0, "{done:?}");
    let summary = done.summary();
    assert_eq!(
        (&summary["shafts"], &summary["picks"]),
        (&400.into(), &12.into())
    );
    let back = place.file("back.deck");
    let done = run(cardwright(&["deck", "import", "--json", "--out"])
        .arg(&back)
        .arg(&draft));
    assert_eq!(done.status, 0, "{done:?}");
    assert_eq!(
        (&done.summary()["hooks"], &done.summary()["from"]),
        (&400.into(), &"liftplan".into())
    );
    let (deck, back) = (
        Deck::read(&deck).expect("a deck"),
        Deck::read(&back).expect("a deck"),
    );
    assert!(back.cards().eq(deck.cards()));
}

#[test]
fn what_became_of_a_draft_is_said() {
    let place = Place::new();
    let mut all = String::new();
    let draft = place.write("twill.wif", TWILL);
    let sinking = place.write("sinking.wif", include_str!("../wif/sinking.wif"));
    let point = place.write("point.wif", include_str!("../wif/point.wif"));
    for (draft, more) in [
        (&draft, &["--hooks", "shafts"]),
        (&sinking, &["--spare-row", "blank"]),
        (&point, &["--hooks", "ends"]),
    ] {
        let done = import(&place, draft, &[more.as_slice(), &["--force"]].concat());
        assert_eq!((done.status, done.stderr.as_str()), (0, ""), "{done:?}");
        all.push_str(&done.stdout);
    }
    let done = export(&place.file("out.deck"), &place.file("out.wif"), &[]);
    assert_eq!(done.status, 0, "{done:?}");
    all.push_str(&done.stdout);
    // with the spare row used
    let deck = place.deck_of("400", 400, "towel", 1, 7);
    let text = std::fs::read_to_string(&deck).expect("the deck");
    let text = text.replacen("1 = \"00 ", "1 = \"80 ", 1);
    let deck = place.write("towel.deck", text);
    let done = export(&deck, &place.file("towel.wif"), &[]);
    assert_eq!(done.status, 0, "{done:?}");
    all.push_str(&done.stdout);
    let dir = place.path().display().to_string();
    insta::assert_snapshot!(all.replace(&dir, "DIR"));
}

#[test]
fn drafts_that_cannot_be_meant() {
    let place = Place::new();
    let point = include_str!("../wif/point.wif");
    let many = TWILL.replacen("Threads=8", "Threads=999999999", 1);
    let shaft = TWILL.replacen("4=1,4", "4=1,5", 1);
    let mut all = String::new();
    for (name, content) in [
        ("letter.wif", b"dear weaver".as_slice()),
        ("empty.wif", b""),
        ("picture.wif", b"\x89PNG\r\n\x1a\n\0\0"),
        ("wide.wif", &b"\xff\xfe[\0W\0I\0F\0]\0"[..]),
        ("other.wif", b"[INI]\nVersion=1.1\n"),
        ("many.wif", many.as_bytes()),
        ("shaft.wif", shaft.as_bytes()),
        ("point.wif", point.as_bytes()),
    ] {
        let draft = place.write(name, content);
        all.push_str(&said(&place, &import(&place, &draft, &[])));
    }
    let gone = place.file("gone.wif");
    all.push_str(&said(&place, &import(&place, &gone, &[])));
    let folder = place.file("folder.wif");
    std::fs::create_dir(&folder).expect("a directory");
    all.push_str(&said(&place, &import(&place, &folder, &[])));
    all.push_str(&said(&place, &import(&place, Path::new("/dev/zero"), &[])));
    let draft = place.write("twill.wif", TWILL);
    all.push_str(&said(
        &place,
        &run(cardwright(&["deck", "import", "--out", "twill.txt"]).arg(&draft)),
    ));
    let unknown = run(cardwright(&["deck", "import", "--format", "401"]).arg(&draft));
    all.push_str(&said(&place, &unknown));
    assert!(!place.file("out.deck").exists(), "nothing was made");
    insta::assert_snapshot!(all);
}

/// A sparse file of many gigabytes is not read into memory.
#[test]
fn a_draft_without_end() {
    let place = Place::new();
    let draft = place.write("huge.wif", "");
    let file = std::fs::File::options()
        .write(true)
        .open(&draft)
        .expect("the draft");
    file.set_len(1 << 40).expect("a sparse file");
    insta::assert_snapshot!(said(&place, &import(&place, &draft, &[])));
}

#[test]
fn neither_a_deck_nor_a_draft_is_overwritten_unasked() {
    let place = Place::new();
    let twill = place.write("twill.wif", TWILL);
    let deck = place.deck("towel", 3, 1);
    let precious = [
        place.write("out.deck", "precious"),
        place.write("out.wif", "precious"),
    ];
    let mut all = said(&place, &import(&place, &twill, &[]));
    all.push_str(&said(&place, &export(&deck, &precious[1], &[])));
    for file in &precious {
        assert_eq!(std::fs::read(file).expect("still there"), b"precious");
    }
    assert_eq!(import(&place, &twill, &["--force"]).status, 0);
    assert_eq!(export(&deck, &precious[1], &["--force"]).status, 0);
    for file in &precious {
        assert_ne!(std::fs::read(file).expect("replaced"), b"precious");
    }
    insta::assert_snapshot!(all);
}

#[test]
fn decks_that_no_draft_is_written_of() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 1);
    let draft = place.file("towel.wif");
    let text = std::fs::read_to_string(&deck).expect("the deck");
    let reading =
        |lines: &str| text.replace("\n[cards]\n", &format!("\n[reading]\n{lines}\n\n[cards]\n"));
    let gap = place.write("gap.deck", reading("passes = 1\ngaps = [2]"));
    let doubtful = place.write(
        "doubtful.deck",
        reading("passes = 1\ndoubtful = [[1, 2, 3, 400]]"),
    );
    let cut_short = place.write("short.deck", &text[..text.len() - 5]);
    let mut all = String::new();
    for deck in [gap, doubtful, cut_short, place.file("gone.deck")] {
        all.push_str(&said(&place, &export(&deck, &draft, &[])));
    }
    // the deck's own name, and a folder that is not there
    all.push_str(&said(&place, &export(&deck, &deck, &["--force"])));
    all.push_str(&said(
        &place,
        &export(&deck, &place.file("gone/towel.wif"), &[]),
    ));
    assert_eq!(std::fs::read_to_string(&deck).expect("the deck"), text);
    assert!(!draft.exists(), "nothing was written");
    let left = std::fs::read_dir(place.path()).expect("the folder");
    assert!(
        left.flatten()
            .all(|file| !file.file_name().to_string_lossy().starts_with(".part"))
    );
    insta::assert_snapshot!(all);
}

#[test]
fn a_draft_that_was_cut_short_is_told_of() {
    let place = Place::new();
    let deck = place.deck("towel", 6, 3);
    let draft = place.file("towel.wif");
    assert_eq!(export(&deck, &draft, &[]).status, 0);
    let whole = import(&place, &draft, &[]);
    assert_eq!(whole.status, 0, "{whole:?}");
    assert!(!whole.stdout.contains("name nothing"), "{whole:?}");
    let text = std::fs::read_to_string(&draft).expect("the draft");
    // the liftplan is the last section, and the note the last thing said
    for (pick, told) in [
        (5, "picks 5 to 6, the last, name nothing"),
        (6, "pick 6, the last, names nothing"),
    ] {
        let from = text.rfind(&format!("\n{pick}=")).expect("the pick");
        std::fs::write(&draft, &text[..=from]).expect("cut short");
        let short = import(&place, &draft, &["--force"]);
        assert_eq!(short.status, 0, "{short:?}");
        let last = short.stdout.lines().last().unwrap_or_default();
        assert!(last.starts_with(told), "{short:?}");
    }
}
