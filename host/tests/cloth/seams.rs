//! Risk: a float over the edge of the repeat is longer than the cloth file allows and
//! catches in use, or points are put where no float asks for them.
//!
//! The limit is the cloth file's own; there is no source for what it does at the edge of
//! the repeat. Floats are counted here on the woven cloth, thread by thread, the cards
//! three times round.

use super::support::{DAMASK, cloth, deck, squares};
use cardwright::cloth::satin::most_even;
use cardwright::cloth::{Cloth, Squares, Woven};
use proptest::prelude::*;

/// A cloth on a 100 card with this tie and these colours, each with a weave for each weft.
fn with(tie: &str, per_hook: u32, colours: &[(&[&str], &str)]) -> Cloth {
    let text = &DAMASK[..DAMASK.find("[[weft]]").expect("there")];
    let (before, after) = text.split_once("[[tie]]").expect("there");
    let after = &after[after.find("[weaving]").expect("there")..];
    let mut text = format!("{before}{tie}\n{after}")
        .replace("format = \"400\"", "format = \"100\"\ncast_out = \"auto\"")
        .replace("ends_per_hook = 1", &format!("ends_per_hook = {per_hook}"));
    for weft in 0..colours[0].0.len() {
        text += &format!("[[weft]]\nname = \"w{weft}\"\ncolour = \"#0000{weft:02x}\"\n");
    }
    for (place, (weaves, rest)) in colours.iter().enumerate() {
        text += &format!("[[colour]]\nname = \"c{place}\"\npaint = \"#{place:02x}0000\"\n{rest}\n");
        for (weft, weave) in weaves.iter().enumerate() {
            text += &format!("weave.w{weft} = \"{weave}\"\n");
        }
    }
    cloth(&text)
}

const STRAIGHT: &str = "[[tie]]\nrepeats = 3";

/// Longest run of `true`.
fn longest(line: impl Iterator<Item = bool>) -> usize {
    let count = |run: usize, on| if on { run + 1 } else { 0 };
    let runs = line.scan(0, |run, on| {
        *run = count(*run, on);
        Some(*run)
    });
    runs.max().unwrap_or_default()
}

/// Of colour 0 with this weft the longest float along its picks, in hooks, and along the
/// ends, in picks of the weft: where it is lifted, or where it is left.
fn floats(cloth: &Cloth, paper: &Squares, weft: usize, lifted: bool) -> (usize, usize) {
    let deck = deck(cloth, paper);
    let mounting = cloth.mounting(paper.columns()).expect("it fits");
    let woven = Woven::new(&deck, cloth, &mounting).expect("one format");
    let each = cloth.sett().ends_per_hook as usize;
    let lines: Vec<Vec<bool>> = (0..woven.picks())
        .filter(|pick| woven.weft(*pick) == weft)
        .map(|pick| {
            let line = paper.woven_line(woven.line(pick), cloth.first_line());
            let colour = |hook: &u32| line[(hook % paper.columns()) as usize];
            let ends = woven.pick(pick).zip(mounting.ends());
            let floats = ends.map(|(up, hook)| up == lifted && colour(hook) == 0);
            floats.step_by(each).collect()
        })
        .collect();
    let across = lines.iter().map(|line| longest(line.iter().copied()));
    // three times round, or more where the limits are longer than that
    let around = lines.len() * 3.max(40 / lines.len());
    let end = |end: usize| lines.iter().cycle().take(around).map(move |line| line[end]);
    let along = (0..lines[0].len()).map(|at| longest(end(at)));
    (
        across.max().unwrap_or_default(),
        along.max().unwrap_or_default(),
    )
}

/// Blocks of two colours on a ground of either, over the edges of the paper too.
fn blocks() -> impl Strategy<Value = Squares> {
    let part = (0u8..2, 0usize..50, 0usize..40, 1usize..40, 1usize..40);
    let parts = proptest::collection::vec(part, 0..5);
    (2usize..70, 2usize..41, 0u8..2, parts).prop_map(|(columns, lines, ground, parts)| {
        let mut colours = vec![ground; columns * lines];
        for (colour, left, first, wide, high) in parts {
            for line in first..first + high.min(lines) {
                for column in left..left + wide.min(columns) {
                    colours[line % lines * columns + column % columns] = colour;
                }
            }
        }
        let columns = u32::try_from(columns).expect("few");
        Squares::new(columns, colours).expect("whole lines")
    })
}

/// Ties as Bell ch. III has them: straight, turned, turned over, with borders.
fn tie(columns: u32, kind: u8, border: u32) -> String {
    let hooks = 100 / columns * columns;
    let border = border.min(hooks - 1);
    match kind {
        0 => STRAIGHT.to_owned(),
        1 => "[[tie]]\nway = \"reversed\"\nrepeats = 2".to_owned(),
        2 => "[[tie]]\nway = \"centred\"\nrepeats = 2".to_owned(),
        3 => "[[tie]]\nway = \"centred\"\nturning = \"single\"\nrepeats = 2".to_owned(),
        _ => format!(
            "[[tie]]\nhooks = \"1-{border}\"\n[[tie]]\nhooks = \"{}-{hooks}\"\nrepeats = 3\n\
             [[tie]]\nhooks = \"1-{border}\"\nway = \"reversed\"",
            border + 1
        ),
    }
}

