//! What a person and other programs read out of the ledger, through the
//! program itself: the listings as they stand on a terminal of 80 columns, and
//! exports that are read back by other readers (the csv and serde_json crates)
//! and compared with the rows.

use cardwright::ledger::export::{self, Table};
use cardwright::ledger::{
    BoardId, DeckSha, EndedAttempt, Ending, EventKind, Fault, JobKind, Ledger, NewAttempt,
    NewCalibration, NewDeck, NewEvent, NewJob, NewLoomEvent, NewPiece, NewWeaving, PunchSeen,
    Readings, SeenUnit, UnitStored, UnixMillis, Verdict, WeavingKind, Woven,
};
use cardwright_protocol::unit_to_host::{Role, StopReason};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use serde_json::{Value, json};
use std::error::Error;
use std::path::Path;
use std::process::Command;

type Tested = Result<(), Box<dyn Error>>;

/// 1 March 2026, 08:15 UTC.
const START: i64 = 1_772_352_900_000;

fn at(seconds: i64) -> UnixMillis {
    UnixMillis(START + seconds * 1000 + 250)
}

fn job(kind: JobKind, deck: (&str, u8), seconds: i64) -> NewJob {
    let deck = NewDeck {
        sha256: DeckSha([deck.1; 32]),
        name: deck.0.to_string(),
        format: "400".to_string(),
        cards: 9,
        text: format!("deck {}", deck.1),
    };
    NewJob {
        kind,
        deck: Some(deck),
        unit: Some(BoardId([0xa0, 1, 2, 3, 4, 5, 6, 7])),
        settings: json!({"recut": "end"}),
        started: at(seconds),
    }
}

fn hole(kind: &str, row: u16, hole: u8, permille: f64) -> Fault {
    Fault {
        kind: kind.to_string(),
        stroke: Some(row + 1),
        row: Some(row),
        hole: Some(hole),
        measured: Some(permille),
        measured_in: "open permille".to_string(),
        note: String::new(),
    }
}

fn made(
    ledger: &mut Ledger,
    key: (JobNumber, u32, u32),
    verdict: Verdict,
    faults: Vec<Fault>,
) -> Tested {
    let id = CardId {
        job: key.0,
        card: CardNumber(key.1),
        attempt: Attempt(key.2),
    };
    let sent = at(i64::from(key.1) * 4);
    ledger.attempt_sent(&[NewAttempt {
        id,
        strokes: 56,
        crc: 0xdead_beef,
        sent,
    }])?;
    let readings = (verdict == Verdict::Good).then(|| Readings {
        holes: 8,
        dark: [2; 16],
        open: [240; 16],
        samples: vec![9; 8 * 464],
    });
    Ok(ledger.attempt_ended(&EndedAttempt {
        id,
        verdict,
        faults,
        strokes_made: 56,
        lines: 464,
        length_um: 402_650,
        place: Some(key.1),
        readings,
        punches: vec![PunchSeen {
            hole: 0,
            holes: 2,
            diameter_um: 9_990,
            along_um: -12,
        }],
        ended: UnixMillis(sent.0 + 3000),
    })?)
}

