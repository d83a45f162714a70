//! The person at the machine, for runs that nobody watches.
//!
//! Enters: what can be seen and heard at the machine. Leaves: acts of the
//! hands, each after a stated delay: the block is freed, the guard shut, the
//! stop pulled out, a stuck card taken out, a card laid in. Never a message to
//! the firmware, and never a reset: that is the host's user's decision.
//!
//! The attendant reaches in only while the status lamp is off, and opens the
//! guard for it. If the lamp stays on ten times as long as the delay, the
//! attendant presses the stop first.

use crate::world::{Output, World};

/// After how many microseconds the person does what. `None` is never.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Attendant {
    /// Frees a stuck block.
    pub frees_block_us: Option<u64>,
    /// Takes a stuck card out.
    pub takes_out_us: Option<u64>,
    /// Takes out a card that lies in the path with the status lamp off.
    pub takes_out_stopped_us: Option<u64>,
    /// Shuts the guard.
    pub shuts_guard_us: Option<u64>,
    /// Pulls the stop out again.
    pub releases_stop_us: Option<u64>,
    /// Lays a card in when the path is empty and the status lamp is on.
    pub lays_in_us: Option<u64>,
    /// Puts this many blank cards into the magazine whenever it is empty.
    pub refills: Option<u64>,
}

impl Attendant {
    /// A person who does nothing.
    pub const ABSENT: Attendant = Attendant {
        frees_block_us: None,
        takes_out_us: None,
        takes_out_stopped_us: None,
        shuts_guard_us: None,
        releases_stop_us: None,
        lays_in_us: None,
        refills: None,
    };

    /// A person who mends whatever stops the machine after `delay_us`, and
    /// leaves the feeding to the magazine.
    #[must_use]
    pub const fn mending_after(delay_us: u64) -> Attendant {
        Attendant {
            frees_block_us: Some(delay_us),
            takes_out_us: Some(delay_us),
            shuts_guard_us: Some(delay_us),
            releases_stop_us: Some(delay_us),
            ..Attendant::ABSENT
        }
    }
}

/// Something seen at the machine, and since when.
#[derive(Clone, Copy, Debug, Default)]
struct Seen(Option<u64>);

impl Seen {
    /// Whether it has been so for `delay`, in a row; begins anew when it has.
    fn due(&mut self, so: bool, now: u64, delay: Option<u64>) -> bool {
        self.due_when(so, true, now, delay)
    }

    /// The same, but waits further while hands must stay off.
    fn due_when(&mut self, so: bool, hands_on: bool, now: u64, delay: Option<u64>) -> bool {
        let Some(delay) = delay.filter(|_| so) else {
            self.0 = None;
            return false;
        };
        let since = *self.0.get_or_insert(now);
        if now - since < delay || !hands_on {
            return false;
        }
        self.0 = None;
        true
    }
}

/// An attendant at work.
#[derive(Clone, Debug)]
pub struct Watch {
    who: Attendant,
    stuck: Seen,
    jammed: Seen,
    stopped: Seen,
    guard: Seen,
    stop: Seen,
    empty: Seen,
    patience: Seen,
}

impl Watch {
    /// This attendant comes to the machine.
    #[must_use]
    pub fn new(who: Attendant) -> Watch {
        let none = Seen::default();
        Watch {
            who,
            stuck: none,
            jammed: none,
            stopped: none,
            guard: none,
            stop: none,
            empty: none,
            patience: none,
        }
    }

