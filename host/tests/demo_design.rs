//! The demo's towel: the paper in `demo-data` is the one the painter makes, the
//! weaves of its cloth file are the handbooks', its floats are short enough to
//! weave and its repeats join. Floats are measured here, apart from the
//! product's own measure.

#[path = "../examples/paint_towel/painting.rs"]
mod painting;

use std::path::PathBuf;

use cardwright::cloth::{Cloth, Squares, Woven};
use painting::{HOOKS, PICKS, PaintingError, Tone, tones};

/// Which squares the cards lift, `[pick][end]`, pick 1 first.
type Lifted = Vec<Vec<bool>>;

/// One end in five raised a pick, by this order: Brooks, *Cotton Manufacturing*.
const BROOKS: [usize; 5] = [1, 3, 5, 2, 4];
/// One end in eight left down a pick, by this order: Taylor p. 132.
const TAYLOR: [usize; 8] = [1, 4, 7, 2, 5, 8, 3, 6];
/// Ends raised of each eight in the shadow, from the figure's point on.
const SHADOW_RAISED: usize = 5;

/// Whether the weave that fills a tone raises this end on this pick.
fn raised(tone: Tone, end: usize, pick: usize) -> bool {
    let from_eighth = (end + 8 - (TAYLOR[pick % 8] - 1)) % 8;
    match tone {
        Tone::Ground => end % 5 == BROOKS[pick % 5] - 1,
        Tone::Shadow => from_eighth < SHADOW_RAISED,
        Tone::Figure => from_eighth != 0,
    }
}

fn demo(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../demo-data")
        .join(name)
}

fn drawing() -> String {
    std::fs::read_to_string(demo("curlew.svg")).expect("the drawing is there")
}

fn paper() -> image::RgbImage {
    let picture = image::open(demo("curlew-paper.png"));
    picture.expect("the paper is there").to_rgb8()
}

/// The first repeat of the cloth that the demo's cards weave.
fn towel() -> Lifted {
    let cloth = Cloth::read(&demo("towel.toml")).expect("the cloth file");
    let paints = paper().pixels().map(|pixel| pixel.0).collect::<Vec<_>>();
    let read = Squares::recognise(&cloth, 400, paints).expect("in the cloth's colours");
    let made = cloth.deck(&demo("curlew-paper.png"), &[], &read.squares);
    let (deck, mounting) = made.expect("a deck");
    let woven = Woven::new(&deck, &cloth, &mounting).expect("of these cards");
    let first = woven.figure().start;
    let picks = (0..woven.picks()).map(|pick| woven.pick_on_face(pick));
    picks
        .map(|ends| ends.skip(first).take(HOOKS).collect())
        .collect()
}

#[test]
fn the_paper_is_what_the_painter_makes() {
    let (tones, paper) = (tones(&drawing(), 0).expect("three flat tones"), paper());
    assert_eq!(paper.dimensions(), (400, 160));
    for (x, y, pixel) in paper.enumerate_pixels() {
        let (end, pick) = (x as usize, PICKS - 1 - y as usize);
        assert_eq!(
            pixel.0,
            tones.at(end, pick).paint(),
            "hook {}, pick {}: run the paint_towel example again",
            end + 1,
            pick + 1
        );
    }
}

/// Away from every edge the cloth shows the handbooks' satins, also across
/// the joins of the repeat. Ground: one end in five raised, in the order 1 3 5
/// 2 4 (Brooks, *Cotton Manufacturing*). Figure: one end in eight left down,
/// in the order 1 4 7 2 5 8 3 6 (Taylor p. 132).
#[test]
fn ground_and_figure_are_the_handbooks_satins() {
    let tones = tones(&drawing(), 0).expect("three flat tones");
    let towel = towel();
    let mut checked = [0_usize; 2];
    for (pick, line) in towel.iter().enumerate() {
        for (end, square) in line.iter().enumerate() {
            let tone = tones.at(end, pick);
            let beside = [(1, 0), (HOOKS - 1, 0), (0, 1), (0, PICKS - 1)];
            if beside
                .iter()
                .any(|(right, up)| tones.at(end + right, pick + up) != tone)
            {
                continue;
            }
            let (right, kind) = match tone {
                Tone::Ground => (end % 5 + 1 == BROOKS[pick % 5], 0),
                Tone::Figure => (end % 8 + 1 != TAYLOR[pick % 8], 1),
                Tone::Shadow => continue,
            };
            assert_eq!(*square, right, "hook {}, pick {}", end + 1, pick + 1);
            checked[kind] += 1;
        }
    }
    assert!(
        checked[0] > 20_000,
        "ground squares checked: {}",
        checked[0]
    );
    assert!(checked[1] > 2_000, "figure squares checked: {}", checked[1]);
}

