//! The report on a piece in words. Enters: a report. Leaves: lines for a terminal of 80
//! columns. Refuses nothing.

use super::wording::{plain, shortened, to_the_minute, to_the_second, wrapped};
use crate::report::words::{duration, length};
use crate::report::{FaultsOfKind, Report, Said, Session, Stop, Stretch, TenMinutes};
use crate::words::counted;
use std::fmt::Write as _;
use std::io::Write;

/// Stops, decisions and notes that are listed one by one.
const MOST_LISTED: usize = 12;

pub(super) fn report_text(report: &Report, out: &mut dyn Write) -> anyhow::Result<()> {
    let mut text = Text::default();
    head(report, &mut text);
    if report.picks.is_empty() {
        match report.sums.in_cloth {
            0 => text.line("No picks yet.", 0),
            _ => cloth(report, &mut text),
        }
    } else {
        cloth(report, &mut text);
        time(report, &mut text);
        lengths(report, &mut text);
    }
    sessions(&report.sessions, &mut text);
    stops(&report.stops, &mut text);
    faults(report, &mut text);
    said("decisions", &report.decisions, &mut text);
    said("notes", &report.notes, &mut text);
    Ok(out.write_all(text.0.as_bytes())?)
}

#[derive(Default)]
struct Text(String);

impl Text {
    /// A line, broken where it is too long.
    fn line(&mut self, words: &str, indent: usize) {
        self.0.push_str(&wrapped(&plain(words), indent));
        self.0.push('\n');
    }

    /// What it is about, and what there is to say.
    fn about(&mut self, what: &str, words: &str) {
        self.line(&format!("{what:<13}{words}"), 13);
    }

    fn section(&mut self, words: &str) {
        self.0.push('\n');
        self.line(words, 0);
    }
}

fn head(report: &Report, text: &mut Text) {
    text.line(&format!("piece {}: {}", report.piece.0, report.name), 4);
    text.about("began", &to_the_second(report.began));
    let ended = report.ended.map(to_the_second);
    let ended = ended.as_deref().unwrap_or("not yet");
    text.about(if report.left { "left" } else { "done" }, ended);
}

fn cloth(report: &Report, text: &mut Text) {
    let sums = &report.sums;
    let mut woven = counted(sums.picks, "pick");
    if sums.taken_out > 0 {
        let _ = write!(woven, ", {} of them taken out again", sums.taken_out);
    }
    if sums.caught_up > 0 {
        let off = ", {} of them while the program was off";
        woven.push_str(&off.replace("{}", &sums.caught_up.to_string()));
    }
    text.about("woven", &woven);
    let standing = i64::try_from(sums.picks - sums.taken_out).unwrap_or(i64::MAX);
    let mut cloth = match sums.in_cloth {
        1 => "1 pick".to_string(),
        picks => format!("{picks} picks"),
    };
    match sums.in_cloth - standing {
        0 => {}
        more @ 1.. => {
            let _ = write!(cloth, ", {more} of them beside the plan");
        }
        less => {
            let _ = write!(cloth, ", {} less than were woven and left in it", -less);
        }
    }
    text.about("in the cloth", &cloth);
    let decks = report.decks.iter().map(|deck| {
        let cards = counted(deck.cards, "card");
        let of = if deck.deck.is_empty() {
            String::new()
        } else {
            format!(" of {}", deck.deck)
        };
        format!("{} with {cards}{of}", counted(deck.picks, "pick"))
    });
    let ground = match sums.picks - sums.carded {
        0 => None,
        ground => Some(format!("{} of ground", counted(ground, "pick"))),
    };
    let cards: Vec<String> = decks.chain(ground).collect();
    text.about("cards", &cards.join(", "));
    if report.wefts.iter().any(|weft| weft.weft.is_some()) {
        let weft = |weft: &crate::report::WeftUsed| {
            let out = match weft.taken_out {
                0 => String::new(),
                out => format!(" ({out} taken out)"),
            };
            let name = weft.weft.as_deref().unwrap_or("not named");
            format!("{name} {}{out}", counted(weft.picks, "pick"))
        };
        let wefts: Vec<String> = report.wefts.iter().map(weft).collect();
        text.about("wefts", &wefts.join(", "));
    }
}

fn time(report: &Report, text: &mut Text) {
    let sums = &report.sums;
    let ms = |ms: i64| duration(ms as f64);
    let mut loom = format!(
        "{} in {}",
        ms(sums.at_loom_ms),
        counted(report.sessions.len(), "session")
    );
    if sums.paused_ms > 0 {
        let _ = write!(loom, ", pauses of {} left out", ms(sums.paused_ms));
    }
    text.about("at the loom", &loom);
    let mut weaving = ms(sums.weaving_ms);
    if !report.stops.is_empty() {
        let stops = counted(report.stops.len(), "stop");
        let _ = write!(weaving, ", and {} in {stops}", ms(sums.stopped_ms));
    }
    text.about("weaving", &weaving);
    let pace = &report.pace;
    let Some(median) = pace.median else {
        text.about("pace", "too few picks to tell");
        return;
    };
    text.about(
        "pace",
        &format!("{median:.1} picks a minute by the middle pick"),
    );
    let ten = |ten: TenMinutes| {
        let (rate, from) = (ten.picks_a_minute, to_the_second(ten.from));
        format!("{rate:.1} from {from} (session {})", ten.session)
    };
    match (pace.best, pace.worst) {
        (Some(best), Some(worst)) => {
            text.line(&format!("    best ten minutes   {}", ten(best)), 8);
            text.line(&format!("    worst ten minutes  {}", ten(worst)), 8);
        }
        _ => text.line("    no session has ten minutes of weaving yet", 8),
    }
}

