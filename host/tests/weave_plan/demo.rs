//! Risk: the demo's plan does not go with the demo's deck, or weaves what its
//! README does not say.

use cardwright::cloth::{Cloth, Squares};
use cardwright::deck::Deck;
use cardwright::weave::{Plan, PlanError, Turns, Walk, Work};
use std::path::{Path, PathBuf};
use std::sync::Arc;

fn demo(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../demo-data")
        .join(name)
}

/// The deck that the demo makes of its paper.
fn towel() -> Deck {
    let cloth = Cloth::read(&demo("towel.toml")).expect("the cloth file");
    let paper = demo("curlew-paper.png");
    let picture = image::open(&paper).expect("the paper is there").to_rgb8();
    let paints = picture.pixels().map(|pixel| pixel.0).collect::<Vec<_>>();
    let read = Squares::recognise(&cloth, 400, paints).expect("in the cloth's colours");
    cloth.deck(&paper, &[], &read.squares).expect("a deck").0
}

#[test]
fn the_demo_weaves_a_towel_of_its_own_deck() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("towel-plan.toml");
    std::fs::copy(demo("towel-plan.toml"), &file).expect("a copy");
    // before the deck is made, the plan says which file is not there
    let error = Plan::read(&file).expect_err("no deck yet");
    assert!(matches!(error, PlanError::Deck { .. }));
    assert!(error.to_string().contains("towel.deck"), "{error}");
    let deck = folder.path().join("towel.deck");
    towel().write(&deck, false).expect("written");
    let plan = Plan::read(&file).expect("a plan");
    assert_eq!(plan.decks()[0].file, deck);
    assert_eq!(plan.cloth(), Some(&*folder.path().join("towel.toml")));
    // the numbers of demo-data/README.md
    assert_eq!(plan.wanted(), Some(1_560));
    assert_eq!(plan.sections()[2].repeats(), 5);
    let walk = Walk::new(Arc::new(plan));
    assert_eq!(walk.len(), 1_748);
    let panel = 158 - 72;
    assert_eq!(walk.len() - 5 * 318, 158);
    let pick = walk.pick(panel).expect("within the plan");
    assert_eq!((pick.section_name, pick.step), ("panel", 0));
    // no hand is needed: the chain is turned back wherever the cards turn
    let by_hand = (0..walk.len()).filter(|number| {
        let pick = walk.pick(*number);
        pick.is_some_and(|pick| matches!(pick.turns, Turns::ByHand { .. }))
    });
    assert_eq!(by_hand.count(), 0);
    let turning = walk.pick(panel + 159).expect("within the plan");
    assert!(matches!(turning.work, Work::Card { card, .. } if card.0 == 160));
    assert_eq!(turning.after.len(), 1);
    let measured = walk.pick(panel + 317).expect("within the plan");
    assert_eq!(measured.after, ["measure"]);
}

/// The plan explains every key there is, so every key that a refusal names is in it.
#[test]
fn the_demo_names_every_key() {
    let text = std::fs::read_to_string(demo("towel-plan.toml")).expect("the plan");
    let keys_after = |from: &str, to: &str| {
        let text = text.replacen(from, to, 1);
        let none = &mut |_: &Path| Ok(towel());
        let error = Plan::parse(&text, Path::new("plan.toml"), none).expect_err(to);
        let error = error.to_string();
        let (_, keys) = error.split_once("its keys are ").expect("a list of keys");
        keys.split(", ").map(str::to_owned).collect::<Vec<String>>()
    };
    let keys = [
        keys_after("name =", "nmae ="),
        keys_after("ground = 60", "grund = 60"),
        keys_after("after_pick", "afterpick"),
        keys_after("every = 11", "evry = 11"),
        keys_after("per =", "pro ="),
    ];
    for key in keys.iter().flatten() {
        assert!(text.contains(key), "{key} is explained in the demo's plan");
    }
}