/// A regular satin steps by a counter that shares no factor with its ends and
/// is neither 1 nor one less than them: 2 on 5 ends, 3 on 8 (Wolfensberger,
/// *Theory of Silk Weaving*). Every end is then bound once in a repeat.
#[test]
fn satins_are_regular_and_repeats_hold_whole_satins() {
    for (order, counter) in [(&BROOKS[..], 2), (&TAYLOR[..], 3)] {
        let ends = order.len();
        for (pick, end) in order.iter().enumerate() {
            let next = order[(pick + 1) % ends];
            assert_eq!((next + ends - end) % ends, counter);
        }
        let mut bound = order.to_vec();
        bound.sort_unstable();
        assert!(bound.into_iter().eq(1..=ends));
        assert_eq!(
            (HOOKS % ends, PICKS % ends),
            (0, 0),
            "the weave breaks at the join"
        );
    }
}

/// The longest run of squares painted alike on one ring of threads, going
/// round: the cloth is this repeat beside itself.
fn longest_run(ring: &[bool]) -> usize {
    let (mut longest, mut length) = (0, 0);
    for step in 0..2 * ring.len() {
        let same = step > 0 && ring[step % ring.len()] == ring[(step - 1) % ring.len()];
        length = if same { length + 1 } else { 1 };
        longest = longest.max(length);
    }
    longest
}

/// No thread floats over more than 12 others, on the face or the back, within
/// the repeat or across its joins (limit: common practice, no source).
#[test]
fn no_float_is_longer_than_twelve() {
    let towel = towel();
    for (pick, line) in towel.iter().enumerate() {
        assert!(
            longest_run(line) <= 12,
            "weft of pick {}: {}",
            pick + 1,
            longest_run(line)
        );
    }
    for end in 0..HOOKS {
        let warp: Vec<bool> = towel.iter().map(|line| line[end]).collect();
        assert!(
            longest_run(&warp) <= 12,
            "warp of hook {}: {}",
            end + 1,
            longest_run(&warp)
        );
    }
}

/// Outlines are clean: every binding dot that still touches another tone is
/// one the cloth needs, as painting it over would leave a float over more than
/// 12 threads (common practice, no source). Most such dots are gone.
#[test]
fn dots_at_an_edge_stay_only_to_bind_a_float() {
    let tones = tones(&drawing(), 0).expect("three flat tones");
    let towel = towel();
    let (mut dropped, mut kept) = (0, 0);
    for (pick, line) in towel.iter().enumerate() {
        for (end, square) in line.iter().enumerate() {
            let tone = tones.at(end, pick);
            let beside = [(1, 0), (HOOKS - 1, 0), (0, 1), (0, PICKS - 1)];
            let touches = beside
                .iter()
                .any(|(right, up)| tones.at(end + right, pick + up) != tone);
            let woven_as_dot = match tone {
                Tone::Ground => raised(tone, end, pick),
                Tone::Figure => !raised(tone, end, pick),
                Tone::Shadow => false,
            };
            if !touches || !woven_as_dot {
                continue;
            }
            if *square == (tone == Tone::Figure) {
                dropped += 1;
                continue;
            }
            kept += 1;
            let mut weft = line.clone();
            let mut warp: Vec<bool> = towel.iter().map(|line| line[end]).collect();
            weft[end] = !square;
            warp[pick] = !square;
            assert!(
                longest_run(&weft) > 12 || longest_run(&warp) > 12,
                "hook {}, pick {}: this dot roughens the outline for nothing",
                end + 1,
                pick + 1
            );
        }
    }
    assert!(dropped > 2 * kept, "{dropped} dropped, {kept} kept");
}

#[test]
fn longest_run_counts_across_the_join() {
    let ring = [true, true, false, true, false, false, true, true, true];
    assert_eq!(longest_run(&ring), 5);
}

/// Two repeats side by side are one picture: seen from the middle of one to
/// the middle of the next, every square is where it was.
#[test]
fn drawing_joins_sideways() {
    let svg = drawing();
    let whole = tones(&svg, 0).expect("three flat tones");
    let moved = tones(&svg, HOOKS / 2).expect("three flat tones");
    for pick in 0..PICKS {
        for end in 0..HOOKS {
            assert_eq!(moved.at(end, pick), whole.at(end + HOOKS / 2, pick));
        }
    }
    let between_borders = 12..PICKS - 12;
    let crosses = between_borders
        .filter(|pick| {
            whole.at(0, *pick) != Tone::Ground && whole.at(HOOKS - 1, *pick) != Tone::Ground
        })
        .count();
    assert!(
        crosses >= 10,
        "the sedge should cross the join, {crosses} picks do"
    );
}

#[test]
fn refusals_name_the_place_and_the_remedy() {
    let frame = |size: &str, inside: &str| {
        format!(r#"<svg xmlns="http://www.w3.org/2000/svg" {size}>{inside}</svg>"#)
    };
    let size = r#"width="400" height="160""#;
    let red = frame(size, r##"<path fill="#ff0000" d="M9,158 h1 v1 h-1 Z"/>"##);
    let refused = tones(&red, 0).expect_err("red is no tone");
    assert!(matches!(
        refused,
        PaintingError::Colour {
            hook: 10,
            pick: 2,
            red: 255,
            ..
        }
    ));
    assert!(refused.to_string().contains("hook 10, pick 2"));

    let small = frame(r#"width="300" height="160""#, "");
    assert!(matches!(tones(&small, 0), Err(PaintingError::Size { .. })));
    assert!(matches!(
        tones("not a drawing", 0),
        Err(PaintingError::Unreadable(_))
    ));
}
