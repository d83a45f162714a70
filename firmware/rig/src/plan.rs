//! Where everything lies along the feed, in steps from the moment at which the
//! card's leading edge reaches the edge sensor. Made from checked settings.

use cardwright_protocol::host_to_unit::Settings;

use crate::feed::Ramp;
use crate::limits::SAMPLES_HELD;

/// Checked settings and what follows from them.
#[derive(Clone, Copy, Debug)]
pub struct Plan {
    /// The settings themselves.
    pub settings: Settings,
    /// The feed's ramp.
    pub ramp: Ramp,
    /// Where a card of nominal length leaves the edge sensor, and how much sooner
    /// or later it may: worked out once, as it is asked for at every step.
    trailing_edge: u32,
    slack: u32,
}

impl Plan {
    /// The plan of settings that [`crate::limits::check`] has let through.
    #[must_use]
    pub fn new(settings: Settings) -> Plan {
        let steps = |um: u32| steps(&settings, u64::from(um));
        Plan {
            settings,
            ramp: Ramp::new(&settings),
            trailing_edge: steps(settings.card_length_um),
            slack: steps(settings.length_slack_um),
        }
    }

    /// Steps in a length, to the nearest.
    #[must_use]
    pub fn steps(&self, um: u64) -> u32 {
        steps(&self.settings, um)
    }

    /// Micrometres in so many steps.
    #[must_use]
    pub fn um(&self, steps: u32) -> u32 {
        let um = u64::from(steps) * 1_000_000 / u64::from(self.settings.steps_per_metre);
        u32::try_from(um).unwrap_or(u32::MAX)
    }

    /// Where the feed stands for stroke `stroke`, counted from 0.
    #[must_use]
    pub fn stroke_at(&self, stroke: u16) -> u32 {
        let s = &self.settings;
        self.steps(
            u64::from(s.edge_to_punch_um)
                + u64::from(s.first_stroke_um)
                + u64::from(stroke) * u64::from(s.row_pitch_um),
        )
    }

    /// Where the feed stands for line `line`, counted from 0: one row pitch
    /// before the first stroke reaches the light bar, and on from there.
    #[must_use]
    pub fn line_at(&self, line: u16) -> u32 {
        let s = &self.settings;
        let pitch = u64::from(s.row_pitch_um);
        let to_bar = u64::from(s.edge_to_punch_um)
            + u64::from(s.first_stroke_um)
            + (u64::from(s.reader_rows) - 1) * pitch;
        self.steps(to_bar + u64::from(line) * pitch / u64::from(s.samples_per_row))
    }

    /// Lines of a card with so many strokes: its rows and one pitch on either
    /// side.
    #[must_use]
    pub fn lines(&self, strokes: u16) -> u16 {
        strokes
            .saturating_add(2)
            .saturating_mul(u16::from(self.settings.samples_per_row))
    }

    /// Whether such a card's readings fit into the room kept for one.
    #[must_use]
    pub fn fits(&self, strokes: u16) -> bool {
        usize::from(self.lines(strokes)) * usize::from(self.settings.holes) <= SAMPLES_HELD
    }

    /// Where a card leaves the edge sensor: the soonest, by its nominal length,
    /// and the farthest.
    #[must_use]
    pub fn trailing_edge(&self) -> (u32, u32, u32) {
        let nominal = self.trailing_edge;
        (
            nominal.saturating_sub(self.slack),
            nominal,
            nominal.saturating_add(self.slack),
        )
    }

    /// How far to run a card that may lie anywhere in the rig until it is out.
    #[must_use]
    pub fn clear(&self) -> u32 {
        let s = &self.settings;
        self.steps(
            u64::from(s.pick_up_um)
                + u64::from(s.edge_to_punch_um)
                + u64::from(s.reader_rows) * u64::from(s.row_pitch_um)
                + u64::from(s.card_length_um)
                + u64::from(s.length_slack_um)
                + u64::from(s.run_out_um),
        )
    }
}

fn steps(settings: &Settings, um: u64) -> u32 {
    let steps = (um * u64::from(settings.steps_per_metre) + 500_000) / 1_000_000;
    u32::try_from(steps).unwrap_or(u32::MAX)
}
