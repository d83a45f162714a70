//! What a weaver types. A pure state machine.
//!
//! Enters: keys, and the work as it stands. Leaves: what the weaver says, or that
//! they leave. Refuses a number that cannot be, with words, and asks again; what was
//! typed stays.

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use super::said::{DeckKnown, LONGEST_NOTE, NOTE_FULL, decided, deck_in_hand, note};
use crate::deck::CardNumber;
use crate::weave::view::{Asking, View};
use crate::weave::watch::{Decision, Remedy, Stand};
use crate::weave::{DeckIndex, Says};

/// Most digits of a number: more than any plan has picks.
const MOST_DIGITS: usize = 12;

/// What is being typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Entry {
    /// How many picks were taken out.
    Unwove,
    /// Which card of this deck stands.
    Stands(DeckIndex),
    /// Which pick is next.
    Next,
    /// A note.
    Note,
}

/// What the keys mean now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Mode {
    /// The weaver weaves.
    #[default]
    Weaving,
    /// Something is typed.
    Typing(Entry),
    /// Whether to leave is asked.
    Leaving,
    /// The keys are shown.
    Help,
}

/// What came of a key.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Act {
    /// Nothing that leaves the screen.
    None,
    /// The weaver says something.
    Say(Says),
    /// The weaver leaves.
    Leave,
    /// The weaver leaves and did not ask nicely: once to end, twice at once.
    Interrupt,
}

/// The keys' state.
#[derive(Clone, Debug, Default)]
pub(super) struct Keys {
    decks: Vec<DeckKnown>,
    mode: Mode,
    text: String,
    /// `text` was put there by the program: the first digit replaces it.
    offered: bool,
    wrong: Option<String>,
    /// What was said last, until it has been heard.
    said: Option<(Entry, String)>,
}

impl Keys {
    /// For a plan with these decks.
    pub fn new(decks: Vec<DeckKnown>) -> Keys {
        Keys {
            decks,
            ..Keys::default()
        }
    }

    /// What the keys mean now.
    pub fn mode(&self) -> Mode {
        self.mode
    }

    /// What is typed so far.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Why what was typed last cannot be.
    pub fn wrong(&self) -> Option<&str> {
        self.wrong.as_deref()
    }

    /// The deck, where there are several to choose from.
    pub fn deck(&self, deck: DeckIndex) -> Option<&DeckKnown> {
        self.decks.get(deck.0).filter(|_| self.decks.len() > 1)
    }

    /// What was said last has been heard: the work stands anew.
    pub fn heard(&mut self) {
        self.said = None;
    }

    /// What was said last is refused: it is shown why, and if it was typed, it is
    /// asked again.
    pub fn refused(&mut self, words: &str) {
        self.wrong = Some(words.to_string());
        if let Some((entry, text)) = self.said.take().filter(|_| self.mode == Mode::Weaving) {
            self.mode = Mode::Typing(entry);
            self.text = text;
            self.offered = false;
        }
    }

    /// A key is pressed while the work stands so; before anything is known of it,
    /// there is nothing to be said.
    pub fn press(&mut self, key: KeyEvent, view: Option<&View>) -> Act {
        if key.modifiers.contains(KeyModifiers::CONTROL) {
            return match key.code {
                KeyCode::Char('c' | 'd') => Act::Interrupt,
                _ => Act::None,
            };
        }
        match self.mode {
            Mode::Weaving => self.command(key.code, view),
            Mode::Typing(entry) => self.typed(entry, key.code, view),
            Mode::Leaving => {
                self.mode = Mode::Weaving;
                match key.code {
                    KeyCode::Char('y' | 'Y') => Act::Leave,
                    _ => Act::None,
                }
            }
            Mode::Help => {
                self.mode = Mode::Weaving;
                Act::None
            }
        }
    }

    fn command(&mut self, code: KeyCode, view: Option<&View>) -> Act {
        self.wrong = None;
        let KeyCode::Char(letter) = code else {
            return match code {
                KeyCode::Enter => view.map_or(Act::None, yes),
                _ => Act::None,
            };
        };
        match letter.to_ascii_lowercase() {
            'q' => self.mode = Mode::Leaving,
            '?' | 'h' => self.mode = Mode::Help,
            letter => {
                if let Some(view) = view {
                    return self.about_the_work(letter, view);
                }
            }
        }
        Act::None
    }

    fn about_the_work(&mut self, letter: char, view: &View) -> Act {
        match letter {
            'u' => {
                let told = view.open.iter().find_map(|open| match open.hands {
                    Remedy::Unweave { picks } => Some(picks),
                    _ => None,
                });
                self.ask(Entry::Unwove, told.map(|picks| picks.to_string()));
            }
            'c' => match self.decks.len() {
                0 => self.wrong = Some("the plan has no cards".to_string()),
                _ => self.ask(Entry::Stands(deck_in_hand(&self.decks, view)), None),
            },
            'n' => self.ask(Entry::Next, None),
            't' => self.ask(Entry::Note, None),
            'p' if view.paused => return Act::Say(Says::Resume),
            'p' => return Act::Say(Says::Pause),
            'x' if matches!(view.asking, Some(Asking::CatchUp { .. })) => {
                return Act::Say(Says::CatchUp { take: false });
            }
            '1'..='9' => return choice(letter, view),
            _ => {}
        }
        Act::None
    }

