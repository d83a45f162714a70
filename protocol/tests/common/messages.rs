//! At least one example of every message with every variant inside it, and a
//! tally that knows which variants there are from the decoder itself, so that
//! a variant without an example cannot go unnoticed.

use cardwright_protocol::card::{Attempt, CardId, CardNumber, JobNumber, Row, Stroke};
use cardwright_protocol::host_to_unit::{
    CardHeader, Exercise, HostToUnit, Question, Settings, Work,
};
use cardwright_protocol::loom::{
    Happening, LoomCounts, LoomEvent, LoomEvents, LoomSettings, LoomStatus,
};
use cardwright_protocol::unit_to_host::{
    BadSetting, CardBegan, CardEnded, Counters, ExerciseReport, Identity, Inputs, Limits, Refusal,
    Role, State, Status, Stop, StopReason, UnitToHost,
};
use heapless::Vec as ShortVec;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::collections::BTreeSet;

pub const ID: CardId = CardId {
    job: JobNumber(3),
    card: CardNumber(157),
    attempt: Attempt(2),
};

pub const SETTINGS: Settings = Settings {
    holes: 8,
    steps_per_metre: 80_000,
    row_pitch_um: 6_804,
    first_stroke_um: 14_200,
    card_length_um: 402_600,
    length_slack_um: 3_000,
    edge_to_punch_um: 30_000,
    reader_rows: 6,
    samples_per_row: 8,
    pick_up_um: 120_000,
    run_out_um: 60_000,
    start_speed_mm_s: 50,
    top_speed_mm_s: 900,
    acceleration_mm_s2: 12_000,
    feed_settle_us: 2_000,
    lock_settle_us: 3_000,
    coil_stagger_us: 500,
    coils_at_once: 4,
    stroke_timeout_us: 60_000,
    coil_on_limit_us: 40_000,
    coil_duty_permille: 300,
    gross_holes: 4,
    single_card_permille: 60,
    supply_mv: (21_600, 27_000),
    magazine: true,
};

pub const INPUTS: Inputs = Inputs {
    guard_shut: true,
    stop_out: true,
    edge_covered: false,
    block_up: true,
    block_down: false,
    supply_mv: 24_120,
};

pub const LOOM_SETTINGS: LoomSettings = LoomSettings {
    fitted: 0b1111_1111,
    inverted: 0b0000_1000,
    settle_us: [10_000, 10_000, 12_000, 15_000, 20_000, 20_000, 0, 100],
    cylinder_swapped: true,
    take_up_swapped: false,
    take_up_edges: 40,
};

pub const HAPPENINGS: [Happening; 9] = [
    Happening::CardForward,
    Happening::CardBack,
    Happening::CylinderUnclear,
    Happening::Lift,
    Happening::Beat,
    Happening::ShuttleLeft,
    Happening::ShuttleRight,
    Happening::TakenUp,
    Happening::LetOff,
];

const ENDED: CardEnded = CardEnded {
    id: ID,
    place: 12,
    complete: true,
    strokes: 56,
    lines: 464,
    length_um: 402_610,
};

const LEVELS: [u8; 16] = [3, 0, 9, 255, 128, 127, 1, 2, 0, 0, 0, 0, 0, 0, 0, 7];

pub const STOP_REASONS: [(&str, StopReason); 17] = [
    ("power_on", StopReason::PowerOn),
    ("guard_open", StopReason::GuardOpen),
    ("stop_pressed", StopReason::StopPressed),
    ("supply_low", StopReason::SupplyLow),
    ("supply_high", StopReason::SupplyHigh),
    ("host_silent", StopReason::HostSilent),
    ("host_replaced", StopReason::HostReplaced),
    ("host_stop", StopReason::HostStop),
    ("stroke_not_down", StopReason::StrokeNotDown),
    ("stroke_not_up", StopReason::StrokeNotUp),
    ("stroke_sensors", StopReason::StrokeSensors),
    ("feed_stalled", StopReason::FeedStalled),
    ("double_feed", StopReason::DoubleFeed),
    ("gross_misread", StopReason::GrossMisread),
    ("lamp_fault", StopReason::LampFault),
    ("watchdog", StopReason::Watchdog),
    ("internal", StopReason::Internal),
];

