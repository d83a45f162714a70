//! The loom's sensors: what bounces, what flutters and what comes late must
//! neither add a pick nor lose one, and what waits for the host must come out as it
//! went in.

use cardwright_protocol::Micros;
use cardwright_protocol::loom::{
    EVENTS_HELD, GRAIN_US, Happening, LoomEvent, LoomLine, LoomSettings,
};
use cardwright_rig::loom::{Sensors, Store, can_work_with};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeSet;

const SETTLE_US: u32 = 9_000;

/// Longest bounce of the sensors tried.
const BOUNCE_US: u64 = 8_000;

const SETTINGS: LoomSettings = LoomSettings {
    fitted: 0xFF,
    inverted: 0,
    settle_us: [SETTLE_US; 8],
    cylinder_swapped: false,
    take_up_swapped: false,
    take_up_edges: 4,
};

/// The moments at which each line changes, with the chatter before it stays.
#[derive(Default)]
struct Wires {
    flips: BTreeSet<(u64, u8, u32)>,
    count: u32,
}

impl Wires {
    /// A line changes, and chatters for up to `bounce_us`: an even number of flips
    /// beside the one that stays.
    fn change(&mut self, rng: &mut impl Rng, at: u64, line: LoomLine, bounce_us: u64) {
        self.flip(at, line);
        for _ in 0..rng.random_range(0..4) * 2 {
            let later = rng.random_range(0..=bounce_us);
            self.flip(at + later, line);
        }
    }

    fn flip(&mut self, at: u64, line: LoomLine) {
        self.count += 1;
        self.flips.insert((at, line.bit(), self.count));
    }

    /// What the sensors make of it, looked at whenever a line changes and
    /// whenever they ask for it.
    fn seen(&self, settings: LoomSettings) -> Vec<LoomEvent> {
        let (mut sensors, mut told) = (Sensors::new(), Vec::new());
        let mut levels = settings.inverted;
        sensors.configure(settings, levels, Micros(0));
        let mut look = |sensors: &mut Sensors, now, levels| {
            sensors.look(Micros(now), levels, &mut |event| told.push(event));
        };
        for (at, bit, _) in &self.flips {
            while sensors.next_wake().0 < *at {
                let now = sensors.next_wake().0;
                look(&mut sensors, now, levels);
            }
            levels ^= bit;
            look(&mut sensors, *at, levels);
        }
        while sensors.next_wake() < Micros::NEVER {
            let now = sensors.next_wake().0;
            look(&mut sensors, now, levels);
        }
        told
    }
}

/// The four edges of a card's turn.
fn turn(wires: &mut Wires, rng: &mut impl Rng, at: u64, forward: bool, edge_us: u64, bounce: u64) {
    use LoomLine::{CylinderA as A, CylinderB as B};
    let order = if forward { [A, B, A, B] } else { [B, A, B, A] };
    for (n, line) in (0..).zip(order) {
        wires.change(rng, at + n * edge_us, line, bounce);
    }
}

#[test]
fn bounce_neither_adds_nor_loses_and_events_keep_their_order() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let (mut wires, mut truth, mut at) = (Wires::default(), Vec::new(), 1_000_000);
    for pick in 0..2_000_u64 {
        let forward = rng.random_bool(0.9);
        // the last edge of the turn, then lift, box and beat close upon it
        turn(&mut wires, &mut rng, at, forward, 19_000, BOUNCE_US);
        let turned = at + 3 * 19_000;
        truth.push((
            turned,
            if forward {
                Happening::CardForward
            } else {
                Happening::CardBack
            },
        ));
        let (from, into, told) = if pick % 2 == 0 {
            (
                LoomLine::BoxLeft,
                LoomLine::BoxRight,
                Happening::ShuttleRight,
            )
        } else {
            (
                LoomLine::BoxRight,
                LoomLine::BoxLeft,
                Happening::ShuttleLeft,
            )
        };
        let lift = turned + rng.random_range(1..5_000);
        let shuttle = lift + rng.random_range(30_000..60_000);
        let beat = shuttle + rng.random_range(1..20_000);
        for (moment, line, what) in [
            (lift, LoomLine::Griffe, Happening::Lift),
            (shuttle, into, told),
            (beat, LoomLine::Batten, Happening::Beat),
        ] {
            wires.change(&mut rng, moment, line, BOUNCE_US);
            truth.push((moment, what));
        }
        // the shuttle leaves its box; before the first pick there was none in it
        if pick > 0 {
            wires.change(&mut rng, lift + 10_000, from, BOUNCE_US);
        }
        wires.change(&mut rng, beat + 40_000, LoomLine::Batten, BOUNCE_US);
        wires.change(&mut rng, beat + 60_000, LoomLine::Griffe, BOUNCE_US);
        at = beat + rng.random_range(120_000..200_000);
    }
    let seen: Vec<_> = wires
        .seen(SETTINGS)
        .into_iter()
        .map(|event| (event.at_us, event.what))
        .collect();
    assert_eq!(seen, truth);
}

#[test]
fn without_settling_the_order_of_the_two_tracks_undoes_bounce() {
    // a track flutters until just before the other one changes; one that flutters on
    // while the other changes has truly gone back and forth
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let (mut wires, mut net, mut at) = (Wires::default(), 0_i64, 0);
    for _ in 0..5_000 {
        let forward = rng.random_bool(0.7);
        turn(&mut wires, &mut rng, at, forward, 250, 249);
        net += if forward { 1 } else { -1 };
        at += 3_000;
    }
    let settings = LoomSettings {
        settle_us: [0; 8],
        ..SETTINGS
    };
    let counted: i64 = wires
        .seen(settings)
        .iter()
        .map(|event| match event.what {
            Happening::CardForward => 1,
            Happening::CardBack => -1,
            _ => 0,
        })
        .sum();
    assert_eq!(counted, net);
}

