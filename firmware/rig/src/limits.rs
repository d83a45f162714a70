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

/// Sample bytes kept for one card.
pub const SAMPLES_HELD: usize = 8192;

/// Fastest feed, in steps a second, that the ramp's arithmetic is made for.
const MOST_STEPS_PER_S: u64 = 60_000;

/// Whether the unit can work with these settings.
///
/// # Errors
/// The first setting that is outside the unit's limits.
pub fn check(s: &Settings) -> Result<(), BadSetting> {
    let steps = |mm: u64| mm * u64::from(s.steps_per_metre) / 1000;
    let least_pitch_steps = 4 * u32::from(s.samples_per_row.max(1));
    let pitch_steps = u64::from(s.row_pitch_um) * u64::from(s.steps_per_metre) / 1_000_000;
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
                || steps(u64::from(s.start_speed_mm_s)) == 0,
            BadSetting::Speed,
        ),
        (
            s.coils_at_once == 0 || s.coils_at_once > LIMITS.coils_at_once,
            BadSetting::CoilsAtOnce,
        ),
        (
            s.coil_on_limit_us == 0 || s.coil_on_limit_us > LIMITS.coil_on_us,
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
        (s.supply_mv.0 >= s.supply_mv.1, BadSetting::Supply),
    ];
    match checks.iter().find(|(bad, _)| *bad) {
        Some((_, setting)) => Err(*setting),
        None => Ok(()),
    }
}
