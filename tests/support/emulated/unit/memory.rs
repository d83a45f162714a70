//! What is in the unit, looked at and written from outside: memory, its name, the
//! emulator's own counts.

use super::EmulatedUnit;
use crate::emulated::answer::Reader;
use crate::emulated::process::Request;
use crate::emulated::told::{Statistics, UsbIdentity};
use std::time::Duration;

impl EmulatedUnit {
    /// Reads flash or RAM.
    ///
    /// # Panics
    /// Outside both.
    pub fn read(&mut self, address: u32, length: u32) -> Vec<u8> {
        let body = [address.to_le_bytes(), length.to_le_bytes()].concat();
        self.emulator.ask(Request::Read, &body).to_vec()
    }

    /// Writes flash, as a programmer does, or RAM.
    ///
    /// # Panics
    /// Outside both.
    pub fn write(&mut self, address: u32, bytes: &[u8]) {
        let body = [&address.to_le_bytes()[..], bytes].concat();
        self.emulator.ask(Request::Write, &body);
    }

    /// Fills flash or RAM with this byte. RAM holds 0xa5 whenever power has come
    /// on, so that a stack's reach can be seen without it.
    ///
    /// # Panics
    /// Outside both.
    pub fn fill(&mut self, address: u32, length: u32, byte: u8) {
        self.write(address, &vec![byte; length as usize]);
    }

    /// What it says of itself over USB; empty before it has been found.
    pub fn usb_identity(&mut self) -> UsbIdentity {
        let mut reader = Reader(self.emulator.ask(Request::Identity, &[]));
        let found = reader.u32();
        if reader.0.is_empty() {
            return UsbIdentity::default();
        }
        let mut piece = || reader.piece().to_vec();
        let (device, configuration) = (piece(), piece());
        let mut words = || String::from_utf8_lossy(&piece()).into_owned();
        UsbIdentity {
            found,
            device,
            configuration,
            manufacturer: words(),
            product: words(),
            serial: words(),
        }
    }

    /// What the run has cost and lost so far.
    pub fn statistics(&mut self) -> Statistics {
        let mut reader = Reader(self.emulator.ask(Request::Counts, &[]));
        Statistics {
            emulated: Duration::from_nanos(self.state.now_ns),
            wall: self.wall,
            round_trips: self.round_trips,
            instructions: reader.whole(),
            bytes_lost: reader.whole(),
            wrong_toggles: reader.whole() + reader.whole(),
        }
    }
}
