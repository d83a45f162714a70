//! The screen while the work goes on: what reaches the terminal, and when.

use std::io::{self, Write};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use super::made::*;
use crate::cli::weave::colours::Colours;
use crate::cli::weave::screen::{Ended, Screen};
use crate::job::{News, Person, WeaveNews};
use crate::weave::Says;
use crate::weave::view::{Line, View};
use crate::weave::watch::Decision;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers};
use ratatui::layout::Rect;
use ratatui::{Terminal, TerminalOptions, Viewport};
use tokio::sync::{Notify, mpsc};

/// What has not come by then never comes.
const LONG_ENOUGH: Duration = Duration::from_secs(60);

/// Columns and lines of the terminal.
const SIZE: (usize, usize) = (120, 40);

/// What a terminal is sent, and what is seen on it then.
#[derive(Clone, Default)]
struct Wire {
    bytes: Arc<Mutex<Vec<u8>>>,
    flushed: Arc<Notify>,
}

impl Write for Wire {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.bytes.lock().expect("nobody panics").extend(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.flushed.notify_one();
        Ok(())
    }
}

impl Wire {
    fn sent(&self) -> Vec<u8> {
        self.bytes.lock().expect("nobody panics").clone()
    }

    /// The lines on the terminal. Of its orders (ECMA-48) only the one that moves the
    /// cursor, CUP, matters here.
    fn seen(&self) -> Vec<String> {
        let sent = String::from_utf8(self.sent()).expect("it is text");
        let mut cells = vec![vec![' '; SIZE.0]; SIZE.1];
        let (mut line, mut column) = (0, 0);
        let mut letters = sent.chars();
        while let Some(letter) = letters.next() {
            if letter != '\u{1b}' {
                if !letter.is_control() {
                    cells[line][column.min(SIZE.0 - 1)] = letter;
                    column += 1;
                }
                continue;
            }
            let mut order = String::new();
            for letter in letters.by_ref().skip(1) {
                order.push(letter);
                if letter.is_ascii_alphabetic() {
                    break;
                }
            }
            if let Some(place) = order.strip_suffix('H') {
                let mut numbers = place.split(';').map(|text| text.parse().unwrap_or(1));
                line = numbers.next().unwrap_or(1) - 1;
                column = numbers.next().unwrap_or(1) - 1;
            }
        }
        cells.iter().map(|line| line.iter().collect()).collect()
    }

    fn shows(&self, words: &str) -> bool {
        self.seen().iter().any(|line| line.contains(words))
    }

    fn rang(&self) -> bool {
        self.sent().contains(&7)
    }

    /// Waits until what was sent is as it should be.
    async fn when(&self, is_so: impl Fn() -> bool) {
        let waiting = async {
            while !is_so() {
                self.flushed.notified().await;
            }
        };
        if tokio::time::timeout(LONG_ENOUGH, waiting).await.is_err() {
            panic!("it never came; seen is\n{}", self.seen().join("\n"));
        }
    }

    /// Waits until these letters, none of which stood there before, are sent.
    async fn until_sent(&self, letters: &str) {
        let wanted = letters.as_bytes();
        self.when(|| self.sent().windows(wanted.len()).any(|part| part == wanted))
            .await;
    }

    /// Waits until these words are seen.
    async fn until(&self, words: &str) {
        self.when(|| self.shows(words)).await;
    }
}

/// A screen at work.
struct Shown {
    wire: Wire,
    news: mpsc::Sender<News>,
    persons: mpsc::Receiver<Person>,
    events: mpsc::Sender<Event>,
    stops: mpsc::Sender<()>,
    ended: tokio::task::JoinHandle<Ended>,
}

/// Shows what `first` says before anything else.
fn shown(first: Vec<News>) -> Shown {
    let wire = Wire::default();
    let viewport = Viewport::Fixed(Rect::new(0, 0, SIZE.0 as u16, SIZE.1 as u16));
    let backend = CrosstermBackend::new(wire.clone());
    let terminal = Terminal::with_options(backend, TerminalOptions { viewport });
    let terminal = terminal.expect("the wire takes all");
    let mut screen = Screen::new(terminal, &walk(PLAN), Colours::True);
    let (news, mut news_from) = mpsc::channel(64);
    let (persons_to, persons) = mpsc::channel(16);
    let (events, mut events_from) = mpsc::channel(64);
    let (stops, mut stops_from) = mpsc::channel(4);
    for item in first {
        news.try_send(item).expect("there is room");
    }
    let ended = tokio::spawn(async move {
        screen
            .run(
                &mut news_from,
                &persons_to,
                &mut events_from,
                &mut stops_from,
            )
            .await
    });
    Shown {
        wire,
        news,
        persons,
        events,
        stops,
        ended,
    }
}

impl Shown {
    async fn view(&self, view: View) {
        let told = WeaveNews::View(Box::new(view));
        self.tell(News::Weave(Box::new(told))).await;
    }

    async fn tell(&self, news: News) {
        self.news.send(news).await.expect("the screen listens");
    }

    async fn press(&self, code: KeyCode, modifiers: KeyModifiers) {
        let key = KeyEvent::new(code, modifiers);
        self.events
            .send(Event::Key(key))
            .await
            .expect("the screen listens");
    }

    async fn letters(&self, text: &str) {
        for letter in text.chars() {
            let code = match letter {
                '\n' => KeyCode::Enter,
                letter => KeyCode::Char(letter),
            };
            self.press(code, KeyModifiers::NONE).await;
        }
    }

    async fn interrupt(&self) {
        self.press(KeyCode::Char('c'), KeyModifiers::CONTROL).await;
    }
}

