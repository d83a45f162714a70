//! Stretches of a card where no hole would show a slip.
//!
//! Enters: which strokes have a known place. Leaves: the first blind stretch.

/// The first stretch of at least `rows` strokes without a known offset that is
/// followed by one with: a slip in it would have gone unseen. A slip after the
/// last hole does no harm.
pub(super) fn blind_stretch(known: &[bool], rows: usize) -> Option<(usize, usize)> {
    let last = known
        .iter()
        .rposition(|known| *known)
        .unwrap_or(known.len());
    let mut begun = 0;
    for (stroke, known) in known.iter().enumerate().take(last + 1) {
        if *known {
            if stroke - begun >= rows.max(1) {
                return Some((begun, stroke - 1));
            }
            begun = stroke + 1;
        }
    }
    (last == known.len() && last >= rows.max(1)).then(|| (0, last - 1))
}

#[cfg(test)]
mod tests {
    use super::blind_stretch;

    #[test]
    fn blind_stretches_are_those_a_slip_could_hide_in() {
        let known = |text: &str| text.bytes().map(|b| b == b'x').collect::<Vec<_>>();
        assert_eq!(blind_stretch(&known("x.....x"), 6), None);
        assert_eq!(blind_stretch(&known("x......x"), 6), Some((1, 6)));
        assert_eq!(blind_stretch(&known("......x"), 6), Some((0, 5)));
        assert_eq!(blind_stretch(&known("x........."), 6), None);
        assert_eq!(blind_stretch(&known("......."), 6), Some((0, 6)));
        assert_eq!(blind_stretch(&[], 6), None);
    }
}
