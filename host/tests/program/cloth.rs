//! Risk: a painting and its cloth file give another deck than they say, the way
//! back spoils a file, or bad input is taken or refused in words that do not
//! help.

use std::path::PathBuf;

use cardwright::deck::Deck;

use super::bad_input::said;
use super::support::{Done, Place, cardwright, run};

const CLOTH: &str = r##"
[sett]
unit = "inch"
ends = 60
picks = 90

[card]
format = "100"
cast_out = "auto"

[warp]
colour = "#f0e8d8"

[[weft]]
name = "ground"
colour = "#f8f4e8"

[[weft]]
name = "silk"
colour = "#a02038"

[[colour]]
name = "rose"
paint = "#ff0000"
weave = { ground = "lift", silk = "leave bound 7 ends" }

[[colour]]
name = "field"
paint = "#ffffff"
weave = { ground = "plain", silk = "lift" }
"##;

/// A painting of 48 squares by 30, one pixel a square (PPM, the plain form).
fn painting(place: &Place, odd: &str) -> PathBuf {
    let mut text = "P3\n48 30\n255\n".to_owned();
    for line in 0..30i32 {
        for column in 0..48i32 {
            let rose = (column - 24).pow(2) + 2 * (line - 15).pow(2) < 300;
            let paint = match (column, line) {
                (3, 28) if !odd.is_empty() => odd,
                _ if rose => "255 0 0",
                _ => "255 255 255",
            };
            text += &format!("{paint}\n");
        }
    }
    place.write("rose.ppm", text)
}

fn make(place: &Place, cloth: &str, more: &[&str]) -> Done {
    let file = place.write("rose.toml", cloth);
    let picture = place.file("rose.ppm");
    run(cardwright(&["deck", "make"])
        .arg(picture)
        .arg("--cloth")
        .arg(file)
        .args(more))
}

#[test]
fn a_painting_becomes_a_deck_and_a_painting_again() {
    let place = Place::new();
    painting(&place, "");
    let done = make(&place, CLOTH, &["--json"]);
    assert_eq!(done.status, 0, "{done:?}");
    let made = done.summary();
    // 30 lines in 2 wefts (Bell ch. IX); 48 goes twice into 100 and leaves 4
    assert_eq!(
        (&made["cards"], &made["checks"]["division"]["over"]),
        (&60.into(), &4.into())
    );
    let deck = place.file("rose.deck");
    let text = std::fs::read_to_string(&deck).expect("the deck");
    assert!(
        text.contains("[cloth]\nfile = \"rose.toml\"\nsha256 = \""),
        "{text}"
    );
    let shown = run(cardwright(&["deck", "show"]).arg(&deck));
    assert_eq!(shown.status, 0, "{shown:?}");
    assert!(shown.stdout.contains("cloth rose.toml"), "{shown:?}");
    let design = run(cardwright(&["deck", "show", "--design-png"])
        .arg(place.file("design.png"))
        .arg(&deck));
    assert_eq!(design.status, 0, "{design:?}");

    let back = |more: &[&str]| {
        run(cardwright(&["deck", "paper", "--cloth"])
            .arg(place.file("rose.toml"))
            .arg("--out")
            .arg(place.file("again.png"))
            .arg(&deck)
            .args(more))
    };
    let done = back(&["--json"]);
    assert_eq!(done.status, 0, "{done:?}");
    let told = done.summary();
    assert_eq!(told["cloth_changed"], false);
    // where a point that binds a float falls on a lifted end of the plain ground,
    // nobody can tell the colours apart; all other squares are as they were
    let first = image::open(place.file("rose.ppm")).expect("the painting");
    let again = image::open(place.file("again.png")).expect("painted again");
    let (first, again) = (first.to_rgb8(), again.to_rgb8());
    assert_eq!(first.dimensions(), again.dimensions());
    let wrong = first.pixels().zip(again.pixels()).filter(|(a, b)| a != b);
    assert!(
        Some(wrong.count() as u64) <= told["either"].as_u64(),
        "{told}"
    );
    let remade = run(cardwright(&["deck", "make", "--cloth"])
        .arg(place.file("rose.toml"))
        .arg(place.file("again.png")));
    assert_eq!(remade.status, 0, "{remade:?}");
    let cards = |name: &str| Deck::read(&place.file(name)).expect("a deck");
    assert!(cards("again.deck").cards().eq(cards("rose.deck").cards()));
    let refused = back(&[]);
    assert_eq!(refused.status, 2, "{refused:?}");
    assert!(refused.stderr.contains("--force"), "{refused:?}");
    assert_eq!(back(&["--force"]).status, 0);
}

