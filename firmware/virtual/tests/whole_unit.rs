//! The unchanged firmware core in the modelled world: cards are really cut,
//! and what is read is what the light shows.

mod common;

use cardwright_protocol::card::Row;
use cardwright_protocol::{Micros, Stroke};
use cardwright_virtual::attendant::{Attendant, Watch};
use cardwright_virtual::faults::FaultKind;
use cardwright_virtual::truth::Fate;
use cardwright_virtual::world::Output;
use cardwright_virtual::{
    CabledUnit, Faults, LineSettings, Nameplate, VirtualUnit, World, WorldSettings,
};
use common::{SmallHost, card_400};

fn unit(settings: WorldSettings, faults: &Faults, blanks: u64) -> CabledUnit {
    let mut world = World::new(settings, faults);
    world.fill_magazine(blanks);
    let unit = VirtualUnit::new(world, Nameplate::default());
    CabledUnit::new(unit, &LineSettings::sound(115_200, 1_000), 2_000_000)
}

fn cards(count: u16) -> Vec<Vec<Stroke>> {
    (0..count)
        .map(|n| card_400(|row| Row((row * 37 + n * 11) & 0xff)))
        .collect()
}

#[test]
fn three_cards_are_cut_as_sent_and_in_order() {
    let settings = WorldSettings::default();
    let mut cabled = unit(settings.clone(), &Faults::default(), 10);
    let cards = cards(3);
    let mut host = SmallHost::new(settings.as_told_to_unit(56), cards.clone());
    let done = host.run(&mut cabled, Micros(60_000_000), |_, cabled| {
        cabled.unit.world().truth().cards.len() == 3
    });
    assert!(
        done,
        "stops {:?}, said {:?}, readings {:?}",
        host.stops,
        host.said,
        host.readings.len()
    );
    let world = cabled.unit.world();
    assert_eq!(world.truth().strokes.len(), 3 * 56);
    for (card, strokes) in world.truth().cards.iter().zip(&cards) {
        assert_eq!(card.fate, Fate::Ejected);
        assert_eq!(card.matches(strokes, 8, settings.pitch_mm, 0.3), []);
    }
    let now = world.now();
    assert_eq!(world.truth().steps_in_card, 0);
    assert!(world.safety().most_coils_at_once() <= 4);
    assert!((1..=17).all(|hole| world.safety().coil_longest_us(hole, now) <= 80_000));
    assert!(world.safety().longest_on_us(Output::Stroke, now) <= 25_000);
}

#[test]
fn what_is_read_is_what_was_cut() {
    let settings = WorldSettings::default();
    let mut cabled = unit(settings.clone(), &Faults::default(), 10);
    let cards = cards(1);
    let mut host = SmallHost::new(settings.as_told_to_unit(56), cards.clone());
    host.run(&mut cabled, Micros(60_000_000), |host, _| {
        host.readings
            .first()
            .is_some_and(|reading| reading.ended.is_some())
    });
    let reading = &host.readings[0];
    let ended = reading.ended.expect("the card has ended");
    assert!(ended.complete, "{ended:?} {:?}", host.stops);
    assert!(
        (f64::from(ended.length_um) / 1000.0 - 402.6).abs() < 1.0,
        "{}",
        ended.length_um
    );
    assert_eq!(ended.lines, 58 * 8);
    let mut lines = vec![[0u8; 8]; 58 * 8];
    for (first, samples) in &reading.lines {
        for (n, line) in samples.chunks(8).enumerate() {
            lines[usize::from(*first) + n].copy_from_slice(line);
        }
    }
    // Line (s + 1) * 8 has stroke s under the bar. The peg holes, 10 mm wide,
    // open the middle channels of the strokes beside them.
    for (s, stroke) in cards[0]
        .iter()
        .enumerate()
        .filter(|(s, _)| (3..53).contains(s))
    {
        for hole in 1..=8u8 {
            let level = lines[(s + 1) * 8][usize::from(hole) - 1];
            let open = level > 110;
            assert_eq!(
                open,
                stroke.punches().has(hole),
                "stroke {s} hole {hole}: {level}"
            );
        }
    }
}

#[test]
fn opening_the_guard_stops_everything_at_once() {
    let settings = WorldSettings::default();
    let mut cabled = unit(settings.clone(), &Faults::default(), 10);
    let mut host = SmallHost::new(settings.as_told_to_unit(56), cards(2));
    host.run(&mut cabled, Micros(20_000_000), |_, cabled| {
        cabled.unit.world().truth().strokes_begun >= 20
    });
    cabled.unit.world_mut().open_guard();
    let strokes = cabled.unit.world().truth().strokes_begun;
    let later = cabled.now().plus(3_000_000);
    host.run(&mut cabled, later, |_, _| false);
    let world = cabled.unit.world();
    assert!(
        world
            .safety()
            .worst_step_after_us()
            .is_none_or(|us| us <= 1_000)
    );
    assert!(
        world
            .safety()
            .worst_drive_after_us(world.now())
            .is_none_or(|us| us <= 1_000)
    );
    assert_eq!(world.truth().strokes_begun, strokes);
    for output in [
        Output::FeedOn,
        Output::LocksOn,
        Output::Peg,
        Output::Stroke,
        Output::Pick,
        Output::Status,
    ] {
        assert!(!world.output(output), "{output:?}");
    }
    assert_eq!(host.stops.len(), 1);
}

