//! The weaver's screen on a terminal, while the work goes on.
//!
//! Enters: news of the work, keys, signals. Leaves: the screen, drawn anew at once when
//! anything changes, and what the weaver says. The terminal is given back as it was on
//! every way out. Refuses to wait long for work that does not end when it should.

use std::collections::VecDeque;
use std::io::{self, Write};
use std::time::Duration;

use ratatui::backend::{Backend, CrosstermBackend};
use ratatui::crossterm::event::{Event, KeyEventKind};
use ratatui::{DefaultTerminal, Terminal};
use tokio::sync::mpsc;
use tokio::time::Instant;

use super::cloth::ClothPicture;
use super::colours::Colours;
use super::draw::{Shown, draw};
use super::keys::{Act, Keys};
use super::said::DeckKnown;
use super::typed::{Typed, let_go_if_gone};
use crate::cli::session::{Orders, joined, left_at_once, stops};
use crate::job::{News, Person, WeaveNews};
use crate::service::{Outcome, ServiceError};
use crate::weave::walk::Walk;
use crate::weave::{view, view::View};

/// How long the end of the work is waited for once the weaver leaves.
const LEAVING: Duration = Duration::from_secs(5);

/// Lines of what happened beside the work.
const NOTICES: usize = 20;

/// News that is taken before it is drawn, if so much waits.
const TOGETHER: usize = 64;

/// A terminal that is the screen's until it is dropped.
pub(in crate::cli) struct OnTerminal {
    screen: Screen<CrosstermBackend<io::Stdout>>,
    stops: mpsc::Receiver<()>,
    _restored: Restored,
}

/// Gives the terminal back as it was.
struct Restored;

impl Drop for Restored {
    fn drop(&mut self) {
        ratatui::restore();
    }
}

impl OnTerminal {
    /// Takes the terminal for the weaving of this walk's plan. Inside a runtime.
    ///
    /// # Errors
    /// There is no terminal, or it does not do as it is told.
    pub fn open(walk: &Walk) -> io::Result<OnTerminal> {
        let stops = stops()?;
        let restored = Restored;
        let terminal: DefaultTerminal = ratatui::try_init()?;
        Ok(OnTerminal {
            screen: Screen::new(terminal, walk, Colours::of_environment()),
            stops,
            _restored: restored,
        })
    }

    /// Has `work` done, shows it, and takes what the weaver says. `again` is the
    /// command that takes the work up again. With what came of it comes the work as
    /// it stood last.
    pub async fn attend<F, W>(
        mut self,
        again: &str,
        work: W,
    ) -> (Result<Outcome, ServiceError>, Option<View>)
    where
        F: Future<Output = Result<Outcome, ServiceError>> + Send + 'static,
        W: FnOnce(mpsc::Sender<News>, mpsc::Receiver<Person>) -> F,
    {
        let (news_to, mut news) = mpsc::channel(TOGETHER);
        let (person_to, persons) = mpsc::channel(16);
        let work = tokio::spawn(work(news_to, persons));
        let mut typed = Typed::listen();
        let ended = self
            .screen
            .run(&mut news, &person_to, &mut typed.events, &mut self.stops)
            .await;
        drop((typed, person_to));
        let view = self.screen.view.take();
        let_go_if_gone();
        drop(self);
        if ended == Ended::AtOnce {
            work.abort();
            return (Ok(left_at_once(again)), view);
        }
        (joined(work).await, view)
    }
}

/// How showing the work ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ended {
    /// With the work.
    WithTheWork,
    /// The weaver would wait no longer.
    AtOnce,
}

/// The screen.
pub(super) struct Screen<B: Backend> {
    terminal: Terminal<B>,
    keys: Keys,
    cloth: ClothPicture,
    view: Option<View>,
    notices: VecDeque<view::Line>,
    colours: Colours,
    zone: jiff::tz::TimeZone,
    digits: usize,
    leaving: Option<Instant>,
    sound: bool,
}

impl<B: Backend + Write> Screen<B> {
    pub fn new(terminal: Terminal<B>, walk: &Walk, colours: Colours) -> Screen<B> {
        let decks = DeckKnown::all(walk);
        let highest = decks.iter().map(|deck| deck.cards).max().unwrap_or(1);
        let (cloth, trouble) = ClothPicture::new(walk);
        let mut screen = Screen {
            terminal,
            keys: Keys::new(decks),
            cloth,
            view: None,
            notices: VecDeque::new(),
            colours,
            zone: jiff::tz::TimeZone::system(),
            digits: highest.to_string().len(),
            leaving: None,
            sound: false,
        };
        if let Some(trouble) = trouble {
            screen.notice(trouble);
        }
        screen
    }

