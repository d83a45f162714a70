//! The link in session: every message exactly once and in order, whatever the
//! line does to it; silence noticed; nobody overrun, nothing flooded.

mod common;

use cardwright_protocol::card::{CardNumber, Row, Stroke};
use cardwright_protocol::frame::{FrameReader, MOST_PAYLOAD, Packet};
use cardwright_protocol::link::{
    ACK_DELAY_US, HEARTBEAT_US, HOST_SLOTS, HostEvent, HostLink, SendError, UNIT_SLOTS, UnitEvent,
    UnitLink,
};
use cardwright_protocol::{CardId, HostToUnit, Micros, UnitToHost};
use common::line::Faults;
use common::messages::ID;
use common::two_ends::TwoEnds;
use proptest::prelude::*;

const SECOND: u64 = 1_000_000;

fn id(n: u32) -> CardId {
    CardId {
        card: CardNumber(n),
        ..ID
    }
}

/// Message number `n`, of a length that changes with it.
fn up(n: u32) -> HostToUnit {
    let strokes = (0..n * 7 % 49)
        .map(|s| Stroke::Needles(Row((n * 31 + s) as u16)))
        .collect();
    HostToUnit::Strokes {
        id: id(n),
        first: 0,
        strokes,
    }
}

/// Message number `n`, of a length that changes with it.
fn down(n: u32) -> UnitToHost {
    let samples = (0..n * 11 % 193).map(|s| (n + s) as u8).collect();
    UnitToHost::Lines {
        id: id(n),
        first: 0,
        samples,
    }
}

fn data_numbers(sent: &[(u64, Vec<u8>)]) -> Vec<(u64, u32)> {
    packets(sent, |packet| match packet {
        Packet::Data { sequence, .. } => Some(sequence),
        _ => None,
    })
}

fn packets<T>(sent: &[(u64, Vec<u8>)], pick: impl Fn(Packet) -> Option<T>) -> Vec<(u64, T)> {
    let picked = |(time, wire): &(u64, Vec<u8>)| {
        let mut bytes = wire.as_slice();
        pick(FrameReader::new().next_frame(&mut bytes)?.packet).map(|it| (*time, it))
    };
    sent.iter().filter_map(picked).collect()
}

/// Sends `count` messages each way as room allows, runs until all are there,
/// and checks that each came once and in order.
fn exchange(ends: &mut TwoEnds, count: u32, within_us: u64) -> Result<(), TestCaseError> {
    let until = ends.now + within_us;
    let (mut sent_up, mut sent_down) = (0, 0);
    let (mut got_up, mut got_down) = (0, 0);
    while got_up < count || got_down < count {
        prop_assert!(
            ends.now < until,
            "{got_up} up and {got_down} down of {count} arrived"
        );
        while sent_up < count && ends.host.send(&up(sent_up)).is_ok() {
            sent_up += 1;
        }
        while sent_down < count && ends.unit.send(&down(sent_down)).is_ok() {
            sent_down += 1;
        }
        ends.step(until);
        for message in ends.unit_messages() {
            prop_assert_eq!(message, up(got_up));
            got_up += 1;
        }
        for message in ends.host_messages() {
            prop_assert_eq!(message, down(got_down));
            got_down += 1;
        }
    }
    // And nothing more comes after the last.
    ends.run_for(5 * SECOND);
    prop_assert!(ends.unit_messages().is_empty() && ends.host_messages().is_empty());
    Ok(())
}

fn any_faults() -> impl Strategy<Value = Faults> {
    let chance = || prop_oneof![Just(0.0), 0.0..0.25];
    (chance(), chance(), chance(), chance(), chance()).prop_map(
        |(loss, doubled, reordered, corrupted, cut_short)| Faults {
            loss,
            doubled,
            reordered,
            corrupted,
            cut_short,
        },
    )
}