    fn ask(&mut self, entry: Entry, offered: Option<String>) {
        self.mode = Mode::Typing(entry);
        self.offered = offered.is_some();
        self.text = offered.unwrap_or_default();
        self.wrong = None;
    }

    fn typed(&mut self, entry: Entry, code: KeyCode, view: Option<&View>) -> Act {
        match code {
            KeyCode::Esc => {
                self.mode = Mode::Weaving;
                self.wrong = None;
            }
            KeyCode::Backspace => {
                self.text.pop();
                self.offered = false;
            }
            KeyCode::Tab => {
                if let Entry::Stands(DeckIndex(deck)) = entry {
                    let next = DeckIndex((deck + 1) % self.decks.len().max(1));
                    self.mode = Mode::Typing(Entry::Stands(next));
                }
            }
            KeyCode::Enter => return self.entered(entry, view),
            KeyCode::Char(letter) => self.letter(entry, letter),
            _ => {}
        }
        Act::None
    }

    fn letter(&mut self, entry: Entry, letter: char) {
        let most = if entry == Entry::Note {
            LONGEST_NOTE
        } else {
            MOST_DIGITS
        };
        let fits = if entry == Entry::Note {
            !letter.is_control()
        } else {
            letter.is_ascii_digit()
        };
        if !fits {
            self.wrong = Some("type a number, then Enter; Esc goes back".to_string());
            return;
        }
        if std::mem::take(&mut self.offered) {
            self.text.clear();
        }
        if self.text.chars().count() < most {
            self.text.push(letter);
            self.wrong = None;
        } else if entry == Entry::Note {
            self.wrong = Some(NOTE_FULL.to_string());
        }
    }

    fn entered(&mut self, entry: Entry, view: Option<&View>) -> Act {
        let Some(view) = view else {
            return Act::None;
        };
        match self.says(entry, view) {
            Ok(says) => {
                self.said = Some((entry, std::mem::take(&mut self.text)));
                self.mode = Mode::Weaving;
                self.wrong = None;
                Act::Say(says)
            }
            Err(wrong) => {
                self.wrong = Some(wrong);
                Act::None
            }
        }
    }

    /// What this entry says, if it can be.
    fn says(&self, entry: Entry, view: &View) -> Result<Says, String> {
        let number = || -> Result<u64, String> {
            let text = self.text.trim();
            text.parse()
                .map_err(|_| "type a number, then Enter; Esc goes back".to_string())
        };
        let decision = match entry {
            Entry::Note if self.text.trim().is_empty() => {
                return Err("type the note, then Enter; Esc goes back".to_string());
            }
            Entry::Note => return note(&self.text),
            Entry::Unwove => {
                let picks = within(number()?, view.in_the_cloth(), ("pick", "in the cloth"))?;
                Decision::Unwove {
                    picks: u32::try_from(picks).unwrap_or(u32::MAX),
                }
            }
            Entry::Stands(deck) => {
                let known = self.decks.get(deck.0);
                let cards = known.map_or(0, |known| u64::from(known.cards));
                let card = within(number()?, cards, ("card", "in the deck"))?;
                let card = CardNumber(u32::try_from(card).unwrap_or(u32::MAX));
                Decision::Stands {
                    card: Stand { deck, card },
                }
            }
            Entry::Next => {
                let pick = within(number()?, view.picks.1, ("pick", "in the plan"))?;
                Decision::NextIs { pick: pick - 1 }
            }
        };
        Ok(Says::Decided { decision })
    }
}

/// The number, if it is from 1 to `most`.
fn within(number: u64, most: u64, (one, there): (&str, &str)) -> Result<u64, String> {
    match number {
        _ if most == 0 => Err(format!("there are no {one}s {there} yet; Esc goes back")),
        number if (1..=most).contains(&number) => Ok(number),
        _ if most == 1 => Err(format!(
            "{number} cannot be: there is 1 {one} {there}; give 1"
        )),
        _ => Err(format!(
            "{number} cannot be: there are {most} {one}s {there}; give 1 to {most}"
        )),
    }
}

/// Yes to what is asked.
fn yes(view: &View) -> Act {
    view.asking
        .as_ref()
        .map_or(Act::None, |asking| Act::Say(asking.yes()))
}

/// A choice about the open fault on top.
fn choice(digit: char, view: &View) -> Act {
    let number = digit.to_digit(10).unwrap_or(0) as usize;
    decided(number, view).map_or(Act::None, Act::Say)
}