    /// Looks at the machine and does what is due. Wants to look every few
    /// milliseconds of the world's time.
    pub fn look(&mut self, world: &mut World) {
        let now = world.now().0;
        let lamp = world.output(Output::Status);
        let trouble = world.block_stuck() || world.jammed();
        self.reach_in(world, now, lamp);
        let patience = self.who.frees_block_us.or(self.who.takes_out_us);
        let patience = patience.map(|us| us.saturating_mul(10));
        if self
            .patience
            .due(trouble && lamp && world.stop_out(), now, patience)
        {
            world.press_stop();
        }
        let done = !world.block_stuck() && !world.jammed();
        if self
            .guard
            .due(!world.guard_shut() && done, now, self.who.shuts_guard_us)
        {
            world.shut_guard();
        }
        if self
            .stop
            .due(!world.stop_out() && done, now, self.who.releases_stop_us)
        {
            world.release_stop();
        }
        let empty = world.cards_in_path() == 0 && lamp;
        if self.empty.due(empty, now, self.who.lays_in_us) {
            world.lay_in_card();
        }
        if let Some(blanks) = self.who.refills.filter(|_| world.magazine() == 0) {
            world.fill_magazine(blanks);
        }
    }

    fn reach_in(&mut self, world: &mut World, now: u64, lamp: bool) {
        let stuck = world.block_stuck();
        if self
            .stuck
            .due_when(stuck, !lamp, now, self.who.frees_block_us)
        {
            self.open_guard(world);
            world.free_block();
        }
        let lying = world.cards_in_path() > 0 && !lamp;
        let take_out = self
            .jammed
            .due_when(world.jammed(), !lamp, now, self.who.takes_out_us)
            | self.stopped.due(lying, now, self.who.takes_out_stopped_us);
        if take_out {
            self.open_guard(world);
            world.take_out_cards();
        }
    }

    /// Opens the guard, if it will be shut again.
    fn open_guard(&self, world: &mut World) {
        if self.who.shuts_guard_us.is_some() {
            world.open_guard();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Faults, WorldSettings};
    use cardwright_protocol::Micros;

    fn run(world: &mut World, watch: &mut Watch, us: u64) {
        let end = world.now().0 + us;
        while world.now().0 < end {
            world.advance(world.now().plus(5_000));
            watch.look(world);
        }
    }

    #[test]
    fn guard_and_stop_are_put_right_after_the_delay() {
        let mut world = World::new(WorldSettings::default(), &Faults::default());
        let mut watch = Watch::new(Attendant::mending_after(1_000_000));
        world.open_guard();
        world.press_stop();
        run(&mut world, &mut watch, 900_000);
        assert!(!world.guard_shut() && !world.stop_out());
        run(&mut world, &mut watch, 200_000);
        assert!(world.guard_shut() && world.stop_out());
    }

    #[test]
    fn a_stuck_block_is_freed_only_with_the_status_lamp_off() {
        let mut faults = Faults::seeded(1);
        faults.stuck_stroke.rate = 1.0;
        let mut world = World::new(WorldSettings::default(), &faults);
        let mut watch = Watch::new(Attendant::mending_after(100_000));
        world.set_output(Output::Status, true);
        world.set_output(Output::Stroke, true);
        run(&mut world, &mut watch, 900_000);
        assert!(world.block_stuck() && world.stop_out());
        run(&mut world, &mut watch, 300_000);
        assert!(!world.stop_out(), "patience is over");
        world.set_output(Output::Stroke, false);
        world.set_output(Output::Status, false);
        run(&mut world, &mut watch, 500_000);
        assert!(!world.block_stuck() && world.guard_shut() && world.stop_out());
    }

    #[test]
    fn a_card_is_laid_in_when_the_path_is_empty() {
        let mut world = World::new(WorldSettings::default(), &Faults::default());
        let who = Attendant {
            lays_in_us: Some(50_000),
            ..Attendant::ABSENT
        };
        let mut watch = Watch::new(who);
        run(&mut world, &mut watch, 200_000);
        assert_eq!(world.cards_in_path(), 0, "the status lamp is off");
        world.set_output(Output::Status, true);
        run(&mut world, &mut watch, 200_000);
        assert_eq!(world.cards_in_path(), 1);
    }

    #[test]
    fn an_absent_person_does_nothing() {
        let mut world = World::new(WorldSettings::default(), &Faults::default());
        world.open_guard();
        run(&mut world, &mut Watch::new(Attendant::ABSENT), 60_000_000);
        assert_eq!(world.now(), Micros(60_000_000));
        assert!(!world.guard_shut());
    }
}
