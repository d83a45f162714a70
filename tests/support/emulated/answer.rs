//! What the emulator answers, read piece by piece.
//!
//! Enters: the body of an answer. Leaves: numbers, the unit's state, events.
//!
//! Panics on an answer that is too short or unknown: emulator and reader lie in
//! one repository.

use cardwright_virtual::world::Output;

/// Reads a body from the front.
pub(super) struct Reader<'a>(pub &'a [u8]);

impl<'a> Reader<'a> {
    pub fn bytes(&mut self, count: usize) -> &'a [u8] {
        let (taken, rest) = self.0.split_at(count);
        self.0 = rest;
        taken
    }

    fn array<const N: usize>(&mut self) -> [u8; N] {
        self.bytes(N).try_into().expect("as many as asked for")
    }

    pub fn u8(&mut self) -> u8 {
        self.array::<1>()[0]
    }

    pub fn u16(&mut self) -> u16 {
        u16::from_le_bytes(self.array())
    }

    pub fn u32(&mut self) -> u32 {
        u32::from_le_bytes(self.array())
    }

    /// A count or nanoseconds, in the emulator's only kind of number.
    pub fn whole(&mut self) -> u64 {
        f64::from_le_bytes(self.array()) as u64
    }

    /// Bytes with their length before them.
    pub fn piece(&mut self) -> &'a [u8] {
        let length = self.u16();
        self.bytes(usize::from(length))
    }
}

/// How the unit is after a request.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct State {
    /// Nanoseconds since the emulator was started.
    pub now_ns: u64,
    /// Bytes that wait for the unit.
    pub waiting: u32,
    pub bootloader: bool,
    pub locked_up: bool,
    pub ready: bool,
    pub plugged: bool,
}

impl State {
    pub fn read(reader: &mut Reader<'_>) -> State {
        let now_ns = reader.whole();
        let waiting = reader.u32();
        let bits = reader.u8();
        State {
            now_ns,
            waiting,
            bootloader: bits & 2 != 0,
            locked_up: bits & 4 != 0,
            ready: bits & 8 != 0,
            plugged: bits & 16 != 0,
        }
    }
}

/// Why the chip was reset.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// The watchdog was not fed in time.
    Watchdog,
    /// The firmware triggered the watchdog.
    Forced,
    /// The firmware asked the core for a reset.
    Core,
}

/// What happened.
#[derive(Clone, Debug)]
pub(super) enum Event {
    Edge {
        output: Output,
        high: bool,
    },
    Shift(u8),
    Conversion,
    Bytes(Vec<u8>),
    Reset(Cause),
    Ready,
    /// The instruction at which a HardFault was taken.
    Fault(u32),
}

impl Event {
    /// The next event and its moment.
    pub fn read(reader: &mut Reader<'_>) -> Option<(u64, Event)> {
        if reader.0.is_empty() {
            return None;
        }
        let kind = reader.u8();
        let at = reader.whole();
        let event = match kind {
            1 => {
                let bits = reader.u8();
                let output = Output::ALL[usize::from(bits & 0x7f)];
                let high = bits & 0x80 != 0;
                Event::Edge { output, high }
            }
            2 => Event::Shift(reader.u8()),
            3 => Event::Conversion,
            4 => Event::Bytes(reader.piece().to_vec()),
            5 => Event::Reset(match reader.u8() {
                1 => Cause::Watchdog,
                2 => Cause::Forced,
                _ => Cause::Core,
            }),
            6 => Event::Ready,
            7 => Event::Fault(reader.u32()),
            _ => panic!("the chip's emulator reports an event of unknown kind {kind}"),
        };
        Some((at, event))
    }
}
