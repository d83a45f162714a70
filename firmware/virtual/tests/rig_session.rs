//! The unit and its host: a host that stalls, falls silent, is replaced, asks
//! without end; a unit that restarts. If one of these fails, the rig waits or
//! stops for nothing, cuts on with nobody there, or readings are lost.

mod common;

use cardwright_protocol::card::{CardId, Row};
use cardwright_protocol::frame::MOST_WIRE;
use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::link::{HostEvent, HostLink, Versions};
use cardwright_protocol::unit_to_host::{State, StopReason};
use cardwright_protocol::{HostToUnit, Micros, Stroke, UnitToHost};
use cardwright_virtual::world::{Input, Output};
use cardwright_virtual::{
    CabledUnit, Faults, LineSettings, Nameplate, VirtualUnit, World, WorldSettings,
};
use common::{SmallHost, card_400};

fn unit() -> (WorldSettings, CabledUnit) {
    let settings = WorldSettings::default();
    let mut world = World::new(settings.clone(), &Faults::default());
    world.fill_magazine(20);
    let unit = VirtualUnit::new(world, Nameplate::default());
    let cabled = CabledUnit::new(unit, &LineSettings::sound(115_200, 1_000), 2_000_000);
    (settings, cabled)
}

fn cards(count: u16) -> Vec<Vec<Stroke>> {
    (0..count)
        .map(|n| card_400(|row| Row((row * 37 + n * 11) & 0xff)))
        .collect()
}

/// A unit that has begun so many strokes of several cards.
fn working(strokes: u64) -> (SmallHost, CabledUnit) {
    let (settings, mut cabled) = unit();
    let mut host = SmallHost::new(settings.as_told_to_unit(56), cards(4));
    let begun = host.run(&mut cabled, Micros(60_000_000), |_, cabled| {
        cabled.unit.world().truth().strokes_begun >= strokes
    });
    assert!(begun);
    (host, cabled)
}

fn strokes(cabled: &CabledUnit) -> u64 {
    cabled.unit.world().truth().strokes_begun
}

#[test]
fn a_host_that_stalls_for_less_than_a_second_costs_nothing() {
    let (mut host, mut cabled) = working(10);
    for _ in 0..4 {
        let before = strokes(&cabled);
        let from = cabled.now();
        cabled.run_to(from.plus(850_000));
        assert!(strokes(&cabled) > before, "it went on cutting meanwhile");
        let later = cabled.now().plus(400_000);
        host.run(&mut cabled, later, |_, _| false);
    }
    assert_eq!(host.stops, []);
    let later = cabled.now().plus(60_000_000);
    assert!(host.run(&mut cabled, later, |host, _| host.readings.len() == 4));
    assert!(
        !host
            .said
            .contains(&UnitToHost::State(State::WaitingForRows)),
        "{:?}",
        host.said
    );
}

#[test]
fn a_host_silent_for_a_second_stops_the_rig_between_strokes_and_soon() {
    for at in [1, 7, 20, 33, 56, 60] {
        let (_, mut cabled) = working(at);
        let from = cabled.now();
        cabled.run_to(from.plus(1_200_000));
        let world = cabled.unit.world();
        for output in Output::ALL {
            assert!(!world.output(output), "{at} strokes: {output:?}");
        }
        assert!(world.input(Input::BlockUp), "{at} strokes: the block is up");
        drop(world);
        let (made, steps) = (strokes(&cabled), cabled.unit.world().safety().step_count());
        cabled.run_to(from.plus(10_000_000));
        assert_eq!(strokes(&cabled), made);
        assert_eq!(cabled.unit.world().safety().step_count(), steps);
    }
}

#[test]
fn a_host_that_asks_without_end_and_dies_is_still_found_silent() {
    let (mut host, mut cabled) = working(10);
    // It is heard, but takes nothing any more: what the unit has to say piles
    // up. Then it asks, and falls silent.
    let mut wire = [0; MOST_WIRE];
    for n in 0..120 {
        if n >= 80 {
            let _ = host.link.send(&HostToUnit::Ask(Question::Status));
        }
        let now = cabled.now();
        while let Some(length) = host.link.pull(now, &mut wire) {
            cabled.send(&wire[..length]);
        }
        cabled.run_to(now.plus(5_000));
        while cabled.take().is_some() {}
    }
    let last = cabled.now();
    cabled.run_to(last.plus(1_500_000));
    assert!(!cabled.unit.world().output(Output::Status), "it is stopped");
}

/// A second host, that only listens and says what it is told to.
struct Listener {
    link: HostLink,
    heard: Vec<UnitToHost>,
}

impl Listener {
    fn open(session: u32, cabled: &CabledUnit) -> Listener {
        let mut link = HostLink::new(Versions::CURRENT);
        link.open(session, cabled.now());
        Listener {
            link,
            heard: Vec::new(),
        }
    }

