//! Risk: a weave breaks in the cloth where no designer was told, or is said to break where
//! it goes on.

use super::support::{checks, damask, squares};
use cardwright::cloth::Squares;
use cardwright::cloth::checks::WeaveOf;

#[test]
fn weaves_that_break_at_the_edge_are_told() {
    let cloth = damask(&[
        ("weave = \"lift\"", "weave = \"satin 8 counter 3 warp\""),
        ("weave = \"leave\"", "weave = \"satin 5 counter 2 weft\""),
    ]);
    let line = "01".repeat(200);
    let told = |lines: usize| -> Vec<(String, bool, usize, u32)> {
        let checks = checks(&cloth, &squares(&vec![line.as_str(); lines]));
        let breaks = checks.breaks.into_iter();
        breaks
            .map(|b| match b.of {
                WeaveOf::Colour { name, .. } => (name, b.across, b.repeat, b.size),
                WeaveOf::Selvedges => panic!("there are none"),
            })
            .collect()
    };
    assert_eq!(told(40), []);
    assert_eq!(
        told(44),
        [
            ("figure".to_owned(), false, 8, 44),
            ("ground".to_owned(), false, 5, 44)
        ]
    );
    // 25 columns go 16 times into 400 hooks; the satin of 8 does not go into 25
    let cloth = damask(&[
        ("hooks = \"1-400\"", ""),
        ("weave = \"lift\"", "weave = \"satin 8 counter 3 warp\""),
    ]);
    let checks = checks(&cloth, &squares(&["0".repeat(25).as_str(); 8]));
    let breaks: Vec<(bool, usize, u32)> = checks
        .breaks
        .iter()
        .map(|b| (b.across, b.repeat, b.size))
        .collect();
    assert_eq!(breaks, [(true, 8, 25)]);
}

/// Plain weave comes again every second card (common practice, no source): an odd number
/// of cards has two alike at its edges in the cloth.
#[test]
fn selvedges_that_break_at_the_edge_are_told() {
    let selvedge = "[selvedge]\nleft = 2\nright = 3\nweave = \"plain\"\n\n[first_end]";
    let cloth = damask(&[("[first_end]", selvedge)]);
    let told = |lines: usize| {
        let line = "01".repeat(200);
        let mut checks = checks(&cloth, &squares(&vec![line.as_str(); lines]));
        checks.breaks.retain(|b| b.of == WeaveOf::Selvedges);
        let lines = checks.lines();
        let told = lines
            .into_iter()
            .find(|line| line.contains("weave of the selvedges"));
        (checks.breaks.len(), told)
    };
    let words = "the weave of the selvedges breaks at the edge of the repeat along the cloth: it \
                 repeats on 2, and the deck has 7 cards";
    assert_eq!(told(7), (1, Some(words.to_owned())));
    assert_eq!(told(8).0, 0);
}

/// A satin of 8 goes on over an edge if the columns between are a multiple of 8, counted
/// by hand: hooks 42 to 80 once more are 39 columns on, 41 to 80 are 40, and 40 follows
/// 39 whatever the section. At a turn it is mirrored, which is told by itself.
#[test]
fn weaves_that_break_where_the_tie_leaves_the_paper_are_told() {
    let told = |sections: &[(&str, &str)]| -> Vec<u32> {
        let tie: Vec<String> = sections
            .iter()
            .map(|(hooks, way)| format!("[[tie]]\nhooks = \"{hooks}\"\n{way}\n"))
            .collect();
        let cloth = damask(&[
            (
                "[[tie]]\nhooks = \"1-400\"\nway = \"straight\"\nrepeats = 2\n",
                &tie.join("\n"),
            ),
            (
                "format = \"400\"",
                "format = \"400\"\nhooks = 80\ncast_out = \"auto\"",
            ),
            ("weave = \"lift\"", "weave = \"satin 8 counter 3 warp\""),
        ]);
        let breaks = checks(&cloth, &squares(&["0".repeat(80).as_str(); 8])).breaks;
        breaks.iter().filter(|b| b.across).map(|b| b.size).collect()
    };
    let straight = "way = \"straight\"";
    let thrice = "way = \"straight\"\nrepeats = 3";
    let back = "way = \"reversed\"";
    assert_eq!(
        told(&[("1-41", straight), ("42-80", thrice), ("1-41", back)]),
        [39]
    );
    assert_eq!(
        told(&[("1-40", straight), ("41-80", thrice), ("1-40", back)]),
        Vec::<u32>::new()
    );
    assert_eq!(
        told(&[("1-39", straight), ("40-80", straight)]),
        Vec::<u32>::new()
    );
    assert_eq!(
        told(&[("1-80", straight), ("1-80", back)]),
        Vec::<u32>::new()
    );
}

