//! The lamp and the light bar.
//!
//! Enters: the moment a scan begins. Leaves: a level for each channel, ready a
//! little later. A level is the channel's dark level, and with the lamp on the
//! stray light and the light through whatever lies over the aperture, times
//! the channel's gain; with noise, rounded and clipped to a byte.

use super::{NEVER, Output, World};
use crate::faults::FaultKind;
use crate::geometry::{self, Opening};
use crate::settings::WorldSettings;
use cardwright_protocol::card::MOST_HOLES;
use cardwright_protocol::unit_to_host::Levels;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const CHANNELS: usize = MOST_HOLES as usize;

/// Most holes over one aperture.
const MOST_OVER: usize = 12;

/// A grain of dust that comes to lie on a channel.
#[derive(Clone, Copy, Debug)]
struct Dust {
    channel: usize,
    loss: f64,
    /// Leading edge place of the card with which it comes.
    from_mm: f64,
}

#[derive(Debug)]
pub(super) struct Bar {
    gains: [f64; CHANNELS],
    across: [f64; CHANNELS],
    rng: ChaCha8Rng,
    lamp: f64,
    drift: f64,
    dust: Option<Dust>,
    scan: Option<Levels>,
    ready_at: u64,
    /// Room for the holes near the bar, kept from scan to scan.
    near: Vec<Opening>,
}

impl Bar {
    pub fn new(settings: &WorldSettings) -> Bar {
        let mut rng = ChaCha8Rng::seed_from_u64(settings.seed);
        let mut gains = [1.0; CHANNELS];
        let mut across = [0.0; CHANNELS];
        for channel in 0..CHANNELS {
            let off: f64 = StandardNormal.sample(&mut rng);
            gains[channel] = 1.0 + settings.gain_spread * off.clamp(-3.0, 3.0);
            across[channel] = settings.across_mm(channel as u8 + 1);
        }
        Bar {
            gains,
            across,
            rng,
            lamp: 1.0,
            drift: 0.0,
            dust: None,
            scan: None,
            ready_at: NEVER,
            near: Vec::new(),
        }
    }

    /// When the scan begun last can be fetched; never if there is none.
    pub fn ready_at(&self) -> u64 {
        self.ready_at
    }

    pub fn forget_scan(&mut self) {
        self.scan = None;
        self.ready_at = NEVER;
    }

    pub fn brush(&mut self) {
        self.dust = None;
    }

    pub fn renew_lamp(&mut self) {
        self.lamp = 1.0;
    }
}

/// A card over the bar.
#[derive(Clone, Copy, Debug, Default)]
struct Sheet {
    /// Which card of the feed.
    n: usize,
    /// How far behind its leading edge the bar is.
    along: f64,
    /// Sine and cosine of its skew.
    turn: (f64, f64),
    /// The share of the bar's apertures between its two edges.
    covered: f64,
}

/// The cards over the bar and their holes near it, as seen from the middle of
/// the bar.
struct Under {
    sheets: [Sheet; 2],
    count: u8,
    near: Vec<Opening>,
}

impl World {
    /// Begins to read all channels, as they are lit at this moment.
    pub fn begin_scan(&mut self) {
        let levels = self.levels();
        self.bar.scan = Some(levels);
        self.bar.ready_at = self.now + self.settings.scan_us;
    }

    /// The levels of the scan begun last, once, when it is finished.
    pub fn take_scan(&mut self) -> Option<Levels> {
        if self.bar.ready_at > self.now {
            return None;
        }
        self.bar.ready_at = NEVER;
        self.bar.scan.take()
    }

    /// A new card is on its way: the lamp has aged, old dust has gone with the
    /// last card, and new trouble may come with this one.
    pub(super) fn card_is_new_under_the_bar(&mut self) {
        self.bar.lamp *= 1.0 - self.settings.lamp_ageing;
        self.bar.drift = 0.0;
        self.bar.dust = None;
        if self.chance.lamp_drift.hit() {
            self.bar.drift = self.chance.lamp_drift.amount(0.02, 0.3);
            self.note(FaultKind::LampDrift, 0, self.bar.drift);
        }
        if self.chance.dust.hit() {
            let channel = self.chance.dust.below(u64::from(self.settings.holes)) as usize;
            let loss = self.chance.dust.amount(0.05, 0.6);
            let path = self.settings.edge_to_reader_mm() + self.settings.stock.length_mm;
            let from_mm = self
                .chance
                .dust
                .amount(-self.settings.rollers_to_edge_mm, path);
            self.bar.dust = Some(Dust {
                channel,
                loss,
                from_mm,
            });
            self.note(FaultKind::Dust, channel as u8 + 1, loss);
        }
    }

