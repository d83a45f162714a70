//! What lies beyond the sides of the paper in the cloth.
//!
//! Enters: a cloth mounted for a paper. Leaves: which column is so many further on,
//! over a side too. Refuses nothing: where the sides of the paper do not meet the same
//! columns everywhere, as in a tie with borders, nothing lies beyond them. The cards go
//! round, so the first line always follows the last.

use super::{Cloth, Mounting};

/// What lies beyond the sides of the paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Over {
    /// The paper once more: the tie repeats it.
    Again,
    /// The paper in a mirror; the column at the side is worked again.
    TurnedDouble,
    /// The paper in a mirror; the column at the side is worked once.
    TurnedSingle,
    /// The edge of the cloth, or another part of the paper.
    Nothing,
}

impl Over {
    /// What the ends of this mounting show.
    pub fn of(cloth: &Cloth, mounting: &Mounting) -> Over {
        let columns = mounting.columns();
        let ends = cloth.columns_across(mounting);
        let side = |column: u32| column == 0 || column + 1 == columns;
        let mut all = ends.windows(2).filter_map(|pair| match *pair {
            [one, next] if one.abs_diff(next) == 1 => None,
            [one, next] if one.abs_diff(next) == columns - 1 => Some(Over::Again),
            [one, next] if one == next && side(one) => Some(Over::TurnedDouble),
            _ => Some(Over::Nothing),
        });
        // one or two columns have the same beside them either way
        let turns = |ends: &[u32]| columns > 2 && ends[0] == ends[2] && side(ends[1]);
        let single = ends.windows(3).any(turns).then_some(Over::TurnedSingle);
        let first = single.or_else(|| all.next());
        match first {
            Some(over) if all.all(|other| other == over) => over,
            _ => Over::Nothing,
        }
    }

    /// The column that lies so many to the right of this one, or to the left.
    pub fn column(self, from: usize, by: isize, columns: usize) -> Option<usize> {
        let to = from.checked_add_signed(by);
        if let Some(to) = to.filter(|to| *to < columns) {
            return Some(to);
        }
        let within = |round: usize| {
            let round = isize::try_from(round).ok()?;
            let from = isize::try_from(from).ok()?;
            usize::try_from((from + by).rem_euclid(round)).ok()
        };
        match self {
            Over::Again => within(columns),
            Over::TurnedDouble => within(2 * columns).map(|to| to.min(2 * columns - 1 - to)),
            Over::TurnedSingle => {
                let round = (2 * columns - 2).max(1);
                within(round).map(|to| to.min(round - to))
            }
            Over::Nothing => None,
        }
    }

    /// Columns after which they come again, or that there are.
    pub fn round(self, columns: usize) -> usize {
        match self {
            Over::Again | Over::Nothing => columns,
            Over::TurnedDouble => 2 * columns,
            Over::TurnedSingle => (2 * columns - 2).max(1),
        }
    }

    /// Columns beside this one that can be of another colour.
    pub fn beside(self, column: usize, columns: usize) -> [Option<usize>; 2] {
        [-1, 1].map(|by| self.column(column, by, columns))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn of(tie: &str, columns: u32) -> Over {
        let text = format!(
            "[sett]\nunit = \"cm\"\nends = 40\npicks = 20\nends_per_hook = 2\n[card]\nformat = \"100\"\n{tie}\n[warp]\ncolour = \"#ffffff\"\n[[weft]]\nname = \"linen\"\ncolour = \"#000080\"\n[[colour]]\nname = \"ground\"\npaint = \"#ffffff\"\nweave = \"plain\"\n"
        );
        let cloth = Cloth::parse(&text, Path::new("test.toml")).expect("a cloth");
        Over::of(&cloth, &cloth.mounting(columns).expect("it fits"))
    }

    /// Ties as Bell ch. III has them: straight, centred, with borders.
    #[test]
    fn a_straight_tie_repeats_a_centred_one_turns_and_a_border_does_neither() {
        let section = |text: &str| format!("[[tie]]\n{text}\n");
        assert_eq!(of("", 100), Over::Nothing);
        assert_eq!(of("", 50), Over::Again);
        assert_eq!(of("", 1), Over::Again);
        assert_eq!(of(&section("repeats = 3"), 100), Over::Again);
        let reversed = "way = \"reversed\"\nrepeats = 2";
        assert_eq!(of(&section(reversed), 100), Over::Again);
        let centred = "way = \"centred\"\nrepeats = 2";
        assert_eq!(of(&section(centred), 100), Over::TurnedDouble);
        let single = format!("{centred}\nturning = \"single\"");
        assert_eq!(of(&section(&single), 100), Over::TurnedSingle);
        // turned at one side and repeated at the other
        assert_eq!(of(&section(centred), 50), Over::Nothing);
        let border = section("hooks = \"1-20\"")
            + &section("hooks = \"21-100\"\nrepeats = 3")
            + &section("hooks = \"1-20\"\nway = \"reversed\"");
        assert_eq!(of(&border, 100), Over::Nothing);
    }

    #[test]
    fn columns_beyond_the_side_are_those_of_the_repeat_or_of_the_mirror() {
        let over = |over: Over| (-5..5).map(move |by| over.column(0, by, 3));
        let seen = |which| over(which).flatten().collect::<Vec<_>>();
        assert_eq!(seen(Over::Again), [1, 2, 0, 1, 2, 0, 1, 2, 0, 1]);
        assert_eq!(seen(Over::TurnedDouble), [1, 2, 2, 1, 0, 0, 1, 2, 2, 1]);
        assert_eq!(seen(Over::TurnedSingle), [1, 0, 1, 2, 1, 0, 1, 2, 1, 0]);
        assert_eq!(seen(Over::Nothing), [0, 1, 2]);
    }
}