const STATES: [(&str, State); 11] = [
    ("stopped", State::Stopped),
    ("ready", State::Ready),
    ("clearing", State::Clearing),
    ("loading", State::Loading),
    ("waiting_for_card", State::WaitingForCard),
    ("waiting_for_rows", State::WaitingForRows),
    ("waiting_for_record", State::WaitingForRecord),
    ("working", State::Working),
    ("paused", State::Paused),
    ("exercising", State::Exercising),
    ("idle", State::Idle),
];

const REFUSALS: [(&str, Refusal); 10] = [
    ("needs_reset", Refusal::NeedsReset),
    ("unsafe", Refusal::Unsafe(StopReason::GuardOpen)),
    ("needs_settings", Refusal::NeedsSettings),
    ("busy", Refusal::Busy),
    ("card_damaged", Refusal::CardDamaged(ID)),
    ("no_such_card", Refusal::NoSuchCard(ID)),
    ("card_too_large", Refusal::CardTooLarge(ID)),
    ("card_used", Refusal::CardUsed(ID)),
    ("no_such_part", Refusal::NoSuchPart),
    ("no_such_event", Refusal::NoSuchEvent(4_097)),
];

const BAD_SETTINGS: [(&str, BadSetting); 10] = [
    ("holes", BadSetting::Holes),
    ("steps_per_metre", BadSetting::StepsPerMetre),
    ("geometry", BadSetting::Geometry),
    ("speed", BadSetting::Speed),
    ("coils_at_once", BadSetting::CoilsAtOnce),
    ("coil_on_time", BadSetting::CoilOnTime),
    ("coil_duty", BadSetting::CoilDuty),
    ("stroke_timeout", BadSetting::StrokeTimeout),
    ("supply", BadSetting::Supply),
    ("loom", BadSetting::Loom),
];

const EXERCISES: [(&str, Exercise, ExerciseReport); 6] = [
    (
        "punch",
        Exercise::Punch(8),
        ExerciseReport::Stroke {
            down_us: 11_000,
            up_us: 9_500,
        },
    ),
    (
        "peg",
        Exercise::Peg,
        ExerciseReport::Stroke {
            down_us: 11_100,
            up_us: 9_400,
        },
    ),
    (
        "blank_stroke",
        Exercise::BlankStroke,
        ExerciseReport::Stroke {
            down_us: 1,
            up_us: 2,
        },
    ),
    (
        "feed",
        Exercise::Feed(50_000),
        ExerciseReport::Fed {
            steps: 4_000,
            edge_covered: true,
        },
    ),
    (
        "lamp",
        Exercise::Lamp,
        ExerciseReport::Light {
            on: LEVELS,
            off: [0; 16],
        },
    ),
    ("sensors", Exercise::Sensors, ExerciseReport::Inputs(INPUTS)),
];

pub fn host_to_unit() -> Vec<(String, HostToUnit)> {
    let strokes = [
        Stroke::Blank,
        Stroke::Needles(Row(0b1001_0110)),
        Stroke::NeedlesAndPeg(Row(0xFFFF)),
        Stroke::Lace(Row(0b0100_0010)),
        Stroke::LaceAndPeg(Row(0b0100_0010)),
        Stroke::Peg,
    ];
    let card = |work| {
        HostToUnit::Card(CardHeader {
            id: ID,
            work,
            strokes: 56,
            crc: 0xDEAD_BEEF,
            more: true,
        })
    };
    let mut all = vec![
        ("ask.identity".into(), HostToUnit::Ask(Question::Identity)),
        ("ask.status".into(), HostToUnit::Ask(Question::Status)),
        ("ask.counters".into(), HostToUnit::Ask(Question::Counters)),
        ("ask.loom".into(), HostToUnit::Ask(Question::Loom)),
        ("configure".into(), HostToUnit::Configure(SETTINGS)),
        ("reset".into(), HostToUnit::Reset),
        ("start".into(), HostToUnit::Start),
        ("pause".into(), HostToUnit::Pause),
        ("resume".into(), HostToUnit::Resume),
        ("stop".into(), HostToUnit::Stop),
        ("card.cut".into(), card(Work::Cut)),
        ("card.read".into(), card(Work::Read)),
        (
            "strokes".into(),
            HostToUnit::Strokes {
                id: ID,
                first: 48,
                strokes: ShortVec::from_slice(&strokes).expect("few"),
            },
        ),
        ("recorded".into(), HostToUnit::Recorded(ID)),
        ("resend".into(), HostToUnit::Resend(ID)),
        ("card_laid_in".into(), HostToUnit::CardLaidIn),
        ("drop_queue".into(), HostToUnit::DropQueue),
        (
            "configure_loom".into(),
            HostToUnit::ConfigureLoom(LOOM_SETTINGS),
        ),
        ("loom_from".into(), HostToUnit::LoomFrom(70_000)),
    ];
    for (name, exercise, _) in EXERCISES {
        all.push((format!("exercise.{name}"), HostToUnit::Exercise(exercise)));
    }
    all
}

