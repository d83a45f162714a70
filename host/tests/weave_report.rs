//! The report on a piece: its sums against a plain count of the records, its words and
//! tables as they stand, its page, and what is refused. The piece is made by hand.

#[path = "weave_report/any.rs"]
mod any;
#[path = "weave_report/loom.rs"]
mod loom;
#[path = "weave_report/page.rs"]
mod page;

use cardwright::ledger::{Ledger, PieceNumber, WeavingKind, WeavingRow};
use cardwright::report::{Report, SessionEnd};
use loom::{Loom, START, Truth, two_days};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;
use std::process::Command;

/// A line of a table, by its columns.
type Row = BTreeMap<String, String>;

type Tested = Result<(), Box<dyn Error>>;

/// A ledger with the two days as piece 1, one without picks, and one without records.
fn filled(dir: &Path) -> Result<Truth, Box<dyn Error>> {
    let mut ledger = Ledger::open(dir)?;
    let (loom, truth) = two_days();
    loom.keep(&mut ledger, "Sedge runners")?;
    let mut empty = Loom::new();
    empty.begin();
    empty.wait(65_000);
    empty.leave();
    empty.keep(
        &mut ledger,
        "A very long name of a cloth \u{1b}[2J that nobody has begun",
    )?;
    Loom::new().keep(&mut ledger, "nothing")?;
    ledger.close()?;
    Ok(truth)
}

fn report(dir: &Path, number: u32) -> Result<(Report, Vec<WeavingRow>), Box<dyn Error>> {
    let ledger = Ledger::open_read_only(dir)?;
    let pieces = ledger.pieces()?;
    let piece = pieces.iter().find(|row| row.piece == PieceNumber(number));
    let rows = ledger.weaving(PieceNumber(number))?;
    Ok((Report::of(piece.ok_or("no such piece")?, &rows)?, rows))
}

/// Exit status and what was said.
fn program(dir: &Path, words: &[&str]) -> Result<(i32, String), Box<dyn Error>> {
    let out = Command::new(env!("CARGO_BIN_EXE_cardwright"))
        .arg("ledger")
        .args(words)
        .arg("--data")
        .arg(dir)
        .output()?;
    let said = [out.stdout, out.stderr].concat();
    let code = out.status.code().ok_or("killed")?;
    Ok((code, String::from_utf8(said)?))
}

#[test]
fn the_report_reads_well_on_80_columns() -> Tested {
    let dir = tempfile::tempdir()?;
    filled(dir.path())?;
    let mut all = String::new();
    for words in [
        &["pieces"][..],
        &["piece", "1"],
        &["piece", "2"],
        &["piece", "3"],
        &["piece", "9"],
        &["piece", "0"],
        &["piece", "1", "--plot", "page.png"],
        &["piece", "2", "--plot", "page.svg"],
        &["piece", "1", "--table", "faults"],
    ] {
        let (code, text) = program(dir.path(), words)?;
        if code <= 1 {
            for line in text.lines() {
                assert!(line.chars().count() <= 80, "{line}");
                assert!(!line.chars().any(char::is_control), "{line:?}");
            }
        }
        let command = words.join(" ");
        all.push_str(&format!(
            "$ cardwright ledger {command}\n{text}(exit {code})\n\n"
        ));
    }
    assert!(!Path::new("page.svg").exists() && !Path::new("page.png").exists());
    insta::assert_snapshot!("reports", all);
    Ok(())
}

/// Picks as the records have them: session, time, pick of the plan.
fn plain_picks(rows: &[WeavingRow]) -> Vec<(usize, i64, u64)> {
    let mut session = 0;
    let mut picks = Vec::new();
    for row in rows {
        match row.record.kind {
            WeavingKind::Began => session += 1,
            WeavingKind::Pick => {
                let pick = row.record.detail["pick"].as_u64().expect("a pick");
                picks.push((session, row.record.at.0, pick));
            }
            _ => {}
        }
    }
    picks
}