proptest! {
    // A failure prints its seed; no file is left behind.
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_message_arrives_once_and_in_order(
        seed in any::<u64>(),
        faults in any_faults(),
        delay_us in 0_u64..60_000,
        slow in any::<bool>(),
    ) {
        let mut ends = TwoEnds::new(seed, faults, delay_us);
        if slow {
            (ends.up.byte_ns, ends.down.byte_ns) = (86_806, 86_806);
        }
        ends.host.open(70, Micros(ends.now));
        exchange(&mut ends, 200, 600 * SECOND)?;
    }
}

#[test]
fn a_clean_line_costs_no_repeats() {
    let mut ends = TwoEnds::open(1, 16_000);
    (ends.up.byte_ns, ends.down.byte_ns) = (86_806, 86_806);
    exchange(&mut ends, 2_000, 600 * SECOND).expect("all arrive");
    for counters in [ends.host.counters(), ends.unit.counters()] {
        let bad = counters.retransmissions + counters.duplicates + counters.damaged;
        assert_eq!(
            (bad, counters.no_slot, counters.ignored),
            (0, 0, 0),
            "{counters:?}"
        );
        assert_eq!(counters.messages_sent, 2_000);
    }
}

/// An idle line carries a heartbeat each 100 ms each way, and both ends know
/// that the other is there.
#[test]
fn heartbeats_keep_an_idle_line_alive() {
    let mut ends = TwoEnds::open(1, 16_000);
    let (up, down) = (ends.sent_up.len(), ends.sent_down.len());
    ends.run_for(60 * SECOND);
    let expected = (60 * SECOND / HEARTBEAT_US) as usize;
    for beats in [ends.sent_up.len() - up, ends.sent_down.len() - down] {
        assert!((expected - 1..=expected + 1).contains(&beats), "{beats}");
    }
    assert!(ends.host_events.is_empty() && ends.unit_events.is_empty());
    assert!(ends.now - ends.unit.last_heard().0 <= HEARTBEAT_US + 16_000);
}

#[test]
fn a_line_cut_for_more_than_a_second_is_noticed_once_and_mends() {
    let mut ends = TwoEnds::open(1, 16_000);
    (ends.up.broken, ends.down.broken) = (true, true);
    for n in 0..5 {
        ends.host.send(&up(n)).expect("room");
        ends.unit.send(&down(n)).expect("room");
    }
    ends.run_for(900_000);
    assert!(
        ends.host_events.is_empty() && ends.unit_events.is_empty(),
        "not yet"
    );
    ends.run_for(9 * SECOND);
    assert_eq!(ends.host_events, [HostEvent::Silent]);
    assert_eq!(ends.unit_events, [UnitEvent::HostSilent]);
    // Into the silence go heartbeats and no repeats.
    let repeats = (
        ends.host.counters().retransmissions,
        ends.unit.counters().retransmissions,
    );
    ends.run_for(5 * SECOND);
    assert_eq!(
        repeats,
        (
            ends.host.counters().retransmissions,
            ends.unit.counters().retransmissions
        )
    );
    (ends.up.broken, ends.down.broken) = (false, false);
    ends.run_for(5 * SECOND);
    assert_eq!(ends.unit_messages(), (0..5).map(up).collect::<Vec<_>>());
    assert_eq!(ends.host_messages(), (0..5).map(down).collect::<Vec<_>>());
    assert_eq!(ends.host_events, [HostEvent::Silent, HostEvent::Heard]);
    assert_eq!(ends.unit_events, [UnitEvent::HostSilent]);
    // A second silence is told again.
    (ends.up.broken, ends.down.broken) = (true, true);
    ends.run_for(2 * SECOND);
    assert_eq!(ends.host_events.last(), Some(&HostEvent::Silent));
    assert_eq!(
        ends.unit_events,
        [UnitEvent::HostSilent, UnitEvent::HostSilent]
    );
}

/// A stall shorter than the silence costs nothing but time.
#[test]
fn a_short_stall_is_nobodys_silence() {
    let mut ends = TwoEnds::open(1, 16_000);
    for _ in 0..20 {
        (ends.up.broken, ends.down.broken) = (true, true);
        ends.run_for(800_000);
        (ends.up.broken, ends.down.broken) = (false, false);
        ends.run_for(300_000);
    }
    assert!(ends.host_events.is_empty() && ends.unit_events.is_empty());
}

