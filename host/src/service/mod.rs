//! What the program can be asked to do with a unit, in this process or in the
//! daemon's: one request, news while it goes on, orders from the person, one
//! outcome.

mod calibrate;
mod cards;
mod find;
mod outcome;
mod read;
mod trial;
mod upkeep;
mod virtual_loom;
mod virtual_rig;
mod weave;
mod which;

pub use outcome::{Outcome, ServiceError};
pub use read::ReadAsked;
pub use upkeep::upkeep_news;
pub use virtual_rig::{FaultFile, Stock, VirtualChoice, serve as serve_virtual};
pub use weave::WeaveAsked;
pub use which::WhichAsked;

use std::path::PathBuf;
use std::time::Duration;

use cardwright_protocol::JobNumber;
use cardwright_protocol::host_to_unit::Exercise;
use cardwright_virtual::pty::Handle;
use serde::{Deserialize, Serialize};
use tokio::sync::mpsc;

use crate::engine::{Clock, Engine, Hub, PortOptions, run};
use crate::job::{Kind, News, Person, Recut, Task};
use crate::ledger::Ending;
use crate::ledger::writer::Command;
use crate::rig::RigFile;

/// Bits a second on the line; a USB serial port does not mind.
pub const BAUD: u32 = 115_200;

/// The name that stands for the virtual rig.
pub const VIRTUAL: &str = "virtual";

/// Which rig.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RigChoice {
    /// A serial port, or `virtual`.
    pub port: String,
    /// The serial number of the board found there, if it was found by its USB
    /// identity.
    pub board: Option<String>,
    /// A rig file; none for the built-in one.
    pub file: Option<PathBuf>,
    /// How the virtual rig is to be, if it is that.
    pub as_virtual: VirtualChoice,
    /// How long a unit that has answered may be away, in seconds.
    pub patience_s: u64,
}

impl RigChoice {
    /// What lies in it for cards of this format to be read: nothing that this
    /// program knows of, unless it is virtual.
    fn magazine(&self, format: &crate::deck::CardFormat) -> Result<Stock, ServiceError> {
        if self.is_virtual() {
            self.as_virtual.magazine(format)
        } else {
            Ok(Stock::default())
        }
    }

    /// The same for cards of any format, of which so many have been taken already.
    fn any_magazine(&self, taken: usize) -> Result<Stock, ServiceError> {
        if !self.is_virtual() {
            return Ok(Stock::default());
        }
        let (_, stock) = self.as_virtual.any_magazine()?;
        Ok(Stock {
            whole_bar: true,
            ..stock.after(taken)
        })
    }

    /// How many times as fast as the wall's clock its own runs.
    fn speed(&self) -> f64 {
        if self.is_virtual() {
            self.as_virtual.speed
        } else {
            1.0
        }
    }

    /// Whether it is the virtual rig.
    #[must_use]
    pub fn is_virtual(&self) -> bool {
        self.port == VIRTUAL
    }
}

/// A request.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "do")]
pub enum Request {
    /// Cut what is not yet good.
    Cut {
        /// The deck file.
        deck: PathBuf,
        /// Which cards; none for all.
        cards: Option<String>,
        /// When spoiled cards are cut again.
        recut: Recut,
        /// Whether good cards are cut too.
        again: bool,
        /// Which rig.
        rig: RigChoice,
    },
    /// Read a stack already cut.
    Verify {
        /// The deck file.
        deck: PathBuf,
        /// Which cards; none for all.
        cards: Option<String>,
        /// Which rig.
        rig: RigChoice,
    },
    /// Cut what is missing into cards already cut.
    Mend {
        /// The deck file.
        deck: PathBuf,
        /// Which cards; none for all that can be.
        cards: Option<String>,
        /// Which rig.
        rig: RigChoice,
    },
    /// Read a stack into a new deck.
    Read {
        /// How.
        asked: ReadAsked,
        /// Which rig.
        rig: RigChoice,
    },
    /// Tell which card a loose card is.
    Which {
        /// How.
        asked: WhichAsked,
        /// Which rig.
        rig: RigChoice,
    },
    /// Ask on every serial port whether a unit answers.
    Find,
    /// Ask a unit what it is.
    Info {
        /// Which rig.
        rig: RigChoice,
    },
    /// Find out what a unit's reader and punches are like, by a blank card and a
    /// full one.
    Calibrate {
        /// For which card format.
        format: String,
        /// Whether the full card is cut, and not laid in.
        cut: bool,
        /// Which rig.
        rig: RigChoice,
    },
    /// Follow the loom along a plan.
    Weave {
        /// How.
        asked: WeaveAsked,
        /// Which unit.
        rig: RigChoice,
    },
    /// Move parts on their own.
    Exercise {
        /// For which card format.
        format: String,
        /// Which parts, in order; none for all of them.
        parts: Vec<Exercise>,
        /// Which rig.
        rig: RigChoice,
    },
}

