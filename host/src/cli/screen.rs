//! What a person sees: a progress bar on a terminal, plain lines elsewhere, or
//! one JSON object a line. Enters: news. Leaves: text. Standard output carries
//! results, standard error carries what happens on the way.

mod text;

use std::collections::BTreeSet;
use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::time::Instant;

use cardwright_protocol::CardNumber;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::{Value, json};

use super::ledger::wording::wrapped;
use crate::job::{Account, News, StackFinding};
use crate::ledger::Verdict;
use crate::rig::{Chosen, port_words};
use crate::service::{Outcome, VIRTUAL};
pub(super) use crate::words::clean;
use text::{copied_text, which_text, write_account};

/// How far the right-hand side of what a unit says of itself stands in.
const INFO_INDENT: usize = 13;

/// Where news goes.
pub(super) struct Screen {
    json: bool,
    bar: ProgressBar,
    cards: u32,
    good: u32,
    /// Whether cards are read that no deck is known of.
    reading: bool,
    started: Instant,
    /// The account, for whoever writes it down elsewhere too.
    pub account: Option<Account>,
    /// Faulty cards, as they were told.
    pub faulty: Vec<News>,
    /// Those that lie at another one's place.
    pub elsewhere: Vec<News>,
    /// Whether only a part of the deck was asked for.
    pub part: bool,
    /// Good cards, at their places in the stack or elsewhere.
    pub goods: BTreeSet<CardNumber>,
    /// What is wrong with the order of the stack.
    pub stack: Vec<StackFinding>,
    summary: Option<Value>,
    /// Whether something follows before the last line of JSON.
    pub goes_on: bool,
    ended: Option<Outcome>,
    /// More for the last line of JSON.
    pub extra: serde_json::Map<String, Value>,
}

impl Screen {
    pub fn new(json: bool) -> Screen {
        let target = if json || !std::io::stderr().is_terminal() {
            ProgressDrawTarget::hidden()
        } else {
            ProgressDrawTarget::stderr()
        };
        Screen {
            json,
            bar: ProgressBar::with_draw_target(Some(0), target),
            cards: 0,
            good: 0,
            reading: false,
            started: Instant::now(),
            account: None,
            faulty: Vec::new(),
            elsewhere: Vec::new(),
            part: false,
            goods: BTreeSet::new(),
            stack: Vec::new(),
            summary: None,
            goes_on: false,
            ended: None,
            extra: serde_json::Map::new(),
        }
    }

    /// A line for the person, beside what the job says.
    pub fn note(&self, words: &str) {
        if self.json {
            return;
        }
        if self.bar.is_hidden() {
            err(words);
        } else {
            self.bar.println(narrow(&clean(words)));
        }
    }

    /// A result, for whoever reads standard output.
    fn result(&self, words: &str, indent: usize) {
        let words = clean(words);
        let lines = words.lines().map(|line| wrapped(line, indent));
        let narrow = std::io::stdout()
            .is_terminal()
            .then(|| lines.collect::<Vec<_>>());
        let narrow = narrow.map(|lines| lines.join("\n"));
        self.bar
            .suspend(|| out(narrow.as_deref().unwrap_or(&words)));
    }

    /// What can be typed.
    pub fn help(&self) {
        self.note(
            "type a letter and Enter: p pause, g go on, s stop after this card, r reset after a \
             stop, c cards are laid in, n cut the spoiled cards again now",
        );
    }

    /// Takes a piece of news.
    pub fn news(&mut self, news: &News) {
        if let News::Summary(account) = news {
            self.account = Some((**account).clone());
            self.bar.finish_and_clear();
            self.summary = serde_json::to_value(news).ok();
            return;
        }
        if let News::Copied { .. } | News::Which { .. } = news
            && let Ok(Value::Object(mut more)) = serde_json::to_value(news)
        {
            more.remove("event");
            // the account of a card that is only looked at says nothing
            self.reading = true;
            self.extra.append(&mut more);
        }
        if let News::Stack { findings } = news {
            self.stack.clone_from(findings);
        }
        if let News::Card { card, verdict, .. } = news {
            if verdict == "good" || verdict == "read" {
                self.goods.insert(*card);
                self.good += 1;
            } else if verdict != "not begun" {
                self.faulty.push(news.clone());
            }
        }
        if let News::Elsewhere { card, verdict, .. } = news {
            if verdict == "good" {
                self.goods.insert(*card);
            } else {
                self.elsewhere.push(news.clone());
            }
        }
        if self.json {
            if let Ok(line) = serde_json::to_string(news) {
                out(&line);
            }
            return;
        }
        self.show(news);
    }