/// A program that takes no messages holds the sender up. Nothing is lost,
/// nothing is sent in vain, and it goes on as soon as messages are taken.
#[test]
fn messages_not_taken_hold_the_sender_up() {
    let mut ends = TwoEnds::open(1, 4_000);
    ends.unit_takes = false;
    let mut sent = 0;
    while ends.host.send(&up(sent)).is_ok() {
        sent += 1;
    }
    assert_eq!(sent as usize, HOST_SLOTS);
    ends.run_for(20 * SECOND);
    let numbers = data_numbers(&ends.sent_up);
    assert_eq!(
        numbers.len(),
        UNIT_SLOTS,
        "no more than the unit has slots for"
    );
    assert_eq!(ends.host.room(), UNIT_SLOTS, "what has arrived makes room");
    assert!(ends.host_events.is_empty(), "the unit is not silent");
    let counters = ends.unit.counters();
    assert_eq!((counters.no_slot, counters.duplicates), (0, 0));
    ends.unit_takes = true;
    ends.run_for(SECOND);
    assert_eq!(ends.unit_messages(), (0..sent).map(up).collect::<Vec<_>>());
    assert_eq!(ends.host.counters().retransmissions, 0);
}

/// The news that there is room again may be lost; a heartbeat brings it too.
#[test]
fn a_lost_word_of_new_room_does_not_stop_the_link() {
    let mut ends = TwoEnds::open(1, 4_000);
    ends.unit_takes = false;
    for n in 0..30 {
        ends.host.send(&up(n)).expect("room");
    }
    ends.run_for(SECOND);
    ends.unit_takes = true;
    ends.down.broken = true;
    ends.run_for(50_000);
    ends.down.broken = false;
    ends.run_for(2 * SECOND);
    assert_eq!(ends.unit_messages().len(), 30);
}

#[test]
fn no_more_is_on_the_way_than_the_unit_has_slots() {
    let mut ends = TwoEnds::open(1, 200_000);
    for n in 0..HOST_SLOTS as u32 {
        ends.host.send(&up(n)).expect("room");
    }
    assert_eq!(ends.host.send(&up(99)), Err(SendError::Full));
    ends.run_for(150_000);
    let numbers: Vec<u32> = data_numbers(&ends.sent_up)
        .into_iter()
        .map(|(_, n)| n)
        .collect();
    assert_eq!(numbers, (0..UNIT_SLOTS as u32).collect::<Vec<_>>());
}

/// With later messages arriving, one lost is sent again long before its wait
/// is over (RFC 5681, 3.2: on the third duplicate acknowledgement).
#[test]
fn three_duplicate_acknowledgements_bring_a_message_again() {
    let mut ends = TwoEnds::open(1, 50_000);
    let mut n = 0;
    // Settles the measured round trip.
    while n < 40 {
        ends.host.send(&up(n)).expect("room");
        n += 1;
        ends.run_for(130_000);
    }
    ends.up.broken = true;
    ends.host.send(&up(n)).expect("room");
    ends.run_for(1_000);
    ends.up.broken = false;
    let lost_at = ends.now;
    for later in 1..=3 {
        ends.host.send(&up(n + later)).expect("room");
        ends.run_for(1_000);
    }
    ends.run_for(500_000);
    let again: Vec<u64> = data_numbers(&ends.sent_up)
        .into_iter()
        .filter_map(|(time, number)| (number == n).then_some(time))
        .collect();
    assert_eq!(again.len(), 2, "once lost, once mended");
    assert!(again[1] - lost_at < 110_000, "{}", again[1] - lost_at);
    assert!(ends.host.counters().retry_us > 110_000);
    assert_eq!(ends.host.counters().retransmissions, 1);
    assert_eq!(ends.unit_messages().len(), n as usize + 4);
}

