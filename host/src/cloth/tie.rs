//! The tie, or mounting: which hook works which end of the warp (Bell ch. III).
//!
//! Enters: sections from left to right across the cloth. Leaves: the hook of
//! every end. Refuses: hooks that are not in use, hooks that work no end.

/// Most ends in one warp.
pub const MOST_ENDS: usize = 100_000;

/// How a section runs through its hooks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Way {
    /// From its first hook to its last.
    #[default]
    Straight,
    /// From its last hook to its first: the other border.
    Reversed,
    /// To its last hook and back: turned over, which halves the hooks.
    Centred,
}

/// What becomes of the hook at which a centred section turns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Turning {
    /// It works an end on either side, and so does the first hook.
    #[default]
    Double,
    /// It works one end, and the first hook is not worked again.
    Single,
}

/// Some of the hooks, worked by ends that lie side by side.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Section {
    /// First and last hook, counted from 1 at the corner where the tie begins.
    /// All that are in use if none are named.
    pub hooks: Option<(u32, u32)>,
    /// How it runs through them.
    pub way: Way,
    /// How it turns.
    pub turning: Turning,
    /// How often it lies side by side.
    pub repeats: u32,
}

impl Section {
    /// Its hooks from left to right, once, counted from 0.
    fn once(&self, hooks: u32) -> Vec<u32> {
        let (first, last) = self.hooks.unwrap_or((1, hooks));
        let straight = first - 1..last;
        match (self.way, self.turning) {
            (Way::Straight, _) => straight.collect(),
            (Way::Reversed, _) => straight.rev().collect(),
            (Way::Centred, Turning::Double) => straight.clone().chain(straight.rev()).collect(),
            (Way::Centred, Turning::Single) => {
                let inner = first..last.saturating_sub(1).max(first);
                straight.chain(inner.rev()).collect()
            }
        }
    }
}

/// What does not fit in a tie.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TieFault {
    /// A section names hooks that are not in use.
    #[error(
        "section {section} of the tie works hooks {first}-{last}, and hooks 1 to {hooks} are in use; mend its hooks, or what is cast out"
    )]
    Beyond {
        /// The section, from 1.
        section: usize,
        /// Its first hook.
        first: u32,
        /// Its last.
        last: u32,
        /// Hooks in use.
        hooks: u32,
    },
    /// A hook with no end.
    #[error(
        "hooks {first}-{last} of {hooks} in use work no end; name them in a section of the tie, or cast them out"
    )]
    Idle {
        /// The first of the first run of them.
        first: u32,
        /// The last of that run.
        last: u32,
        /// Hooks in use.
        hooks: u32,
    },
    /// More than a warp has.
    #[error(
        "the tie makes {0} ends; at most {MOST_ENDS} are taken: mend the repeats or the ends a hook"
    )]
    TooWide(usize),
}

/// Sections from left to right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tie {
    pub(super) sections: Vec<Section>,
}

impl Tie {
    /// All the hooks in use, once, straight.
    #[must_use]
    pub fn straight() -> Tie {
        let section = Section {
            repeats: 1,
            ..Section::default()
        };
        Tie {
            sections: vec![section],
        }
    }

    /// The sections, from left to right.
    #[must_use]
    pub fn sections(&self) -> &[Section] {
        &self.sections
    }

    /// The hook, from 0, of each end from left to right, where so many hooks
    /// are in use and each works so many ends that lie side by side.
    ///
    /// # Errors
    /// The tie does not fit the hooks.
    pub fn ends(&self, hooks: u32, ends_per_hook: u32) -> Result<Vec<u32>, TieFault> {
        let mut ends = Vec::new();
        for (place, section) in self.sections.iter().enumerate() {
            if let Some((first, last)) = section.hooks
                && last > hooks
            {
                return Err(TieFault::Beyond {
                    section: place + 1,
                    first,
                    last,
                    hooks,
                });
            }
            let once = section.once(hooks);
            let wide = |times: u32| (times as usize).saturating_mul(ends_per_hook as usize);
            let all = ends.len() + once.len().saturating_mul(wide(section.repeats));
            if all > MOST_ENDS {
                return Err(TieFault::TooWide(all));
            }
            for _ in 0..section.repeats {
                let each = |hook: &u32| std::iter::repeat_n(*hook, ends_per_hook as usize);
                ends.extend(once.iter().flat_map(each));
            }
        }
        idle(&ends, hooks).map_or(Ok(ends), Err)
    }
}

fn idle(ends: &[u32], hooks: u32) -> Option<TieFault> {
    let mut works = vec![false; hooks as usize];
    for hook in ends {
        works[*hook as usize] = true;
    }
    let first = works.iter().position(|works| !works)?;
    let run = works[first..].iter().take_while(|works| !**works).count();
    let number = |place: usize| u32::try_from(place).unwrap_or(u32::MAX);
    Some(TieFault::Idle {
        first: number(first + 1),
        last: number(first + run),
        hooks,
    })
}
