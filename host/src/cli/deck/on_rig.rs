//! How long a deck takes on the weaver's own rig. Enters: a rig, a deck. Leaves: a line
//! of words, a JSON object. Refuses nothing: a deck is right whatever a rig does, so
//! that its unit would not cut it is told in their stead.

use crate::deck::Deck;
use crate::job::setting_words;
use crate::rig::{NoRate, Rate, RigFile};
use anyhow::Result;
use serde_json::{Value, json};

/// A deck on a rig.
pub(in crate::cli) struct OnRig {
    rig: String,
    /// Cards that a person lays in.
    laid_in: u32,
    seconds: Result<f64, NoRate>,
}

impl OnRig {
    /// This deck on this rig.
    pub(super) fn new(rig: &RigFile, deck: &Deck) -> OnRig {
        OnRig {
            rig: rig.name.clone(),
            laid_in: match rig.loads_by_hand() {
                true => deck.card_count(),
                false => 0,
            },
            seconds: Rate::new(rig, deck.format()).map(|rate| rate.seconds(deck)),
        }
    }

    /// What a person reads.
    pub(super) fn line(&self) -> String {
        let what = match (self.seconds, self.laid_in) {
            (Err(refusal), _) => format!("no time, as {}", refused(refusal)),
            (Ok(seconds), 0) => format!("{} if nothing goes wrong", about(seconds)),
            (Ok(seconds), cards) => format!(
                "{} if nothing goes wrong, without the time to lay in {cards} cards by hand",
                about(seconds)
            ),
        };
        format!("on the rig {:?}: {what}", self.rig)
    }

    /// The same for a program.
    pub(super) fn json(&self) -> Value {
        match self.seconds {
            Ok(seconds) => json!({
                "rig": self.rig,
                "seconds": seconds.round(),
                "laid_in_by_hand": self.laid_in,
            }),
            Err(refusal) => json!({ "rig": self.rig, "refused": refused(refusal) }),
        }
    }
}

fn refused(refusal: NoRate) -> String {
    match refusal {
        NoRate::Setting(setting) => setting_words(setting),
        NoRate::Readings => "the readings of a card do not fit the unit's memory; lower \
                             samples_per_row in the rig file"
            .to_string(),
    }
}

/// A time as exactly as an estimate is worth.
fn about(seconds: f64) -> String {
    match seconds {
        seconds if seconds < 90.0 => format!("about {seconds:.0} seconds"),
        seconds if seconds < 600.0 => format!("about {:.1} minutes", seconds / 60.0),
        seconds if seconds < 90.0 * 60.0 => format!("about {:.0} minutes", seconds / 60.0),
        seconds => format!("about {:.1} hours", seconds / 3600.0),
    }
}
