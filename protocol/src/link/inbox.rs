//! Messages that have arrived: put in order, doubles dropped, kept until taken.
//!
//! Enters: numbered messages in any order. Leaves: each once, in order.
//! Refuses: what was there before, and what has no free slot.

use crate::frame::MOST_PAYLOAD;
use heapless::Vec;

/// What became of an arrived message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Arrival {
    /// It was the next one.
    InOrder,
    /// It closed a gap, so that later ones count too.
    ClosedGap,
    /// It is kept, and an earlier one is missing.
    OutOfOrder,
    /// It was here before.
    Duplicate,
    /// It is too far ahead, or no message at all.
    NoSlot,
}

/// A slot is empty exactly if its message is: no message has no bytes.
#[derive(Debug)]
pub(super) struct Inbox<const N: usize> {
    slots: [Vec<u8, MOST_PAYLOAD>; N],
    /// The first message that has not arrived.
    expected: u32,
    /// The first message that has not been taken; at most `N` behind.
    untaken: u32,
}

impl<const N: usize> Inbox<N> {
    // So that numbers keep their slots when they start over at 2^32.
    const SLOTS: u32 = {
        assert!(N.is_power_of_two() && N <= 128);
        N as u32
    };

    pub(super) fn new() -> Self {
        Inbox {
            slots: core::array::from_fn(|_| Vec::new()),
            expected: 0,
            untaken: 0,
        }
    }

    pub(super) fn clear(&mut self) {
        self.slots.iter_mut().for_each(Vec::clear);
        (self.expected, self.untaken) = (0, 0);
    }

    pub(super) fn expected(&self) -> u32 {
        self.expected
    }

    /// Messages from `expected` on that have a slot.
    pub(super) fn free(&self) -> u8 {
        (Self::SLOTS - self.expected.wrapping_sub(self.untaken)) as u8
    }

    fn slot(number: u32) -> usize {
        (number % Self::SLOTS) as usize
    }

    pub(super) fn accept(&mut self, number: u32, message: &[u8]) -> Arrival {
        let ahead = number.wrapping_sub(self.expected);
        if ahead > u32::MAX / 2 {
            return Arrival::Duplicate;
        }
        if ahead >= u32::from(self.free()) || message.is_empty() {
            return Arrival::NoSlot;
        }
        let slot = &mut self.slots[Self::slot(number)];
        if !slot.is_empty() {
            return Arrival::Duplicate;
        }
        if slot.extend_from_slice(message).is_err() {
            return Arrival::NoSlot;
        }
        if ahead > 0 {
            return Arrival::OutOfOrder;
        }
        self.expected = self.expected.wrapping_add(1);
        let mut closed = Arrival::InOrder;
        while self.free() > 0 && !self.slots[Self::slot(self.expected)].is_empty() {
            self.expected = self.expected.wrapping_add(1);
            closed = Arrival::ClosedGap;
        }
        closed
    }

    /// The next message in order; it stays until [`Inbox::drop_first`].
    pub(super) fn first(&self) -> Option<&[u8]> {
        (self.untaken != self.expected).then(|| self.slots[Self::slot(self.untaken)].as_slice())
    }

    pub(super) fn drop_first(&mut self) {
        if self.untaken != self.expected {
            self.slots[Self::slot(self.untaken)].clear();
            self.untaken = self.untaken.wrapping_add(1);
        }
    }
}
