//! What a job relies on: numbers are never used twice, a verdict stands, only
//! a card that was read is good, and readings come back as they were.

use cardwright::ledger::{
    BoardId, DeckSha, EndedAttempt, Ending, EventKind, Fault, JobKind, Ledger, LedgerError,
    NewAttempt, NewDeck, NewEvent, NewJob, Readings, SeenUnit, UnixMillis, Verdict,
};
use cardwright_protocol::unit_to_host::{Role, StopReason};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use proptest::prelude::*;
use serde_json::json;
use std::collections::BTreeSet;
use std::error::Error;

type Tested = Result<(), Box<dyn Error>>;

const DECK: DeckSha = DeckSha([7; 32]);

fn job(kind: JobKind) -> NewJob {
    let (name, format) = ("reed towel".to_string(), "400".to_string());
    let deck = Some(NewDeck {
        sha256: DECK,
        name,
        format,
        cards: 5,
        text: "the deck file".to_string(),
    });
    NewJob {
        kind,
        deck,
        unit: None,
        settings: json!({"cards": "1-5"}),
        started: UnixMillis(10),
    }
}

fn id(job: JobNumber, card: u32, attempt: u32) -> CardId {
    CardId {
        job,
        card: CardNumber(card),
        attempt: Attempt(attempt),
    }
}

fn new(id: CardId) -> NewAttempt {
    NewAttempt {
        id,
        strokes: 56,
        crc: u32::MAX,
        sent: UnixMillis(20),
    }
}

fn readings() -> Readings {
    Readings {
        holes: 8,
        dark: [2; 16],
        open: [240; 16],
        samples: vec![9; 8 * 464],
    }
}

fn end(id: CardId, verdict: Verdict) -> EndedAttempt {
    EndedAttempt {
        id,
        verdict,
        faults: Vec::new(),
        strokes_made: 56,
        lines: 464,
        length_um: 402_600,
        place: Some(1),
        readings: (verdict == Verdict::Good).then(readings),
        punches: Vec::new(),
        ended: UnixMillis(30),
    }
}

/// Sends a card and ends it with `verdict`.
fn made(ledger: &mut Ledger, id: CardId, verdict: Verdict) -> Tested {
    ledger.attempt_sent(&[new(id)])?;
    Ok(ledger.attempt_ended(&end(id, verdict))?)
}

fn good(ledger: &Ledger) -> Result<Vec<u32>, LedgerError> {
    Ok(ledger
        .good_cards(DECK)?
        .into_iter()
        .map(|card| card.0)
        .collect())
}

#[test]
fn a_job_is_found_again_as_it_was_written() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let number = ledger.begin_job(&job(JobKind::Cut))?;
    let board = BoardId([0, 1, 2, 3, 4, 5, 6, 0xff]);
    ledger.job_unit(number, board)?;
    ledger.attempt_sent(&[new(id(number, 1, 1)), new(id(number, 2, 1))])?;
    let fault = Fault {
        kind: "missing".to_string(),
        stroke: Some(4),
        row: Some(3),
        hole: Some(8),
        measured: Some(0.1 + 0.2),
        measured_in: "open permille".to_string(),
        note: String::new(),
    };
    let faults = vec![fault.clone()];
    ledger.attempt_ended(&EndedAttempt {
        faults,
        ..end(id(number, 2, 1), Verdict::Missing)
    })?;
    ledger.event(&NewEvent {
        at: UnixMillis(25),
        job: Some(number),
        kind: EventKind::Stop,
        detail: json!({"reason": "guard open"}),
    })?;
    ledger.close()?;

    let ledger = Ledger::open_read_only(dir.path())?;
    let unfinished = ledger.unfinished_jobs(DECK)?;
    assert_eq!(unfinished, vec![ledger.job(number)?]);
    let row = unfinished.first().ok_or("a job")?;
    assert_eq!(row.unit.as_deref(), Some("00010203040506ff"));
    assert_eq!((row.attempts, row.good, row.open), (2, 0, 1));
    assert_eq!(row.settings, json!({"cards": "1-5"}));
    let open: Vec<CardId> = ledger
        .open_attempts(number)?
        .iter()
        .map(|open| open.id)
        .collect();
    assert_eq!(open, [id(number, 1, 1)]);
    let attempts = ledger.attempts(number)?;
    let second = attempts.get(1).ok_or("two attempts")?;
    assert_eq!(
        (second.verdict, second.strokes_crc),
        (Verdict::Missing, u32::MAX)
    );
    assert_eq!(second.faults, [fault]);
    assert_eq!(ledger.events(None)?, ledger.events(Some(number))?);
    assert!(ledger.unfinished_jobs(DeckSha([8; 32]))?.is_empty());
    Ok(())
}

