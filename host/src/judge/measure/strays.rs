//! Light that no position accounts for.
//!
//! Enters: the card as measured. Leaves: at most one stray light a position.

use super::work::Work;
use super::{STRAY_LIGHT, Stray};

impl Work<'_> {
    /// Light where nothing is cut, in register or out of it.
    pub(super) fn strays(&self) -> Vec<Stray> {
        let mut strays: Vec<Stray> = Vec::new();
        let last_row = self.strokes.len().max(1) - 1;
        for channel in 0..self.holes {
            let mut last = 0.0;
            for line in 0..self.light.lines() {
                let light = self.light.at(channel, line);
                let x = self.position_mm(line);
                let left = if light < STRAY_LIGHT {
                    0.0
                } else {
                    light - self.known_light(channel, x, None)
                };
                let both = f32::min(left, last);
                last = left;
                if both < STRAY_LIGHT {
                    continue;
                }
                let x = x - self.line_mm / 2.0;
                let stroke = ((x / self.pitch_mm).round().max(0.0) as usize).min(last_row);
                let stray = Stray {
                    stroke,
                    channel,
                    open: both,
                    offset_mm: x - stroke as f32 * self.pitch_mm,
                };
                match strays.last_mut() {
                    Some(old) if (old.stroke, old.channel) == (stroke, channel) => {
                        if both > old.open {
                            *old = stray;
                        }
                    }
                    _ => strays.push(stray),
                }
            }
        }
        strays
    }
}
