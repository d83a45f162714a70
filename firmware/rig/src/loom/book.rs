//! What the unit's desk knows of the loom: settings, the events not yet stored,
//! and how far the host has been told of them.

use core::ops::DerefMut;

use cardwright_protocol::Micros;
use cardwright_protocol::loom::{LoomEvent, LoomEvents, LoomSettings, LoomStatus};
use cardwright_protocol::unit_to_host::{BadSetting, Refusal};

use super::can_work_with;
use super::store::{Cursor, Store};

/// The desk's book of the loom.
#[derive(Debug)]
pub struct Book<S> {
    store: S,
    settings: Option<LoomSettings>,
    /// Settings that the sensors have not been given yet.
    fresh: bool,
    /// How far the host has been told; none if it did not ask.
    told: Option<Cursor>,
    lines: u8,
}

impl<S: DerefMut<Target = Store>> Book<S> {
    /// A book with this store.
    pub fn new(store: S) -> Book<S> {
        Book {
            store,
            settings: None,
            fresh: false,
            told: None,
            lines: 0,
        }
    }

    /// Something has happened.
    pub fn note(&mut self, event: LoomEvent) {
        let gone = self.store.push(event);
        self.move_on(gone);
    }

    fn move_on(&mut self, gone: usize) {
        self.told = self.told.map(|told| told.after_dropping(gone, &self.store));
    }

    /// The lines as they have settled.
    pub fn lines(&mut self, lines: u8) {
        self.lines = lines;
    }

    /// Takes these settings, if they can be worked with.
    ///
    /// # Errors
    /// [`Refusal::Setting`].
    pub fn configure(&mut self, settings: &LoomSettings) -> Result<(), Refusal> {
        if !can_work_with(settings) {
            return Err(Refusal::Setting(BadSetting::Loom));
        }
        self.settings = Some(*settings);
        self.fresh = true;
        Ok(())
    }

    /// Settings that the sensors are to take, once.
    pub fn take_settings(&mut self) -> Option<LoomSettings> {
        core::mem::take(&mut self.fresh)
            .then_some(self.settings)
            .flatten()
    }

    /// The host has stored what came before `number` and wants what follows.
    ///
    /// # Errors
    /// [`Refusal::NoSuchEvent`] if it is not here any more or has not come yet.
    pub fn send_from(&mut self, number: u32) -> Result<(), Refusal> {
        let was = self.told;
        let gone = self
            .store
            .drop_before(number)
            .ok_or(Refusal::NoSuchEvent(number))?;
        match was {
            Some(_) => self.move_on(gone),
            None => self.told = Some(self.store.oldest()),
        }
        Ok(())
    }

    /// Another host has come: it is told nothing before it asks.
    pub fn hush(&mut self) {
        self.told = None;
    }

    /// The next events to be told, if the host wants any; for one that can be
    /// sent.
    pub fn take_message(&mut self) -> Option<LoomEvents> {
        let told = self.told.as_mut()?;
        let mut message = LoomEvents {
            first: told.number,
            events: heapless::Vec::new(),
        };
        while !message.events.is_full() {
            match self.store.read(told) {
                // there is room: it is not full
                Some(event) => drop(message.events.push(event)),
                None => break,
            }
        }
        (!message.events.is_empty()).then_some(message)
    }

    /// How it stands.
    pub fn status(&self, now: Micros) -> LoomStatus {
        LoomStatus {
            at_us: now.0,
            settings: self.settings,
            first: self.store.first(),
            next: self.store.next(),
            counts: *self.store.counts(),
            lines: self.lines,
        }
    }
}