/// If this fails, a weaver is told of hours or picks that were not woven. The count
/// here is the plainest: pairs of neighbours, and every stretch from every pick on.
#[test]
fn the_sums_are_those_of_a_plain_count() -> Tested {
    let dir = tempfile::tempdir()?;
    let truth = filled(dir.path())?;
    let (report, rows) = report(dir.path(), 1)?;
    let picks = plain_picks(&rows);
    let sums = &report.sums;
    assert_eq!((sums.picks, sums.picks), (picks.len(), truth.picks));
    assert_eq!(
        (sums.taken_out, sums.in_cloth),
        (truth.taken_out, truth.in_cloth)
    );
    assert_eq!((sums.caught_up, sums.paused_ms), (4, truth.pauses_ms));
    let out: Vec<u64> = report
        .picks
        .iter()
        .filter(|pick| pick.taken_out)
        .map(|pick| pick.pick)
        .collect();
    assert_eq!(out, [398, 399, 400]);

    // The pause lies between picks 99 and 100, the picks caught up are 4 from 560 on.
    let mut took: Vec<i64> = Vec::new();
    for pair in picks.windows(2) {
        let paused = if pair[1].2 == 100 { truth.pauses_ms } else { 0 };
        let seen = |pick: u64| !(561..565).contains(&pick);
        if pair[0].0 == pair[1].0 && seen(pair[0].2) && seen(pair[1].2) {
            took.push(pair[1].1 - pair[0].1 - paused);
        }
    }
    let mut sorted = took.clone();
    sorted.sort_unstable();
    let half = sorted.len() / 2;
    let middle = match sorted.len() % 2 {
        1 => sorted[half] as f64,
        _ => (sorted[half - 1] + sorted[half]) as f64 / 2.0,
    };
    assert!(middle > 1_700.0 && middle < 2_700.0, "{middle}");
    assert_eq!(sums.rest_ms, 20_000, "less than three such picks");
    let weaving: i64 = took.iter().filter(|ms| **ms <= 20_000).sum();
    let stopped: i64 = took.iter().filter(|ms| **ms > 20_000).sum();
    assert_eq!((sums.weaving_ms, sums.stopped_ms), (weaving, stopped));
    let before: Vec<u64> = report.stops.iter().map(|stop| stop.before_pick).collect();
    assert_eq!(before, truth.stops_before);
    let after: Vec<Option<i64>> = report.faults.iter().map(|f| f.after_ms).collect();
    assert_eq!(after, truth.righted_after_ms);

    sorted.retain(|ms| *ms <= 20_000);
    let woven = (sorted[sorted.len() / 2] + sorted[(sorted.len() - 1) / 2]) as f64 / 2.0;
    let told = report.pace.median.ok_or("a pace")?;
    assert!((told - 60_000.0 / woven).abs() < 1e-9, "{told}");
    best_and_worst(&report)
}

/// Every ten minutes, by two loops.
fn best_and_worst(report: &Report) -> Tested {
    let (mut best, mut worst) = (f64::MIN, f64::MAX);
    for session in 1..=3 {
        let took: Vec<i64> = report
            .picks
            .iter()
            .filter(|pick| pick.session == session && !pick.after_rest)
            .filter_map(|pick| pick.since_ms)
            .collect();
        for from in 0..took.len() {
            let mut sum = 0;
            for (count, ms) in (1..).zip(&took[from..]) {
                sum += ms;
                if sum >= 600_000 {
                    let pace = f64::from(count) / (sum as f64 / 60_000.0);
                    (best, worst) = (best.max(pace), worst.min(pace));
                    break;
                }
            }
        }
    }
    let told = report.pace.best.ok_or("a best")?;
    assert!((told.picks_a_minute - best).abs() < 1e-9, "{told:?} {best}");
    let told = report.pace.worst.ok_or("a worst")?;
    assert!(
        (told.picks_a_minute - worst).abs() < 1e-9,
        "{told:?} {worst}"
    );
    assert!(best > worst);
    Ok(())
}