/// A towel's deck half cut, verified, and a second deck with an awkward name.
fn filled(dir: &Path) -> Tested {
    let mut ledger = Ledger::open(dir)?;
    let mut unit = SeenUnit {
        board: BoardId([0xa0, 1, 2, 3, 4, 5, 6, 7]),
        role: Role::Rig,
        firmware: "0.1.0".to_string(),
        protocol: 1,
        boot: 3,
        last_stop: StopReason::PowerOn,
        settings: Some(json!({"holes": 8})),
        at: at(0),
    };
    ledger.unit_seen(&unit)?;
    unit.at = at(70);
    ledger.unit_seen(&unit)?;
    ledger.calibrated(&NewCalibration {
        board: unit.board,
        holes: 8,
        at: at(71),
        detail: json!({"form": 1}),
    })?;

    let cut = ledger.begin_job(&job(JobKind::Cut, ("reed towel", 7), 1))?;
    for card in [1, 2, 3] {
        made(&mut ledger, (cut, card, 1), Verdict::Good, vec![])?;
    }
    let missing = (20..=26)
        .map(|row| hole("missing", row, 5, 461.0))
        .collect();
    made(&mut ledger, (cut, 4, 1), Verdict::Missing, missing)?;
    made(&mut ledger, (cut, 4, 2), Verdict::Good, vec![])?;
    let extra = vec![hole("extra", 50, 4, 1004.0)];
    made(&mut ledger, (cut, 5, 1), Verdict::Extra, extra)?;
    let longest = Fault {
        kind: "out of register".to_string(),
        measured: Some(-1200.0),
        measured_in: "um".to_string(),
        note: "the row that lies farthest from its place".to_string(),
        ..Fault::default()
    };
    made(
        &mut ledger,
        (cut, 6, 1),
        Verdict::OutOfRegister,
        vec![longest],
    )?;
    for card in [7, 8] {
        made(&mut ledger, (cut, card, 1), Verdict::NotBegun, vec![])?;
    }
    let stop = json!({"reason": "GrossMisread", "id": {"job": 1, "card": 6, "attempt": 1},
        "strokes": 39, "at_us": 367_968_801, "off_after_us": 205});
    for (kind, detail, seconds) in [
        (EventKind::Reset, json!({}), 2),
        (EventKind::Stop, stop, 30),
        (EventKind::Pause, Value::Null, 31),
    ] {
        let (at, job) = (at(seconds), Some(cut));
        ledger.event(&NewEvent {
            at,
            job,
            kind,
            detail,
        })?;
    }
    ledger.end_job(cut, Ending::Stopped, at(60))?;

    let verify = ledger.begin_job(&job(JobKind::Verify, ("reed towel", 7), 100))?;
    let gone = vec![hole("missing", 3, 1, 12.0)];
    made(&mut ledger, (verify, 2, 1), Verdict::Missing, gone)?;
    ledger.end_job(verify, Ending::Done, at(160))?;

    let awkward = "a runner, \"reeds\"\nby the long water \u{1b}[2J";
    let open = ledger.begin_job(&job(JobKind::Cut, (awkward, 8), 200))?;
    let id = CardId {
        job: open,
        card: CardNumber(1),
        attempt: Attempt(1),
    };
    let (strokes, crc, sent) = (56, 1, at(201));
    ledger.attempt_sent(&[NewAttempt {
        id,
        strokes,
        crc,
        sent,
    }])?;
    woven(&mut ledger)?;
    Ok(ledger.close()?)
}

/// A pick at a loom.
fn woven(ledger: &mut Ledger) -> Tested {
    let board = BoardId([0xb0, 1, 2, 3, 4, 5, 6, 7]);
    let place = json!({"place": {"next": 0, "in_cloth": 0}});
    let piece = ledger.begin_piece(&NewPiece {
        name: "reed runner".to_string(),
        plan_sha256: "ab".repeat(32),
        plan: "name = \"reed runner\"".to_string(),
        at: at(300),
        place,
        instead_of: Vec::new(),
    })?;
    let event = |number: u32, what: &'static str| NewLoomEvent {
        board,
        boot: 4,
        number,
        unit_us: 1_000_000 + u64::from(number),
        at: at(301),
        error_us: 250,
        what,
    };
    let record = NewWeaving {
        at: at(301),
        kind: WeavingKind::Pick,
        detail: json!({"pick": 0, "card": 1, "in_cloth": 1}),
    };
    Ok(ledger.woven(&Woven {
        piece,
        events: vec![event(0, "card forward"), event(1, "beat")],
        records: vec![record],
        place: json!({"place": {"next": 1, "in_cloth": 1}}),
        unit: Some(UnitStored {
            board,
            boot: 4,
            next: 2,
        }),
        ended: false,
    })?)
}

fn program(dir: &Path, words: &[&str]) -> Result<String, Box<dyn Error>> {
    let out = Command::new(env!("CARGO_BIN_EXE_cardwright"))
        .arg("ledger")
        .args(words)
        .arg("--data")
        .arg(dir)
        .output()?;
    if out.status.success() {
        Ok(String::from_utf8(out.stdout)?)
    } else {
        Ok(format!(
            "exit {:?}: {}",
            out.status.code(),
            String::from_utf8(out.stderr)?
        ))
    }
}