fn identity(role: Role) -> UnitToHost {
    UnitToHost::Identity(Identity {
        role,
        board: [1, 2, 3, 4, 0, 6, 7, 255],
        firmware: heapless::String::try_from("0.1.0").expect("short"),
        boot: 41,
        channels: 16,
        stroke_room: 256,
        card_room: 4,
        last_stop: StopReason::PowerOn,
        limits: Limits {
            coil_on_us: 60_000,
            coil_duty_permille: 500,
            coils_at_once: 8,
            stroke_us: 100_000,
            host_silent_us: 1_000_000,
        },
    })
}

fn status() -> UnitToHost {
    UnitToHost::Status(Status {
        state: State::Working,
        last_stop: StopReason::HostStop,
        last_begun: Some(ID),
        held: ShortVec::from_slice(&[ENDED, ENDED]).expect("two"),
        configured: true,
        inputs: INPUTS,
    })
}

fn counters() -> UnitToHost {
    UnitToHost::Counters(Counters {
        strokes: 8_960,
        cards_begun: 160,
        cards_complete: 158,
        waited_rows_us: 0,
        waited_record_us: 1_200,
        waited_card_us: 5_000_000_000,
        waited_cool_us: 7,
        working_us: 240_000_000,
        retransmissions: 12,
        frames_damaged: 3,
        worst_poll_us: 480,
        worst_off_us: 900,
        coil_on_us: core::array::from_fn(|n| 1_000_000 * n as u64),
    })
}

fn loom_status() -> LoomStatus {
    LoomStatus {
        at_us: 3_600_000_000,
        settings: Some(LOOM_SETTINGS),
        first: 4_000,
        next: 8_096,
        counts: LoomCounts {
            forward: 2_000,
            back: 12,
            unclear: 1,
            lifts: 1_990,
            beats: 1_988,
            left: 994,
            right: 995,
            take_up: -3,
        },
        lines: 0b0001_0101,
    }
}

fn loom_events() -> LoomEvents {
    LoomEvents {
        first: 4_000,
        events: HAPPENINGS
            .iter()
            .zip(0_u64..)
            .map(|(what, n)| LoomEvent {
                at_us: 3_600_000_000 + n * 75_008,
                what: *what,
            })
            .collect(),
    }
}

