//! What the machine counts for its owner.

use cardwright_protocol::Micros;
use cardwright_protocol::unit_to_host::State;

/// Counts since the unit started.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    /// Strokes of the block.
    pub strokes: u32,
    /// Cards whose edge was found.
    pub cards_begun: u32,
    /// Cards read to the end.
    pub cards_complete: u32,
    /// Stood because rows had not come.
    pub waited_rows_us: u64,
    /// Stood because an earlier card was not recorded.
    pub waited_record_us: u64,
    /// Stood for a card to be laid in.
    pub waited_card_us: u64,
    /// Stood to let a coil cool.
    pub waited_cool_us: u64,
    /// Loading and working.
    pub working_us: u64,
    /// Longest time from the inputs last seen good to the outputs off.
    pub worst_off_us: u32,
    /// Whether a coil was cooling at the last poll.
    pub cooling: bool,
    polled_at: Micros,
}

impl Tally {
    /// Adds the time since the last poll to the account of `state`, in which it
    /// was spent.
    pub fn waited(&mut self, state: State, now: Micros) {
        let us = now.since(self.polled_at);
        self.polled_at = now;
        match state {
            State::WaitingForRows => self.waited_rows_us += us,
            State::WaitingForRecord => self.waited_record_us += us,
            State::WaitingForCard => self.waited_card_us += us,
            State::Working if self.cooling => self.waited_cool_us += us,
            State::Loading | State::Working => self.working_us += us,
            _ => {}
        }
    }

    /// Notes how long it took until outputs were off.
    pub fn off_after(&mut self, us: u32) {
        self.worst_off_us = self.worst_off_us.max(us);
    }
}