    fn show(&mut self, news: &News) {
        match news {
            News::Job {
                job,
                kind,
                deck,
                cards,
                already_good,
                taken_up,
            } => {
                self.cards = *cards;
                (self.good, self.reading) = (0, kind == "read");
                self.begin_bar(kind);
                let taken = if *taken_up {
                    ", taken up where it stopped"
                } else {
                    ""
                };
                let left = match already_good {
                    0 => String::new(),
                    count => format!(", {count} already good"),
                };
                let cards = match cards {
                    0 => "the cards".to_string(),
                    cards => format!("{cards} cards"),
                };
                self.note(&format!(
                    "job {}: {kind} {cards} of {deck}{left}{taken}",
                    job.0
                ));
                if std::io::stdin().is_terminal() {
                    self.help();
                }
            }
            News::Unit {
                board,
                firmware,
                boot,
            } => {
                self.note(&format!("unit {board}, firmware {firmware}, boot {boot}"));
            }
            News::Begun { card, attempt, .. } => {
                let again = if attempt.0 > 1 {
                    format!(", try {}", attempt.0)
                } else {
                    String::new()
                };
                self.bar.set_message(format!("card {}{again}", card.0));
            }
            News::Progress { .. } => self.bar.tick(),
            News::Card { verdict, .. } if verdict == "good" || verdict == "read" => {
                self.bar.set_position(u64::from(self.good));
                if self.bar.is_hidden() && self.good.is_multiple_of(20) {
                    self.note(&match (verdict.as_str(), self.cards) {
                        (_, 0) => format!("{} cards {verdict}", self.good),
                        (_, cards) => format!("{} of {cards} cards {verdict}", self.good),
                    });
                }
            }
            News::Card { .. } => self.faulty_card(news),
            News::Elsewhere { verdict, .. } if verdict == "good" => {}
            News::Elsewhere { .. } => self.faulty_card(news),
            News::Stopped { words, .. } => self.note(&format!("STOPPED: {words}")),
            News::NeedsReset { remedy } => {
                self.note(&format!(
                    "  {remedy}; then press Enter to reset and go on (s to stop)"
                ));
            }
            News::Started => self.note("the machine moves"),
            News::Paused => self.note("paused, the card is held in register (g to go on)"),
            News::Resumed => self.note("going on"),
            News::WantsCards => {
                self.note("no card comes: lay one in or fill the magazine, then type c and Enter");
            }
            News::UnitSilent => self.note("the unit is not heard; check its cable and power"),
            News::UnitHeard => self.note("the unit is heard again"),
            News::UnitRestarted => self.note("the unit has restarted; what was in it is unknown"),
            News::Refused { words } => self.note(words),
            News::Exercised { words, .. } => self.result(words, 4),
            News::Port {
                port,
                board,
                what,
                unit,
            } => {
                let what = port_words(board.as_deref(), what);
                let unit = match unit {
                    Some(info) => format!("unit {}", super::rig::board_text(info)),
                    None => "no unit answers".to_string(),
                };
                self.result(&format!("{port}  {what}: {unit}"), 4);
            }
            News::Upkeep(known) => {
                self.result(&super::rig::upkeep_text(known), INFO_INDENT);
            }
            // a loom has a screen of its own
            News::Weave(_) => {}
            News::Advice { words } => self.note(words),
            News::Calibration(came) if came.stored => {
                self.result(&came.words.join("\n"), INFO_INDENT);
                self.note("the rig is calibrated; this is stored for it");
            }
            News::Calibration(came) => {
                self.note(&format!("{}; nothing was stored", came.refusal));
            }
            News::Info(info) => self.result(&super::rig::info_text(info), INFO_INDENT),
            News::Stack { findings } if findings.is_empty() => {
                self.note("the stack is the deck, in order");
            }
            News::Stack { findings } => {
                for found in findings {
                    self.note(&found.finding);
                    self.note(&format!("    {}", found.remedy));
                }
            }
            News::Note { words } => self.note(words),
            News::Copied { .. } => self.result(&copied_text(news), 4),
            News::Which { found, decks } => self.result(&which_text(found, *decks), 4),
            News::Summary(_) => {}
        }
    }

    fn begin_bar(&self, kind: &str) {
        self.bar.set_length(u64::from(self.cards));
        let template = match self.cards {
            0 => "{msg:17} {pos} read  {elapsed}",
            _ if self.reading => "{msg:17} [{bar:22}] {pos}/{len} read  {elapsed}",
            _ => "{msg:17} [{bar:22}] {pos}/{len} good  {elapsed} (about {eta} left)",
        };
        if let Ok(style) = ProgressStyle::with_template(template) {
            self.bar.set_style(style.progress_chars("#>."));
        }
        self.bar.set_message(kind.to_string());
    }