#[test]
fn several_cards_are_sent_all_or_none() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let number = ledger.begin_job(&job(JobKind::Cut))?;
    ledger.attempt_sent(&[new(id(number, 2, 1))])?;
    let three = [
        new(id(number, 1, 1)),
        new(id(number, 2, 1)),
        new(id(number, 3, 1)),
    ];
    let error = ledger.attempt_sent(&three).err().ok_or("sent twice")?;
    assert!(matches!(error, LedgerError::AttemptUsed(used) if used == id(number, 2, 1)));
    assert_eq!(ledger.attempts(number)?.len(), 1);
    assert_eq!(ledger.next_attempt(number, CardNumber(2))?, Attempt(2));
    assert_eq!(ledger.next_attempt(number, CardNumber(1))?, Attempt(1));
    Ok(())
}

#[test]
fn a_verdict_stands() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let number = ledger.begin_job(&job(JobKind::Cut))?;
    let card = id(number, 1, 1);
    made(&mut ledger, card, Verdict::Interrupted)?;
    let again = ledger.attempt_ended(&end(card, Verdict::Good));
    assert!(
        matches!(again, Err(LedgerError::AttemptEnded(_))),
        "{again:?}"
    );
    let never = ledger.attempt_ended(&end(id(number, 9, 1), Verdict::Good));
    assert!(
        matches!(never, Err(LedgerError::NoSuchAttempt(_))),
        "{never:?}"
    );
    assert!(good(&ledger)?.is_empty());
    Ok(())
}

#[test]
fn a_card_that_was_not_read_cannot_be_written_down_as_good() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let number = ledger.begin_job(&job(JobKind::Cut))?;
    let card = id(number, 1, 1);
    ledger.attempt_sent(&[new(card)])?;
    let sound = end(card, Verdict::Good);
    let no_lines = Readings {
        samples: Vec::new(),
        ..readings()
    };
    let half_line = Readings {
        samples: vec![1; 12],
        ..readings()
    };
    let no_holes = Readings {
        holes: 0,
        ..readings()
    };
    let many_holes = Readings {
        holes: 17,
        ..readings()
    };
    let faults = vec![Fault::default()];
    for bad in [
        EndedAttempt {
            readings: None,
            ..sound.clone()
        },
        EndedAttempt {
            readings: Some(no_lines),
            ..sound.clone()
        },
        EndedAttempt {
            readings: Some(half_line),
            ..sound.clone()
        },
        EndedAttempt {
            readings: Some(no_holes),
            ..sound.clone()
        },
        EndedAttempt {
            readings: Some(many_holes),
            ..sound.clone()
        },
        EndedAttempt {
            strokes_made: 55,
            ..sound.clone()
        },
        EndedAttempt {
            lines: 463,
            ..sound.clone()
        },
        EndedAttempt {
            faults,
            ..sound.clone()
        },
        EndedAttempt {
            verdict: Verdict::Sent,
            ..sound.clone()
        },
    ] {
        let refused = ledger.attempt_ended(&bad);
        assert!(
            matches!(refused, Err(LedgerError::Contradiction { .. })),
            "{bad:?}: {refused:?}"
        );
    }
    assert_eq!(ledger.open_attempts(number)?.len(), 1);
    ledger.attempt_ended(&sound)?;
    assert_eq!(good(&ledger)?, [1]);
    Ok(())
}