/// The round trip is measured, and never from a message sent twice (Karn).
#[test]
fn the_round_trip_is_measured_and_repeats_are_not() {
    let mut ends = TwoEnds::open(1, 40_000);
    ends.host.send(&up(0)).expect("room");
    ends.run_for(SECOND);
    let measured = ends.host.counters().rtt_us;
    assert!(
        (80_000..=80_000 + ACK_DELAY_US + 1_000).contains(&measured),
        "{measured}"
    );
    // The line takes so long of a sudden that the message is sent again before
    // the first one's acknowledgement is back. Counted from the repeat, that
    // would look like a short round trip.
    ends.up.delay_us = 500_000;
    ends.host.send(&up(1)).expect("room");
    ends.run_for(2 * SECOND);
    assert_eq!(ends.unit_messages().len(), 2);
    assert!(ends.host.counters().retransmissions >= 1);
    assert!(ends.unit.counters().duplicates >= 1);
    assert_eq!(ends.host.counters().rtt_us, measured);
    // A message sent only once counts again.
    ends.up.delay_us = 40_000;
    ends.run_for(2 * SECOND);
    ends.host.send(&up(2)).expect("room");
    ends.up.delay_us = 60_000;
    ends.run_for(SECOND);
    assert!(ends.host.counters().rtt_us > measured);
}

/// Acknowledgements wait for company: no more than one for two messages, and
/// none alone where messages go back anyway.
#[test]
fn acknowledgements_do_not_flood() {
    let mut ends = TwoEnds::open(1, 16_000);
    ends.up.byte_ns = 86_806;
    let before = ends.sent_down.len();
    let mut n = 0;
    let until = ends.now + 10 * SECOND;
    while ends.now < until {
        while ends.host.send(&up(n)).is_ok() {
            n += 1;
        }
        ends.step(until);
    }
    let acks = packets(&ends.sent_down[before..], |packet| {
        matches!(packet, Packet::Ack { .. }).then_some(())
    });
    let messages = ends.unit.counters().frames_received as usize;
    assert!(
        acks.len() * 2 <= messages + 2 && messages > 500,
        "{} {messages}",
        acks.len()
    );
}

#[test]
fn a_message_too_long_for_a_frame_is_refused_and_the_link_goes_on() {
    let mut ends = TwoEnds::open(1, 1_000);
    let counters = cardwright_protocol::unit_to_host::Counters {
        coil_on_us: [u64::MAX; 17],
        working_us: u64::MAX,
        waited_card_us: u64::MAX,
        waited_cool_us: u64::MAX,
        waited_record_us: u64::MAX,
        waited_rows_us: u64::MAX,
        ..Default::default()
    };
    assert_eq!(
        ends.unit.send(&UnitToHost::Counters(counters)),
        Err(SendError::TooLong)
    );
    assert_eq!(ends.unit.room(), UNIT_SLOTS);
    ends.unit.send(&down(3)).expect("room");
    ends.run_for(SECOND);
    assert_eq!(ends.host_messages(), [down(3)]);
}

/// The longest messages there can be, at their widest numbers.
#[test]
fn full_rows_and_lines_fit_a_message() {
    let widest = CardId {
        job: cardwright_protocol::JobNumber(u32::MAX),
        card: CardNumber(u32::MAX),
        attempt: cardwright_protocol::Attempt(u32::MAX),
    };
    let mut bytes = [0; MOST_PAYLOAD];
    let strokes = [Stroke::LaceAndPeg(Row(u16::MAX)); 48]
        .into_iter()
        .collect();
    let message = HostToUnit::Strokes {
        id: widest,
        first: u16::MAX,
        strokes,
    };
    postcard::to_slice(&message, &mut bytes).expect("it fits");
    let samples = [u8::MAX; 192].into_iter().collect();
    let message = UnitToHost::Lines {
        id: widest,
        first: u16::MAX,
        samples,
    };
    postcard::to_slice(&message, &mut bytes).expect("it fits");
}

#[test]
fn the_units_end_is_small() {
    let (unit, host) = (size_of::<UnitLink>(), size_of::<HostLink>());
    println!("unit's end {unit} bytes, host's end {host} bytes");
    assert!(unit <= 5 * 1024, "{unit} bytes");
    assert!(host <= 20 * 1024, "{host} bytes");
}
