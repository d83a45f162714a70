//! One request from the command line: to the daemon if one runs, else in this
//! process. News goes to the screen, the person's lines become orders.

mod stops;
mod typed;

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use anyhow::Result;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

use super::screen::Screen;
use crate::daemon;
use crate::engine::Hub;
use crate::job::{News, Person};
use crate::ledger::Ledger;
use crate::service::{self, Outcome, Request, ServiceError};
pub(super) use stops::stops;
pub(super) use typed::Orders;
use typed::{next, typed_lines};

/// How long the demo's person takes to see to the machine, by the wall clock:
/// longer than the attendant needs in the virtual rig's faster time.
const MENDING: std::time::Duration = std::time::Duration::from_millis(150);

/// Who answers when the machine has stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Who {
    /// Whoever types lines; nobody, if there are none.
    Lines,
    /// The demo's invented person, who has seen to the virtual machine.
    Demo,
}

/// Has `request` served. Its exit status.
pub(super) fn serve(request: Request, data: &Path, screen: &mut Screen, who: Who) -> Result<u8> {
    let runtime = runtime()?;
    let again = request.again();
    let outcome = runtime.block_on(attend(screen, who, again, |news, persons| {
        requested(request, data.to_path_buf(), news, persons)
    }));
    // lines may still be waited for on standard input
    runtime.shutdown_background();
    let outcome = Outcome::of(outcome);
    screen.end(&outcome);
    Ok(outcome.exit)
}

/// What a request is served by on this side.
pub(super) fn runtime() -> std::io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
}

/// What came of the work, once its news has ended.
pub(super) async fn joined(
    work: JoinHandle<Result<Outcome, ServiceError>>,
) -> Result<Outcome, ServiceError> {
    work.await.unwrap_or_else(|error| {
        Err(ServiceError::Request(format!(
            "the program has a fault of its own: {error}"
        )))
    })
}

/// Has `request` served by the daemon if one runs, else in this process.
pub(super) async fn requested(
    request: Request,
    data: PathBuf,
    news: mpsc::Sender<News>,
    mut persons: mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    if let Some(client) = daemon::connect(&data).await {
        return client.serve(request, &news, &mut persons).await;
    }
    let hub = Hub::start(Ledger::open(&data)?)?;
    service::serve(request, &hub, &news, &mut persons).await
}

/// Whoever sees what happens and says what is to be done, line by line.
pub(super) trait Attend {
    /// Sees a piece of news.
    fn news(&mut self, news: &News);

    /// A line was typed: the order it stands for.
    fn typed(&mut self, line: &str) -> Option<Person>;

    /// A line was typed that cannot be taken.
    fn refused(&mut self, words: &str);

    /// Whether the work goes on only after a typed line.
    fn waits_for_a_line(&self) -> bool {
        false
    }

    /// Whether anybody types lines.
    fn types(&self) -> bool {
        true
    }
}

/// Has `request` served for whoever attends. Ctrl-C, or another request to end, leaves
/// the work where it stands.
pub(super) fn on_the_line(request: Request, data: &Path, who: &mut impl Attend) -> Outcome {
    let runtime = match runtime() {
        Ok(runtime) => runtime,
        Err(error) => {
            return Outcome {
                exit: 3,
                words: format!("the system gives no threads: {error}"),
            };
        }
    };
    let again = request.again();
    let data = data.to_path_buf();
    let outcome = runtime.block_on(async {
        let mut stops = stops().map_err(no_signals)?;
        let (news_to, mut news) = mpsc::channel(64);
        let (person_to, persons) = mpsc::channel(16);
        let work = tokio::spawn(requested(request, data, news_to, persons));
        let mut orders = Orders::new(person_to);
        let mut lines = who.types().then(typed_lines);
        let mut interrupts = 0;
        let mut left = false;
        loop {
            if who.types() && lines.is_none() && who.waits_for_a_line() && !left {
                left = true;
                who.refused("an answer is needed, and standard input has ended: the work is left");
                orders.give(Person::Stop);
            }
            tokio::select! {
                item = news.recv() => match item {
                    Some(item) => who.news(&item),
                    None => break,
                },
                () = orders.pass() => {}
                line = next(&mut lines), if orders.has_room() => match line {
                    Some(Ok(line)) => if let Some(order) = who.typed(&line) {
                        orders.give(order);
                    },
                    Some(Err(refused)) => who.refused(refused),
                    None => lines = None,
                },
                Some(()) = stops.recv() => {
                    interrupts += 1;
                    if interrupts > 1 {
                        work.abort();
                        return Ok(left_at_once(again));
                    }
                    orders.give(Person::Interrupt);
                }
            }
        }
        joined(work).await
    });
    runtime.shutdown_background();
    Outcome::of(outcome)
}

