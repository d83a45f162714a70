//! Limits that protect people and coils. They are compiled in: settings from
//! the host can tighten them and are refused where they would loosen them.

use cardwright_protocol::card::MOST_HOLES;
use cardwright_protocol::host_to_unit::Settings;
use cardwright_protocol::link::HOST_SILENT_US;
use cardwright_protocol::unit_to_host::{BadSetting, Limits};

/// This firmware's limits.
pub const LIMITS: Limits = Limits {
    coil_on_us: 80_000,
    coil_duty_permille: 600,
    coils_at_once: 4,
    stroke_us: 250_000,
    host_silent_us: HOST_SILENT_US as u32,
};

/// On-time a coil may gather beyond its duty before it must cool.
pub const COIL_HEAT_US: u32 = 1_500_000;

/// Least time between two groups of coils, whatever the host sets: a limit on
/// coils switched at once means nothing if the groups follow at once.
pub const LEAST_STAGGER_US: u32 = 200;

/// How long the light bar may take over one scan before it counts as dead.
pub const SCAN_US: u64 = 20_000;

/// Longest time between two looks at guard, stop button and supply while
/// anything may move.
pub const WATCH_US: u64 = 500;

/// How long the magazine's pusher is driven.
pub const PICK_US: u64 = 200_000;

/// Rest after the lamp is switched, before the light is read.
pub const LAMP_SETTLE_US: u64 = 5_000;

/// Scans averaged for the dark and for the open level.
pub const LEVEL_SCANS: u16 = 8;

/// Least difference between open and dark level of a channel in use.
pub const LEAST_LIGHT: u8 = 40;

pub use cardwright_protocol::unit_to_host::SAMPLES_HELD;

/// Fastest feed, in steps a second: what the slowest chip this runs on can give
/// intervals for in time, whatever else it does.
const MOST_STEPS_PER_S: u64 = 30_000;

/// Least time between two lines at full speed: a scan takes a tenth of a
/// millisecond and may be held up, and a feed that waits for one at speed loses
/// steps.
const LEAST_LINE_US: u64 = 500;

/// Highest supply that can be told from a higher one: the full scale of a
/// board's reading, less a little.
const MOST_SUPPLY_MV: u16 = 36_000;

/// Whether the unit can work with these settings.
///
/// # Errors
/// The first setting that is outside the unit's limits.
pub fn check(s: &Settings) -> Result<(), BadSetting> {
    let steps = |mm: u64| mm * u64::from(s.steps_per_metre) / 1000;
    let least_pitch_steps = 4 * u32::from(s.samples_per_row.max(1));
    let pitch_steps = u64::from(s.row_pitch_um) * u64::from(s.steps_per_metre) / 1_000_000;
    // how far a feed at top speed needs to come to rest; a card whose edge has
    // just been seen must be able to stop for its first stroke
    let speed = |mm_s: u16| u64::from(mm_s).pow(2);
    let stop_um = speed(s.top_speed_mm_s).saturating_sub(speed(s.start_speed_mm_s)) * 500
        / u64::from(s.acceleration_mm_s2.max(1));
    let to_first_um = u64::from(s.edge_to_punch_um) + u64::from(s.first_stroke_um);
    let line_us = u64::from(s.row_pitch_um) * 1000
        / u64::from(s.samples_per_row.max(1))
        / u64::from(s.top_speed_mm_s.max(1));
    let lengths = [
        s.row_pitch_um,
        s.first_stroke_um,
        s.card_length_um,
        s.length_slack_um,
        s.edge_to_punch_um,
        s.pick_up_um,
        s.run_out_um,
    ];
    let checks = [
        (s.holes == 0 || s.holes > MOST_HOLES, BadSetting::Holes),
        (
            s.steps_per_metre < 1000 || s.steps_per_metre > 200_000,
            BadSetting::StepsPerMetre,
        ),
        (
            lengths.iter().any(|um| *um == 0 || *um > 2_000_000)
                || s.samples_per_row == 0
                || s.samples_per_row > 32
                || s.reader_rows == 0
                || s.reader_rows > 32
                || pitch_steps < u64::from(least_pitch_steps),
            BadSetting::Geometry,
        ),
        (
            s.start_speed_mm_s == 0
                || s.top_speed_mm_s < s.start_speed_mm_s
                || s.acceleration_mm_s2 == 0
                || s.acceleration_mm_s2 > 1_000_000
                || steps(u64::from(s.top_speed_mm_s)) > MOST_STEPS_PER_S
                || steps(u64::from(s.start_speed_mm_s)) == 0
                || line_us < LEAST_LINE_US
                || stop_um > to_first_um,
            BadSetting::Speed,
        ),
        (
            s.coils_at_once == 0 || s.coils_at_once > LIMITS.coils_at_once,
            BadSetting::CoilsAtOnce,
        ),
        (
            s.coil_on_limit_us > LIMITS.coil_on_us || locking_us(s) >= s.coil_on_limit_us.into(),
            BadSetting::CoilOnTime,
        ),
        (
            s.coil_duty_permille == 0 || s.coil_duty_permille > LIMITS.coil_duty_permille,
            BadSetting::CoilDuty,
        ),
        (
            s.stroke_timeout_us == 0 || s.stroke_timeout_us > LIMITS.stroke_us,
            BadSetting::StrokeTimeout,
        ),
        (
            s.supply_mv.0 >= s.supply_mv.1 || s.supply_mv.1 > MOST_SUPPLY_MV,
            BadSetting::Supply,
        ),
    ];
    match checks.iter().find(|(bad, _)| *bad) {
        Some((_, setting)) => Err(*setting),
        None => Ok(()),
    }
}

/// Longest time from the first coil of a stroke switched on to the block
/// driven: every coil of the format and the peg's, in groups.
fn locking_us(s: &Settings) -> u64 {
    let coils = u64::from(s.holes.min(MOST_HOLES)) + 1;
    let groups = coils.div_ceil(u64::from(s.coils_at_once.max(1)));
    let stagger_us = u64::from(s.coil_stagger_us.max(LEAST_STAGGER_US));
    (groups - 1) * stagger_us + u64::from(s.lock_settle_us)
}
