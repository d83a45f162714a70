//! A virtual unit on a real pseudo-terminal.
//!
//! Enters: bytes that a host program writes to the terminal, as to any serial
//! port, and operator's acts from other threads. Leaves: the unit's bytes, and
//! the truth. The world runs in a thread of its own at a settable multiple of
//! wall time, but never jumps: when the machine stalls, the world loses pace.
//! A pulled cable closes the terminal; a new one appears later under the same
//! link name.

use crate::attendant::{Attendant, Watch};
use crate::bench::Bench;
use crate::cabled::CabledUnit;
use crate::faults::Faults;
use crate::line::LineSettings;
use crate::loom::{self, LoomOptions, Mistake, Weaver};
use crate::settings::WorldSettings;
use crate::stock::Card;
use crate::truth::Truth;
use crate::unit::{Nameplate, VirtualUnit};
use crate::world::World;
use std::path::PathBuf;
use std::sync::mpsc::{self, Receiver, SyncSender, TryRecvError};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;
use thiserror::Error;

mod serve;
mod terminal;

/// Acts waiting to be carried out.
const MOST_ACTS: usize = 64;

/// How long an operator's call waits for the world's thread.
const ANSWER_WITHIN: Duration = Duration::from_secs(10);

/// What can go wrong.
#[derive(Debug, Error)]
pub enum PtyError {
    /// The system gave no pseudo-terminal.
    #[error(
        "cannot {doing} a pseudo-terminal: {cause}; check that /dev/pts is mounted and not full"
    )]
    Terminal {
        /// What was tried.
        doing: &'static str,
        /// What the system said.
        cause: rustix::io::Errno,
    },
    /// The link name could not be made.
    #[error("cannot make the link {}: {cause}; name a place that can be written", path.display())]
    Link {
        /// The link.
        path: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The thread could not be started.
    #[error("cannot start the virtual rig's thread: {0}")]
    Thread(std::io::Error),
    /// The thread has ended or does not answer.
    #[error("the virtual rig has stopped; start it again")]
    Gone,
}

/// How a virtual unit is served.
#[derive(Clone, Debug)]
pub struct Options {
    /// The machine and its stock.
    pub world: WorldSettings,
    /// What goes wrong in it.
    pub faults: Faults,
    /// What the unit is.
    pub nameplate: Nameplate,
    /// The line between terminal and firmware, in both directions.
    pub line: LineSettings,
    /// Virtual seconds in a wall second; above 0.
    pub factor: f64,
    /// A link that always points to the present terminal.
    pub link: Option<PathBuf>,
    /// The person at the machine.
    pub attendant: Attendant,
    /// How long a cable pulled by chance stays out, in virtual microseconds.
    pub cable_out_us: u64,
    /// Blank cards in the magazine.
    pub blanks: u64,
    /// Cards that lie in the magazine before the blank ones.
    pub cards: Vec<Card>,
    /// A loom whose sensors are wired to the unit, and who weaves at it.
    pub loom: Option<LoomOptions>,
}

impl Default for Options {
    /// A sound rig at wall time with an empty magazine and nobody near.
    fn default() -> Options {
        Options {
            world: WorldSettings::default(),
            faults: Faults::default(),
            nameplate: Nameplate::default(),
            line: LineSettings::sound(115_200, 0),
            factor: 1.0,
            link: None,
            attendant: Attendant::ABSENT,
            cable_out_us: 2_000_000,
            blanks: 0,
            cards: Vec::new(),
            loom: None,
        }
    }
}

/// How any unit is served.
#[derive(Clone, Debug)]
pub struct Serving {
    /// The unit's seconds in a wall second; above 0.
    pub factor: f64,
    /// A link that always points to the present terminal.
    pub link: Option<PathBuf>,
    /// The person at the machine.
    pub attendant: Attendant,
}

type Act<U> = Box<dyn FnOnce(&mut U) + Send>;

/// Serves virtual rigs.
#[derive(Clone, Copy, Debug)]
pub struct VirtualRig;

impl VirtualRig {
    /// Opens a pseudo-terminal and lets the world run behind it. Returns when
    /// the terminal can be opened by a host.
    ///
    /// # Errors
    /// If the system gives no terminal, link or thread.
    pub fn serve(options: Options) -> Result<Handle, PtyError> {
        let serving = Serving {
            factor: options.factor,
            link: options.link.clone(),
            attendant: options.attendant,
        };
        VirtualRig::serve_unit(serving, move || virtual_unit(options))
    }

    /// Opens a pseudo-terminal and serves on it the unit that `make` makes, in
    /// a thread of its own.
    ///
    /// # Errors
    /// If the system gives no terminal, link or thread.
    pub fn serve_unit<U: Bench + 'static>(
        serving: Serving,
        make: impl FnOnce() -> U + Send + 'static,
    ) -> Result<Handle<U>, PtyError> {
        let terminal = terminal::Terminal::open(serving.link.as_deref())?;
        let path = Arc::new(Mutex::new(terminal.path()));
        let link = serving.link.clone();
        let (acts, inbox) = mpsc::sync_channel(MOST_ACTS);
        let shared = Arc::clone(&path);
        let thread = std::thread::Builder::new()
            .name("virtual-rig".into())
            .spawn(move || run(make(), serving, terminal, &inbox, &shared))
            .map_err(PtyError::Thread)?;
        Ok(Handle {
            path,
            link,
            acts: Some(acts),
            thread: Some(thread),
        })
    }
}

