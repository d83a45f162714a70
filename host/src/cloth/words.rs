//! The words of one value of a cloth file, taken one after another.

/// Words not yet taken.
pub(super) struct Words<'a>(std::iter::Peekable<std::str::SplitWhitespace<'a>>);

impl<'a> Words<'a> {
    pub fn of(text: &'a str) -> Words<'a> {
        Words(text.split_whitespace().peekable())
    }

    pub fn next(&mut self) -> Option<&'a str> {
        self.0.next()
    }

    /// Takes the next word if it is this one.
    pub fn skip(&mut self, word: &str) -> bool {
        self.0.next_if(|next| *next == word).is_some()
    }

    /// Takes the next word if it is a whole number.
    pub fn number(&mut self) -> Option<usize> {
        let digits = |word: &&str| word.bytes().all(|byte| byte.is_ascii_digit());
        let word = self.0.next_if(digits)?;
        word.parse().ok()
    }

    /// Takes the next word if it is a number or a range such as `5-8`.
    pub fn range(&mut self) -> Option<(u32, u32)> {
        range(self.next()?)
    }
}

/// A number or a rising range of numbers, such as `5` or `5-8`.
pub(super) fn range(text: &str) -> Option<(u32, u32)> {
    let number = |text: &str| {
        let digits = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
        text.parse::<u32>().ok().filter(|_| digits)
    };
    let (first, last) = match text.split_once('-') {
        Some((first, last)) => (number(first)?, number(last)?),
        None => (number(text)?, number(text)?),
    };
    (first >= 1 && first <= last).then_some((first, last))
}
