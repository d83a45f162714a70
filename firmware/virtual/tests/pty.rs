//! The unit on a real pseudo-terminal: opened as a serial device, heard and
//! spoken to, lost and found again.

use cardwright_protocol::frame::MOST_WIRE;
use cardwright_protocol::link::{HostEvent, HostLink, Versions};
use cardwright_protocol::{HostToUnit, Micros, UnitToHost};
use cardwright_virtual::chance::Fault;
use cardwright_virtual::loom::{Act, MistakeKind, Mistakes, Script, Step, Weaver, WeaverSettings};
use cardwright_virtual::pty::{Handle, Options, VirtualRig};
use cardwright_virtual::{CabledUnit, Loom, LoomOptions};
use rustix::fs::{Mode, OFlags, open};
use std::os::fd::OwnedFd;
use std::path::Path;
use std::time::{Duration, Instant};

/// Long enough for the slowest machine; only a failure takes it.
const PATIENCE: Duration = Duration::from_secs(30);

fn plug_in(path: &Path) -> OwnedFd {
    let started = Instant::now();
    loop {
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK;
        match open(path, flags, Mode::empty()) {
            Ok(fd) => return fd,
            Err(cause) => assert!(started.elapsed() < PATIENCE, "{}: {cause}", path.display()),
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Opens the link over `fd`, sends `message`, waits for an answer that `wanted`
/// accepts. False when the terminal has gone.
fn converse(
    fd: &OwnedFd,
    session: u32,
    message: Option<HostToUnit>,
    mut wanted: impl FnMut(&UnitToHost) -> bool,
) -> bool {
    let started = Instant::now();
    let now = || Micros(started.elapsed().as_micros() as u64);
    let mut link = HostLink::new(Versions::CURRENT);
    link.open(session, now());
    let mut message = message;
    let mut wire = [0; MOST_WIRE];
    let mut bytes = [0; 4096];
    while started.elapsed() < PATIENCE {
        match rustix::io::read(fd, &mut bytes) {
            Ok(0) | Err(rustix::io::Errno::IO) => return false,
            Ok(count) => link.receive(&bytes[..count], now()),
            Err(_) => std::thread::sleep(Duration::from_micros(500)),
        }
        while let Some(event) = link.event() {
            if let HostEvent::Message(said) = event
                && wanted(&said)
            {
                return true;
            }
        }
        if link.is_open()
            && let Some(some) = message.take()
        {
            link.send(&some).expect("the link is open and idle");
        }
        while let Some(length) = link.pull(now(), &mut wire) {
            if rustix::io::write(fd, &wire[..length]).is_err() {
                return false;
            }
        }
    }
    panic!("no answer in {PATIENCE:?}");
}

fn serve(options: Options) -> Handle {
    VirtualRig::serve(options).expect("the system gives a pseudo-terminal")
}

fn ask() -> Option<HostToUnit> {
    Some(HostToUnit::Ask(
        cardwright_protocol::host_to_unit::Question::Identity,
    ))
}

fn is_identity(said: &UnitToHost) -> bool {
    matches!(said, UnitToHost::Identity(identity) if identity.board == *b"virtual1")
}

#[test]
fn a_host_can_open_it_and_ask_who_is_there() {
    let rig = serve(Options {
        factor: 4.0,
        ..Options::default()
    });
    let fd = plug_in(&rig.path());
    assert!(converse(&fd, 1, ask(), is_identity));
    drop(fd);
    // Another host, later, on the same terminal.
    let fd = plug_in(&rig.path());
    assert!(converse(&fd, 2, ask(), is_identity));
    assert!(rig.stop().is_ok());
}

#[test]
fn a_pulled_cable_comes_back_under_the_same_name() {
    let place = tempfile::tempdir().expect("a place for the link");
    let link = place.path().join("rig");
    let rig = serve(Options {
        factor: 4.0,
        link: Some(link.clone()),
        ..Options::default()
    });
    assert_eq!(rig.path(), link);
    let fd = plug_in(&link);
    assert!(converse(&fd, 1, ask(), is_identity));
    rig.at_the_machine(|unit| unit.unplug(Some(400_000)))
        .expect("the rig runs");
    assert!(
        !converse(&fd, 2, None, |_| false),
        "the old terminal is gone"
    );
    drop(fd);
    let fd = plug_in(&link);
    assert!(converse(&fd, 3, ask(), is_identity));
    drop(rig);
    assert!(
        !link.exists() && std::fs::read_link(&link).is_err(),
        "the link is gone with the rig"
    );
}

#[test]
fn the_operator_acts_from_another_thread_and_the_truth_comes_out() {
    let rig = serve(Options {
        factor: 10.0,
        blanks: 3,
        ..Options::default()
    });
    let laid_in = rig.at_the_machine(|unit| {
        let mut world = unit.unit.world_mut();
        world.open_guard();
        world.lay_in_card()
    });
    assert_eq!(laid_in.ok(), Some(true));
    let fd = plug_in(&rig.path());
    let exercise = HostToUnit::Ask(cardwright_protocol::host_to_unit::Question::Status);
    assert!(converse(&fd, 5, Some(exercise), |said| {
        matches!(said, UnitToHost::Status(status) if !status.inputs.guard_shut)
    }));
    rig.at_the_machine(|unit| unit.unit.world_mut().take_out_cards())
        .expect("the rig runs");
    assert_eq!(rig.truth().expect("the rig runs").cards.len(), 1);
    assert_eq!(rig.stop().expect("it ran to the end").cards.len(), 1);
}

#[test]
fn a_weaver_works_at_the_unit_and_is_told_how_to_go_on() {
    let always = Mistakes::only(MistakeKind::BeatsTwice, Fault::new(1.0, 1));
    let settings = WeaverSettings {
        picks_a_minute: 200.0,
        mistakes: always,
        ..WeaverSettings::default()
    };
    let rig = serve(Options {
        factor: 20.0,
        loom: Some(LoomOptions {
            weaver: Some((Script::once(vec![Step::NEXT_CARD; 3]), settings)),
            ..LoomOptions::default()
        }),
        ..Options::default()
    });
    for step in 0..3 {
        let started = Instant::now();
        let mistake = loop {
            if let Some(mistake) = rig.weaver_waits().expect("the rig runs") {
                break mistake;
            }
            assert!(started.elapsed() < PATIENCE, "the weaver goes on and on");
            std::thread::sleep(Duration::from_millis(2));
        };
        assert_eq!((mistake.step, mistake.next), (step, step + 1));
        let told = rig.tell_weaver(vec![Act::BeatLightly], mistake.next);
        assert!(told.expect("the rig runs"));
    }
    let started = Instant::now();
    let finished = |unit: &mut CabledUnit| {
        let world = unit.unit.world();
        world.weaver().is_some_and(Weaver::finished)
    };
    while !rig.at_the_machine(finished).expect("the rig runs") {
        assert!(started.elapsed() < PATIENCE, "the script does not end");
        std::thread::sleep(Duration::from_millis(2));
    }
    let counts = rig
        .at_the_machine(|unit| unit.unit.world().loom().map(Loom::counts))
        .expect("the rig runs")
        .expect("there is a loom");
    assert_eq!((counts.forward, counts.throws, counts.beats), (3, 3, 9));
    assert_eq!(serve(Options::default()).weaver_waits().ok(), Some(None));
}

#[test]
fn a_link_in_no_place_is_refused_with_its_name() {
    let link = Path::new("/no/such/place/rig").to_path_buf();
    let refused = VirtualRig::serve(Options {
        link: Some(link),
        ..Options::default()
    });
    let said = refused
        .map(|_| ())
        .expect_err("it cannot be made")
        .to_string();
    assert!(
        said.contains("/no/such/place/rig") && said.contains("can be written"),
        "{said}"
    );
}