#[test]
fn good_cards_are_those_of_the_decks_content_over_all_jobs() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let first = ledger.begin_job(&job(JobKind::Cut))?;
    for (card, verdict) in [
        (1, Verdict::Good),
        (2, Verdict::Extra),
        (3, Verdict::Unread),
    ] {
        made(&mut ledger, id(first, card, 1), verdict)?;
    }
    made(&mut ledger, id(first, 2, 2), Verdict::Good)?;
    ledger.end_job(first, Ending::Stopped, UnixMillis(40))?;
    assert_eq!(good(&ledger)?, [1, 2]);

    // A second job of the same content under another name; a spoiled second
    // copy of card 1 does not spoil the first.
    let mut renamed = job(JobKind::Cut);
    renamed.deck = renamed.deck.map(|deck| NewDeck {
        name: "copy".to_string(),
        ..deck
    });
    let second = ledger.begin_job(&renamed)?;
    made(&mut ledger, id(second, 1, 1), Verdict::Missing)?;
    made(&mut ledger, id(second, 3, 1), Verdict::Good)?;
    ledger.attempt_sent(&[new(id(second, 4, 1))])?;
    assert_eq!(good(&ledger)?, [1, 2, 3]);
    assert_eq!(ledger.decks()?.len(), 1);
    let text = "the deck file".to_string();
    assert_eq!(ledger.deck_texts()?, [(DECK, text)]);

    // An edited deck has no good cards.
    assert!(ledger.good_cards(DeckSha([1; 32]))?.is_empty());
    Ok(())
}

#[test]
fn a_card_found_faulty_by_verifying_is_to_be_cut_again() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let cut = ledger.begin_job(&job(JobKind::Cut))?;
    for card in 1..=4 {
        made(&mut ledger, id(cut, card, 1), Verdict::Good)?;
    }
    let verify = ledger.begin_job(&job(JobKind::Verify))?;
    made(&mut ledger, id(verify, 1, 1), Verdict::Good)?;
    made(&mut ledger, id(verify, 2, 1), Verdict::Missing)?;
    // Nothing is known against these two: not read, and in the wrong place.
    made(&mut ledger, id(verify, 3, 1), Verdict::Unread)?;
    made(&mut ledger, id(verify, 4, 1), Verdict::OutOfOrder)?;
    assert_eq!(good(&ledger)?, [1, 3, 4]);
    // Read again and found good after all, say after dust was blown off.
    made(&mut ledger, id(verify, 2, 2), Verdict::Good)?;
    assert_eq!(good(&ledger)?, [1, 2, 3, 4]);
    made(&mut ledger, id(verify, 2, 3), Verdict::Mixed)?;
    assert_eq!(good(&ledger)?, [1, 3, 4]);
    let recut = ledger.begin_job(&job(JobKind::Cut))?;
    made(&mut ledger, id(recut, 2, 1), Verdict::Good)?;
    assert_eq!(good(&ledger)?, [1, 2, 3, 4]);
    made(&mut ledger, id(verify, 3, 2), Verdict::Partial)?;
    assert_eq!(good(&ledger)?, [1, 2, 4]);
    let mend = ledger.begin_job(&job(JobKind::Mend))?;
    made(&mut ledger, id(mend, 3, 1), Verdict::Good)?;
    assert_eq!(good(&ledger)?, [1, 2, 3, 4]);
    Ok(())
}

/// A job that was stopped goes on after a verifying job, under its old number
/// and with the clock set back: what counts is what was learned last.
#[test]
fn a_resumed_jobs_recut_after_a_failed_verify_is_good() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let cut = ledger.begin_job(&job(JobKind::Cut))?;
    made(&mut ledger, id(cut, 1, 1), Verdict::Good)?;
    made(&mut ledger, id(cut, 2, 1), Verdict::Good)?;
    let verify = ledger.begin_job(&job(JobKind::Verify))?;
    let failed = [
        Verdict::Missing,
        Verdict::Extra,
        Verdict::OutOfRegister,
        Verdict::Mixed,
    ];
    for (attempt, verdict) in (1..).zip(failed) {
        made(&mut ledger, id(verify, 1, attempt), verdict)?;
        assert_eq!(good(&ledger)?, [2], "{verdict:?}");
        ledger.attempt_sent(&[new(id(cut, 1, attempt + 1))])?;
        assert_eq!(good(&ledger)?, [2], "only sent");
        ledger.attempt_ended(&EndedAttempt {
            ended: UnixMillis(-5),
            ..end(id(cut, 1, attempt + 1), Verdict::Good)
        })?;
        assert_eq!(good(&ledger)?, [1, 2], "recut after {verdict:?}");
    }
    made(&mut ledger, id(verify, 1, 5), Verdict::Missing)?;
    assert_eq!(good(&ledger)?, [2]);
    let deck = ledger.decks()?.into_iter().next().ok_or("a deck")?;
    let cards = ledger.cards(&deck)?;
    let first = cards.first().ok_or("a card")?;
    assert_eq!(
        (first.good, first.last, first.attempts),
        (false, Some(Verdict::Missing), 10)
    );
    Ok(())
}