fn virtual_unit(options: Options) -> CabledUnit {
    let mut world = World::new(options.world, &options.faults);
    world.load_cards(options.cards);
    world.fill_magazine(options.blanks);
    if let Some(loom) = options.loom {
        world.put_loom(loom);
    }
    let mut unit = VirtualUnit::new(world, options.nameplate);
    unit.measure_polls();
    CabledUnit::new(unit, &options.line, options.cable_out_us)
}

/// The world's thread: it ends when the handle goes.
fn run<U: Bench>(
    mut unit: U,
    serving: Serving,
    terminal: terminal::Terminal,
    inbox: &Receiver<Act<U>>,
    path: &Mutex<PathBuf>,
) -> Result<Truth, PtyError> {
    let mut server = serve::Server::new(terminal, serving.link, serving.factor, path);
    let mut watch = Watch::new(serving.attendant);
    loop {
        loop {
            match inbox.try_recv() {
                Ok(act) => act(&mut unit),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    return Ok(std::mem::take(unit.world_mut().truth_mut()));
                }
            }
        }
        server.turn(&mut unit)?;
        watch.look(&mut unit.world_mut());
    }
}

/// A served rig. Dropping it stops it.
pub struct Handle<U = CabledUnit> {
    path: Arc<Mutex<PathBuf>>,
    link: Option<PathBuf>,
    acts: Option<SyncSender<Act<U>>>,
    thread: Option<JoinHandle<Result<Truth, PtyError>>>,
}

impl<U> std::fmt::Debug for Handle<U> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Handle")
            .field("path", &self.path)
            .field("link", &self.link)
            .finish_non_exhaustive()
    }
}

impl<U> Handle<U> {
    /// What a host opens: the link if there is one, else the present terminal.
    #[must_use]
    pub fn path(&self) -> PathBuf {
        match &self.link {
            Some(link) => link.clone(),
            None => self
                .path
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .clone(),
        }
    }

    /// Does something at the machine, in the world's thread, between two of its
    /// moments; what it returned.
    ///
    /// # Errors
    /// [`PtyError::Gone`] if the world does not answer.
    pub fn at_the_machine<R: Send + 'static>(
        &self,
        act: impl FnOnce(&mut U) -> R + Send + 'static,
    ) -> Result<R, PtyError> {
        let (answer, come) = mpsc::sync_channel(1);
        let act: Act<U> = Box::new(move |unit| {
            // Nobody waits any longer: then nobody needs the answer.
            let _ = answer.send(act(unit));
        });
        self.acts
            .as_ref()
            .ok_or(PtyError::Gone)?
            .send(act)
            .map_err(|_| PtyError::Gone)?;
        come.recv_timeout(ANSWER_WITHIN).map_err(|_| PtyError::Gone)
    }

    /// What has really happened so far.
    ///
    /// # Errors
    /// [`PtyError::Gone`] if the world does not answer.
    pub fn truth(&self) -> Result<Truth, PtyError>
    where
        U: Bench,
    {
        self.at_the_machine(|unit| unit.world().truth().clone())
    }

    /// The mistake after which the weaver stands and waits, if one does.
    ///
    /// # Errors
    /// [`PtyError::Gone`] if the world does not answer.
    pub fn weaver_waits(&self) -> Result<Option<Mistake>, PtyError>
    where
        U: Bench,
    {
        self.at_the_machine(|unit| unit.world().weaver().and_then(Weaver::waiting))
    }

    /// Tells a weaver who waits to do these acts and then to weave on with step
    /// `from`. False if none waits: then nothing is done.
    ///
    /// # Errors
    /// [`PtyError::Gone`] if the world does not answer.
    pub fn tell_weaver(&self, acts: Vec<loom::Act>, from: u64) -> Result<bool, PtyError>
    where
        U: Bench,
    {
        self.at_the_machine(move |unit| {
            unit.world_mut()
                .weaver_mut()
                .is_some_and(|weaver| weaver.remedy(acts) && weaver.go_on(from))
        })
    }

    /// Stops the world; what has really happened.
    ///
    /// # Errors
    /// What stopped the world before, if something did.
    pub fn stop(mut self) -> Result<Truth, PtyError> {
        self.end()
    }

    fn end(&mut self) -> Result<Truth, PtyError> {
        self.acts = None;
        let thread = self.thread.take().ok_or(PtyError::Gone)?;
        thread.join().map_err(|_| PtyError::Gone)?
    }
}

impl<U> Drop for Handle<U> {
    fn drop(&mut self) {
        // Errors have no taker here; `stop` gives them.
        let _ = self.end();
    }
}