pub fn unit_to_host() -> Vec<(String, UnitToHost)> {
    let mut all = vec![
        ("identity.rig".into(), identity(Role::Rig)),
        ("identity.loom".into(), identity(Role::Loom)),
        ("status".into(), status()),
        ("counters".into(), counters()),
        (
            "credit".into(),
            UnitToHost::Credit {
                strokes: 70_000,
                cards: 300,
            },
        ),
        (
            "card_began".into(),
            UnitToHost::CardBegan(CardBegan {
                id: ID,
                place: 12,
                dark: [2; 16],
                open: LEVELS,
            }),
        ),
        (
            "strokes_done".into(),
            UnitToHost::StrokesDone { id: ID, done: 17 },
        ),
        (
            "lines".into(),
            UnitToHost::Lines {
                id: ID,
                first: 440,
                samples: (0..192).map(|n| (n * 7 % 256) as u8).collect(),
            },
        ),
        ("card_ended".into(), UnitToHost::CardEnded(ENDED)),
    ];
    for (name, reason) in STOP_REASONS {
        let stop = Stop {
            reason,
            id: Some(ID),
            strokes: 31,
            at_us: 77_000_000,
            off_after_us: 450,
        };
        all.push((format!("stopped.{name}"), UnitToHost::Stopped(stop)));
    }
    for (name, state) in STATES {
        all.push((format!("state.{name}"), UnitToHost::State(state)));
    }
    for (name, refusal) in REFUSALS {
        all.push((format!("refused.{name}"), UnitToHost::Refused(refusal)));
    }
    for (name, setting) in BAD_SETTINGS {
        let refusal = Refusal::Setting(setting);
        all.push((
            format!("refused.setting.{name}"),
            UnitToHost::Refused(refusal),
        ));
    }
    all.push(("loom".into(), UnitToHost::Loom(loom_status())));
    all.push(("loom_events".into(), UnitToHost::LoomEvents(loom_events())));
    for (name, exercise, report) in EXERCISES {
        let message = UnitToHost::Exercised { exercise, report };
        all.push((format!("exercised.{name}"), message));
    }
    all
}

/// Which variants of which enum have been seen, by their number on the wire.
#[derive(Default)]
pub struct Seen(BTreeSet<(&'static str, u8)>);

impl Seen {
    fn note<E: Serialize>(&mut self, value: &E) {
        let mut bytes = [0; 512];
        postcard::to_slice(value, &mut bytes).expect("it fits");
        self.0.insert((core::any::type_name::<E>(), bytes[0]));
    }

    pub fn host_to_unit(&mut self, message: &HostToUnit) {
        self.note(message);
        // No wildcard: whoever adds a variant decides here what is inside it.
        match message {
            HostToUnit::Ask(question) => self.note(question),
            HostToUnit::Card(card) => self.note(&card.work),
            HostToUnit::Strokes { strokes, .. } => strokes.iter().for_each(|s| self.note(s)),
            HostToUnit::Exercise(exercise) => self.note(exercise),
            HostToUnit::Configure(_)
            | HostToUnit::Reset
            | HostToUnit::Start
            | HostToUnit::Pause
            | HostToUnit::Resume
            | HostToUnit::Stop
            | HostToUnit::Recorded(_)
            | HostToUnit::Resend(_)
            | HostToUnit::CardLaidIn
            | HostToUnit::DropQueue
            | HostToUnit::ConfigureLoom(_)
            | HostToUnit::LoomFrom(_) => {}
        }
    }

    pub fn unit_to_host(&mut self, message: &UnitToHost) {
        self.note(message);
        match message {
            UnitToHost::Identity(identity) => self.note(&identity.role),
            UnitToHost::Stopped(stop) => self.note(&stop.reason),
            UnitToHost::State(state) => self.note(state),
            UnitToHost::Refused(refusal) => {
                self.note(refusal);
                if let Refusal::Setting(setting) = refusal {
                    self.note(setting);
                }
            }
            UnitToHost::Exercised { report, .. } => self.note(report),
            UnitToHost::LoomEvents(loom) => {
                loom.events.iter().for_each(|event| self.note(&event.what));
            }
            UnitToHost::Status(_)
            | UnitToHost::Loom(_)
            | UnitToHost::Counters(_)
            | UnitToHost::Credit { .. }
            | UnitToHost::CardBegan(_)
            | UnitToHost::StrokesDone { .. }
            | UnitToHost::Lines { .. }
            | UnitToHost::CardEnded(_) => {}
        }
    }

    /// Fails if the decoder knows a variant of `E` that was not seen. Every
    /// field of every message reads as something from zero bytes, so a variant
    /// exists exactly if its number followed by zeros decodes.
    pub fn assert_every<E: DeserializeOwned>(&self) {
        let name = core::any::type_name::<E>();
        for tag in 0..0x80_u8 {
            let mut bytes = [0; 512];
            bytes[0] = tag;
            if postcard::from_bytes::<E>(&bytes).is_ok() {
                assert!(
                    self.0.contains(&(name, tag)),
                    "variant {tag} of {name} has no example: add one to messages.rs, and its \
                     bytes to the file of a new protocol version"
                );
            }
        }
    }
}