#[test]
fn checks_alone_write_nothing() {
    let place = Place::new();
    painting(&place, "");
    let done = make(&place, CLOTH, &["--check"]);
    insta::assert_snapshot!(format!("{}{}", said(&place, &done), done.stdout));
    assert!(!place.file("rose.deck").exists());
}

#[test]
fn the_time_is_told_on_the_weavers_own_rig() {
    let place = Place::new();
    painting(&place, "");
    let bench = run(&mut cardwright(&["rig", "settings"])).stdout;
    let rig = |name: &str, changes: &[(&str, &str)]| {
        let mut text = bench.replace("name = \"bench\"", &format!("name = \"{name}\""));
        for (from, to) in changes {
            assert!(text.contains(from), "{from}");
            text = text.replace(from, to);
        }
        let file = place.write(&format!("{name}.toml"), text);
        file.display().to_string()
    };
    let told = |file: &str, more: &[&str]| {
        let done = make(&place, CLOTH, &[&["--rig-file", file], more].concat());
        assert_eq!(done.status, 0, "{done:?}");
        done
    };
    let seconds = |file: &str| {
        let summary = told(file, &["--check", "--json"]).summary();
        summary["on_rig"]["seconds"].as_f64().expect("seconds")
    };
    let lines = |file: &str| told(file, &["--check"]).stdout;
    // 60 cards of 29 strokes: the block alone takes 34.8 s at 20 ms, 80 ms more each
    // are 139.2 s
    let slow = rig("slow", &[("\nstroke_ms = 20.0", "\nstroke_ms = 100.0")]);
    let as_it_is = rig("as it is", &[]);
    let more = seconds(&slow) - seconds(&as_it_is);
    assert!((more - 139.2).abs() <= 1.0, "{more}");
    let without = make(&place, CLOTH, &["--check", "--json"]).summary();
    assert_eq!(without["on_rig"]["rig"], "bench");
    assert_eq!(without["on_rig"]["seconds"], seconds(&as_it_is));
    // the magazine's push of 200 ms is then a person's
    let by_hand = rig("laid in", &[("magazine = true ", "magazine = false ")]);
    let less = seconds(&as_it_is) - seconds(&by_hand);
    assert!((less - 12.0).abs() <= 1.0, "{less}");
    let none = rig(
        "none",
        &[("acceleration_mm_s2 = 20000", "acceleration_mm_s2 = 0")],
    );
    let last = |text: &str| text.lines().last().unwrap_or_default().to_owned();
    let words: Vec<String> = [&slow, &by_hand, &none]
        .map(|file| last(&lines(file)))
        .into();
    insta::assert_snapshot!(words.join("\n"));
    let made = told(&slow, &[]).stdout;
    assert_eq!(last(&made), words[0]);
}

#[test]
fn near_colours_are_counted() {
    let place = Place::new();
    painting(&place, "250 251 255");
    let done = make(&place, &format!("tolerance = 5\n{CLOTH}"), &[]);
    assert_eq!(done.status, 0, "{done:?}");
    assert!(
        done.stdout.contains("1 square was near a paint"),
        "{done:?}"
    );
}