/// If this fails, the hours after a power cut count as hours at the loom.
#[test]
fn a_killed_session_ends_with_its_last_record() -> Tested {
    let dir = tempfile::tempdir()?;
    filled(dir.path())?;
    let (report, rows) = report(dir.path(), 1)?;
    let ends: Vec<SessionEnd> = report.sessions.iter().map(|s| s.ending).collect();
    assert_eq!(ends, [SessionEnd::Left, SessionEnd::Open, SessionEnd::Left]);
    let killed = &report.sessions[1];
    let last = plain_picks(&rows).into_iter().rfind(|pick| pick.0 == 2);
    let last = last.ok_or("a pick")?.1;
    assert_eq!(killed.ended.0, last);
    assert_eq!(killed.at_loom_ms, last - killed.began.0);
    let whole = report.sessions.iter().map(|s| s.at_loom_ms).sum::<i64>();
    assert_eq!(report.sums.at_loom_ms, whole);

    // killed in a pause: the pause reaches to the last record and no further
    let mut loom = Loom::new();
    loom.begin();
    loom.weave(5, 2_000, 1.0);
    let woven = loom.now - START;
    loom.wait(1_000);
    loom.say(WeavingKind::Paused, json!({}));
    loom.wait(50_000);
    loom.say(WeavingKind::Note, json!({ "text": "tea" }));
    let mut ledger = Ledger::open(dir.path())?;
    let piece = loom.keep(&mut ledger, "paused")?;
    ledger.close()?;
    let (paused, _) = self::report(dir.path(), piece.0)?;
    assert_eq!(paused.sums.at_loom_ms, woven + 1_000);
    assert_eq!(paused.sums.paused_ms, 50_000);
    Ok(())
}

/// The cloth is made 2 or 3 % longer than the sett says in its first 560 picks, and
/// 10 % longer in the last 304.
#[test]
fn the_length_shows_where_it_drifts() -> Tested {
    let dir = tempfile::tempdir()?;
    filled(dir.path())?;
    let (report, _) = report(dir.path(), 1)?;
    let length = &report.length;
    let sett = length.sett.ok_or("a sett")?;
    assert!((sett - 60.0).abs() < 1e-9, "{sett}");
    let parts = &length.stretches;
    assert_eq!(parts.len(), 10);
    for part in parts {
        // the wheel tells four millimetres, of some 36 in a stretch: only what lies
        // between two of its steps can be told
        let wanted = match (part.first, part.last) {
            (_, ..=400) => 1.02,
            (401.., ..=560) => 1.03,
            (561.., _) => 1.10,
            _ => continue,
        };
        let longer = part.longer_percent.ok_or("longer")?;
        assert!((longer - (wanted - 1.0) * 100.0).abs() < 1.6, "{part:?}");
        let density = part.picks_a_unit.ok_or("a density")?;
        assert!((density - 60.0 / wanted).abs() < 1.0, "{part:?}");
    }
    let sum: f64 = parts.iter().map(|part| part.take_up_mm).sum();
    let whole = length.compared.ok_or("both lengths")?;
    assert!((sum - whole.take_up_mm).abs() < 1e-6);
    assert!(whole.first > 1 && whole.first < 20, "{whole:?}");
    assert!(whole.last > 850 && whole.last <= 864, "{whole:?}");
    Ok(())
}

