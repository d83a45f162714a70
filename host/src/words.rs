//! Words that every part has. Enters: a number and what is counted. Leaves: both as a
//! person says them. Refuses nothing.

use std::fmt::Display;

/// `1 card`, `2 cards`.
pub(crate) fn counted<N: Display + PartialEq + From<u8>>(count: N, one: &str) -> String {
    let several = if count == N::from(1) { "" } else { "s" };
    format!("{count} {one}{several}")
}

#[cfg(test)]
mod tests {
    use super::counted;

    #[test]
    fn one_is_no_several() {
        assert_eq!(counted(0_u64, "card"), "0 cards");
        assert_eq!(counted(1_usize, "card"), "1 card");
        assert_eq!(counted(2_u32, "card"), "2 cards");
    }
}