    /// What all channels show at this moment, each with its noise: what a scan
    /// would read, for a board that reads them one by one.
    pub fn levels(&mut self) -> Levels {
        let mut levels = [0u8; CHANNELS];
        let lamp = if self.output(Output::Lamp) {
            self.lamp_now()
        } else {
            0.0
        };
        let span = self.settings.open_level - self.settings.dark_level - self.settings.stray_level;
        let under = (lamp > 0.0).then(|| self.under_the_bar());
        let dust = self.bar.dust.filter(|dust| {
            self.feed
                .cards
                .first()
                .is_some_and(|card| self.feed.lead_mm(card) >= dust.from_mm)
        });
        for (channel, level) in levels
            .iter_mut()
            .enumerate()
            .take(usize::from(self.settings.holes))
        {
            let mut exact = self.settings.dark_level;
            if let Some(under) = &under {
                let mut gain = self.bar.gains[channel];
                if let Some(dust) = dust.filter(|dust| dust.channel == channel) {
                    gain *= 1.0 - dust.loss;
                }
                let through = self.through(under, self.bar.across[channel]);
                exact += lamp * gain * (self.settings.stray_level + span * through);
            }
            let noise: f64 = StandardNormal.sample(&mut self.bar.rng);
            // The cast clips at both ends.
            *level = (exact + self.settings.noise_level * noise).round() as u8;
        }
        if let Some(under) = under {
            self.bar.near = under.near;
        }
        levels
    }

    /// The lamp's strength: 1 when new.
    fn lamp_now(&self) -> f64 {
        let done = self.feed.cards.first().map_or(0.0, |card| {
            let way = self.settings.edge_to_reader_mm() + card.card.length_in_feed_mm();
            (self.feed.lead_mm(card) - card.entered_mm) / (way - card.entered_mm)
        });
        self.bar.lamp * (1.0 - self.bar.drift * done.clamp(0.0, 1.0))
    }

    /// What lies over the bar.
    fn under_the_bar(&mut self) -> Under {
        let mut near = std::mem::take(&mut self.bar.near);
        near.clear();
        let mut under = Under {
            sheets: [Sheet::default(); 2],
            count: 0,
            near,
        };
        let reader = self.settings.edge_to_reader_mm();
        let aperture = self.settings.aperture_mm / 2.0;
        for (n, card) in self.feed.cards.iter().enumerate() {
            let along = self.feed.lead_mm(card) - reader;
            let length = card.card.length_in_feed_mm();
            if along <= -aperture || along >= length + aperture || under.count == 2 {
                continue;
            }
            let covered = covered_share(along, length, aperture);
            let sheet = Sheet {
                n,
                along,
                turn: card.card.skew.sin_cos(),
                covered,
            };
            under.sheets[usize::from(under.count)] = sheet;
            self.holes_near(&mut under, sheet);
            under.count += 1;
        }
        under
    }

    /// Adds the holes of a card that can be over any aperture.
    fn holes_near(&self, under: &mut Under, sheet: Sheet) {
        let card = &self.feed.cards[sheet.n].card;
        let aperture = self.settings.aperture_mm / 2.0;
        let largest = self
            .settings
            .peg_diameter_mm
            .max(self.settings.needle_diameter_mm)
            / 2.0;
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
                let flap = hole.flap;
                under.near.push(Opening {
                    x,
                    y,
                    r: hole.r_mm,
                    flap,
                    sheet: under.count,
                });
            }
        }
    }

    /// Light through what lies over the aperture at this place across.
    fn through(&self, under: &Under, across: f64) -> f64 {
        let aperture = self.settings.aperture_mm / 2.0;
        let (mut paper, mut covered, mut sheets) = (1.0, 1.0, 0u8);
        for sheet in &under.sheets[..usize::from(under.count)] {
            let card = &self.feed.cards[sheet.n].card;
            let (sin, cos) = sheet.turn;
            let x = (sheet.along * cos + across * sin) / card.stretch;
            let y = across * cos - sheet.along * sin;
            if y.abs() <= card.width_mm / 2.0 {
                paper *= card.paper_at(x, y);
                sheets += 1;
                covered *= sheet.covered;
            }
        }
        if sheets == 0 {
            return 1.0;
        }
        // Two cards of different paper pass like two of their mean.
        let each = if sheets == 2 { f64::sqrt(paper) } else { paper };
        let mut over = [Opening {
            x: 0.0,
            y: 0.0,
            r: 0.0,
            flap: None,
            sheet: 0,
        }; MOST_OVER];
        let mut found = 0;
        for opening in &under.near {
            let y = opening.y - across;
            let reach = opening.r + aperture;
            if opening.x * opening.x + y * y < reach * reach && found < MOST_OVER {
                over[found] = Opening { y, ..*opening };
                found += 1;
            }
        }
        let through = geometry::light_through(aperture, &over[..found], sheets, each);
        covered * through + (1.0 - covered)
    }
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