#[test]
fn a_restarted_unit_comes_back_with_the_next_boot_number_and_still_outputs() {
    let settings = WorldSettings::default();
    let mut cabled = unit(settings.clone(), &Faults::default(), 10);
    let mut host = SmallHost::new(settings.as_told_to_unit(56), cards(2));
    host.run(&mut cabled, Micros(20_000_000), |_, cabled| {
        cabled.unit.world().truth().strokes_begun >= 20
    });
    assert_eq!(cabled.unit.boot(), 1);
    cabled.unit.restart();
    assert_eq!(cabled.unit.boot(), 2);
    for output in Output::ALL {
        assert!(!cabled.unit.world().output(output), "{output:?}");
    }
    assert_eq!(
        cabled.unit.world().cards_in_path(),
        1,
        "the world stays as it was"
    );
    // The host finds it again; the card in the path is run out, the others cut.
    host.to_send.clear();
    let later = cabled.now().plus(30_000_000);
    let found = host.run(&mut cabled, later, |host, _| {
        host.session == 8 && host.link.is_open()
    });
    assert!(found);
    host.to_send = cards(2).into();
    let again = host.run(&mut cabled, later, |host, cabled| {
        let whole = |reading: &common::Reading| reading.ended.is_some_and(|ended| ended.complete);
        host.readings
            .iter()
            .filter(|reading| whole(reading))
            .count()
            >= 2
            && cabled.unit.world().cards_in_path() == 0
    });
    assert!(again, "stops {:?}, said {:?}", host.stops, host.said);
}

#[test]
fn a_pulled_cable_comes_back_by_itself() {
    let settings = WorldSettings::default();
    let mut faults = Faults::seeded(4);
    faults.cable_pulled.rate = 1.0;
    let mut cabled = unit(settings.clone(), &faults, 10);
    let mut host = SmallHost::new(settings.as_told_to_unit(56), cards(1));
    let pulled = host.run(&mut cabled, Micros(20_000_000), |_, cabled| {
        !cabled.plugged()
    });
    assert!(pulled);
    let later = cabled.now().plus(2_000_001);
    cabled.run_to(later);
    assert!(cabled.plugged() || cabled.pulled() > 1);
}

#[test]
fn with_every_fault_about_nothing_moves_that_should_not() {
    let seed = 20;
    let settings = WorldSettings::default();
    let mut faults = Faults::all_at(0.004, seed);
    for fault in [
        &mut faults.doubled_feed,
        &mut faults.jam,
        &mut faults.dust,
        &mut faults.lamp_drift,
    ] {
        fault.rate = 0.1;
    }
    let mut cabled = unit(settings.clone(), &faults, 1_000);
    let mut host = SmallHost::new(settings.as_told_to_unit(56), cards(400));
    host.persistent = true;
    let who = Attendant {
        takes_out_stopped_us: Some(500_000),
        ..Attendant::mending_after(300_000)
    };
    let mut watch = Watch::new(who);
    let mut looked = Micros(0);
    host.run(&mut cabled, Micros(600_000_000), |_, cabled| {
        if cabled.now().since(looked) > 5_000 {
            looked = cabled.now();
            watch.look(&mut cabled.unit.world_mut());
        }
        false
    });
    let world = cabled.unit.world();
    let truth = world.truth();
    let seen = |kind| {
        assert!(
            truth.count(kind) > 0,
            "{kind:?} never came, seed {seed}, {} cards, {:?}, {:?}",
            truth.cards.len(),
            host.stops,
            host.said.iter().rev().take(5).collect::<Vec<_>>()
        )
    };
    let come = [
        FaultKind::Jam,
        FaultKind::StuckStroke,
        FaultKind::GuardOpened,
        FaultKind::StopPressed,
        FaultKind::UnitRestarted,
        FaultKind::CablePulled,
        FaultKind::DoubledFeed,
    ];
    come.into_iter().for_each(seen);
    assert!(
        truth.cards.len() > 20,
        "{} cards, stops {:?}",
        truth.cards.len(),
        host.stops
    );
    let now = world.now();
    assert!(
        world
            .safety()
            .worst_step_after_us()
            .is_none_or(|us| us <= 1_000),
        "seed {seed}"
    );
    assert!(
        world
            .safety()
            .worst_drive_after_us(now)
            .is_none_or(|us| us <= 1_000),
        "seed {seed}"
    );
    assert!(world.safety().most_coils_at_once() <= 4, "seed {seed}");
    assert!(
        (1..=17).all(|hole| world.safety().coil_longest_us(hole, now) <= 80_000),
        "seed {seed}"
    );
    assert_eq!(truth.steps_in_card, 0, "seed {seed}");
    // Every hole is one that the truth has a stroke for.
    for card in &truth.cards {
        for hole in &card.card.holes {
            assert!(
                hole.stroke
                    .is_some_and(|stroke| stroke < truth.strokes_begun)
            );
        }
    }
}
