//! What can be wrong with a plan file, in words.

use crate::deck::DeckFileError;
use std::path::PathBuf;

/// Why a plan file was refused.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// It is no text.
    #[error("{} is not a weave plan: a plan is a text file; its keys are those of demo-data/towel-plan.toml", file.display())]
    NotText {
        /// The file.
        file: PathBuf,
    },
    /// The file cannot be read.
    #[error("cannot read the weave plan {}: {cause}; check the path and the permissions", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// Not TOML.
    #[error("{}, line {line}: this cannot be read: {cause}; mend the line, or compare it with demo-data/towel-plan.toml", file.display())]
    Toml {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// What is wrong there.
        cause: String,
    },
    /// A deck is not there or refused.
    #[error("{}, line {line}: {cause}", file.display())]
    Deck {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// What is wrong with the deck, in the deck's own words.
        cause: Box<DeckFileError>,
    },
    /// Well-formed, but no plan to weave by.
    #[error("{}, line {line}: {fault}", file.display())]
    Fault {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// What is wrong.
        fault: PlanFault,
    },
}

/// What is wrong in a plan file.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanFault {
    /// A key that nobody knows.
    #[error("{place} has no key \"{key}\"; its keys are {known}")]
    UnknownKey {
        /// As written.
        key: String,
        /// Where it stands.
        place: &'static str,
        /// The keys there are.
        known: String,
    },
    /// A key that must be there.
    #[error("{place} has no {key}; give {remedy}")]
    Missing {
        /// Where it should stand.
        place: &'static str,
        /// The key.
        key: &'static str,
        /// What to write.
        remedy: &'static str,
    },
    /// A value of the wrong kind.
    #[error("{key} is {found}; give {wanted}")]
    Kind {
        /// The key.
        key: String,
        /// What it is.
        found: &'static str,
        /// What it should be.
        wanted: &'static str,
    },
    /// A number that cannot be.
    #[error("{key} = {value} cannot be; give {wanted}")]
    Number {
        /// The key.
        key: String,
        /// As written.
        value: String,
        /// What it should be.
        wanted: String,
    },
    /// A list with nothing in it.
    #[error("the list of {key} is empty; give {wanted}")]
    EmptyList {
        /// The key.
        key: String,
        /// What it should be.
        wanted: &'static str,
    },
    /// A list of too many.
    #[error("{key} lists {count}, and at most {most} can be followed; give fewer")]
    Many {
        /// The key.
        key: String,
        /// How many there are.
        count: usize,
        /// The most there can be.
        most: usize,
    },
    /// A name or a mark's words that say nothing, or not on one line.
    #[error("{what} \"{text}\" cannot be; give 1 to 200 characters on one line")]
    Words {
        /// What it is.
        what: String,
        /// As written, in escapes.
        text: String,
    },
    /// A file without a path.
    #[error("{0} names no file; give a path, as seen from the plan's own folder")]
    NoPath(String),
    /// Two lengths that may differ.
    #[error("the plan says length and picks, which may differ; leave one of them out")]
    TwoLengths,
    /// No length.
    #[error(
        "\"{0}\" is no length; write a number with a unit (m, cm, mm, in or yd), above 0 and at most 10,000 m, such as \"2.4 m\""
    )]
    Length(String),
    /// No unit of a sett.
    #[error("a sett is not counted per \"{0}\"; write per = \"in\", or \"cm\"")]
    Per(String),
    /// A length that cannot be counted.
    #[error(
        "a length needs the sett, to be counted in picks; add sett = {{ picks = 30, per = \"in\" }} with the picks of your cloth, or give picks in place of length"
    )]
    NoSett,
    /// A colour that is none.
    #[error("\"{0}\" is no colour; write # and six hexadecimal digits, such as \"#1f4e79\"")]
    Colour(String),
    /// A deck that is not listed.
    #[error("there is no deck \"{deck}\" in [decks]; {known}")]
    UnknownDeck {
        /// As written.
        deck: String,
        /// Those there are, or what to do.
        known: String,
    },
    /// A weft that is not listed.
    #[error(
        "there is no weft \"{weft}\" in [wefts], which has {known}; add its colour, or use one of these"
    )]
    UnknownWeft {
        /// As written.
        weft: String,
        /// Those there are.
        known: String,
    },
    /// Nothing to weave.
    #[error(
        "the plan has no [[section]], so nothing is woven; add one with a deck, or with ground picks"
    )]
    NoSections,
    /// A section that is nothing, or two things.
    #[error("a section is woven from a deck, or is ground without cards; {0}")]
    Body(&'static str),
    /// A key that only goes with cards.
    #[error(
        "{0} goes with a deck, and this section is ground without cards; leave it out, or write a deck in place of ground"
    )]
    OnlyCards(String),
    /// No cards.
    #[error(
        "\"{0}\" names no cards; write card numbers from 1 on, such as \"1-160\" forwards or \"159-2\" backwards"
    )]
    NotCards(String),
    /// A card that the deck has not got.
    #[error(
        "card {card} is not in the deck \"{deck}\", which has cards 1 to {cards}; mend the number, or give another deck"
    )]
    Beyond {
        /// As written.
        card: String,
        /// The deck's name in the plan.
        deck: String,
        /// Cards in it.
        cards: u32,
    },
    /// A card that is named for something and not woven.
    #[error(
        "{what} names card {card}, which this section does not weave; mend the number, or the section's cards"
    )]
    NotWoven {
        /// Where it is named.
        what: String,
        /// The card.
        card: u32,
    },
    /// A card with two wefts.
    #[error("card {0} is given a weft twice; leave one out")]
    TwoWefts(u32),
    /// Ground picks between cards, of a weft that nobody can tell.
    #[error(
        "the section has several wefts, so the ground picks between need their own; add weft to ground_between"
    )]
    GapWeft,
    /// Ground picks that never come.
    #[error(
        "ground picks after every {every} cards never come, as the section weaves {cards} before it begins again; lessen every, or leave ground_between out"
    )]
    GapNever {
        /// As written.
        every: u64,
        /// Cards of one pass.
        cards: u64,
    },
    /// A mark without a place, or with several.
    #[error(
        "a mark stands at one place; write one of before, after (a card), before_pick, after_pick (a pick of the section) or every (so many picks)"
    )]
    MarkPlace,
    /// A mark at a card in a ground section.
    #[error("a section without cards has no card to mark; write before_pick or after_pick")]
    MarkCard,
    /// A way without a card.
    #[error("way goes with a mark before or after a card; leave it out")]
    MarkWay,
    /// A way that is none.
    #[error("\"{0}\" is no way to turn; write way = \"forwards\", or \"back\"")]
    Way(String),
    /// A card that is woven, but not that way.
    #[error("card {card} is not woven {way} in this section; mend the way, or leave it out")]
    NotThatWay {
        /// The card.
        card: u32,
        /// As written.
        way: &'static str,
    },
    /// A pick that does not come.
    #[error(
        "{key} = {pick}, and the section has {picks} picks; mend the number, or leave the mark out"
    )]
    MarkPick {
        /// The key.
        key: String,
        /// As written.
        pick: u64,
        /// Picks there are.
        picks: u64,
    },
    /// Not how often.
    #[error("repeat = \"{0}\" cannot be; give a whole number, or \"to length\"")]
    Repeat(String),
    /// Two sections that would fill the same length.
    #[error("only one section can be repeated to length; give this one a number")]
    ToLengthTwice,
    /// No length to be filled.
    #[error("\"to length\" needs a length; add length or picks at the head of the plan")]
    ToLengthWithout,
    /// The length is full already.
    #[error(
        "nothing is left for this section to fill: {wanted} picks are wanted, and the other sections weave {others}; lengthen the cloth, or give repeat a number"
    )]
    NothingLeft {
        /// Picks wanted.
        wanted: u64,
        /// Picks of the other sections.
        others: u64,
    },
    /// More than anyone weaves.
    #[error(
        "up to here the plan has more than {most} picks, which cannot be meant; lessen repeat or ground, or split the plan"
    )]
    TooLong {
        /// The most there can be.
        most: u64,
    },
}