impl Request {
    /// The deck file it works on, if it works on one.
    #[must_use]
    pub fn deck(&self) -> Option<&std::path::Path> {
        match self {
            Request::Cut { deck, .. }
            | Request::Verify { deck, .. }
            | Request::Mend { deck, .. } => Some(deck),
            Request::Read { asked, .. } => Some(&asked.out),
            Request::Find
            | Request::Info { .. }
            | Request::Which { .. }
            | Request::Calibrate { .. }
            | Request::Weave { .. }
            | Request::Exercise { .. } => None,
        }
    }

    /// The deck file it writes in the end, under one name however it was given.
    #[must_use]
    pub fn new_file(&self) -> Option<PathBuf> {
        let Request::Read { asked, .. } = self else {
            return None;
        };
        let folder = asked.out.parent().and_then(|dir| dir.canonicalize().ok());
        Some(match folder.zip(asked.out.file_name()) {
            Some((folder, name)) => folder.join(name),
            None => asked.out.clone(),
        })
    }

    /// What the command does if it is run again after it could not be carried out:
    /// these words follow `run the command again:`.
    #[must_use]
    pub fn again(&self) -> &'static str {
        match self {
            Request::Cut { .. } => "it goes on where it stopped",
            Request::Verify { .. } => "it reads the stack from its first card",
            Request::Mend { .. } => "it names the cards that are still to be laid in",
            Request::Read { .. } => {
                "it reads the stack from its first card (passes that were read to their end are \
                 kept: with --more they count too)"
            }
            Request::Calibrate { .. } => "it begins with the blank card",
            Request::Weave { .. } => {
                "it goes on where the work stands, and asks about what happened meanwhile"
            }
            Request::Which { .. }
            | Request::Find
            | Request::Info { .. }
            | Request::Exercise { .. } => "it begins anew",
        }
    }

    /// The serial port it is bound to, if it is to one that others may want.
    #[must_use]
    pub fn port(&self) -> Option<&str> {
        match self {
            Request::Find => None,
            Request::Cut { rig, .. }
            | Request::Verify { rig, .. }
            | Request::Mend { rig, .. }
            | Request::Read { rig, .. }
            | Request::Which { rig, .. }
            | Request::Info { rig }
            | Request::Weave { rig, .. }
            | Request::Calibrate { rig, .. }
            | Request::Exercise { rig, .. } => (!rig.is_virtual()).then_some(rig.port.as_str()),
        }
    }
}

/// Does what is asked. News goes to `news`, the person's orders come from
/// `persons`.
///
/// # Errors
/// As [`ServiceError`] says.
pub async fn serve(
    request: Request,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let again = request.again();
    outcome::completed(carry_out(request, hub, news, persons).await, again)
}

