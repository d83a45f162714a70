//! The round trip and the wait that follows from it, by the arithmetic of
//! RFC 6298 ("Computing TCP's Retransmission Timer").

use cardwright_protocol::link::round_trip::{
    FIRST_WAIT_US, GRANULARITY_US, LEAST_WAIT_US, MOST_WAIT_US, RoundTrip,
};

/// RFC 6298, 2.2: SRTT = R, RTTVAR = R/2, RTO = SRTT + max(G, 4 RTTVAR).
#[test]
fn the_first_measurement_gives_three_times_itself() {
    let mut trip = RoundTrip::new();
    assert_eq!((trip.mean_us(), trip.wait_us()), (None, FIRST_WAIT_US));
    trip.measured(100_000);
    assert_eq!((trip.mean_us(), trip.wait_us()), (Some(100_000), 300_000));
}

/// RFC 6298, 2.3: RTTVAR = 3/4 RTTVAR + 1/4 |SRTT - R'|, then
/// SRTT = 7/8 SRTT + 1/8 R'. After 100 ms and 200 ms:
/// RTTVAR = 37.5 + 25 = 62.5 ms, SRTT = 87.5 + 25 = 112.5 ms,
/// RTO = 112.5 + 250 = 362.5 ms.
#[test]
fn later_measurements_are_smoothed() {
    let mut trip = RoundTrip::new();
    trip.measured(100_000);
    trip.measured(200_000);
    assert_eq!((trip.mean_us(), trip.wait_us()), (Some(112_500), 362_500));
}

/// RFC 6298, 2.3: with no variation left, the clock granularity stays.
#[test]
fn a_steady_line_waits_its_round_trip_and_the_granularity() {
    let mut trip = RoundTrip::new();
    for _ in 0..200 {
        trip.measured(80_000);
    }
    assert_eq!(trip.wait_us(), 80_000 + GRANULARITY_US);
}

/// RFC 6298, 5.5: each time the timer runs out, RTO doubles; 2.5: up to a
/// limit; 5.7 and Karn's rule: until a message sent once is measured.
#[test]
fn running_out_doubles_the_wait_up_to_its_limit() {
    let mut trip = RoundTrip::new();
    trip.measured(50_000);
    let mut waits = vec![trip.wait_us()];
    for _ in 0..100 {
        trip.timed_out();
        waits.push(trip.wait_us());
    }
    assert_eq!(waits[..4], [150_000, 300_000, 600_000, MOST_WAIT_US]);
    assert_eq!(waits.last(), Some(&MOST_WAIT_US));
    trip.measured(50_000);
    assert!(trip.wait_us() < 150_000);
}

#[test]
fn no_measurement_leads_out_of_the_limits() {
    for us in [0, 1, 1_000, 1_000_000, 3_600_000_000, u64::MAX] {
        let mut trip = RoundTrip::new();
        for _ in 0..5 {
            trip.measured(us);
            assert!(
                (LEAST_WAIT_US..=MOST_WAIT_US).contains(&trip.wait_us()),
                "{us}"
            );
        }
    }
}
