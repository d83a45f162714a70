//! The lamp's light through cards, and what a light bar makes of it.
//!
//! Enters: the cards over the bar and how far each has come, the lamp's
//! strength, light from elsewhere, dust. Leaves: a level for each channel. A
//! level is the channel's dark level, and above that the stray light and the
//! light through whatever lies over the aperture, times the channel's gain;
//! with noise, rounded and clipped to a byte. A third card over the bar is left
//! out.

use crate::geometry::{self, Opening};
use crate::settings::WorldSettings;
use crate::stock::{Card, Hole};
use cardwright_protocol::card::MOST_HOLES;
use cardwright_protocol::unit_to_host::Levels;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const CHANNELS: usize = MOST_HOLES as usize;

/// Most holes over one aperture.
const MOST_OVER: usize = 12;

/// A grain of dust that comes to lie on a channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dust {
    /// Light channel, from 0.
    pub channel: usize,
    /// Share of the channel's light that it takes.
    pub loss: f64,
    /// Leading edge place, from the edge sensor, of the card with which it
    /// comes.
    pub from_mm: f64,
}

/// What shines at this moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Light {
    /// The lamp's strength: 1 when new, 0 when off.
    pub lamp: f64,
    /// Light from elsewhere that no card keeps off, share of the open light.
    pub ambient: f64,
    /// Noise of one reading (standard deviation, levels).
    pub noise_level: f64,
    /// Dust that lies there now.
    pub dust: Option<Dust>,
}

/// How far a card has come through the machine, 0 where it entered and 1 where
/// its trailing edge has passed the bar. Places are those of the leading edge,
/// from the edge sensor.
#[must_use]
pub fn way_done(machine: &WorldSettings, card: &Card, entered_mm: f64, lead_mm: f64) -> f64 {
    let way = machine.edge_to_reader_mm() + card.length_in_feed_mm();
    ((lead_mm - entered_mm) / (way - entered_mm)).clamp(0.0, 1.0)
}

/// The channels as they were built, and their noise.
#[derive(Debug)]
pub struct Optics {
    gains: [f64; CHANNELS],
    across: [f64; CHANNELS],
    rng: ChaCha8Rng,
    /// The holes over each aperture, as seen from its middle; kept for its room
    /// from scan to scan.
    over: [Vec<Opening>; CHANNELS],
}

/// A card over the bar.
#[derive(Clone, Copy, Debug)]
struct Sheet<'a> {
    card: &'a Card,
    /// How far behind its leading edge the bar is.
    along: f64,
    /// Sine and cosine of its skew.
    turn: (f64, f64),
    /// The share of the bar's apertures between its two edges.
    covered: f64,
}

impl Optics {
    /// The channels of this machine.
    #[must_use]
    pub fn new(machine: &WorldSettings) -> Optics {
        let mut rng = ChaCha8Rng::seed_from_u64(machine.seed);
        let mut gains = [1.0; CHANNELS];
        let mut across = [0.0; CHANNELS];
        for channel in 0..CHANNELS {
            let off: f64 = StandardNormal.sample(&mut rng);
            gains[channel] = 1.0 + machine.gain_spread * off.clamp(-3.0, 3.0);
            across[channel] = machine.across_mm(channel as u8 + 1);
        }
        Optics {
            gains,
            across,
            rng,
            over: Default::default(),
        }
    }

    /// Begins the noise anew, so that what follows depends on nothing before.
    pub fn seed_noise(&mut self, seed: u64) {
        self.rng = ChaCha8Rng::seed_from_u64(seed);
    }

    /// What all channels show, each with its noise. `cards` are those in the
    /// feed, and how far behind the leading edge of each the bar is.
    pub fn levels<'a>(
        &mut self,
        machine: &WorldSettings,
        light: &Light,
        cards: impl IntoIterator<Item = (&'a Card, f64)>,
    ) -> Levels {
        let mut levels = [0u8; CHANNELS];
        let span = machine.open_level - machine.dark_level - machine.stray_level;
        let sheets = (light.lamp > 0.0).then(|| self.under_the_bar(machine, cards));
        for (channel, level) in levels
            .iter_mut()
            .enumerate()
            .take(usize::from(machine.channels()))
        {
            let mut exact = machine.dark_level;
            let mut gain = self.gains[channel];
            if let Some(dust) = light.dust.filter(|dust| dust.channel == channel) {
                gain *= 1.0 - dust.loss;
            }
            if let Some(sheets) = &sheets {
                let through = self.through(machine, sheets, channel);
                exact += light.lamp * gain * (machine.stray_level + span * through);
            }
            exact += gain * span * light.ambient;
            let noise: f64 = StandardNormal.sample(&mut self.rng);
            *level = byte(exact + light.noise_level * noise);
        }
        levels
    }

