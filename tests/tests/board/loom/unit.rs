//! A board at a loom and nothing else.

use cardwright_protocol::card::strokes_crc;
use cardwright_protocol::host_to_unit::{CardHeader, Exercise, Work};
use cardwright_protocol::loom::{Happening, LoomLine};
use cardwright_protocol::unit_to_host::{Refusal, Role};
use cardwright_protocol::{Attempt, CardId, CardNumber, HostToUnit, JobNumber, UnitToHost, usb};
use cardwright_tests::emulated::EmulatedUnit;
use cardwright_virtual::loom::{LoomWorld, WeaverSettings};
use cardwright_virtual::{Faults, LoomOptions, World, WorldSettings};

use super::driven::driven;
use super::{
    SEEN_WITHIN_US, assert_seen, configure, events, finished, picks, seen_beside_a_rig, settings,
    weave,
};
use crate::bench::{FOUND_WITHIN_US, NUMBER, deck, image, rig};
use crate::session::Session;

/// A board at a loom alone, found by the host. The loom is at rest, its shuttle in
/// the left box.
pub fn loom_unit() -> EmulatedUnit {
    let mut world = World::new(WorldSettings::default(), &Faults::default());
    world.put_loom(LoomOptions::default());
    let mut unit = EmulatedUnit::at_loom_only(world, image(), NUMBER, 1_500_000);
    let deadline = unit.now().plus(FOUND_WITHIN_US);
    assert!(unit.run_until_found(deadline), "the board was not found");
    unit
}

/// Everything that a host can order a rig to do.
fn orders_of_a_rig() -> Vec<HostToUnit> {
    let deck = deck("400", 1, 1);
    let strokes = deck.strokes(CardNumber(1)).expect("a card");
    let id = CardId {
        job: JobNumber(1),
        card: CardNumber(1),
        attempt: Attempt(1),
    };
    let header = CardHeader {
        id,
        work: Work::Cut,
        strokes: strokes.len() as u16,
        crc: strokes_crc(id, &strokes),
        more: false,
    };
    let first = strokes.iter().take(48).copied().collect();
    vec![
        HostToUnit::Configure(rig().settings(deck.format())),
        HostToUnit::Reset,
        HostToUnit::Card(header),
        HostToUnit::Strokes {
            id,
            first: 0,
            strokes: first,
        },
        HostToUnit::Start,
        HostToUnit::Pause,
        HostToUnit::Resume,
        HostToUnit::Stop,
        HostToUnit::Exercise(Exercise::BlankStroke),
        HostToUnit::Exercise(Exercise::Feed(10_000)),
        HostToUnit::Exercise(Exercise::Lamp),
        HostToUnit::CardLaidIn,
        HostToUnit::DropQueue,
    ]
}

#[test]
fn a_board_with_both_sensors_of_the_block_tied_high_is_a_loom_unit_and_no_rig() {
    let mut unit = loom_unit();
    unit.keep_trace(true);
    assert_eq!(unit.usb_identity().product, usb::product_name(Role::Loom));
    assert_eq!(unit.usb_identity().product, "cardwright loom unit");
    let mut session = Session::open(&mut unit);
    let identity = session.identity(&mut unit);
    assert_eq!((identity.role, identity.board), (Role::Loom, NUMBER));
    for order in orders_of_a_rig() {
        session.tell(&mut unit, &order);
        let refusal = session.hear(&mut unit, |message| match message {
            UnitToHost::Refused(refusal) => Some(*refusal),
            _ => None,
        });
        assert_eq!(refusal, Refusal::NoSuchPart, "{order:?}");
    }
    session.run_for(&mut unit, 500_000);
    assert_eq!(unit.take_trace(), [], "an output of the rig has changed");
    assert_eq!(unit.resets(), []);
}

/// A hand loom as it is, and a weaver in a hurry.
#[test]
fn at_a_loom_unit_all_eight_lines_are_seen() {
    let mut unit = loom_unit();
    unit.keep_trace(true);
    unit.keep_lines(true);
    let mut session = Session::open(&mut unit);
    configure(&mut session, &mut unit, settings(0xFF, 9_000));
    let at_rest = LoomLine::BoxLeft.bit();
    let picks = picks(24, 3, 95);
    let weaver = WeaverSettings {
        winds_on_every: 4,
        picks_a_cm: 10.0,
        half_turns: 0.1,
        ..WeaverSettings::default()
    };
    weave(
        &mut unit.world_mut(),
        LoomWorld::default(),
        picks.clone(),
        weaver,
    );
    while !finished(&unit) {
        session.run_for(&mut unit, 100_000);
    }
    session.run_for(&mut unit, 300_000);
    let told = events(&mut session, &mut unit, 0);
    let bounce_us = LoomWorld::default().bounce_us;
    let driven = driven(&unit.take_lines(), at_rest, bounce_us);
    // of a first change that is taken back within a look nothing is seen
    let longest = assert_seen(&told, &driven, bounce_us + SEEN_WITHIN_US);
    let count = |what| told.iter().filter(|event| event.what == what).count() as u64;
    let counts = unit.world().loom().expect("it stands there").counts();
    assert_eq!(count(Happening::ShuttleLeft), counts.left);
    assert_eq!(count(Happening::ShuttleRight), counts.right);
    assert_eq!(count(Happening::TakenUp), counts.edges_on);
    assert!(counts.left > 0 && counts.right > 0 && counts.edges_on > 0);
    let others = [
        Happening::ShuttleLeft,
        Happening::ShuttleRight,
        Happening::TakenUp,
    ];
    let beside: Vec<_> = told
        .iter()
        .map(|event| event.what)
        .filter(|what| !others.contains(what))
        .collect();
    assert_eq!(beside, seen_beside_a_rig(&picks));
    assert_eq!(unit.take_trace(), [], "an output of the rig has changed");
    println!("{} events, {longest} us late at most", told.len());
}