fn more() -> impl Strategy<Value = &'static str> {
    prop_oneof![
        Just(""),
        Just("edges = \"clear\""),
        Just("binding = \"afresh\""),
        Just("edges = \"clear\"\nbinding = \"afresh\""),
    ]
}

/// A weave of colour 0 that is bound so, 0 for no limit.
fn bound(float: &str, ends: usize, picks: usize) -> String {
    let limit = |limit: usize, what: &str| match limit {
        0 => String::new(),
        limit => format!(" {limit} {what}"),
    };
    format!(
        "{float} bound{}{}",
        limit(ends, "ends"),
        limit(picks, "picks")
    )
}

/// The limits, of which one may be missing.
fn limits() -> impl Strategy<Value = (usize, usize)> {
    prop_oneof![
        (3usize..12, 3usize..12),
        (3usize..12, Just(0)),
        (Just(0), 3usize..12),
    ]
}

proptest! {
    #[test]
    fn no_float_over_the_edge_of_the_repeat_is_longer_than_its_limit(
        paper in blocks(),
        (ends, picks) in limits(),
        lift in any::<bool>(),
        more in more(),
        (kind, border) in (0u8..5, 1u32..40),
        per_hook in 1u32..3,
        wefts in 1usize..3,
    ) {
        // floats are counted in hooks below, each of so many ends
        let bound = bound(if lift { "lift" } else { "leave" }, ends * per_hook as usize, picks);
        let figure: Vec<&str> = ["plain", &bound][2 - wefts..].to_vec();
        let ground = &["twill 2/2 right"; 2][2 - wefts..];
        let tie = tie(paper.columns(), kind, border);
        let cloth = with(&tie, per_hook, &[(&figure, more), (ground, "")]);
        // nor may the points make a long float of the other yarn; two side by side show
        // twice at a turn, and in a repeat shorter than a limit they may fill a line
        let wide = paper.columns() as usize > ends && paper.lines() as usize > picks;
        for lifted in [lift, !lift].into_iter().take(1 + usize::from(wide)) {
            let (across, along) = floats(&cloth, &paper, wefts - 1, lifted);
            let most = |limit: usize| if lifted == lift { limit } else { limit.max(6) };
            prop_assert!(ends == 0 || across <= most(ends), "{across} ends, {lifted}");
            prop_assert!(picks == 0 || along <= most(picks), "{along} picks, {lifted}");
        }
    }

    /// What is bound within the paper stays, and where that is enough nothing is added.
    #[test]
    fn points_are_added_only_where_a_float_over_the_edge_asks_for_them(
        paper in blocks(),
        (ends, picks) in limits(),
    ) {
        let text = bound("lift", ends, picks);
        let cloth = with(STRAIGHT, 1, &[(&[&text], ""), (&["leave"], "")]);
        let within = bound_within(&paper, ends, picks);
        let (columns, lines) = (paper.columns() as usize, paper.lines() as usize);
        let deck = deck(&cloth, &paper);
        let mounting = cloth.mounting(paper.columns()).expect("it fits");
        let woven = Woven::new(&deck, &cloth, &mounting).expect("one format");
        let made: Vec<Vec<bool>> = (0..woven.picks())
            .map(|pick| woven.pick(pick).take(columns).collect())
            .collect();
        let around = |line: &[bool], limit| {
            limit == 0 || longest(line.iter().copied().cycle().take(60 * line.len())) <= limit
        };
        let column = |column: usize| within.iter().map(|line| line[column]).collect::<Vec<_>>();
        let short = within.iter().all(|line| {
            // beyond the edge of the cloth nothing floats, so only so often
            let ends_of = line.repeat(100 / columns * 3);
            ends == 0 || longest(ends_of.into_iter()) <= ends
        }) && (0..columns).all(|at| around(&column(at), picks));
        for (line, column) in (0..lines).flat_map(|line| (0..columns).map(move |c| (line, c))) {
            let (within, made) = (within[line][column], made[line][column]);
            prop_assert!(within || !made, "a point was taken away");
            prop_assert!(within == made || !short, "no float is too long");
        }
    }

    /// Where the satin divides the repeat, nobody can tell from the cloth where the paper
    /// was cut: a design moved over the edge is woven as it is elsewhere.
    #[test]
    fn a_satin_that_divides_the_repeat_goes_on_over_its_edge(
        (left, first, wide, high) in (0usize..45, 0usize..36, 1usize..46, 1usize..37),
        (right, up) in (0usize..5, 0usize..4),
        picks in any::<bool>(),
    ) {
        let text = bound("lift", 8, if picks { 8 } else { 0 });
        let cloth = with("[[tie]]\nhooks = \"1-90\"\nrepeats = 2", 1, &[(&[&text], ""), (&["leave"], "")]);
        let woven = |right: usize, up: usize| {
            let mut colours = vec![1; 45 * 36];
            for line in first..first + high {
                for column in left..left + wide {
                    let line = 36 * 2 - 1 - (line + up) % 36;
                    colours[line % 36 * 45 + (column + right) % 45] = 0;
                }
            }
            let paper = Squares::new(45, colours).expect("whole lines");
            let deck = deck(&cloth, &paper);
            let mounting = cloth.mounting(45).expect("it fits");
            let woven = Woven::new(&deck, &cloth, &mounting).expect("one format");
            (0..36).map(|pick| woven.pick(pick).take(45).collect()).collect::<Vec<Vec<bool>>>()
        };
        let mut moved = woven(right * 9, up * 9);
        moved.rotate_left(up * 9);
        moved.iter_mut().for_each(|line| line.rotate_left(right * 9));
        prop_assert_eq!(moved, woven(0, 0));
    }
}