    /// The cards over the bar; notes the holes over each aperture.
    fn under_the_bar<'a>(
        &mut self,
        machine: &WorldSettings,
        cards: impl IntoIterator<Item = (&'a Card, f64)>,
    ) -> [Option<Sheet<'a>>; 2] {
        self.over.iter_mut().for_each(Vec::clear);
        let mut sheets = [None; 2];
        let aperture = machine.aperture_mm / 2.0;
        let over = cards.into_iter().filter(|(card, along)| {
            *along > -aperture && *along < card.length_in_feed_mm() + aperture
        });
        for (n, (card, along)) in (0u8..2).zip(over) {
            let sheet = Sheet {
                card,
                along,
                turn: card.skew.sin_cos(),
                covered: covered_share(along, card.length_in_feed_mm(), aperture),
            };
            sheets[usize::from(n)] = Some(sheet);
            self.add_holes(machine, &sheet, n);
        }
        sheets
    }

    /// Adds the holes of a card that can be over any aperture.
    fn add_holes(&mut self, machine: &WorldSettings, sheet: &Sheet, n: u8) {
        let card = sheet.card;
        let aperture = machine.aperture_mm / 2.0;
        let largest = machine.peg_diameter_mm.max(machine.needle_diameter_mm) / 2.0;
        // Skew shifts a hole along the feed by as much as it lies across.
        let slack = card.skew.abs() * card.width_mm + 0.1;
        let middle = sheet.along / card.stretch;
        let reach = largest + aperture + slack;
        let first = card
            .holes
            .partition_point(|hole| hole.x_mm < middle - reach);
        for hole in card.holes[first..]
            .iter()
            .take_while(|hole| hole.x_mm <= middle + reach)
        {
            let (x, y) = card.to_machine_by(sheet.turn, hole.x_mm, hole.y_mm);
            let x = x - sheet.along;
            if x.abs() < hole.r_mm + aperture {
                self.add_hole(machine, x, y, hole, n);
            }
        }
    }

    /// Adds a hole, at this place from the middle of the bar, to the apertures
    /// it is over.
    fn add_hole(&mut self, machine: &WorldSettings, x: f64, y: f64, hole: &Hole, sheet: u8) {
        let reach = hole.r_mm + machine.aperture_mm / 2.0;
        // Channels stand a pitch apart: from the first that can be reached, or
        // from 0, to which the cast clips.
        let first = ((y - reach - self.across[0]) / machine.pitch_mm) as usize;
        let channels = self.across.iter().zip(&mut self.over);
        for (across, over) in channels.take(usize::from(machine.channels())).skip(first) {
            let y = y - across;
            if y <= -reach {
                break;
            }
            if x * x + y * y < reach * reach && over.len() < MOST_OVER {
                over.push(Opening {
                    x,
                    y,
                    r: hole.r_mm,
                    flap: hole.flap,
                    sheet,
                });
            }
        }
    }

    /// Light through what lies over this channel's aperture.
    fn through(&self, machine: &WorldSettings, sheets: &[Option<Sheet>], channel: usize) -> f64 {
        let across = self.across[channel];
        let (mut paper, mut covered, mut count) = (1.0, 1.0, 0u8);
        for sheet in sheets.iter().flatten() {
            let card = sheet.card;
            let (sin, cos) = sheet.turn;
            let x = (sheet.along * cos + across * sin) / card.stretch;
            let y = across * cos - sheet.along * sin;
            if y.abs() <= card.width_mm / 2.0 {
                paper *= card.paper_at(x, y);
                count += 1;
                covered *= sheet.covered;
            }
        }
        if count == 0 {
            return 1.0;
        }
        // Two cards of different paper pass like two of their mean.
        let each = if count == 2 { f64::sqrt(paper) } else { paper };
        let aperture = machine.aperture_mm / 2.0;
        let through = geometry::light_through(aperture, &self.over[channel], count, each);
        covered * through + (1.0 - covered)
    }
}

/// The nearest whole level, clipped to a byte; for numbers no less than nought
/// as `f64::round`, which is a call into the C library on common targets.
fn byte(level: f64) -> u8 {
    // The cast cuts off the fraction, and clips at both ends.
    let whole = level as u8;
    whole.saturating_add(u8::from(level - f64::from(whole) >= 0.5))
}

/// The share of the aperture that lies within the card's two edges.
fn covered_share(along: f64, length: f64, aperture: f64) -> f64 {
    let beyond = |distance: f64| {
        if distance >= aperture {
            0.0
        } else if distance <= -aperture {
            1.0
        } else {
            geometry::beyond_chord(aperture, distance)
        }
    };
    (1.0 - beyond(along) - beyond(length - along)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_rounded_and_clipped() {
        let below_half = 0.5f64.next_down();
        for level in [
            -3.0, -0.5, 0.0, below_half, 0.5, 1.5, 2.4, 254.5, 255.5, 1e9,
        ] {
            assert_eq!(
                byte(level),
                level.round().clamp(0.0, 255.0) as u8,
                "{level}"
            );
        }
    }
}
