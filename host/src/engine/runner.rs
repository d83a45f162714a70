//! Runs an engine over a serial port, with real clocks. The port may vanish and
//! come back: it is opened again under the same name, and the link sees to it
//! that nothing is lost or done twice.

use std::collections::VecDeque;
use std::io::ErrorKind::PermissionDenied;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use cardwright_protocol::frame::MOST_WIRE;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::mpsc;
use tokio::sync::mpsc::error::TrySendError;
use tokio::time::sleep;
use tokio_serial::{ErrorKind, SerialPortBuilderExt, SerialStream};
use tracing::{debug, info};

use super::{Clock, Engine, Hub, HubError};
use crate::job::{End, Mark, News, Person, Task};
use crate::ledger::writer::{Answer, Command};
use crate::rig::port_of_board;

/// Wall time between two tries to open a port that is away.
const REOPEN: Duration = Duration::from_millis(200);

/// How long the error that stopped the ledger's writer is waited for.
const CAUSE_WITHIN: Duration = Duration::from_secs(1);

/// Where the unit is and how patient to be.
#[derive(Clone, Debug)]
pub struct PortOptions {
    /// The port's path.
    pub path: PathBuf,
    /// The serial number of the board there, if it was found by that: when it
    /// comes back it is looked for under any name, and no stranger that has got
    /// the old name is sent anything.
    pub board: Option<String>,
    /// Bits a second.
    pub baud: u32,
    /// How long a port may give no unit's answer at first.
    pub first_answer: Duration,
    /// How long a unit that has answered may be away.
    pub patience: Duration,
}

/// Why a run could not go on.
#[derive(Debug, thiserror::Error)]
pub enum EngineError {
    /// The port is not there or cannot be used.
    #[error(
        "port {path} cannot be opened: {cause}; check the cable and the name (`cardwright rig find` lists what is there)"
    )]
    Port {
        /// Its path.
        path: String,
        /// What the system says.
        cause: String,
    },
    /// This user may not open it.
    #[error(
        "port {path} may not be opened by this user; add the user to the group it belongs to (`ls -l {path}` shows it; on Debian `dialout`), then log in anew"
    )]
    NotAllowed {
        /// Its path.
        path: String,
    },
    /// Another program has it.
    #[error("port {path} is in use by another program; end that, or choose another port")]
    InUse {
        /// Its path.
        path: String,
    },
    /// Something is there and it is not a unit.
    #[error(
        "nothing on port {path} answers as a cardwright unit within {seconds} s; choose another port (`cardwright rig find`), or switch the unit off and on"
    )]
    NotAUnit {
        /// Its path.
        path: String,
        /// How long was waited.
        seconds: u64,
    },
    /// It was there and did not come back.
    #[error(
        "the unit on port {path} has been away for {seconds} s; check its cable and power, then run the command again"
    )]
    Away {
        /// Its path.
        path: String,
        /// How long was waited.
        seconds: u64,
    },
    /// It is there and does not go on.
    #[error(
        "the unit on port {path} is there and has said nothing for {seconds} s where it should; switch it off and on, then run the command again"
    )]
    Mute {
        /// Its path.
        path: String,
        /// How long was waited.
        seconds: u64,
    },
    /// The ledger cannot be written.
    #[error("{0}")]
    Ledger(#[from] HubError),
}

