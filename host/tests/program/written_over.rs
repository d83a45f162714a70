//! Risk: a picture is written over what a person has, or half of what was asked for is
//! written; a name from a file gives the terminal orders.

use std::path::Path;

use super::support::{Done, Place, cardwright, run};

fn show(place: &Place, more: &[&str]) -> Done {
    run(cardwright(&["deck", "show", "a.deck"])
        .args(more)
        .current_dir(place.path()))
}

fn bytes(file: &Path) -> Vec<u8> {
    std::fs::read(file).expect("the file is there")
}

#[test]
fn show_writes_over_nothing_unasked_and_never_over_its_deck() {
    let place = Place::new();
    let deck = place.deck("a", 4, 1);
    let before = bytes(&deck);
    for (more, wanted) in [
        (&["--png", "a.deck"][..], "does not end in .png"),
        (&["--card", "3", "--svg", "a.deck"], "does not end in .svg"),
        (&["--design-png", "a.deck"], "does not end in .png"),
        (&["--png", "a.deck", "--force"], "does not end in .png"),
        (
            &["--card", "9", "--design-png", "b.png"],
            "has cards 1 to 4",
        ),
        (
            &["--png", "b.png", "--design-png", "./b.png"],
            "two pictures",
        ),
    ] {
        let done = show(&place, more);
        assert_eq!(done.status, 2, "{more:?}: {done:?}");
        assert!(done.stderr.contains(wanted), "{more:?}: {done:?}");
    }
    assert_eq!(bytes(&deck), before);
    assert!(!place.file("b.png").exists());

    assert_eq!(show(&place, &["--png", "b.png"]).status, 0);
    let drawn = bytes(&place.file("b.png"));
    let done = show(&place, &["--design-png", "b.png"]);
    assert_eq!(done.status, 2, "{done:?}");
    assert!(done.stderr.contains("--force"), "{done:?}");
    assert_eq!(bytes(&place.file("b.png")), drawn);
    assert_eq!(
        show(&place, &["--design-png", "b.png", "--force"]).status,
        0
    );
    assert_ne!(bytes(&place.file("b.png")), drawn);

    // a deck may have any name, but is never written over
    std::fs::copy(&deck, place.file("deck.png")).expect("copied");
    let show = ["deck", "show", "deck.png", "--png", "deck.png", "--force"];
    let done = run(cardwright(&show).current_dir(place.path()));
    assert_eq!(done.status, 2, "{done:?}");
    assert!(done.stderr.contains("read by this command"), "{done:?}");
    assert_eq!(bytes(&place.file("deck.png")), before);
}

const CLOTH: &str = r##"
[sett]
unit = "cm"
ends = 20
picks = 20

[card]
format = "100"

[warp]
colour = "#f0e8d8"

[[weft]]
name = "linen"
colour = "#3a5378"

[[colour]]
name = "figure"
paint = "#000000"
weave = "lift"

[[colour]]
name = "ground"
paint = "#ffffff"
weave = "leave"
"##;

#[test]
fn the_pictures_of_a_cloth_are_written_all_or_none() {
    let place = Place::new();
    place.picture("a.pbm", 100, 4, 2);
    std::fs::copy(place.file("a.pbm"), place.file("a.png")).expect("copied");
    place.write("cloth.toml", CLOTH);
    let command = |name: &str, more: &[&str]| {
        run(cardwright(&["deck", name])
            .args(more)
            .current_dir(place.path()))
    };
    let made = command("make", &["a.pbm", "--cloth", "cloth.toml"]);
    assert_eq!(made.status, 0, "{made:?}");
    let cloth = |more: &[&str]| {
        command(
            "cloth",
            &[&["a.deck", "--cloth", "cloth.toml"], more].concat(),
        )
    };
    let painting = bytes(&place.file("a.png"));
    for (more, wanted) in [
        (&["--face", "f.png", "--back", "f.png"][..], "two pictures"),
        (
            &["--paper", "a.png", "--painting", "a.png", "--force"],
            "read by this command",
        ),
        // another painting makes other cards
        (
            &[
                "--face",
                "f.png",
                "--back",
                "b.png",
                "--paper",
                "p.png",
                "--painting",
                "b.pbm",
            ],
            "makes other cards",
        ),
    ] {
        place.picture("b.pbm", 100, 4, 3);
        let done = cloth(more);
        assert_eq!(done.status, 2, "{more:?}: {done:?}");
        assert!(done.stderr.contains(wanted), "{more:?}: {done:?}");
        for file in ["f.png", "b.png", "p.png"] {
            assert!(!place.file(file).exists(), "{file} was written");
        }
    }
    assert_eq!(bytes(&place.file("a.png")), painting);

    let done = cloth(&["--face", "f.png", "--back", "b.png"]);
    assert_eq!(done.status, 0, "{done:?}");
    assert!(!done.stdout.contains("has changed"), "{done:?}");
    place.write("cloth.toml", format!("# another day\n{CLOTH}"));
    let done = cloth(&["--face", "f.png", "--force"]);
    assert!(
        done.stdout
            .contains("the cloth file has changed since the deck was made"),
        "{done:?}"
    );
}

#[test]
fn names_give_a_terminal_no_orders() {
    let place = Place::new();
    let picture = place.picture("\u{1b}[2Ja.pbm", 100, 4, 2);
    let made = run(cardwright(&["deck", "make", "--format", "100"]).arg(picture));
    assert_eq!(made.status, 0, "{made:?}");
    let shown = run(cardwright(&["deck", "show"]).arg(place.file("\u{1b}[2Ja.deck")));
    assert_eq!(shown.status, 0, "{shown:?}");
    for said in [&made.stdout, &shown.stdout] {
        assert!(said.contains("[2Ja: 4 cards"), "{said:?}");
        let order = |letter: char| letter.is_control() && letter != '\n';
        assert!(!said.contains(order), "{said:?}");
    }
}