#[test]
fn tables_are_read_back_by_another_reader() -> Tested {
    let dir = tempfile::tempdir()?;
    filled(dir.path())?;
    let (report, _) = report(dir.path(), 1)?;
    let mut all = String::new();
    for table in ["picks", "faults", "sessions"] {
        let file = dir.path().join(format!("{table}.csv"));
        let name = file.to_str().ok_or("a name")?;
        let (code, said) = program(dir.path(), &["piece", "1", "--csv", name, "--table", table])?;
        assert_eq!(code, 1, "a fault is open: {said}");
        assert!(said.ends_with(&format!("wrote {name}\n")), "{said}");
        let text = std::fs::read_to_string(&file)?;
        let shown: Vec<&str> = text.lines().enumerate().filter_map(shown(table)).collect();
        all.push_str(&format!("{table}\n{}\n\n", shown.join("\n")));
        let rows = csv::Reader::from_path(&file)?
            .into_deserialize()
            .collect::<Result<Vec<Row>, _>>()?;
        match table {
            "picks" => same_picks(&rows, &report)?,
            "faults" => assert_eq!(rows.len(), report.faults.len()),
            _ => assert_eq!(rows.len(), report.sessions.len()),
        }
        let (code, said) = program(dir.path(), &["piece", "1", "--csv", name, "--table", table])?;
        assert_eq!(code, 2);
        assert!(
            said.contains("exists already") && said.contains("--force"),
            "{said}"
        );
        assert_eq!(std::fs::read_to_string(&file)?, text);
        let force = ["piece", "1", "--csv", name, "--table", table, "--force"];
        assert_eq!(program(dir.path(), &force)?.0, 1);
    }
    insta::assert_snapshot!("tables", all);
    Ok(())
}

/// The lines of a table that are worth reviewing.
fn shown<'a>(table: &str) -> impl Fn((usize, &'a str)) -> Option<&'a str> {
    let all = table != "picks";
    move |(line, text)| {
        let lines = [
            0, 1, 2, 31, 101, 102, 251, 397, 398, 400, 401, 564, 565, 568, 569,
        ];
        (all || lines.contains(&line)).then_some(text)
    }
}

fn same_picks(rows: &[Row], report: &Report) -> Tested {
    assert_eq!(rows.len(), report.picks.len());
    let mut weaving = 0.0;
    for (row, pick) in rows.iter().zip(&report.picks) {
        assert_eq!(row["pick"], pick.pick.to_string());
        assert_eq!(row["at"], pick.at.to_string());
        assert_eq!(row["taken_out"] == "yes", pick.taken_out);
        if row["after_rest"] == "no" && !row["since_s"].is_empty() {
            weaving += row["since_s"].parse::<f64>()?;
        }
    }
    let told = report.sums.weaving_ms as f64 / 1000.0;
    assert!((weaving - told).abs() < 0.001, "{weaving} {told}");
    Ok(())
}

#[test]
fn lists_for_programs_are_one_object_a_line() -> Tested {
    let dir = tempfile::tempdir()?;
    let truth = filled(dir.path())?;
    let (code, text) = program(dir.path(), &["piece", "1", "--json"])?;
    assert_eq!(code, 1);
    let lines: Vec<Value> = text
        .lines()
        .map(serde_json::from_str)
        .collect::<Result<_, _>>()?;
    let count = |what: &str| lines.iter().filter(|line| line["row"] == what).count();
    assert_eq!((count("session"), count("stop"), count("fault")), (3, 2, 4));
    assert_eq!(
        (count("decision"), count("note"), count("stretch")),
        (4, 1, 10)
    );
    assert_eq!(
        (count("weft"), count("deck"), count("faults_of_kind")),
        (2, 1, 3)
    );
    let summary = lines.last().ok_or("a summary")?;
    assert_eq!(summary["picks"], json!(truth.picks));
    assert_eq!(summary["open_faults"], json!(1));
    assert_eq!(summary["began"], json!("2026-05-11T08:00:00.000Z"));
    let (code, text) = program(dir.path(), &["pieces", "--json"])?;
    let lines: Vec<Value> = text
        .lines()
        .map(serde_json::from_str)
        .collect::<Result<_, _>>()?;
    assert_eq!((code, lines.len()), (0, 4));
    assert_eq!(lines[0]["picks"], json!(truth.picks));
    assert_eq!(lines[0]["in_cloth"], json!(truth.in_cloth));
    assert_eq!(lines[0]["sessions"], json!(3));
    assert_eq!(lines[3], json!({ "pieces": 3 }));
    Ok(())
}