/// Runs `engine` until its end. News goes to `news`; a person's orders come
/// from `persons`.
///
/// # Errors
/// As [`EngineError`] says. Nothing recorded is lost by any of them.
pub async fn run<T: Task>(
    mut engine: Engine<T>,
    port: &PortOptions,
    hub: &Hub,
    clock: Clock,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<End, EngineError> {
    let mut line = Line::new(port.clone(), clock);
    line.open_first()?;
    let (answers_to, mut answers) = mpsc::unbounded_channel();
    let mut persons_gone = false;
    loop {
        engine.run(Clock::time_of_day());
        if engine.wants_session()
            && let Answer::Session(session) = hub.ask(Command::NextSession).await?
        {
            engine.open(session, clock.now());
        }
        while let Some((mark, command)) = engine.take_record() {
            if let Err(not_taken) = hub.submit(command, mark, &answers_to) {
                return Err(first_cause(&mut answers, not_taken).await);
            }
        }
        pass_news(&mut engine, news);
        if let Some(end) = engine.end() {
            let end = end.clone();
            line.drain(&mut engine).await;
            return Ok(end);
        }
        line.fill(&mut engine);
        line.check(engine.is_heard(), engine.awaited_after())?;
        tokio::select! {
            heard = line.turn() => if let Some(bytes) = heard {
                engine.receive(bytes, clock.now());
            },
            Some((mark, result)) = answers.recv() => on_answer(&mut engine, mark, result)?,
            order = persons.recv(), if !persons_gone => match order {
                Some(order) => engine.person(order, Clock::time_of_day()),
                None => persons_gone = true,
            },
            () = sleep(clock.until(engine.next_wake()).min(REOPEN)) => {}
        }
    }
}

/// Hands on what there is room for. Whoever listens may be slow or gone; the
/// machine is not held up by that, and mere progress is dropped.
fn pass_news<T: Task>(engine: &mut Engine<T>, news: &mpsc::Sender<News>) {
    while let Some(item) = engine.take_news() {
        match news.try_send(item) {
            Ok(()) | Err(TrySendError::Closed(_) | TrySendError::Full(News::Progress { .. })) => {}
            Err(TrySendError::Full(item)) => return engine.untold(item),
        }
    }
}

/// The ledger takes no more after an error: that error is the one to tell of,
/// and it may still be on its way here.
async fn first_cause(
    answers: &mut mpsc::UnboundedReceiver<(Mark, Result<Answer, HubError>)>,
    not_taken: HubError,
) -> EngineError {
    while let Ok(Some((_, result))) = tokio::time::timeout(CAUSE_WITHIN, answers.recv()).await {
        if let Err(cause) = result {
            return cause.into();
        }
    }
    not_taken.into()
}

fn on_answer<T: Task>(
    engine: &mut Engine<T>,
    mark: Mark,
    result: Result<Answer, HubError>,
) -> Result<(), EngineError> {
    result?;
    engine.recorded(mark, Clock::time_of_day());
    Ok(())
}

/// The port, there or away.
struct Line {
    options: PortOptions,
    clock: Clock,
    stream: Option<SerialStream>,
    out: VecDeque<u8>,
    buffer: Box<[u8; 4096]>,
    opened_at: Instant,
    open_last_seen: Option<Instant>,
    tried_at: Instant,
    /// Messages come while one was awaited, and since when there are no more.
    awaited: (u64, Instant),
}

impl Line {
    fn new(options: PortOptions, clock: Clock) -> Line {
        let now = Instant::now();
        Line {
            options,
            clock,
            stream: None,
            out: VecDeque::new(),
            buffer: Box::new([0; 4096]),
            opened_at: now,
            open_last_seen: None,
            tried_at: now,
            awaited: (0, now),
        }
    }

    fn open(&mut self) -> Result<(), EngineError> {
        self.tried_at = Instant::now();
        let path = self.present_name()?;
        match tokio_serial::new(&path, self.options.baud).open_native_async() {
            Ok(stream) => {
                self.stream = Some(stream);
                self.out.clear();
                Ok(())
            }
            Err(error) if error.to_string().contains("exclusive lock") => {
                Err(EngineError::InUse { path })
            }
            Err(error) if error.kind() == ErrorKind::Io(PermissionDenied) => {
                Err(EngineError::NotAllowed { path })
            }
            Err(error) => Err(EngineError::Port {
                path,
                cause: match error.to_string().as_str() {
                    // the system's own words since the days of teleprinters
                    "Not a typewriter" => "it is no serial port".to_string(),
                    cause => cause.to_string(),
                },
            }),
        }
    }

    /// The name the port has now.
    fn present_name(&self) -> Result<String, EngineError> {
        let path = self.options.path.to_string_lossy().into_owned();
        match &self.options.board {
            None => Ok(path),
            Some(serial) => port_of_board(serial).ok_or_else(|| EngineError::Port {
                path,
                cause: format!("board {serial} is no longer attached"),
            }),
        }
    }

    fn open_first(&mut self) -> Result<(), EngineError> {
        self.open()
    }

    /// Opens a port that is away, now and then; ends the patience.
    fn check(&mut self, heard: bool, awaited: Option<u64>) -> Result<(), EngineError> {
        let now = Instant::now();
        if self.stream.is_none() && now.duration_since(self.tried_at) >= REOPEN {
            match self.open() {
                Ok(()) => info!("the port is back"),
                Err(error) => debug!(%error, "the port is still away"),
            }
        }
        if heard && self.stream.is_some() {
            self.open_last_seen = Some(now);
            return self.check_answers(awaited, now);
        }
        let path = self.options.path.to_string_lossy().into_owned();
        match self.open_last_seen {
            None if now.duration_since(self.opened_at) > self.options.first_answer => {
                let seconds = self.options.first_answer.as_secs();
                Err(EngineError::NotAUnit { path, seconds })
            }
            Some(seen) if now.duration_since(seen) > self.options.patience => {
                let seconds = self.options.patience.as_secs();
                Err(EngineError::Away { path, seconds })
            }
            _ => Ok(()),
        }
    }

    /// A unit that is heard and says nothing when it should has its limit too.
    fn check_answers(&mut self, awaited: Option<u64>, now: Instant) -> Result<(), EngineError> {
        let patience = self.options.patience.max(self.options.first_answer);
        match awaited {
            Some(messages) if messages == self.awaited.0 => {}
            Some(messages) => self.awaited = (messages, now),
            None => self.awaited.1 = now,
        }
        if now.duration_since(self.awaited.1) <= patience {
            return Ok(());
        }
        Err(EngineError::Mute {
            path: self.options.path.to_string_lossy().into_owned(),
            seconds: patience.as_secs(),
        })
    }

    /// Takes the engine's next frame if the last has gone out.
    fn fill<T: Task>(&mut self, engine: &mut Engine<T>) {
        if self.stream.is_none() || !self.out.is_empty() {
            return;
        }
        let mut wire = [0; MOST_WIRE];
        if let Some(length) = engine.pull(self.clock.now(), &mut wire) {
            self.out.extend(wire.iter().take(length));
        }
    }

    /// Waits until bytes have come or gone. Bytes that have come are returned.
    async fn turn(&mut self) -> Option<&[u8]> {
        let Some(stream) = &mut self.stream else {
            std::future::pending::<()>().await;
            return None;
        };
        let (mut reader, mut writer) = tokio::io::split(stream);
        let (front, _) = self.out.as_slices();
        let done = tokio::select! {
            read = reader.read(&mut self.buffer[..]) => Turn::Read(read),
            wrote = writer.write(front), if !front.is_empty() => Turn::Wrote(wrote),
        };
        match done {
            Turn::Read(Ok(count)) if count > 0 => return self.buffer.get(..count),
            Turn::Wrote(Ok(count)) => {
                self.out.drain(..count.min(self.out.len()));
            }
            Turn::Read(result) | Turn::Wrote(result) => {
                info!(?result, "the port is gone");
                self.stream = None;
                self.tried_at = Instant::now();
            }
        }
        None
    }

    /// Sends what is left to be said, for a moment: orders to stop among it.
    async fn drain<T: Task>(&mut self, engine: &mut Engine<T>) {
        let clock = self.clock;
        let until = clock.now().plus(100_000);
        while clock.now() < until {
            self.fill(engine);
            if self.out.is_empty() || self.stream.is_none() {
                return;
            }
            let wait = clock.wall(until.since(clock.now()));
            let heard = tokio::time::timeout(wait, self.turn()).await;
            if let Ok(Some(bytes)) = heard {
                engine.receive(bytes, clock.now());
            }
        }
    }
}

enum Turn {
    Read(std::io::Result<usize>),
    Wrote(std::io::Result<usize>),
}