/// A lift that is bound within the paper only: at the points of the satin, where colour 0
/// is longer than a limit.
fn bound_within(paper: &Squares, ends: usize, picks: usize) -> Vec<Vec<bool>> {
    let limit = [ends, picks].into_iter().filter(|limit| *limit > 0).min();
    let satin = limit.expect("a limit") + 1;
    let counter = most_even(satin);
    let (columns, lines) = (paper.columns() as usize, paper.lines() as usize);
    let is_figure = |line: usize, column: usize| {
        let from_top = lines - 1 - line;
        paper.colours()[from_top * columns + column] == 0
    };
    let far = |steps: &mut dyn Iterator<Item = bool>| steps.take_while(|figure| *figure).count();
    let lifts = |line: usize, column: usize| {
        let across = far(&mut (0..column).rev().map(|at| is_figure(line, at)))
            + far(&mut (column..columns).map(|at| is_figure(line, at)));
        let along = far(&mut (0..line).rev().map(|at| is_figure(at, column)))
            + far(&mut (line..lines).map(|at| is_figure(at, column)));
        let long = (ends > 0 && across > ends) || (picks > 0 && along > picks);
        let point = column % satin == line * counter % satin;
        is_figure(line, column) && !(long && point)
    };
    let line = |line| (0..columns).map(|column| lifts(line, column)).collect();
    (0..lines).map(line).collect()
}

/// The picks of a paper as signs, x up, the last pick on top as the paper is painted.
fn painted(cloth: &Cloth, paper: &[&str]) -> Vec<String> {
    let paper = squares(paper);
    let deck = deck(cloth, &paper);
    let mounting = cloth.mounting(paper.columns()).expect("it fits");
    let woven = Woven::new(&deck, cloth, &mounting).expect("one format");
    let sign = |up| if up { 'x' } else { '.' };
    let pick = |pick| woven.pick(pick).take(paper.columns() as usize).map(sign);
    (0..woven.picks())
        .rev()
        .map(|at| pick(at).collect())
        .collect()
}

/// Drawn by hand. The satin of a limit of 4 goes over 5 ends and moves by 2; it divides a
/// repeat of 10, so the figure, of which neither part is longer than 4, is bound at its
/// points as if it were painted in the middle.
#[test]
fn a_figure_painted_over_the_side_is_bound_by_its_satin() {
    let cloth = with(
        STRAIGHT,
        1,
        &[(&["lift bound 4 ends"], ""), (&["leave"], "")],
    );
    assert_eq!(
        painted(&cloth, &["0000111000"; 5]),
        [
            "xxx....x.x",
            "x.xx...xxx",
            "xxxx...xx.",
            "xx.x....xx",
            ".xxx...xxx",
        ]
    );
    // four and no more: it needs no point
    assert_eq!(painted(&cloth, &["0011111100"; 5]), ["xx......xx"; 5]);
}

/// Drawn by hand. The satin does not divide a repeat of 8; its points stay, and where a
/// pick has one only, and floats over 7 from it to itself, another stands midway.
#[test]
fn where_the_satin_does_not_go_on_a_point_stands_midway() {
    let cloth = with(
        STRAIGHT,
        1,
        &[(&["lift bound 4 ends"], ""), (&["leave"], "")],
    );
    assert_eq!(
        painted(&cloth, &["00000000"; 5]),
        ["xxx.xxx.", "x.xxxx.x", ".xxx.xxx", "xx.xxxx.", ".xxxx.xx"]
    );
    // at the edges of the cloth nothing goes on: the points of the satin alone
    let once = with("", 1, &[(&["lift bound 4 ends"], ""), (&["leave"], "")]);
    let line = "0".repeat(100);
    let points = ["xxx.x", "x.xxx", "xxxx.", "xx.xx", ".xxxx"];
    let points = points.map(|line| line.repeat(20));
    assert_eq!(painted(&once, &[line.as_str(); 5]), points);
    // and along the cloth, as the cards go round
    let cloth = with(
        STRAIGHT,
        1,
        &[(&["lift bound 4 picks"], ""), (&["leave"], "")],
    );
    assert_eq!(
        painted(&cloth, &["00000"; 8]),
        [
            "x.xx.", "xx.xx", ".xxxx", "xxx.x", "x.xxx", "xxxx.", "xx.xx", ".xx.x"
        ]
    );
}