#[test]
fn a_cylinder_that_turns_half_way_and_back_counts_nothing() {
    use LoomLine::{CylinderA as A, CylinderB as B};
    let mut wires = Wires::default();
    for (n, line) in (1..).zip([A, B, B, A, B, A, A, B]) {
        wires.flip(n * 50_000, line);
    }
    assert_eq!(wires.seen(SETTINGS), []);
}

#[test]
fn both_tracks_at_once_are_not_guessed() {
    use LoomLine::{CylinderA as A, CylinderB as B};
    let mut wires = Wires::default();
    for (at, line) in [
        (1, A),
        (1, B),
        (2, A),
        (3, B),
        (4, A),
        (5, B),
        (6, A),
        (7, B),
    ] {
        wires.flip(at * 50_000, line);
    }
    let seen: Vec<_> = wires
        .seen(SETTINGS)
        .iter()
        .map(|event| event.what)
        .collect();
    assert_eq!(seen, [Happening::CylinderUnclear, Happening::CardForward]);
}

#[test]
fn a_line_that_chatters_for_ever_holds_up_no_other() {
    let mut wires = Wires::default();
    for n in 0..1_000 {
        wires.flip(n * 1_000, LoomLine::BoxLeft);
    }
    wires.flip(400_500, LoomLine::Batten);
    let seen = wires.seen(SETTINGS);
    assert_eq!(
        seen.iter().map(|event| event.what).collect::<Vec<_>>(),
        [Happening::Beat]
    );
}

#[test]
fn wiring_the_other_way_round_is_a_setting() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let mut wires = Wires::default();
    turn(&mut wires, &mut rng, 100_000, true, 20_000, BOUNCE_US);
    wires.flip(400_000, LoomLine::Batten);
    let what = |settings| -> Vec<_> { wires.seen(settings).iter().map(|e| e.what).collect() };
    let inverted = LoomSettings {
        inverted: LoomLine::Batten.bit(),
        cylinder_swapped: true,
        ..SETTINGS
    };
    assert_eq!(what(inverted), [Happening::CardBack, Happening::Beat]);
    let without = LoomSettings {
        fitted: LoomLine::CylinderA.bit() | LoomLine::CylinderB.bit(),
        ..SETTINGS
    };
    assert_eq!(what(without), [Happening::CardForward]);
}

#[test]
fn settings_that_cannot_be_worked_with_are_refused() {
    assert!(can_work_with(&SETTINGS));
    let mut long = SETTINGS;
    long.settle_us[7] = 200_001;
    assert!(!can_work_with(&long));
    assert!(!can_work_with(&LoomSettings {
        take_up_edges: 0,
        ..SETTINGS
    }));
}

#[test]
fn before_it_is_configured_nothing_is_counted() {
    let mut sensors = Sensors::new();
    for at in 0..100 {
        sensors.look(Micros(at * 20_000), (at % 2 * 8) as u8, &mut |event| {
            panic!("{event:?}")
        });
    }
}

/// The store against the plainest list there is.
#[test]
fn events_come_out_as_they_went_in_from_any_number_still_there() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let kinds = [
        Happening::CardForward,
        Happening::Beat,
        Happening::LetOff,
        Happening::TakenUp,
    ];
    let (mut book, mut all) = (
        cardwright_rig::loom::Book::new(Box::<Store>::default()),
        Vec::new(),
    );
    let (mut at, mut stored, mut told) = (0_u64, 0_u32, 0_u32);
    for round in 0..300 {
        for _ in 0..rng.random_range(0..60) {
            // a rest of many hours now and then
            at += if rng.random_bool(0.01) {
                90_000_000_000
            } else {
                rng.random_range(0..400_000)
            };
            let what = kinds[rng.random_range(0..kinds.len())];
            book.note(LoomEvent { at_us: at, what });
            let at_us = at / GRAIN_US * GRAIN_US;
            all.push(LoomEvent { at_us, what });
        }
        stored = rng.random_range(stored..=told);
        // now and then another host, which knows only what is stored
        if round % 7 == 0 {
            book.hush();
            told = stored;
        }
        book.send_from(stored).expect("it is there");
        while let Some(message) = book.take_message() {
            assert_eq!(message.first, told);
            for event in &message.events {
                assert_eq!(*event, all[told as usize]);
                told += 1;
            }
        }
        assert_eq!(told as usize, all.len(), "some were not told");
    }
}

#[test]
fn four_thousand_and_more_wait_for_a_host_that_is_away() {
    let mut book = cardwright_rig::loom::Book::new(Box::<Store>::default());
    for n in 0..10_000_u64 {
        book.note(LoomEvent {
            at_us: n * 75_000,
            what: Happening::Beat,
        });
    }
    let status = book.status(Micros(0));
    assert!(
        status.next - status.first >= EVENTS_HELD as u32,
        "{status:?}"
    );
    assert_eq!((status.next, status.counts.beats), (10_000, 10_000));
    assert!(book.send_from(status.first - 1).is_err(), "it was let go");
    assert!(book.send_from(10_001).is_err(), "it has not come yet");
    book.send_from(status.first).expect("the oldest");
    let mut number = status.first;
    while let Some(message) = book.take_message() {
        assert_eq!(message.first, number);
        for event in &message.events {
            assert_eq!(
                event.at_us,
                u64::from(number) * 75_000 / GRAIN_US * GRAIN_US
            );
            number += 1;
        }
    }
    assert_eq!(number, 10_000);
}