#[test]
fn what_a_resumed_job_asks_is_answered() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let first = ledger.begin_job(&job(JobKind::Cut))?;
    let second = ledger.begin_job(&job(JobKind::Cut))?;
    assert!(ledger.used_attempts(first)?.is_empty());
    assert!(ledger.open_elsewhere(first)?.is_empty());
    made(&mut ledger, id(first, 1, 1), Verdict::NotBegun)?;
    made(&mut ledger, id(first, 1, 2), Verdict::Good)?;
    ledger.attempt_sent(&[new(id(first, 3, 7)), new(id(second, 3, 1))])?;
    made(&mut ledger, id(second, 4, 1), Verdict::Good)?;
    ledger.end_job(second, Ending::Failed, UnixMillis(60))?;
    let used: Vec<(u32, u32)> = ledger
        .used_attempts(first)?
        .into_iter()
        .map(|(card, attempt)| (card.0, attempt))
        .collect();
    assert_eq!(used, [(1, 2), (3, 7)]);
    // Also of a job that has ended: a unit may still hold its card.
    assert_eq!(
        ledger.open_elsewhere(first)?,
        BTreeSet::from([id(second, 3, 1)])
    );
    assert_eq!(
        ledger.open_elsewhere(second)?,
        BTreeSet::from([id(first, 3, 7)])
    );
    assert_eq!(ledger.open_elsewhere(JobNumber(99))?.len(), 2);
    Ok(())
}

#[test]
fn an_ended_job_takes_nothing_more() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let number = ledger.begin_job(&job(JobKind::Cut))?;
    ledger.attempt_sent(&[new(id(number, 1, 1))])?;
    ledger.end_job(number, Ending::Failed, UnixMillis(50))?;
    let sent = ledger.attempt_sent(&[new(id(number, 2, 1))]);
    assert!(matches!(sent, Err(LedgerError::JobEnded(_))), "{sent:?}");
    let ended = ledger.end_job(number, Ending::Done, UnixMillis(60));
    assert!(matches!(ended, Err(LedgerError::JobEnded(_))), "{ended:?}");
    let nowhere = ledger.attempt_sent(&[new(id(JobNumber(99), 2, 1))]);
    assert!(
        matches!(nowhere, Err(LedgerError::NoSuchJob(_))),
        "{nowhere:?}"
    );
    assert_eq!(ledger.job(number)?.ending, Some(Ending::Failed));
    // What became of its last card can still be learned.
    ledger.attempt_ended(&end(id(number, 1, 1), Verdict::Good))?;
    assert_eq!(good(&ledger)?, [1]);
    Ok(())
}

#[test]
fn numbers_go_on_after_a_restart() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut sessions = BTreeSet::new();
    let mut jobs = BTreeSet::new();
    for _ in 0..5 {
        let mut ledger = Ledger::open(dir.path())?;
        for _ in 0..3 {
            assert!(
                sessions.insert(ledger.next_session()?),
                "a session number came twice"
            );
            assert!(
                jobs.insert(ledger.begin_job(&job(JobKind::Cut))?),
                "a job number twice"
            );
        }
    }
    let sessions: Vec<u32> = sessions.into_iter().collect();
    assert_eq!(sessions.len(), 15);
    assert!(sessions.windows(2).all(|two| two[1] == two[0] + 1));
    Ok(())
}