    fn faulty_card(&self, news: &News) {
        let (News::Card {
            card,
            verdict,
            summary,
            remedy,
            place,
            ..
        }
        | News::Elsewhere {
            card,
            verdict,
            summary,
            remedy,
            place,
            ..
        }) = news
        else {
            return;
        };
        // one that follows another out of order: what is to be done is said in the end
        let follows = verdict == Verdict::OutOfOrder.word() && remedy.is_empty();
        if verdict == Verdict::NotBegun.word() || follows {
            return;
        }
        let place = place
            .map(|place| format!(" (no. {place} out of the rig)"))
            .unwrap_or_default();
        // the judge's sentence begins with the verdict where that says enough
        let verdict = if summary.starts_with(verdict) {
            String::new()
        } else {
            format!("{verdict}: ")
        };
        self.note(&format!("card {}{place}: {verdict}{summary}", card.0));
        if !remedy.is_empty() {
            self.note(&format!("    {remedy}"));
        }
    }

    /// The last words: the summary, and what went wrong.
    pub fn end(&mut self, outcome: &Outcome) {
        self.bar.finish_and_clear();
        if self.json {
            self.ended = Some(outcome.clone());
            if !self.goes_on {
                self.last_line(outcome.exit);
            }
        } else if let Some(account) = self
            .account
            .as_ref()
            .filter(|account| account.stock > 0 && !self.reading)
        {
            let mut out = std::io::stdout().lock();
            let _ = write_account(&mut out, account, self.started.elapsed().as_secs_f64());
        }
        match (outcome.words.as_str(), outcome.exit) {
            ("", _) => {}
            // a result like any other
            (words, 0) if !self.json => out(words),
            (_, 0) => {}
            (words, _) => err(&format!("cardwright: {words}")),
        }
    }
}

impl Screen {
    /// The last line of JSON.
    pub fn last_line(&mut self, exit: u8) {
        let mut last = self
            .summary
            .take()
            .unwrap_or_else(|| json!({ "event": "summary" }));
        let words = self.ended.take().map(|outcome| outcome.words);
        if let Some(object) = last.as_object_mut() {
            object.append(&mut self.extra);
            object.insert("exit".to_string(), json!(exit));
            if let Some(words) = words.filter(|words| !words.is_empty()) {
                object.insert("words".to_string(), json!(words));
            }
        }
        out(&last.to_string());
    }
}

/// Lines that a narrow terminal does not break within words.
fn narrow(words: &str) -> String {
    let indent = |line: &str| line.len() - line.trim_start().len();
    let lines: Vec<String> = words
        .lines()
        .map(|line| wrapped(line, indent(line)))
        .collect();
    lines.join("\n")
}

/// A line on standard output. Whoever read it may be gone; the work goes on. What
/// cannot be written for another reason is told of, once.
pub(super) fn out(line: &str) {
    let Err(error) = writeln!(std::io::stdout(), "{line}") else {
        return;
    };
    if error.kind() != std::io::ErrorKind::BrokenPipe && !OUTPUT_IS_LOST.swap(true, Relaxed) {
        let lost = output_lost(&error);
        err(&format!(
            "cardwright: {lost}; the work goes on, and what it says there is lost"
        ));
    }
}

/// That standard output cannot be written.
pub(super) fn output_lost(error: &dyn std::fmt::Display) -> String {
    format!("standard output cannot be written ({error})")
}

/// Whether something could not be written to standard output though somebody reads it.
static OUTPUT_IS_LOST: AtomicBool = AtomicBool::new(false);

/// The exit status, by what became of standard output too.
pub(super) fn exit_with_output(exit: u8) -> u8 {
    match exit {
        0 if OUTPUT_IS_LOST.load(Relaxed) => 2,
        exit => exit,
    }
}

/// A line on standard error, without what a terminal would take for an order.
pub(super) fn err(line: &str) {
    let _ = writeln!(std::io::stderr(), "{}", clean(line));
}

/// Says which rig works, before it does. Whoever has named one knows.
pub(super) fn tell_rig(chosen: &Chosen, json: bool) {
    let (port, board) = match chosen {
        Chosen::Virtual | Chosen::NoBoard => (VIRTUAL, None),
        Chosen::Port(port) => (port.as_str(), None),
        Chosen::Board { port, serial } => (port.as_str(), Some(serial)),
    };
    match chosen {
        _ if json => out(&json!({ "event": "rig", "port": port, "board": board }).to_string()),
        Chosen::Virtual | Chosen::Port(_) => {}
        Chosen::NoBoard => err(&narrow(
            "rig: the virtual one, as no board is attached (--rig PORT names a serial port)",
        )),
        Chosen::Board { port, serial } => err(&format!("rig: board {serial} on {port}")),
    }
}

/// Tells of an error before any work began.
pub(super) fn complain(words: &str, json: bool) {
    if json {
        complain_in_json(words);
    }
    err(&format!("cardwright: {words}"));
}

/// The same, only for whoever reads the JSON.
pub(super) fn complain_in_json(words: &str) {
    out(&json!({ "event": "error", "exit": 2, "words": words.trim_end() }).to_string());
}
