//! How long each lock coil has been on: single on-time, duty, and how many are
//! switched on together. Enters: what is switched and when. Leaves: whether a
//! coil may be switched on now, and if not, when.

use cardwright_protocol::Micros;
use cardwright_protocol::card::MOST_HOLES;
use cardwright_protocol::host_to_unit::Settings;

use crate::limits::COIL_HEAT_US;

/// One coil a needle punch and one for the peg punch.
pub const COILS: usize = MOST_HOLES as usize + 1;

/// The peg punch's place among the coils.
pub const PEG: usize = MOST_HOLES as usize;

/// A set of coils: bit `n - 1` the punch of hole `n`, bit 16 the peg punch.
pub type CoilSet = u32;

/// Heat and use of every coil. Heat is on-time in microseconds beyond what the
/// duty limit lets go again.
#[derive(Debug)]
pub struct Coils {
    duty_permille: u32,
    on_limit_us: u32,
    heat_us: [u32; COILS],
    on_us: [u64; COILS],
    cooled_at: Micros,
    on: CoilSet,
    on_since: [Micros; COILS],
}

impl Coils {
    /// Coils of which nothing is known: as hot as they may be, since a unit that
    /// has just been restarted may have used them to the limit.
    #[must_use]
    pub fn new() -> Coils {
        Coils {
            duty_permille: 0,
            on_limit_us: 0,
            heat_us: [COIL_HEAT_US; COILS],
            on_us: [0; COILS],
            cooled_at: Micros(0),
            on: 0,
            on_since: [Micros(0); COILS],
        }
    }

    /// Takes the limits of checked settings; what has been heated stays hot.
    pub fn configure(&mut self, s: &Settings) {
        self.duty_permille = u32::from(s.coil_duty_permille);
        self.on_limit_us = s.coil_on_limit_us;
    }

    /// On-time of each coil since the unit started.
    #[must_use]
    pub fn on_us(&self) -> &[u64; COILS] {
        &self.on_us
    }

    /// When all of `set` may be on for a whole stroke without passing the duty
    /// limit: now, or the moment at which they have cooled enough.
    pub fn ready_at(&mut self, set: CoilSet, now: Micros) -> Micros {
        self.cool(now);
        let hottest = members(set)
            .map(|coil| self.heat_us[coil])
            .max()
            .unwrap_or(0);
        let over = u64::from(
            hottest
                .saturating_add(self.on_limit_us)
                .saturating_sub(COIL_HEAT_US),
        );
        now.plus(over * 1000 / u64::from(self.duty_permille.max(1)))
    }

    /// Notes that exactly the coils of `set` are on from now.
    pub fn switched(&mut self, set: CoilSet, now: Micros) {
        self.cool(now);
        for coil in members(self.on & !set) {
            let on = now.since(self.on_since[coil]);
            self.on_us[coil] += on;
            let heat = u32::try_from(on).unwrap_or(u32::MAX);
            self.heat_us[coil] = self.heat_us[coil].saturating_add(heat);
        }
        for coil in members(set & !self.on) {
            self.on_since[coil] = now;
        }
        self.on = set;
    }

    /// When the coil that has been on longest reaches its limit.
    #[must_use]
    pub fn on_limit_at(&self) -> Micros {
        members(self.on)
            .map(|coil| self.on_since[coil].plus(u64::from(self.on_limit_us)))
            .min()
            .unwrap_or(Micros::NEVER)
    }

    fn cool(&mut self, now: Micros) {
        let gone = now.since(self.cooled_at) * u64::from(self.duty_permille) / 1000;
        let gone = u32::try_from(gone).unwrap_or(u32::MAX);
        if gone > 0 || self.duty_permille == 0 {
            self.heat_us
                .iter_mut()
                .for_each(|heat| *heat = heat.saturating_sub(gone));
            self.cooled_at = now;
        }
    }
}

impl Default for Coils {
    fn default() -> Coils {
        Coils::new()
    }
}

/// The coils of a set, by number.
fn members(set: CoilSet) -> impl Iterator<Item = usize> {
    (0..COILS).filter(move |coil| set >> coil & 1 == 1)
}

/// The first `most` coils of `wanted` that are not yet in `on`, and those that
/// are: the next group to be switched on.
#[must_use]
pub fn next_group(on: CoilSet, wanted: CoilSet, most: u8) -> CoilSet {
    let mut set = on & wanted;
    members(wanted & !on)
        .take(usize::from(most))
        .for_each(|coil| set |= 1 << coil);
    set
}

#[cfg(test)]
mod tests {
    use super::*;

    fn coils(duty_permille: u32) -> Coils {
        Coils {
            duty_permille,
            on_limit_us: 50_000,
            heat_us: [0; COILS],
            ..Coils::new()
        }
    }

    #[test]
    fn a_unit_just_started_takes_its_coils_for_hot() {
        let mut coils = Coils {
            duty_permille: 500,
            on_limit_us: 50_000,
            ..Coils::new()
        };
        assert_eq!(coils.ready_at(1, Micros(0)), Micros(100_000));
        assert_eq!(coils.ready_at(1, Micros(100_000)), Micros(100_000));
    }

    #[test]
    fn groups_never_exceed_the_limit_and_end_with_all() {
        let wanted = 0b1_1010_1111_0101_1011;
        let mut on = 0;
        let mut groups = 0;
        while on != wanted {
            let next = next_group(on, wanted, 4);
            assert!((next & !on).count_ones() <= 4);
            assert_eq!(next & !wanted, 0);
            on = next;
            groups += 1;
        }
        assert_eq!(groups, 3);
    }

    #[test]
    fn a_coil_used_beyond_its_duty_has_to_cool_and_one_within_never_does() {
        for (on_us, must_wait) in [(24_000, false), (40_000, true)] {
            let mut coils = coils(500);
            let mut now = Micros(0);
            let mut waited = 0;
            for _ in 0..2_000 {
                let ready = coils.ready_at(1, now);
                waited += ready.since(now);
                now = ready;
                coils.switched(1, now);
                now = now.plus(on_us);
                coils.switched(0, now);
                now = now.plus(50_000 - on_us);
            }
            assert_eq!(waited > 0, must_wait, "on for {on_us} of 50000 us");
            let duty = coils.on_us()[0] as f64 / now.0 as f64;
            assert!(duty < 0.52, "duty {duty}");
        }
    }

    #[test]
    fn the_on_limit_counts_from_the_coil_switched_first() {
        let mut coils = coils(500);
        coils.switched(0b01, Micros(100));
        coils.switched(0b11, Micros(900));
        assert_eq!(coils.on_limit_at(), Micros(50_100));
        coils.switched(0, Micros(1_000));
        assert_eq!(coils.on_limit_at(), Micros::NEVER);
    }
}