async fn attend<F, W>(
    screen: &mut Screen,
    who: Who,
    again: &str,
    work: W,
) -> Result<Outcome, ServiceError>
where
    F: Future<Output = Result<Outcome, ServiceError>> + Send + 'static,
    W: FnOnce(mpsc::Sender<News>, mpsc::Receiver<Person>) -> F,
{
    let mut stops = stops().map_err(no_signals)?;
    let (news_to, mut news) = mpsc::channel(64);
    let (person_to, persons) = mpsc::channel(16);
    let work = tokio::spawn(work(news_to, persons));
    let mut orders = Orders::new(person_to);
    let mut lines = (who == Who::Lines).then(typed_lines);
    let mut waits_for_person = false;
    let mut unattended = false;
    let mut interrupts = 0;
    loop {
        if waits_for_person && who == Who::Lines && lines.is_none() && !unattended {
            unattended = true;
            orders.give(Person::Interrupt);
        }
        tokio::select! {
            item = news.recv() => {
                let Some(item) = item else { break };
                screen.news(&item);
                let answer = match item {
                    News::NeedsReset { .. } => Some(Person::Reset),
                    News::WantsCards => Some(Person::CardsLaidIn),
                    _ => None,
                };
                waits_for_person = match item {
                    News::Started | News::Begun { .. } => false,
                    _ => waits_for_person || answer.is_some(),
                };
                if let Some(answer) = answer.filter(|_| who == Who::Demo) {
                    // the person sees to the machine first
                    tokio::time::sleep(MENDING).await;
                    orders.give(answer);
                }
            }
            () = orders.pass() => {}
            line = next(&mut lines), if orders.has_room() => match line {
                Some(Ok(line)) => match order(&line) {
                    Some(order) => orders.give(order),
                    None => screen.help(),
                },
                Some(Err(refused)) => screen.note(refused),
                None => lines = None,
            },
            Some(()) = stops.recv() => {
                interrupts += 1;
                screen.note(match interrupts {
                    1 => "stopping after this card; once more stops at once",
                    _ => "stopping at once; once more ends without waiting for the unit",
                });
                if interrupts > 2 {
                    work.abort();
                    return Ok(ended_at_once(again));
                }
                orders.give(Person::Interrupt);
            }
        }
    }
    let outcome = joined(work).await?;
    if unattended && outcome.exit < 2 {
        let words = format!(
            "the rig stopped and nobody was there to see to it; look at the machine, then run the \
             command again: {again}"
        );
        return Ok(Outcome { exit: 3, words });
    }
    Ok(outcome)
}

fn no_signals(error: std::io::Error) -> ServiceError {
    ServiceError::Request(format!(
        "the system lets the program catch no signal to end by: {error}"
    ))
}

/// The outcome when a person would wait no longer.
fn ended_at_once(again: &str) -> Outcome {
    let words = format!(
        "ended without waiting for the unit, which stops by itself within a second; look at the \
         machine, then run the command again: {again}"
    );
    Outcome { exit: 3, words }
}

/// The same at a loom, where nothing is moved.
pub(super) fn left_at_once(again: &str) -> Outcome {
    let words = format!(
        "left without waiting for the end; what is on disk is kept, and the unit keeps what is \
         not; run the command again: {again}"
    );
    Outcome { exit: 3, words }
}

/// The order a line stands for. An empty line is the answer to the question
/// that was asked last: a reset.
fn order(line: &str) -> Option<Person> {
    match line.trim() {
        "" | "r" | "reset" => Some(Person::Reset),
        "p" | "pause" => Some(Person::Pause),
        "g" | "go" | "resume" => Some(Person::Resume),
        "s" | "stop" => Some(Person::Stop),
        "c" | "cards" => Some(Person::CardsLaidIn),
        "n" | "now" => Some(Person::Recut),
        _ => None,
    }
}

/// Asks before a real machine moves. Whether the person agrees.
pub(super) fn may_move(is_virtual: bool, yes: bool, caution: &str) -> Result<bool> {
    if is_virtual || yes {
        return Ok(true);
    }
    anyhow::ensure!(
        std::io::stdin().is_terminal(),
        "the machine would move and nobody is asked: see that it is safe, then give --yes"
    );
    eprintln!("{caution}");
    eprint!("Type yes and Enter to let it move: ");
    let mut line = String::new();
    std::io::stdin().read_line(&mut line)?;
    Ok(line.trim() == "yes")
}