/// Each of these is one error with exit status 2, and no deck is written.
#[test]
fn what_does_not_fit_is_refused_in_plain_words() {
    let place = Place::new();
    painting(&place, "1 2 3");
    let mut words = String::new();
    let mut tell = |what: &str, done: &Done| {
        assert_eq!(done.status, 2, "{what}: {done:?}");
        assert!(!place.file("rose.deck").exists(), "{what}");
        words += &format!("{what}\n{}\n", said(&place, done));
    };
    tell(
        "a colour that is not the cloth's",
        &make(&place, CLOTH, &[]),
    );
    painting(&place, "");
    let without = CLOTH.replace("cast_out = \"auto\"\n", "");
    tell("columns that do not divide", &make(&place, &without, &[]));
    let tied = format!("{CLOTH}\n[[tie]]\nhooks = \"1-48\"\n");
    tell("hooks without ends", &make(&place, &tied, &[]));
    let two = CLOTH.replace("picks = 90", "picks = 90\npicks = 80");
    tell("a key twice", &make(&place, &two, &[]));
    tell("no cloth file", &{
        run(cardwright(&["deck", "make", "--cloth"])
            .arg(place.file("gone.toml"))
            .arg(place.file("rose.ppm")))
    });
    tell("a picture for a cloth file", &{
        run(cardwright(&["deck", "make", "--cloth"])
            .arg(place.write("noise.toml", [0xff, 0xfe, 0, 1]))
            .arg(place.file("rose.ppm")))
    });
    place.write("rose.ppm", "no picture");
    tell("no picture", &make(&place, CLOTH, &[]));
    place.write(
        "rose.ppm",
        "P3\n200 1\n255\n".to_owned() + &"255 0 0\n".repeat(200),
    );
    tell("wider than the hooks", &make(&place, CLOTH, &[]));
    let figure = place.write("rig.toml", "name = \"short\"");
    let with_rig = ["--rig-file", figure.to_str().expect("a plain path")];
    painting(&place, "");
    tell("a rig file that is none", &make(&place, CLOTH, &with_rig));
    tell("a rig file without a cloth file", &{
        run(cardwright(&["deck", "make"])
            .arg(place.file("rose.ppm"))
            .args(with_rig))
    });
    insta::assert_snapshot!(words);
    let both = make(&place, CLOTH, &["--format", "400"]);
    assert_eq!(both.status, 2, "{both:?}");
    assert!(both.stderr.contains("cannot be used with"), "{both:?}");
    for needs in [
        &["--squares", "ruled"][..],
        &["--take-doubtful"],
        &["--check"],
    ] {
        for more in [&[][..], &["--format", "100"], &["--cut", "white"]] {
            let done = run(cardwright(&["deck", "make"])
                .arg(place.file("rose.ppm"))
                .args(needs)
                .args(more));
            assert_eq!(done.status, 2, "{done:?}");
            assert!(done.stderr.starts_with("error: the "), "{done:?}");
        }
    }
}

/// Files and wefts may have names that hold a line break or turn the writing around.
#[test]
fn names_break_no_line_and_turn_none_around() {
    let place = Place::new();
    let painted = std::fs::read(painting(&place, "")).expect("the painting");
    let odd = CLOTH.replace("\"plain\"", "\"satin 7 counter 2 weft\"");
    let told = |weft: &str, picture: &str, cloth: &str| {
        let quoted = format!("\"{weft}\"");
        let text = odd.replace("\"ground\"", &quoted);
        let text = text.replace("ground = ", &format!("{quoted} = "));
        let picture = place.write(picture, &painted);
        let mut command = cardwright(&["deck", "make", "--cloth"]);
        let done = run(command.arg(place.write(cloth, text)).arg(picture));
        assert_eq!(done.status, 0, "{done:?}");
        done.stdout.replace('\u{fffd}', "-")
    };
    let plain = told("gr-ound", "a-b.ppm", "c-d.toml");
    assert!(plain.contains("weft \"gr-ound\" breaks"), "{plain}");
    assert_eq!(told("gr\\u2028ound", "a\nb.ppm", "c\u{202e}d.toml"), plain);
    assert_eq!(told("gr\\nound", "a\u{2067}b.ppm", "c\nd.toml"), plain);
}