    fn run(&mut self, cabled: &mut CabledUnit, us: u64) {
        let end = cabled.now().plus(us);
        let mut wire = [0; MOST_WIRE];
        while cabled.now() < end {
            let now = cabled.now();
            while cabled.to_unit.backlog(now) < 512 {
                let Some(length) = self.link.pull(now, &mut wire) else {
                    break;
                };
                cabled.send(&wire[..length]);
            }
            let wake = self.link.next_wake().max(now.plus(500)).min(end);
            let now = cabled.run_until_heard(wake);
            while let Some(bytes) = cabled.take() {
                self.link.receive(&bytes, now);
            }
            while let Some(event) = self.link.event() {
                if let HostEvent::Message(message) = event {
                    self.heard.push(message);
                }
            }
        }
    }

    fn say(&mut self, message: &HostToUnit) {
        self.link.send(message).expect("room");
    }
}

#[test]
fn another_host_stops_the_rig_between_strokes_and_starts_with_whole_credit() {
    for at in [1, 9, 30, 58] {
        let (_, mut cabled) = working(at);
        let mut second = Listener::open(99, &cabled);
        second.run(&mut cabled, 600_000);
        let stop = second.heard.iter().find_map(|message| match message {
            UnitToHost::Stopped(stop) => Some(*stop),
            _ => None,
        });
        assert_eq!(
            stop.map(|stop| stop.reason),
            Some(StopReason::HostReplaced),
            "{at}"
        );
        assert!(cabled.unit.world().input(Input::BlockUp));
        let credit = second.heard.iter().rev().find_map(|message| match message {
            UnitToHost::Credit { strokes, cards } => Some((*strokes, *cards)),
            _ => None,
        });
        assert_eq!(
            credit,
            Some((256, 4)),
            "{at}: nothing of the old host's is left"
        );
        let made = strokes(&cabled);
        second.say(&HostToUnit::Start);
        second.run(&mut cabled, 3_000_000);
        assert_eq!(strokes(&cabled), made, "no start without a reset");
    }
}

#[test]
fn readings_that_one_host_never_recorded_come_to_the_next_byte_for_byte() {
    let (settings, mut cabled) = unit();
    let mut first = SmallHost::new(settings.as_told_to_unit(56), cards(1));
    let read = first.run(&mut cabled, Micros(60_000_000), |host, _| {
        host.readings
            .first()
            .is_some_and(|reading| reading.ended.is_some())
    });
    assert!(read, "and its note that it is recorded never left");
    let reading = &first.readings[0];
    let ended = reading.ended.expect("it has ended");
    let id: CardId = ended.id;

    let mut second = Listener::open(99, &cabled);
    second.run(&mut cabled, 500_000);
    assert!(
        !second
            .heard
            .iter()
            .any(|message| matches!(message, UnitToHost::Lines { .. }))
    );
    second.say(&HostToUnit::Ask(Question::Status));
    second.say(&HostToUnit::Resend(id));
    second.run(&mut cabled, 2_000_000);
    let held = second.heard.iter().find_map(|message| match message {
        UnitToHost::Status(status) => Some(status.held.to_vec()),
        _ => None,
    });
    assert_eq!(held, Some(vec![ended]));
    let lines: Vec<_> = second
        .heard
        .iter()
        .filter_map(|message| match message {
            UnitToHost::Lines { first, samples, .. } => Some((*first, samples.to_vec())),
            _ => None,
        })
        .collect();
    assert_eq!(lines, reading.lines);
    assert!(second.heard.contains(&UnitToHost::CardEnded(ended)));

    // recorded, it is gone, and asking again is refused
    second.heard.clear();
    second.say(&HostToUnit::Recorded(id));
    second.say(&HostToUnit::Resend(id));
    second.run(&mut cabled, 500_000);
    let refusal = cardwright_protocol::unit_to_host::Refusal::NoSuchCard(id);
    assert_eq!(second.heard, [UnitToHost::Refused(refusal)]);
}

#[test]
fn a_unit_that_restarts_moves_nothing_until_it_is_reset_and_started() {
    for at in [1, 9, 30, 58] {
        let (mut host, mut cabled) = working(at);
        cabled.unit.restart();
        let (made, steps) = (strokes(&cabled), cabled.unit.world().safety().step_count());
        // a host that knows only to send cards, and to start
        host.to_send = cards(2).into();
        let mut second = Listener::open(99, &cabled);
        second.run(&mut cabled, 1_000_000);
        second.say(&HostToUnit::Start);
        second.say(&HostToUnit::Ask(Question::Identity));
        second.run(&mut cabled, 2_000_000);
        assert_eq!(strokes(&cabled), made);
        assert_eq!(cabled.unit.world().safety().step_count(), steps);
        let boot = second.heard.iter().find_map(|message| match message {
            UnitToHost::Identity(identity) => Some(identity.boot),
            _ => None,
        });
        assert_eq!(boot, Some(2));
    }
}