fn lengths(report: &Report, text: &mut Text) {
    let whole = &report.length;
    let (sign, said) = (whole.unit.sign(), |mm: f64| length(mm, whole.unit));
    let mut words = Vec::new();
    if let Some(mm) = whole.sett_mm {
        let sett = whole.sett.map(|sett| format!(" ({sett:.1} picks/{sign})"));
        words.push(format!(
            "{} by the sett{}",
            said(mm),
            sett.unwrap_or_default()
        ));
    }
    if let Some(mm) = whole.take_up_mm {
        words.push(format!("{} by the take-up", said(mm)));
    }
    if words.is_empty() {
        return;
    }
    text.about("length", &words.join(", "));
    let Some(compared) = &whole.compared else {
        return;
    };
    let cells = |stretch: &Stretch| {
        let picks = format!("{}-{}", stretch.first, stretch.last);
        let density = stretch.picks_a_unit.map(|picks| format!("{picks:.1}"));
        let longer = stretch.longer_percent.map(|off| format!("{off:+.1} %"));
        format!(
            "    {picks:<17}{:>9}  {:>9}  {:>8}  {:>8}",
            said(stretch.sett_mm),
            said(stretch.take_up_mm),
            density.as_deref().unwrap_or("none"),
            longer.as_deref().unwrap_or("")
        )
    };
    let per = format!("picks/{sign}");
    let head = format!(
        "    {:<17}{:>9}  {:>9}  {per:>8}  {:>8}",
        "picks", "sett", "take-up", "longer"
    );
    for line in std::iter::once(head).chain(whole.stretches.iter().map(cells)) {
        text.0.push_str(&line);
        text.0.push('\n');
    }
    if whole.stretches.len() > 1 {
        text.0.push_str(&cells(compared));
        text.0.push('\n');
    }
}

fn sessions(sessions: &[Session], text: &mut Text) {
    if sessions.is_empty() {
        return;
    }
    text.section("sessions");
    text.0
        .push_str("      began              at loom      picks  out   a min stops faults  end\n");
    for session in sessions {
        let pace = session.picks_a_minute.map(|pace| format!("{pace:.1}"));
        let line = format!(
            "{:>4}  {:<17}  {:<11}{:>7}{:>5}{:>8}{:>6}{:>7}  {}",
            session.session,
            to_the_minute(session.began),
            duration(session.at_loom_ms as f64),
            session.picks,
            session.taken_out,
            pace.as_deref().unwrap_or(""),
            session.stops,
            session.faults,
            session.ending.word()
        );
        text.0.push_str(&line);
        text.0.push('\n');
    }
}

fn stops(stops: &[Stop], text: &mut Text) {
    if stops.is_empty() {
        return;
    }
    // the longest, in the order in which they were
    let mut longest: Vec<&Stop> = stops.iter().collect();
    longest.sort_by_key(|stop| std::cmp::Reverse(stop.ms));
    longest.truncate(MOST_LISTED);
    longest.sort_by_key(|stop| (stop.session, stop.from));
    text.section("stops");
    for stop in &longest {
        let (from, long) = (to_the_second(stop.from), duration(stop.ms as f64));
        text.line(
            &format!("  {from}  {long} before pick {}", stop.before_pick),
            24,
        );
    }
    more(stops.len() - longest.len(), "shorter ones", text);
}

fn more(count: usize, what: &str, text: &mut Text) {
    if count > 0 {
        text.line(&format!("  and {count} {what}; --json lists all"), 4);
    }
}

fn faults(report: &Report, text: &mut Text) {
    if report.faults.is_empty() {
        return;
    }
    text.section("faults");
    for kind in &report.kinds {
        text.line(&format!("  {}", of_kind(kind)), 4);
    }
    let open = report.faults.iter().filter(|f| f.righted.is_none());
    for fault in open {
        let (at, words, pick) = (to_the_second(fault.at), &fault.words, fault.pick);
        let line = format!(
            "  {at}  open: {words} before pick {pick}; {}; {}",
            fault.evidence, fault.remedy
        );
        text.line(&line, 24);
    }
}

fn of_kind(kind: &FaultsOfKind) -> String {
    let mut parts = Vec::new();
    for (count, how) in [
        (kind.by_loom, "righted at the loom"),
        (kind.by_weaver, "by the weaver's word"),
        (kind.open, "open"),
    ] {
        if count > 0 {
            parts.push(format!("{count} {how}"));
        }
    }
    let mut words = format!("{} {}: {}", kind.count, kind.words, parts.join(", "));
    if let (Some(median), Some(longest)) = (kind.median_ms, kind.longest_ms) {
        let took = match kind.by_loom + kind.by_weaver {
            1 => format!("; it took {}", duration(longest as f64)),
            // the middle of two is neither
            2 => format!(
                "; after {} and {}",
                duration(2.0 * median - longest as f64),
                duration(longest as f64)
            ),
            _ => format!(
                "; mostly after {}, at most {}",
                duration(median),
                duration(longest as f64)
            ),
        };
        words.push_str(&took);
    }
    words
}

fn said(what: &str, said: &[Said], text: &mut Text) {
    if said.is_empty() {
        return;
    }
    text.section(what);
    for said in said.iter().take(MOST_LISTED) {
        let words = shortened(&said.words, 400);
        text.line(&format!("  {}  {words}", to_the_second(said.at)), 24);
    }
    more(said.len().saturating_sub(MOST_LISTED), "more", text);
}