async fn carry_out(
    request: Request,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    match request {
        Request::Cut {
            deck,
            cards,
            recut,
            again,
            rig,
        } => {
            let ask = cards::Ask {
                kind: Kind::Cut,
                deck,
                cards,
                recut,
                again,
            };
            cards::serve(ask, &rig, hub, news, persons).await
        }
        Request::Verify { deck, cards, rig } => {
            let ask = cards::Ask {
                kind: Kind::Verify,
                deck,
                cards,
                recut: Recut::Never,
                again: false,
            };
            cards::serve(ask, &rig, hub, news, persons).await
        }
        Request::Mend { deck, cards, rig } => {
            let ask = cards::Ask {
                kind: Kind::Mend,
                deck,
                cards,
                recut: Recut::Never,
                again: false,
            };
            cards::serve(ask, &rig, hub, news, persons).await
        }
        Request::Read { asked, rig } => read::serve(asked, &rig, hub, news, persons).await,
        Request::Which { asked, rig } => which::serve(asked, &rig, hub, news, persons).await,
        Request::Find => find::serve(hub, news, persons).await,
        Request::Info { rig } => {
            let (told, task) = (upkeep::Told::Everything, trial::Trial::info());
            let ask = |news| async move {
                drive(task, &rig, Stock::default(), hub, &news, persons).await
            };
            upkeep::telling(told, hub, news, ask).await
        }
        Request::Calibrate { format, cut, rig } => {
            calibrate::serve(&format, cut, &rig, hub, news, persons).await
        }
        Request::Weave { asked, rig } => weave::serve(asked, &rig, hub, news, persons).await,
        Request::Exercise { format, parts, rig } => {
            let format = crate::deck::CardFormat::named_or_file(&format)?;
            let settings = RigFile::read(rig.file.as_deref())?.settings(&format);
            let task = trial::Trial::exercise(settings, parts);
            let stock = Stock {
                format: Some(format),
                ..Stock::default()
            };
            drive(task, &rig, stock, hub, news, persons).await
        }
    }
}

/// Ends a job in the ledger that could not be done, unless it has written its end
/// down itself: nobody takes it up.
async fn or_failed(
    job: JobNumber,
    hub: &Hub,
    outcome: Result<Outcome, ServiceError>,
) -> Result<Outcome, ServiceError> {
    if outcome.as_ref().map_or(true, |outcome| outcome.exit > 1) {
        let end = Command::EndJob(job, Ending::Failed, Clock::time_of_day());
        // if the ledger is what failed, the first error is the one to tell
        let _ = hub.ask(end).await;
    }
    outcome
}

/// Runs a task on the chosen rig, which is started here, with its stock, if it
/// is virtual.
async fn drive<T: Task>(
    task: T,
    rig: &RigChoice,
    stock: Stock,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let started = Started::new(rig, &stock)?;
    let end = run(
        Engine::new(task),
        &started.port,
        hub,
        started.clock,
        news,
        persons,
    )
    .await?;
    Ok(Outcome::from(end))
}

/// A unit that can be spoken to: a virtual one runs as long as this lives.
struct Started {
    port: PortOptions,
    clock: Clock,
    handle: Option<Handle>,
    _home: Option<tempfile::TempDir>,
}

impl Started {
    fn new(rig: &RigChoice, stock: &Stock) -> Result<Started, ServiceError> {
        let no_home = |error: std::io::Error| ServiceError::Virtual(error.to_string());
        // a link, so that a terminal that goes and comes is found again, and never
        // a stranger's that has got its number
        let home = rig
            .is_virtual()
            .then(tempfile::tempdir)
            .transpose()
            .map_err(no_home)?;
        let link = home.as_ref().map(|home| home.path().join("virtual-rig"));
        let handle = match &link {
            Some(link) => Some(serve_virtual(&rig.as_virtual, stock, Some(link.clone()))?),
            None => None,
        };
        let port = PortOptions {
            path: link.unwrap_or_else(|| PathBuf::from(&rig.port)),
            board: rig.board.clone(),
            baud: BAUD,
            first_answer: Duration::from_secs(5),
            patience: Duration::from_secs(rig.patience_s),
        };
        Ok(Started {
            port,
            clock: Clock::new(rig.speed()),
            handle,
            _home: home,
        })
    }
}
