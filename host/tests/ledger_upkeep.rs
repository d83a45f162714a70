//! Risk: a punch's history or a calibration is lost, or one rig's is taken for
//! another's.

use cardwright::ledger::{
    BoardId, EndedAttempt, JobKind, Ledger, NewAttempt, NewCalibration, NewJob, PunchSeen,
    Readings, UnixMillis, Verdict,
};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use serde_json::json;

type Tested = Result<(), Box<dyn std::error::Error>>;

const HERE: BoardId = BoardId(*b"board--1");
const THERE: BoardId = BoardId(*b"board--2");

fn job(
    ledger: &mut Ledger,
    kind: JobKind,
    unit: BoardId,
) -> Result<JobNumber, cardwright::ledger::LedgerError> {
    ledger.begin_job(&NewJob {
        kind,
        deck: None,
        unit: Some(unit),
        settings: json!({}),
        started: UnixMillis(1),
    })
}

/// A card with `holes` holes a row whose punch 1 made holes this wide.
fn cut(ledger: &mut Ledger, job: JobNumber, card: u32, holes: u8, wide_um: i32) -> Tested {
    let id = CardId {
        job,
        card: CardNumber(card),
        attempt: Attempt(1),
    };
    ledger.attempt_sent(&[NewAttempt {
        id,
        strokes: 2,
        crc: 1,
        sent: UnixMillis(2),
    }])?;
    let mut open = [0; 16];
    open[0] = u8::try_from(card)?;
    Ok(ledger.attempt_ended(&EndedAttempt {
        id,
        verdict: Verdict::Good,
        faults: Vec::new(),
        strokes_made: 2,
        lines: 32,
        length_um: 1,
        place: Some(1),
        readings: Some(Readings {
            holes,
            dark: [1; 16],
            open,
            samples: vec![7; 32 * usize::from(holes)],
        }),
        punches: vec![PunchSeen {
            hole: 1,
            holes: 20,
            diameter_um: wide_um,
            along_um: -3,
        }],
        ended: UnixMillis(i64::from(card) + 10),
    })?)
}

#[test]
fn each_rig_has_its_own_history_in_the_order_of_cutting() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let first = job(&mut ledger, JobKind::Cut, HERE)?;
    let second = job(&mut ledger, JobKind::Cut, HERE)?;
    let other = job(&mut ledger, JobKind::Cut, THERE)?;
    // an earlier job goes on after a later one
    cut(&mut ledger, second, 5, 8, 4400)?;
    cut(&mut ledger, first, 3, 8, 4390)?;
    cut(&mut ledger, first, 4, 12, 4100)?;
    cut(&mut ledger, other, 1, 8, 4000)?;
    for (at, holes) in [(5, 8), (7, 8), (6, 12)] {
        ledger.calibrated(&NewCalibration {
            board: HERE,
            holes,
            at: UnixMillis(at),
            detail: json!({ "at": at }),
        })?;
    }
    ledger.close()?;

    let ledger = Ledger::open_read_only(dir.path())?;
    let known = ledger.upkeep(HERE)?;
    let heads: Vec<_> = known.iter().map(|known| known.holes).collect();
    assert_eq!(heads, [Some(8), Some(12)]);
    let wide: Vec<i32> = known[0]
        .punches
        .iter()
        .map(|row| row.seen.diameter_um)
        .collect();
    assert_eq!(wide, [4400, 4390]);
    assert_eq!(known[0].levels.map(|levels| levels.open[0]), Some(3));
    let newest = known[0].calibration.as_ref().ok_or("a calibration")?;
    assert_eq!(newest.detail, json!({ "at": 7 }));
    assert_eq!(known[1].punches.len(), 1);
    let there = ledger.upkeep(THERE)?;
    assert_eq!((there.len(), there[0].punches.len()), (1, 1));
    assert!(there[0].calibration.is_none());
    assert_eq!(ledger.upkeep(BoardId([9; 8]))?, []);
    assert_eq!(
        (ledger.punches()?.len(), ledger.calibrations()?.len()),
        (4, 3)
    );
    Ok(())
}

/// What was not written with the card is not there without it.
#[test]
fn punches_are_written_with_their_card_or_not_at_all() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let number = job(&mut ledger, JobKind::Cut, HERE)?;
    cut(&mut ledger, number, 1, 8, 4400)?;
    // the second end of a card is refused, and its punches with it
    let id = CardId {
        job: number,
        card: CardNumber(1),
        attempt: Attempt(1),
    };
    let again = EndedAttempt {
        id,
        verdict: Verdict::Unread,
        faults: Vec::new(),
        strokes_made: 0,
        lines: 0,
        length_um: 0,
        place: None,
        readings: None,
        punches: vec![PunchSeen {
            hole: 2,
            holes: 1,
            diameter_um: 1,
            along_um: 1,
        }],
        ended: UnixMillis(99),
    };
    assert!(ledger.attempt_ended(&again).is_err());
    // two states of one punch in one card contradict each other
    let id = CardId {
        card: CardNumber(2),
        ..id
    };
    ledger.attempt_sent(&[NewAttempt {
        id,
        strokes: 2,
        crc: 1,
        sent: UnixMillis(2),
    }])?;
    let twice = EndedAttempt {
        id,
        punches: [again.punches.clone(), again.punches.clone()].concat(),
        ..again
    };
    assert!(ledger.attempt_ended(&twice).is_err());
    let open = ledger.open_attempts(number)?;
    assert_eq!((ledger.punches()?.len(), open.len()), (1, 1));
    Ok(())
}

/// A reading made to calibrate by never holds up another job.
#[test]
fn a_calibration_that_was_cut_off_holds_nothing_up() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let numbers = [JobKind::Calibrate, JobKind::Cut].map(|kind| job(&mut ledger, kind, HERE));
    let [calibrating, cutting] = numbers;
    let (calibrating, cutting) = (calibrating?, cutting?);
    for job in [calibrating, cutting] {
        ledger.attempt_sent(&[NewAttempt {
            id: CardId {
                job,
                card: CardNumber(1),
                attempt: Attempt(1),
            },
            strokes: 2,
            crc: 1,
            sent: UnixMillis(2),
        }])?;
    }
    let open = ledger.open_elsewhere(JobNumber(99))?;
    let jobs: Vec<JobNumber> = open.iter().map(|id| id.job).collect();
    assert_eq!(jobs, [cutting]);
    Ok(())
}
