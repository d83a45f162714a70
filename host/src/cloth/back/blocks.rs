//! Blocks of squares that one colour explains throughout.
//!
//! Enters: for each colour whether it makes the holes of each square. Leaves: for each
//! square the one colour that explains a whole block around it, if there is one alone.
//! Refuses nothing.
//!
//! A weave can be made of the same lifts as two others together: each square of a twill
//! is one of a satin's too, of the warp's or the weft's. One colour throughout is then
//! likelier than specks of two.

/// No colour, and more than one.
const NONE: u8 = u8::MAX;
const SEVERAL: u8 = u8::MAX - 1;

/// The colour of each square's block, blocks of so many squares by as many.
pub(super) fn alone(
    colours: u8,
    (squares, width, side): (usize, usize, usize),
    fits: impl Fn(u8, usize) -> bool,
) -> Vec<Option<u8>> {
    let mut found = vec![NONE; squares];
    for colour in 0..colours {
        let corners = corners(squares, width, side, |at| fits(colour, at));
        each_within(&corners, width, side, |at| {
            found[at] = if found[at] == NONE { colour } else { SEVERAL };
        });
    }
    let colour = |found: u8| (found < SEVERAL).then_some(found);
    found.into_iter().map(colour).collect()
}

/// The squares that are the last corner of a block.
fn corners(squares: usize, width: usize, side: usize, fits: impl Fn(usize) -> bool) -> Vec<bool> {
    let mut up = vec![0; width];
    let mut corners = Vec::with_capacity(squares);
    let mut across = 0;
    for at in 0..squares {
        let column = at % width;
        if column == 0 {
            across = 0;
        }
        up[column] = if fits(at) { up[column] + 1 } else { 0 };
        across = if up[column] >= side { across + 1 } else { 0 };
        corners.push(across >= side);
    }
    corners
}

/// The squares of the blocks with these last corners, each once.
fn each_within(corners: &[bool], width: usize, side: usize, mut tell: impl FnMut(usize)) {
    let mut down = vec![0; width];
    let mut across = 0;
    for at in (0..corners.len()).rev() {
        let column = at % width;
        if column + 1 == width {
            across = 0;
        }
        if corners[at] {
            across = side;
        }
        if across > 0 {
            across -= 1;
            down[column] = side;
        }
        if down[column] > 0 {
            down[column] -= 1;
            tell(at);
        }
    }
}