/// A rig that has served one ledger is given to another. If this fails, the
/// second ledger's first session can be taken for the first one's last.
#[test]
fn two_ledgers_do_not_begin_with_the_same_session() -> Tested {
    let mut first = Vec::new();
    for _ in 0..8 {
        let dir = tempfile::tempdir()?;
        first.push(Ledger::open(dir.path())?.next_session()?);
    }
    first.sort_unstable();
    first.dedup();
    assert_eq!(first.len(), 8);
    Ok(())
}

#[test]
fn session_numbers_that_are_used_up_are_said_so() -> Tested {
    let dir = tempfile::tempdir()?;
    Ledger::open(dir.path())?.close()?;
    let conn = rusqlite::Connection::open(dir.path().join(cardwright::ledger::FILE))?;
    conn.execute_batch("UPDATE counter SET value = 4294967294")?;
    drop(conn);
    let mut ledger = Ledger::open(dir.path())?;
    assert_eq!(ledger.next_session()?, u32::MAX);
    for _ in 0..2 {
        let error = ledger
            .next_session()
            .err()
            .ok_or("a number beyond the last")?;
        assert!(
            matches!(
                error,
                LedgerError::UsedUp {
                    what: "session",
                    ..
                }
            ),
            "{error}"
        );
    }
    Ok(())
}

#[test]
fn a_unit_keeps_its_first_sight_and_its_settings() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let mut seen = SeenUnit {
        board: BoardId([0xa0; 8]),
        role: Role::Rig,
        firmware: "0.1.0".to_string(),
        protocol: 1,
        boot: 1,
        last_stop: StopReason::PowerOn,
        settings: Some(json!({"holes": 8})),
        at: UnixMillis(100),
    };
    ledger.unit_seen(&seen)?;
    seen = SeenUnit {
        boot: 2,
        last_stop: StopReason::GuardOpen,
        settings: None,
        ..seen
    };
    seen.at = UnixMillis(200);
    ledger.unit_seen(&seen)?;
    let units = ledger.units()?;
    let [unit] = units.as_slice() else {
        return Err(format!("{units:?}").into());
    };
    assert_eq!(
        (unit.first_seen, unit.last_seen, unit.boot),
        (UnixMillis(100), seen.at, 2)
    );
    assert_eq!(
        (unit.role.as_str(), unit.last_stop.as_str()),
        ("rig", "guard open")
    );
    assert_eq!(unit.settings, Some(json!({"holes": 8})));
    Ok(())
}

#[test]
fn times_are_shown_as_the_standard_says() {
    // ISO 8601; RFC 3339 section 5.8 gives 1985-04-12T23:20:50.52Z as example.
    assert_eq!(
        UnixMillis(482_196_050_520).to_string(),
        "1985-04-12T23:20:50.520Z"
    );
    assert_eq!(UnixMillis(0).to_string(), "1970-01-01T00:00:00.000Z");
    assert_eq!(UnixMillis(-1).to_string(), "1969-12-31T23:59:59.999Z");
    assert_eq!(UnixMillis(i64::MAX).to_string(), "9223372036854775807 ms");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn raw_readings_come_back_as_they_were(
        holes in 1u8..=16,
        lines in 1usize..500,
        dark: [u8; 16],
        open: [u8; 16],
        seed: u64,
    ) {
        use rand::{RngExt as _, SeedableRng as _};
        let mut chance = rand::rngs::Xoshiro256PlusPlus::seed_from_u64(seed);
        let samples = (0..usize::from(holes) * lines).map(|_| chance.random()).collect();
        let readings = Readings { holes, dark, open, samples };
        let dir = tempfile::tempdir().map_err(|e| TestCaseError::fail(e.to_string()))?;
        let came_back = (|| {
            let mut ledger = Ledger::open(dir.path())?;
            let number = ledger.begin_job(&job(JobKind::Cut))?;
            let card = id(number, 1, 1);
            ledger.attempt_sent(&[new(card)])?;
            let ended = EndedAttempt {
                readings: Some(readings.clone()),
                lines: lines as u16,
                ..end(card, Verdict::Good)
            };
            ledger.attempt_ended(&ended)?;
            ledger.close()?;
            Ledger::open_read_only(dir.path())?.raw_readings(card)
        })();
        let came_back = came_back.map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert_eq!(came_back, Some(readings));
    }
}