/// A view whose title is this letter over and over, so that it is sent anew.
fn titled(letter: char) -> View {
    View {
        plan: letter.to_string().repeat(12),
        ..forwards()
    }
}

fn title(letter: char) -> String {
    letter.to_string().repeat(12)
}

/// Every view is on the terminal before the next one comes. How long that took is
/// printed.
#[tokio::test]
async fn a_view_is_shown_at_once() {
    let shown = shown(Vec::new());
    let mut took = Vec::new();
    for letter in ('A'..='Z').cycle().take(208) {
        shown.wire.bytes.lock().expect("nobody panics").clear();
        let mut view = titled(letter);
        view.woven = (0..200).map(|pick| pick + took.len() as u64 * 3).collect();
        view.picks.0 = took.len() as u64 * 3 + 200;
        let sent = Instant::now();
        shown.view(view).await;
        shown.wire.until_sent(&title(letter)).await;
        took.push(sent.elapsed());
    }
    took.sort();
    let (middle, longest) = (took[took.len() / 2], took[took.len() - 1]);
    println!("from a view to the terminal: {middle:?} in the middle, {longest:?} at most");
    drop(shown.news);
    assert_eq!(shown.ended.await.expect("no panic"), Ended::WithTheWork);
}

/// Of many views that wait only the last is drawn.
#[tokio::test]
async fn what_waits_is_drawn_once() {
    let all =
        ('A'..='Z').map(|letter| News::Weave(Box::new(WeaveNews::View(Box::new(titled(letter))))));
    let shown = shown(all.collect());
    shown.wire.until(&title('Z')).await;
    for letter in 'A'..='Y' {
        let sent = String::from_utf8(shown.wire.sent()).expect("it is text");
        assert!(!sent.contains(&title(letter)), "{letter}");
    }
}

#[tokio::test]
async fn a_sound_where_the_work_asks_for_one() {
    let shown = shown(Vec::new());
    let line = |sound| {
        News::Weave(Box::new(WeaveNews::Line {
            line: Line {
                at: 0,
                words: "no weft".to_string(),
                pick: None,
            },
            sound,
        }))
    };
    shown.tell(line(false)).await;
    shown.view(titled('A')).await;
    shown.wire.until(&title('A')).await;
    assert!(!shown.wire.rang());
    shown.tell(line(true)).await;
    shown.wire.when(|| shown.wire.rang()).await;
}

#[tokio::test]
async fn what_is_said_goes_to_the_work_and_what_is_refused_is_asked_again() {
    let mut shown = shown(Vec::new());
    shown.view(forwards()).await;
    shown.wire.until("Sedge towels").await;
    shown.letters("u3\n").await;
    let said = shown.persons.recv().await;
    let decision = Decision::Unwove { picks: 3 };
    assert_eq!(
        said,
        Some(Person::Weave(Box::new(Says::Decided { decision })))
    );
    shown
        .tell(News::Refused {
            words: "3 picks cannot have been taken out".to_string(),
        })
        .await;
    shown.wire.until("I unwove so many picks: 3_").await;
    shown.letters("\n").await;
    let decision = Decision::Unwove { picks: 3 };
    let said = shown.persons.recv().await;
    assert_eq!(
        said,
        Some(Person::Weave(Box::new(Says::Decided { decision })))
    );
}

#[tokio::test]
async fn leaving_waits_for_the_work() {
    let mut shown = shown(Vec::new());
    shown.view(forwards()).await;
    shown.wire.until("Sedge towels").await;
    shown.letters("qy").await;
    assert_eq!(shown.persons.recv().await, Some(Person::Stop));
    shown.wire.until("leaving").await;
    assert!(!shown.ended.is_finished());
    drop(shown.news);
    assert_eq!(shown.ended.await.expect("no panic"), Ended::WithTheWork);
}

/// Work that does not end, as when the unit is away, is not waited for by whoever
/// interrupts twice, or by a signal after a first one.
#[tokio::test]
async fn twice_is_at_once() {
    let mut shown = self::shown(Vec::new());
    shown.interrupt().await;
    assert_eq!(shown.persons.recv().await, Some(Person::Interrupt));
    shown.interrupt().await;
    assert_eq!(shown.ended.await.expect("no panic"), Ended::AtOnce);
    let mut shown = self::shown(Vec::new());
    shown.stops.send(()).await.expect("the screen listens");
    assert_eq!(shown.persons.recv().await, Some(Person::Interrupt));
    shown.stops.send(()).await.expect("the screen listens");
    assert_eq!(shown.ended.await.expect("no panic"), Ended::AtOnce);
}

/// Where nobody can type any more, nobody is there. The signal that says so too is no
/// second one: the work was not left, it was cut off.
#[tokio::test]
async fn a_terminal_that_goes_away_ends_the_work() {
    let mut shown = shown(Vec::new());
    drop(shown.events);
    assert_eq!(shown.persons.recv().await, Some(Person::Interrupt));
    shown.stops.send(()).await.expect("the screen listens");
    shown.wire.until("leaving").await;
    drop(shown.news);
    assert_eq!(shown.ended.await.expect("no panic"), Ended::WithTheWork);
}

#[tokio::test]
async fn a_unit_that_falls_silent_is_told_until_it_is_heard() {
    let shown = shown(Vec::new());
    shown.view(forwards()).await;
    shown.tell(News::UnitSilent).await;
    shown.wire.until("THE LOOM UNIT IS NOT HEARD").await;
    shown.tell(News::UnitHeard).await;
    shown.wire.until("the loom unit is heard").await;
}
