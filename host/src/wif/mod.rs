//! Weaving drafts in the open exchange form WIF 1.1 (Weaving Information File,
//! 1997), for designs small enough to be told shaft by shaft.
//!
//! Enters: the bytes of a draft, or a deck. Leaves: a [`Draft`] and the deck of its
//! lifts, or the text of a draft. Refuses: a draft that says two things, names what
//! it has not got, or does not fit the card; a deck that is too large for the form
//! or holds guesses. Nothing here opens a file.
//!
//! A draft is text in INI form: `[SECTION]`, `keyword=value`, and `;` before a
//! comment. Sections come in any order, names and keywords in any case. The rules
//! of the standard are told here from memory.
//!
//! | section | keys read | meaning |
//! | --- | --- | --- |
//! | WIF | Version | 1.0 or 1.1 |
//! | CONTENTS | a section's name | `yes` it must be there, `no` it is passed over; a section that is not named is read |
//! | WEAVING | Shafts, Treadles, Rising Shed | how many (the largest named, if not said); `no`: the shafts named sink and the others rise (`yes`, if not said) |
//! | WARP | Threads | ends (the last one threaded, if not said) |
//! | WEFT | Threads | picks (the last one named, if not said) |
//! | THREADING | an end | the shafts it is threaded on |
//! | TIEUP | a treadle | the shafts it works |
//! | TREADLING | a pick | the treadles pressed |
//! | LIFTPLAN | a pick | the shafts worked |
//!
//! A list is of numbers between commas; a line left out, an empty list and 0 all
//! mean none. A draft with a liftplan and with tie-up and treadling must mean the
//! same by both. Colours, thicknesses, spacings, text, notes and private sections
//! are passed over.
//!
//! Written are WIF (Version, Date, Developers, Source Program, Source Version),
//! CONTENTS, TEXT (Title), WEAVING, WARP and WEFT (Threads, Color), COLOR PALETTE
//! (Entries, Form, Range), COLOR TABLE, THREADING and LIFTPLAN.

mod faults;
mod hooks;
mod ini;
mod numbers;
mod read;
mod write;

pub use faults::{DraftError, DraftFault, ExportFault};
pub use hooks::{Hooks, Laying};
pub use read::{Draft, ShedFrom};
pub use write::{Written, write};

/// Most shafts, and most treadles, in a draft. The largest heads of the handbooks
/// are two 600 cards side by side (1,224 needles: Brooks); two cards of 52 whole
/// rows of 12 have 1,248. A draft has a number for every shaft lifted in a pick, so
/// beyond this a picture tells the design better.
pub const MOST_SHAFTS: u32 = 1_248;

/// Most picks in a draft: every shaft lifted in each of them still makes a file
/// that is read.
pub const MOST_PICKS: u32 = 10_000;

/// Most ends in a draft: a warp, not only its repeat.
pub const MOST_ENDS: u32 = 100_000;

/// Longest draft that is read, in bytes.
pub const MOST_BYTES: u64 = 64 << 20;