    /// Shows the work until it ends, or until the weaver would wait no longer.
    pub async fn run(
        &mut self,
        news: &mut mpsc::Receiver<News>,
        persons: &mpsc::Sender<Person>,
        events: &mut mpsc::Receiver<Event>,
        stops: &mut mpsc::Receiver<()>,
    ) -> Ended {
        // once the terminal has gone away
        let mut gone = false;
        let mut orders = Orders::new(persons.clone());
        loop {
            if self.show().is_err() {
                gone = true;
                self.leave(Person::Interrupt, &mut orders);
            }
            let late = self.leaving.map(|since| since + LEAVING);
            tokio::select! {
                biased;
                () = until(late) => return Ended::AtOnce,
                Some(()) = stops.recv() => {
                    // of a terminal that goes away its signal tells a second time
                    if self.leaving.is_some() && !gone {
                        return Ended::AtOnce;
                    }
                    self.leave(Person::Interrupt, &mut orders);
                }
                () = orders.pass() => {}
                event = events.recv(), if !gone && orders.has_room() => match event {
                    Some(event) => {
                        if self.typed(&event, &mut orders) == Some(Ended::AtOnce) {
                            return Ended::AtOnce;
                        }
                    }
                    None => {
                        gone = true;
                        self.leave(Person::Interrupt, &mut orders);
                    }
                },
                item = news.recv() => {
                    let Some(item) = item else {
                        return Ended::WithTheWork;
                    };
                    self.news(item);
                    for _ in 1..TOGETHER {
                        match news.try_recv() {
                            Ok(item) => self.news(item),
                            Err(_) => break,
                        }
                    }
                }
            }
        }
    }

    fn show(&mut self) -> Result<(), B::Error> {
        let notices = self.notices.make_contiguous();
        let shown = Shown {
            view: self.view.as_ref(),
            keys: &self.keys,
            notices,
            colours: self.colours,
            zone: &self.zone,
            digits: self.digits,
        };
        let cloth = &mut self.cloth;
        self.terminal.draw(|frame| draw(frame, &shown, cloth))?;
        if std::mem::take(&mut self.sound) {
            let backend = self.terminal.backend_mut();
            // without a bell the screen still tells it
            let _ = backend
                .write_all(b"\x07")
                .and_then(|()| Write::flush(backend));
        }
        Ok(())
    }

    fn typed(&mut self, event: &Event, orders: &mut Orders) -> Option<Ended> {
        let Event::Key(key) = event else {
            // a new size is drawn for at once
            return None;
        };
        if key.kind == KeyEventKind::Release {
            return None;
        }
        match self.keys.press(*key, self.view.as_ref()) {
            Act::None => {}
            Act::Say(says) => orders.give(Person::Weave(Box::new(says))),
            Act::Leave => self.leave(Person::Stop, orders),
            Act::Interrupt if self.leaving.is_some() => return Some(Ended::AtOnce),
            Act::Interrupt => self.leave(Person::Interrupt, orders),
        }
        None
    }

    fn leave(&mut self, how: Person, orders: &mut Orders) {
        if self.leaving.is_none() {
            self.leaving = Some(Instant::now());
            orders.give(how);
            self.notice("leaving: the last of it is written down");
        }
    }

    fn notice(&mut self, words: impl Into<String>) {
        let at = match &self.view {
            Some(view) => view.now,
            None => jiff::Timestamp::now().as_millisecond(),
        };
        if self.notices.len() == NOTICES {
            self.notices.pop_front();
        }
        self.notices.push_back(view::Line {
            at,
            words: words.into(),
            pick: None,
        });
    }

    fn news(&mut self, item: News) {
        match item {
            News::Weave(told) => match *told {
                WeaveNews::View(view) => {
                    self.view = Some(*view);
                    self.keys.heard();
                }
                WeaveNews::Line { sound, .. } => self.sound |= sound,
            },
            News::UnitSilent => self.heard(false, "the loom unit is not heard"),
            News::UnitHeard => self.heard(true, "the loom unit is heard"),
            News::Refused { words } => {
                self.keys.refused(&words);
                self.notice(words);
                self.sound = true;
            }
            News::Unit {
                board,
                firmware,
                boot,
            } => self.notice(format!(
                "unit {board} answers: firmware {firmware}, boot {boot}"
            )),
            News::Note { words } | News::Advice { words } => self.notice(words),
            // of the work itself there are lines, and cards are not cut here
            _ => {}
        }
    }

    fn heard(&mut self, heard: bool, words: &str) {
        if let Some(view) = &mut self.view {
            view.heard = heard;
        }
        self.sound |= !heard;
        self.notice(words);
    }
}

async fn until(late: Option<Instant>) {
    match late {
        Some(late) => tokio::time::sleep_until(late).await,
        None => std::future::pending().await,
    }
}
