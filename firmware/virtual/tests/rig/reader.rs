//! If one of these fails, a rig with a broken punch goes on spoiling cards, or
//! stops for nothing, or the host judges from lines that are not what was read.

use crate::bench::{Bench, id, rows};
use cardwright_protocol::card::{Row, Stroke};
use cardwright_protocol::host_to_unit::Work;
use cardwright_protocol::unit_to_host::{
    CardBegan, CardEnded, Levels, Refusal, SAMPLES_A_MESSAGE, StopReason,
};
use cardwright_protocol::{HostToUnit, UnitToHost};
use cardwright_rig::held::Held;
use cardwright_rig::limits::SAMPLES_HELD;
use cardwright_rig::plan::Plan;
use cardwright_rig::reader::{Reader, lamp_is_good};
use cardwright_virtual::{Faults, WorldSettings};

#[test]
fn lines_come_whole_and_in_order_for_every_format_and_sampling() {
    for (holes, samples) in [
        (4, 4),
        (8, 4),
        (8, 8),
        (8, 16),
        (10, 8),
        (12, 8),
        (16, 8),
        (16, 16),
    ] {
        let settings = WorldSettings::for_card(holes, 20);
        let mut told = settings.as_told_to_unit(20);
        told.samples_per_row = samples;
        let mut bench = Bench::with(settings, &Faults::default(), told);
        bench.start();
        let strokes: Vec<_> = (0..20)
            .map(|n| Stroke::Needles(Row(1 << (n % holes))))
            .collect();
        bench.card(1, &strokes, Work::Cut, false);
        bench.run(12_000_000);
        assert_eq!(bench.stops(), [], "{holes} holes, {samples} samples");
        let mut next = 0;
        let mut bytes: Vec<u8> = Vec::new();
        for notice in &bench.heard {
            if let UnitToHost::Lines { first, samples, .. } = notice {
                assert_eq!(usize::from(*first), next);
                assert_eq!(samples.len() % usize::from(holes), 0);
                next += samples.len() / usize::from(holes);
                bytes.extend(samples);
            }
        }
        assert_eq!(next, 22 * usize::from(samples));
        assert_eq!(bench.ended()[0].lines as usize, next);
        // line (s + 1) * samples has stroke s under the bar
        for (s, stroke) in strokes.iter().enumerate() {
            let line = (s + 1) * usize::from(samples) * usize::from(holes);
            for hole in 1..=holes {
                let level = bytes[line + usize::from(hole) - 1];
                assert_eq!(
                    level > 110,
                    stroke.punches().has(hole),
                    "{holes}/{samples}, {s}, {hole}"
                );
            }
        }
    }
}

#[test]
fn a_format_too_large_for_the_store_is_refused_before_it_is_begun() {
    let settings = WorldSettings::for_card(16, 56);
    let mut told = settings.as_told_to_unit(56);
    told.samples_per_row = 16;
    const { assert!(58 * 16 * 16 > SAMPLES_HELD) };
    let mut bench = Bench::with(settings, &Faults::default(), told);
    bench.start();
    for strokes in [56, 128, 129, u16::MAX] {
        let mut header = Bench::header(1, &rows(1, 1), Work::Cut, false);
        header.strokes = strokes;
        let refusal = bench.order(&HostToUnit::Card(header));
        assert_eq!(refusal, Err(Refusal::CardTooLarge(id(1))), "{strokes}");
    }
}

#[test]
fn settings_changed_after_a_card_was_sent_do_not_overrun_the_store() {
    let settings = WorldSettings::for_card(16, 56);
    let mut told = settings.as_told_to_unit(56);
    let mut bench = Bench::with(settings, &Faults::default(), told);
    bench.order(&HostToUnit::Configure(told)).expect("settings");
    bench.card(1, &rows(56, 1), Work::Cut, false);
    told.samples_per_row = 16;
    bench.settings = told;
    bench.start();
    bench.run(5_000_000);
    assert_eq!(bench.refusals(), [Refusal::CardTooLarge(id(1))]);
    assert_eq!((bench.stops().len(), bench.strokes_begun()), (0, 0));
}

/// Cuts a card whose holes fail at this rate; the reason it stopped, and the
/// strokes.
fn missing(rate: f64, gross: u8) -> (Option<StopReason>, u64) {
    let settings = WorldSettings::for_card(8, 40);
    let mut faults = Faults::seeded(5);
    faults.missing_hole.rate = rate;
    let mut told = settings.as_told_to_unit(40);
    told.gross_holes = gross;
    let mut bench = Bench::with(settings, &faults, told);
    bench.start();
    bench.card(1, &[Stroke::Needles(Row(0xff)); 40], Work::Cut, false);
    bench.run(15_000_000);
    (bench.last_reason(), bench.strokes_begun())
}

#[test]
fn a_row_grossly_wrong_stops_the_rig_at_once_and_a_single_hole_does_not() {
    let (reason, strokes) = missing(1.0, 4);
    assert_eq!(reason, Some(StopReason::GrossMisread));
    // the bar is 6 rows behind: the first row is under it before the 7th stroke
    assert_eq!(strokes, 6);
    let (reason, strokes) = missing(0.03, 4);
    assert_eq!((reason, strokes), (None, 40));
    assert_eq!(missing(0.03, 1).0, Some(StopReason::GrossMisread));
}

