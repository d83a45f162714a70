//! The lamp and the light bar in the machine.
//!
//! Enters: the moment a scan begins. Leaves: a level for each channel, ready a
//! little later. What the light does is the matter of [`crate::optics`]; here
//! is what befalls the lamp and the bar from card to card.

use super::{NEVER, Output, World};
use crate::faults::FaultKind;
use crate::optics::{self, Dust, Light, Optics};
use crate::settings::WorldSettings;
use cardwright_protocol::unit_to_host::Levels;

#[derive(Debug)]
pub(super) struct Bar {
    optics: Optics,
    lamp: f64,
    drift: f64,
    dust: Option<Dust>,
    scan: Option<Levels>,
    ready_at: u64,
}

impl Bar {
    pub fn new(settings: &WorldSettings) -> Bar {
        Bar {
            optics: Optics::new(settings),
            lamp: 1.0,
            drift: 0.0,
            dust: None,
            scan: None,
            ready_at: NEVER,
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
        let light = self.light_now();
        let reader = self.settings.edge_to_reader_mm();
        let feed = &self.feed;
        let cards = feed
            .cards
            .iter()
            .map(|card| (&card.card, feed.lead_mm(card) - reader));
        self.bar.optics.levels(&self.settings, &light, cards)
    }

    fn light_now(&self) -> Light {
        let first = self.feed.cards.first();
        let lamp = if self.output(Output::Lamp) {
            let done = first.map_or(0.0, |card| {
                let lead = self.feed.lead_mm(card);
                optics::way_done(&self.settings, &card.card, card.entered_mm, lead)
            });
            self.bar.lamp * (1.0 - self.bar.drift * done)
        } else {
            0.0
        };
        let dust = self
            .bar
            .dust
            .filter(|dust| first.is_some_and(|card| self.feed.lead_mm(card) >= dust.from_mm));
        Light {
            lamp,
            ambient: 0.0,
            noise_level: self.settings.noise_level,
            dust,
        }
    }
}