#[test]
fn the_listings_read_well_on_80_columns() -> Tested {
    let dir = tempfile::tempdir()?;
    filled(dir.path())?;
    let mut all = String::new();
    for words in [
        &["jobs"][..],
        &["show", "1"],
        &["show", "3"],
        &["cards", "--deck", "reed towel"],
        &["units"],
        &["export", "--columns"],
        &["cards", "--deck", "no such"],
        &["show", "9"],
    ] {
        let text = program(dir.path(), words)?;
        if !text.starts_with("exit") {
            for line in text.lines() {
                assert!(line.chars().count() <= 80, "{line}");
                assert!(!line.chars().any(char::is_control), "{line:?}");
            }
        }
        all.push_str(&format!(
            "$ cardwright ledger {}\n{text}\n",
            words.join(" ")
        ));
    }
    insta::assert_snapshot!("listings", all.replace('\u{1b}', "ESC"));
    Ok(())
}

#[test]
fn lists_for_programs_are_one_object_a_line() -> Tested {
    let dir = tempfile::tempdir()?;
    filled(dir.path())?;
    let ledger = Ledger::open_read_only(dir.path())?;
    let text = program(dir.path(), &["show", "1", "--json"])?;
    let lines: Vec<Value> = text
        .lines()
        .map(serde_json::from_str)
        .collect::<Result<_, _>>()?;
    let mut wanted: Vec<Value> = Vec::new();
    for row in ledger.attempts(JobNumber(1))? {
        wanted.push(serde_json::to_value(row)?);
    }
    for row in ledger.events(Some(JobNumber(1)))? {
        wanted.push(serde_json::to_value(row)?);
    }
    wanted.push(serde_json::to_value(ledger.job(JobNumber(1))?)?);
    assert_eq!(lines, wanted);
    let text = program(dir.path(), &["cards", "--deck", "0707", "--json"])?;
    let last: Value = serde_json::from_str(text.lines().last().ok_or("a line")?)?;
    assert_eq!(
        (&last["good"], &last["attempts"], &last["faults"]["missing"]),
        (&json!(3), &json!(10), &json!(8))
    );
    Ok(())
}

#[test]
fn csv_read_back_equals_the_rows() -> Tested {
    let dir = tempfile::tempdir()?;
    filled(dir.path())?;
    let ledger = Ledger::open_read_only(dir.path())?;
    for table in Table::ALL {
        let file = dir.path().join(format!("{}.csv", table.name()));
        let name = file.to_str().ok_or("a name")?;
        let words = [
            "export",
            "--format",
            "csv",
            "--table",
            table.name(),
            "--out",
            name,
        ];
        assert_eq!(program(dir.path(), &words)?, "");
        let mut reader = csv::Reader::from_path(&file)?;
        let head = reader.headers()?.clone();
        let rows = export::records(&ledger, table)?;
        assert!(!rows.is_empty(), "{table:?} is empty and shows nothing");
        let read: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>()?;
        assert_eq!(read.len(), rows.len(), "{table:?}");
        for (read, row) in read.iter().zip(&rows) {
            // No column is lost and none is made up.
            assert_eq!(head.len(), row.len(), "{table:?}: {row:?}");
            for (name, cell) in head.iter().zip(read) {
                let value = row.get(name).ok_or(format!("{table:?} has no {name}"))?;
                let same = match value {
                    Value::Null => cell.is_empty(),
                    Value::String(text) => cell == text,
                    other => serde_json::from_str::<Value>(cell)? == *other,
                };
                assert!(same, "{table:?}.{name}: {cell:?} is not {value}");
            }
        }
    }
    Ok(())
}

#[test]
fn json_read_back_equals_the_rows() -> Tested {
    let dir = tempfile::tempdir()?;
    filled(dir.path())?;
    let ledger = Ledger::open_read_only(dir.path())?;
    let whole: Value = serde_json::from_str(&program(dir.path(), &["export"])?)?;
    assert_eq!(whole["form"], json!(cardwright::ledger::newest_form()));
    for table in Table::ALL {
        let rows = serde_json::to_value(export::records(&ledger, table)?)?;
        assert_eq!(whole[table.name()], rows, "{table:?}");
    }
    // And the rows are what was written.
    assert_eq!(whole["attempts"].as_array().map(Vec::len), Some(11));
    assert_eq!(whole["faults"].as_array().map(Vec::len), Some(10));
    assert_eq!(whole["faults"][9]["measured"], json!(12.0));
    assert_eq!(
        whole["jobs"][0]["started"],
        json!("2026-03-01T08:15:01.250Z")
    );
    Ok(())
}