#[test]
fn a_card_that_was_not_cut_here_never_stops_the_reading() {
    let mut bench = Bench::new(20);
    bench.start();
    bench.card(1, &rows(20, 0xff), Work::Read, false);
    bench.run(10_000_000);
    assert_eq!(bench.stops(), []);
    assert!(bench.ended()[0].complete);
    assert_eq!(
        bench.strokes_begun(),
        0,
        "a card to be read is never punched"
    );
}

#[test]
fn a_dead_lamp_or_a_dark_channel_stops_before_a_card_is_taken() {
    for open in [0.0, 30.0] {
        let mut settings = WorldSettings::for_card(8, 20);
        settings.open_level = open;
        let told = settings.as_told_to_unit(20);
        let mut bench = Bench::with(settings, &Faults::default(), told);
        bench.start();
        bench.card(1, &rows(20, 1), Work::Cut, false);
        bench.run(5_000_000);
        assert_eq!(bench.last_reason(), Some(StopReason::LampFault));
        assert_eq!(bench.world.borrow().truth().cards_fed, 0);
    }
    let (dark, mut open) = ([4; 16], [200; 16]);
    open[7] = 43;
    assert!(!lamp_is_good(&dark, &open, 8));
    assert!(
        lamp_is_good(&dark, &open, 7),
        "a channel that is not in use is no matter"
    );
    assert!(!lamp_is_good(&open, &dark, 8), "light without the lamp");
}

#[test]
fn a_light_bar_that_never_answers_stops_the_rig_instead_of_holding_it_for_ever() {
    let mut settings = WorldSettings::for_card(8, 20);
    settings.scan_us = 10_000_000;
    let told = settings.as_told_to_unit(20);
    let mut bench = Bench::with(settings, &Faults::default(), told);
    bench.start();
    bench.card(1, &rows(20, 1), Work::Cut, false);
    bench.run(5_000_000);
    assert_eq!(bench.last_reason(), Some(StopReason::LampFault));
}

fn began(card: u32, place: u32) -> CardBegan {
    CardBegan {
        id: id(card),
        place,
        dark: [3; 16],
        open: [200; 16],
    }
}

fn end_of(card: u32, place: u32, lines: u16) -> CardEnded {
    CardEnded {
        id: id(card),
        place,
        complete: true,
        strokes: 1,
        lines,
        length_um: 1,
    }
}

fn line(n: u16) -> Levels {
    core::array::from_fn(|channel| (n as u8).wrapping_mul(16).wrapping_add(channel as u8))
}

fn all_of(held: &mut Held) -> Vec<UnitToHost> {
    core::iter::from_fn(|| held.take_message()).collect()
}

#[test]
fn a_new_session_gets_the_same_bytes_when_it_asks_and_nothing_unasked() {
    for holes in 1..=16 {
        let mut held = Held::new();
        let lines = (SAMPLES_HELD / usize::from(holes)).min(500) as u16;
        assert!(held.begin(began(1, 1), holes));
        for n in 0..lines {
            assert!(held.line(&line(n)));
        }
        held.end(end_of(1, 1, lines));
        let first = all_of(&mut held);
        assert_eq!(first.first(), Some(&UnitToHost::CardBegan(began(1, 1))));
        assert_eq!(
            first.last(),
            Some(&UnitToHost::CardEnded(end_of(1, 1, lines)))
        );
        let full = first.iter().filter(|message| {
            matches!(message, UnitToHost::Lines { samples, .. }
                if samples.len() + usize::from(holes) > SAMPLES_A_MESSAGE)
        });
        let per_message = SAMPLES_A_MESSAGE / usize::from(holes);
        assert_eq!(
            full.count(),
            usize::from(lines) / per_message,
            "{holes} holes"
        );
        assert_eq!(all_of(&mut held), []);
        held.hush();
        assert_eq!(all_of(&mut held), [], "a new host is told nothing unasked");
        assert!(held.resend(id(1)));
        assert_eq!(all_of(&mut held), first, "{holes} holes");
    }
}

#[test]
fn readings_stay_until_they_are_recorded_and_then_make_room() {
    let mut held = Held::new();
    for card in 1..=2 {
        assert!(held.has_room());
        assert!(held.begin(began(card, card), 8));
        held.recorded(id(card));
        assert!(held.has(id(card)), "a card being read is not forgotten");
        held.end(end_of(card, card, 0));
    }
    assert!(!held.has_room() && !held.begin(began(3, 3), 8));
    assert!(!held.all_recorded());
    held.recorded(id(9));
    assert!(!held.has_room());
    held.recorded(id(1));
    assert!(held.has_room() && !held.has(id(1)) && !held.resend(id(1)));
    assert!(held.resend(id(2)));
}

#[test]
fn a_store_that_is_full_says_so_and_keeps_what_it_has() {
    let mut held = Held::new();
    assert!(held.begin(began(1, 1), 16));
    let kept = (0..2_000).filter(|n| held.line(&line(*n))).count();
    assert_eq!(kept, SAMPLES_HELD / 16);
    held.abandon();
    assert!(!held.line(&line(0)), "no card is being read");
}

#[test]
fn any_level_of_light_is_taken_without_trouble() {
    let plan = Plan::new(WorldSettings::default().as_told_to_unit(56));
    for level in 0..=255u8 {
        for (dark, open) in [
            ([0; 16], [255; 16]),
            ([255; 16], [0; 16]),
            ([9; 16], [9; 16]),
        ] {
            let mut reader = Reader::new();
            reader.begin(dark, open);
            for _ in 0..plan.lines(56) {
                let _ = reader.line(&[level; 16], Some(&rows(56, 0xff)), &plan);
            }
        }
    }
}