/// The spare row of a 400 card has eight holes, which work the ends in turn: a satin of 5
/// goes on from end to end only as far as they reach.
#[test]
fn selvedges_wider_than_the_spare_row_break_within() {
    let told = |left: u32, right: u32, weave: &str| {
        let selvedge = format!(
            "[selvedge]\nleft = {left}\nright = {right}\nweave = \"{weave}\"\n\n[first_end]"
        );
        let line = "01".repeat(200);
        let checks = checks(
            &damask(&[("[first_end]", &selvedge)]),
            &squares(&vec![line; 40]),
        );
        let breaks = checks.breaks.iter().filter(|b| b.of == WeaveOf::Selvedges);
        let breaks: Vec<_> = breaks.map(|b| (b.across, b.repeat, b.size)).collect();
        let lines = checks.lines().into_iter();
        (
            breaks,
            lines
                .filter(|line| line.contains("within a selvedge"))
                .collect::<Vec<_>>(),
        )
    };
    let satin = "satin 5 counter 2 weft";
    let words = "the weave of the selvedges breaks within a selvedge: it repeats on 5, and the \
                 ends begin again after 8, the holes of the spare row";
    assert_eq!(
        told(9, 9, satin),
        (vec![(true, 5, 8)], vec![words.to_owned()])
    );
    assert_eq!(told(9, 0, satin).0, [(true, 5, 8)]);
    assert_eq!(told(4, 5, satin).0, [(true, 5, 8)]);
    // where they begin again at the right selvedge's first end, none beside it is told
    assert_eq!(told(8, 8, satin).0, []);
    assert_eq!(told(4, 4, satin).0, []);
    assert_eq!(told(20, 20, "plain").0, [], "8 is a multiple of 2");
}

/// In plain weave the ends of columns that are both odd, or both even, are lifted alike
/// (common practice, no source). A hook at which a tie turns works an end on either side,
/// or one end if it turns single (Bell ch. III), which has none alike.
#[test]
fn ends_that_lift_alike_where_the_tie_turns_are_told() {
    let told = |tie: &str, weave: &str, paper: &Squares| -> Vec<String> {
        let cloth = damask(&[
            ("format = \"400\"", "format = \"100\""),
            (
                "[[tie]]\nhooks = \"1-400\"\nway = \"straight\"\nrepeats = 2\n",
                tie,
            ),
            ("weave = \"lift\"", &format!("weave = \"{weave}\"")),
            ("weave = \"leave\"", "weave = \"satin 5 counter 2 weft\""),
        ]);
        let lines = checks(&cloth, paper).lines().into_iter();
        lines.filter(|line| line.contains("turns")).collect()
    };
    let whole = squares(&["0".repeat(100)]);
    let other = |from: &str| {
        format!("[[tie]]\nhooks = \"1-50\"\n[[tie]]\nhooks = \"{from}\"\nway = \"reversed\"\n")
    };
    let both = "where the tie turns, ends 50 and 51 lift alike in the weave of \"figure\"";
    assert_eq!(told(&other("51-100"), "plain", &whole), [both]);
    // 50 columns apart is 2 apart in a satin of 8
    assert_eq!(
        told(&other("51-100"), "satin 8 counter 3 warp", &whole),
        [""; 0]
    );
    let double = "[[tie]]\nway = \"centred\"\nrepeats = 2\n";
    let thrice = "where the tie turns, ends 100 and 101, and those at 2 turns more, lift alike in \
                  the weave of \"figure\"";
    assert_eq!(told(double, "plain", &whole), [thrice]);
    assert_eq!(told(double, "twill 2/1 right", &whole), [thrice]);
    let single = "[[tie]]\nway = \"centred\"\nturning = \"single\"\nrepeats = 2\n";
    assert_eq!(told(single, "plain", &whole), [""; 0]);
    // neighbours that are alike everywhere are no more so at a turn
    assert_eq!(told(double, "lift", &whole), [""; 0]);
    // what does not lie at the turns
    let (figure, ground) = ("0".repeat(20), "1".repeat(40));
    let inside = squares(&[format!("{ground}{figure}{ground}")]);
    let satin = thrice.replace("figure", "ground");
    assert_eq!(told(double, "plain", &inside), [satin]);
    assert_eq!(told("[[tie]]\nrepeats = 3\n", "plain", &whole), [""; 0]);
}