#[test]
fn a_record_that_nobody_writes_is_named_and_nothing_is_written() -> Tested {
    for (kind, detail, cause) in [
        (
            WeavingKind::Pick,
            json!({ "card": 3 }),
            "missing field `pick`",
        ),
        (
            WeavingKind::Decided,
            json!({ "decided": "splendid" }),
            "unknown variant",
        ),
        (WeavingKind::Left, Value::Null, "invalid type"),
    ] {
        let dir = tempfile::tempdir()?;
        let mut loom = Loom::new();
        loom.begin();
        loom.weave(2, 2_000, 1.0);
        loom.say(kind, detail);
        let mut ledger = Ledger::open(dir.path())?;
        loom.keep(&mut ledger, "damaged")?;
        ledger.close()?;
        let file = dir.path().join("picks.csv");
        let name = file.to_str().ok_or("a name")?;
        let (code, said) = program(dir.path(), &["piece", "1", "--csv", name])?;
        assert_eq!(code, 2, "{said}");
        assert!(
            said.contains("record 4 of piece 1") && said.contains(cause),
            "{said}"
        );
        assert!(said.contains("--table weaving"), "{said}");
        assert!(!file.exists());
    }
    Ok(())
}

/// What lies in the cloth beside the plan makes it longer, too: 14 picks at 60 to the
/// inch are 0.23 in.
#[test]
fn the_length_by_the_sett_is_that_of_all_picks_in_the_cloth() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut loom = Loom::new();
    loom.begin();
    loom.weave(4, 1_800, 1.0);
    loom.in_cloth += 10;
    loom.leave();
    let mut ledger = Ledger::open(dir.path())?;
    loom.keep(&mut ledger, "left in it")?;
    ledger.close()?;
    let (code, text) = program(dir.path(), &["piece", "1"])?;
    assert_eq!(code, 0, "{text}");
    for words in [
        "in the cloth 14 picks, 10 of them beside the plan",
        "0.23 in by the sett (60.0 picks/in)",
    ] {
        assert!(text.contains(words), "{words}:\n{text}");
    }
    Ok(())
}

/// Picks taken out of a cloth whose place in the plan was said: which came out
/// does not hang on what is next.
#[test]
fn what_was_taken_out_does_not_hang_on_the_place() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut loom = Loom::new();
    loom.begin();
    loom.weave(3, 1_800, 1.0);
    loom.decide(json!({ "decided": "next_is", "pick": 40 }));
    loom.next = 40;
    loom.next -= 2;
    loom.in_cloth -= 2;
    loom.decide(json!({ "decided": "unwove", "picks": 3, "beside": 1 }));
    loom.leave();
    let mut ledger = Ledger::open(dir.path())?;
    loom.keep(&mut ledger, "elsewhere")?;
    ledger.close()?;
    let (report, _) = report(dir.path(), 1)?;
    assert_eq!((report.sums.taken_out, report.sums.in_cloth), (2, 1));
    let out: Vec<bool> = report.picks.iter().map(|pick| pick.taken_out).collect();
    assert_eq!(out, [false, true, true]);
    Ok(())
}

/// Of two faults neither took the middle time.
#[test]
fn of_two_faults_both_times_are_told() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut loom = Loom::new();
    loom.begin();
    for ms in [2_600, 10_000] {
        loom.weave(4, 1_800, 1.0);
        let fault = loom.fault("no_weft", "no weft");
        loom.wait(ms);
        loom.righted(fault, "loom");
    }
    loom.leave();
    let mut ledger = Ledger::open(dir.path())?;
    loom.keep(&mut ledger, "two")?;
    ledger.close()?;
    let (_, text) = program(dir.path(), &["piece", "1"])?;
    let words = "2 no weft: 2 righted at the loom; after 2.6 s and 10 s";
    assert!(text.contains(words), "{text}");
    Ok(())
}
