//! The line's times, and every injector at rates 0 and 1.

use super::*;

const FRAMES: usize = 200;

/// Two hundred frames of five bytes through a line; what arrives.
fn through(settings: &LineSettings) -> (Vec<Vec<u8>>, LineCounts) {
    let mut line = Line::new(settings, 0);
    for n in 0..FRAMES {
        let n = n as u8;
        line.send(
            &[1 + n % 100, 101, 102, 103, 0],
            Micros(u64::from(n) * 1000),
        );
    }
    let mut out = Vec::new();
    while let Some(piece) = line.take(Micros(1_000_000_000)) {
        out.push(piece);
    }
    (out, line.counts())
}

fn sent() -> Vec<Vec<u8>> {
    through(&LineSettings::default()).0
}

fn with(change: impl Fn(&mut LineSettings, Fault)) -> [(Vec<Vec<u8>>, LineCounts); 2] {
    [0.0, 1.0].map(|rate| {
        let mut settings = LineSettings::sound(115_200, 100);
        settings.most_delay_us = 50_000;
        change(&mut settings, Fault::new(rate, 9));
        through(&settings)
    })
}

#[test]
fn a_byte_takes_ten_bit_times_and_the_delay() {
    let mut line = Line::new(&LineSettings::sound(115_200, 16_000), 0);
    line.send(&[7; 99], Micros(0));
    assert_eq!(line.next_arrival(), Micros::NEVER, "no frame yet");
    line.send(&[0], Micros(0));
    // 100 bytes of 10 bits at 115200 are 8.68 ms.
    assert_eq!(line.next_arrival(), Micros(16_000 + 8_681));
    assert_eq!(line.backlog(Micros(0)), 100);
    assert_eq!(line.clear_at(), Micros(8_681));
    assert_eq!(line.take(Micros(24_680)), None);
    assert_eq!(
        line.take(Micros(24_681)).map(|piece| piece.len()),
        Some(100)
    );
}

#[test]
fn without_baud_or_delay_bytes_are_there_at_once() {
    let mut line = Line::new(&LineSettings::default(), 0);
    line.send(&[1, 0, 2, 0], Micros(5));
    assert_eq!(line.take(Micros(5)), Some(vec![1, 0]));
    assert_eq!(line.take(Micros(5)), Some(vec![2, 0]));
    assert_eq!(line.backlog(Micros(5)), 0);
}

#[test]
fn garbage_without_an_end_is_passed_on_in_pieces() {
    let mut line = Line::new(&LineSettings::default(), 0);
    line.send(&[1; 700], Micros(0));
    line.send(&[1; 700], Micros(0));
    assert_eq!(line.take(Micros(0)).map(|piece| piece.len()), Some(1400));
}

#[test]
fn frames_are_lost_at_one_and_not_at_nought() {
    let [none, all] = with(|settings, fault| settings.frame_lost = fault);
    assert_eq!((none.0, none.1.frames_lost), (sent(), 0));
    assert_eq!((all.0.len(), all.1.frames_lost), (0, FRAMES as u64));
}

#[test]
fn frames_are_repeated_at_one_and_not_at_nought() {
    let [none, all] = with(|settings, fault| settings.frame_repeated = fault);
    assert_eq!((none.0, none.1.frames_repeated), (sent(), 0));
    assert_eq!(
        (all.0.len(), all.1.frames_repeated),
        (2 * FRAMES, FRAMES as u64)
    );
}

#[test]
fn frames_are_delayed_past_each_other_at_one_and_not_at_nought() {
    let [none, all] = with(|settings, fault| settings.frame_delayed = fault);
    assert_eq!((none.0, none.1.frames_delayed), (sent(), 0));
    assert_eq!(all.1.frames_delayed, FRAMES as u64);
    assert_ne!(all.0, sent());
    let mut sorted = all.0;
    sorted.sort();
    let mut all_sent = sent();
    all_sent.sort();
    assert_eq!(sorted, all_sent);
}

#[test]
fn bytes_are_damaged_at_one_and_not_at_nought() {
    let [none, all] = with(|settings, fault| settings.byte_damaged = fault);
    assert_eq!((none.0, none.1.bytes_damaged), (sent(), 0));
    assert_eq!(all.1.bytes_damaged, 5 * FRAMES as u64);
    for (came, went) in all.0.iter().zip(sent()) {
        assert!(came.iter().zip(went).all(|(came, went)| *came != went));
    }
}

#[test]
fn bytes_are_dropped_at_one_and_not_at_nought() {
    let [none, all] = with(|settings, fault| settings.byte_dropped = fault);
    assert_eq!((none.0, none.1.bytes_dropped), (sent(), 0));
    assert!(all.0.iter().all(Vec::is_empty));
    assert_eq!(all.1.bytes_dropped, 5 * FRAMES as u64);
}

#[test]
fn bytes_are_doubled_at_one_and_not_at_nought() {
    let [none, all] = with(|settings, fault| settings.byte_repeated = fault);
    assert_eq!((none.0, none.1.bytes_repeated), (sent(), 0));
    assert!(all.0.iter().all(|piece| piece.len() == 10));
}

#[test]
fn a_stall_holds_everything_back_and_loses_nothing() {
    let mut line = Line::new(&LineSettings::default(), 0);
    line.send(&[1, 0], Micros(0));
    line.stall_until(Micros(500_000));
    assert_eq!(line.next_arrival(), Micros(500_000));
    assert_eq!(line.take(Micros(499_999)), None);
    assert_eq!(line.take(Micros(500_000)), Some(vec![1, 0]));
}

#[test]
fn an_unplugged_line_loses_what_is_on_it() {
    let mut line = Line::new(&LineSettings::sound(115_200, 0), 0);
    line.send(&[1, 0, 2], Micros(0));
    line.unplug();
    line.send(&[3, 0], Micros(10));
    line.plug();
    line.send(&[4, 0], Micros(20));
    assert_eq!(line.take(Micros(1_000_000)), Some(vec![4, 0]));
    assert_eq!(line.take(Micros(1_000_000)), None);
}