#[test]
fn the_way_back_refuses_what_the_cloth_does_not_make() {
    let place = Place::new();
    painting(&place, "");
    assert_eq!(make(&place, CLOTH, &[]).status, 0);
    let back = |deck: &str, cloth: &str, out: &str| {
        run(cardwright(&["deck", "paper", "--cloth"])
            .arg(place.write("other.toml", cloth))
            .arg("--out")
            .arg(place.file(out))
            .arg(place.file(deck)))
    };
    let mut words = String::new();
    let mut tell = |what: &str, done: &Done| {
        assert_eq!(done.status, 2, "{what}: {done:?}");
        assert!(!place.file("again.png").exists(), "{what}");
        words += &format!("{what}\n{}\n", said(&place, done));
    };
    let alike = CLOTH.replace(
        "ground = \"plain\", silk = \"lift\"",
        "ground = \"lift\", silk = \"leave bound 7 ends\"",
    );
    tell("colours alike", &back("rose.deck", &alike, "again.png"));
    let other = CLOTH.replace("ground = \"plain\"", "ground = \"twill 2/2 right\"");
    tell("another weave", &back("rose.deck", &other, "again.png"));
    // the second card of each line would be the ground's
    let turned = CLOTH.replace("name = \"ground\"", "name = \"other\"");
    let turned = turned.replace("name = \"silk\"", "name = \"ground\"");
    let turned = turned.replace("name = \"other\"", "name = \"silk\"");
    tell("wefts turned", &back("rose.deck", &turned, "again.png"));
    let third = "\n[[weft]]\nname = \"tie\"\ncolour = \"#102030\"\n\n[[colour]]";
    let third = CLOTH.replacen("\n[[colour]]", third, 1);
    let third = third.replace("weave = { ", "weave = { tie = \"plain\", ");
    tell("a weft more", &back("rose.deck", &third, "again.png"));
    let draw = |deck: &std::path::Path, cloth: &str| {
        run(cardwright(&["deck", "cloth", "--cloth"])
            .arg(place.write("other.toml", cloth))
            .arg("--face")
            .arg(place.file("again.png"))
            .arg(deck))
    };
    let rose = place.file("rose.deck");
    tell("drawn with a weft more", &draw(&rose, &third));
    let format = CLOTH.replace("format = \"100\"", "format = \"200\"");
    tell("another format", &back("rose.deck", &format, "again.png"));
    tell("no deck", &back("gone.deck", CLOTH, "again.png"));
    tell("no PNG", &back("rose.deck", CLOTH, "again.jpg"));
    // an old deck may have lost its last cards, and others
    let old = std::fs::read_to_string(place.deck("old", 5, 1)).expect("a deck");
    let reading = "\n[reading]\npasses = 1\ngaps = [2]\n\n[cards]\n";
    let old = place.write("old.deck", old.replace("\n[cards]\n", reading));
    let drawn = draw(&old, CLOTH);
    assert_eq!(drawn.status, 0, "half a line: {drawn:?}");
    assert!(drawn.stdout.contains("blank cards: 2\n"), "{drawn:?}");
    insta::assert_snapshot!(words);
}

#[test]
fn the_cloth_is_drawn_and_nothing_is_overwritten_unasked() {
    let place = Place::new();
    painting(&place, "");
    assert_eq!(make(&place, CLOTH, &[]).status, 0);
    let draw = |more: &[&str]| {
        run(cardwright(&["deck", "cloth", "--cloth"])
            .arg(place.file("rose.toml"))
            .arg(place.file("rose.deck"))
            .arg("--face")
            .arg(place.file("face.png"))
            .arg("--back")
            .arg(place.file("back.png"))
            .args(more))
    };
    let done = draw(&["--json"]);
    assert_eq!(done.status, 0, "{done:?}");
    assert_eq!(done.summary()["picks"], 60);
    for file in ["face.png", "back.png"] {
        image::open(place.file(file)).expect("a picture");
    }
    place.write("face.png", "precious");
    let done = draw(&[]);
    assert_eq!(done.status, 2, "{done:?}");
    assert!(done.stderr.contains("exists already"), "{done:?}");
    let kept = std::fs::read(place.file("face.png")).expect("still there");
    assert_eq!(kept, b"precious");
    assert_eq!(draw(&["--force"]).status, 0);
    let plain = || {
        let mut command = cardwright(&["deck", "cloth", "--cloth"]);
        command
            .arg(place.file("rose.toml"))
            .arg(place.file("rose.deck"));
        command
    };
    assert_eq!(run(&mut plain()).status, 2, "no picture is asked for");
    let paper = |painting: &str| {
        let mut command = plain();
        command.arg("--paper").arg(place.file("paper.png"));
        command.arg("--painting").arg(place.file(painting));
        run(&mut command)
    };
    std::fs::rename(place.file("rose.ppm"), place.file("own.ppm")).expect("moved");
    painting(&place, "255 0 0");
    let done = paper("rose.ppm");
    assert_eq!(done.status, 2, "{done:?}");
    assert!(done.stderr.contains("makes other cards"), "{done:?}");
    assert_eq!(paper("own.ppm").status, 0);
    image::open(place.file("paper.png")).expect("a picture");
}

/// A deck that was read from old cards has no cloth file; it is drawn all the same.
#[test]
fn a_deck_made_without_a_cloth_file_is_drawn() {
    let place = Place::new();
    let deck = place.deck("old", 4, 1);
    let cloth = place.write("rose.toml", CLOTH);
    let done = run(cardwright(&["deck", "cloth", "--json", "--cloth"])
        .arg(cloth)
        .arg(deck)
        .arg("--face")
        .arg(place.file("face.png")));
    assert_eq!(done.status, 0, "{done:?}");
    let told = done.summary();
    assert_eq!((&told["ends"], &told["picks"]), (&100.into(), &4.into()));
}
