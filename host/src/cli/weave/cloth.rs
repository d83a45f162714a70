//! The cloth as it lies at the fell, drawn from the cards of the picks woven last.
//!
//! Enters: the plan's walk, the picks woven last, the room there is. Leaves: lines,
//! the newest pick at the top, as the weaver sees the cloth. Ends and picks are merged
//! where they are more than fit. Refuses nothing: a pick without a card, whose shed
//! nobody knows, is drawn half and half.

use std::collections::HashMap;

use ratatui::style::Style;
use ratatui::text::{Line, Span};

use super::colours::{Colours, distance};
use crate::cloth::{Cloth, Mounting, Rgb, Woven};
use crate::deck::{Deck, Row};
use crate::weave::walk::{Walk, Work};
use crate::weave::watch::Stand;

/// Cards whose ends are remembered as they are drawn.
const MOST_REMEMBERED: usize = 4_096;

/// A warp and a weft nobody has told the colour of.
const WARP: Rgb = [0xf0, 0xea, 0xdc];
const WEFT: Rgb = [0x40, 0x58, 0x78];

/// Yarns closer than this are not told apart on a screen (by eye).
const ALIKE: u32 = 3_000;

/// How much of each column of the picture is warp on the face, in 255ths.
type Shares = Vec<u8>;

/// Draws cloth of one plan.
#[derive(Debug)]
pub(super) struct ClothPicture {
    walk: Walk,
    /// How each deck is mounted, if a cloth file says so.
    mounted: Vec<Option<Mounting>>,
    cloth: Option<Cloth>,
    columns: usize,
    remembered: HashMap<Stand, Shares>,
}

/// A line of squares: what is seen of the warp in each, and the weft's colour.
struct Squares {
    shares: Shares,
    weft: Rgb,
}

impl ClothPicture {
    /// For this plan. Its cloth file, if it names one that suits a deck, says what the
    /// ends do and how the warp looks; else a hook is drawn as an end. With it come
    /// words on what of the cloth file could not be used.
    pub fn new(walk: &Walk) -> (ClothPicture, Option<String>) {
        let plan = walk.plan();
        let mut trouble = None;
        let mut used = |cause: String| trouble = Some(format!("drawn hook by hook: {cause}"));
        let cloth = plan.cloth().and_then(|file| {
            let read = Cloth::read(file);
            read.map_err(|cause| used(cause.to_string())).ok()
        });
        let mut mounted = Vec::new();
        for deck in plan.decks() {
            let mounting = cloth.as_ref().map(|cloth| mount(&deck.deck, cloth));
            let mounting = mounting.map(|found| found.map_err(&mut used));
            mounted.push(mounting.and_then(Result::ok));
        }
        let picture = ClothPicture {
            walk: walk.clone(),
            mounted,
            cloth,
            columns: 0,
            remembered: HashMap::new(),
        };
        (picture, trouble)
    }

    /// The picks that lie in the cloth, of those woven last: what was woven again
    /// had been taken out, and so had all from the next pick on.
    fn lying(woven: &[u64], next: u64) -> Vec<u64> {
        let mut lying: Vec<u64> = Vec::with_capacity(woven.len());
        for pick in woven {
            let kept = lying.partition_point(|before| before < pick);
            lying.truncate(kept);
            lying.push(*pick);
        }
        lying.truncate(lying.partition_point(|pick| *pick < next));
        lying
    }

    /// At most `rows` lines of at most `columns`, the newest pick at the top.
    /// `next` is the pick that comes next, from 0.
    pub fn lines(
        &mut self,
        woven: &[u64],
        next: u64,
        columns: usize,
        rows: usize,
        colours: Colours,
    ) -> Vec<Line<'static>> {
        let lying = ClothPicture::lying(woven, next);
        let ends = lying.iter().filter_map(|pick| self.ends_of(*pick)).max();
        let ends = ends.unwrap_or_else(|| self.widest());
        if columns == 0 || rows == 0 || ends == 0 || lying.is_empty() {
            return Vec::new();
        }
        let merged = ends.div_ceil(columns);
        let columns = ends.div_ceil(merged);
        if self.columns != columns || self.remembered.len() > MOST_REMEMBERED {
            self.remembered.clear();
            self.columns = columns;
        }
        // picks are merged as ends are, but no more than shows all there are
        let together = lying.len().div_ceil(2 * rows).clamp(1, merged) as u64;
        let mut squares: Vec<Squares> = Vec::new();
        let mut at = lying.len();
        while at > 0 && squares.len() < 2 * rows {
            let group = lying[at - 1] / together;
            let first = lying[..at].partition_point(|pick| pick / together < group);
            squares.push(self.merged(&lying[first..at]));
            at = first;
        }
        let warp = self.cloth.as_ref().map_or(WARP, Cloth::warp);
        let pairs = squares.chunks(2);
        if colours.has_yarns() {
            pairs.map(|pair| in_colour(pair, warp, colours)).collect()
        } else if merged == 1 && together == 1 {
            pairs.map(half_blocks).collect()
        } else {
            pairs.map(shades).collect()
        }
    }

    /// Picks of one line of squares as one.
    fn merged(&mut self, picks: &[u64]) -> Squares {
        let mut sums = vec![0u32; self.columns];
        let mut weft = [0u32; 3];
        for pick in picks {
            let (shares, colour) = self.pick(*pick);
            for (sum, share) in sums.iter_mut().zip(shares) {
                *sum += u32::from(share);
            }
            for (sum, part) in weft.iter_mut().zip(colour) {
                *sum += u32::from(part);
            }
        }
        let count = u32::try_from(picks.len().max(1)).unwrap_or(u32::MAX);
        Squares {
            shares: sums.iter().map(|sum| (sum / count) as u8).collect(),
            weft: weft.map(|sum| (sum / count) as u8),
        }
    }

    fn pick(&mut self, number: u64) -> (Shares, Rgb) {
        let half = vec![127; self.columns];
        let Some(pick) = self.walk.pick(number) else {
            return (half, WEFT);
        };
        let plan = self.walk.plan();
        let weft = pick.weft.and_then(|weft| plan.wefts().get(weft.0));
        let colour = weft.and_then(|weft| weft.colour).unwrap_or(WEFT);
        let Work::Card { deck, card } = pick.work else {
            return (half, colour);
        };
        let stand = Stand { deck, card };
        if let Some(shares) = self.remembered.get(&stand) {
            return (shares.clone(), colour);
        }
        let shares = self.shares(stand);
        self.remembered.insert(stand, shares.clone());
        (shares, colour)
    }

    /// Ends of the pick's deck; none for a ground pick.
    fn ends_of(&self, number: u64) -> Option<usize> {
        match self.walk.pick(number)?.work {
            Work::Ground => None,
            Work::Card { deck, .. } => Some(self.ends(deck.0)),
        }
    }

    fn ends(&self, deck: usize) -> usize {
        let plan = self.walk.plan();
        let of = plan.decks().get(deck).map(|deck| &deck.deck);
        of.map_or(0, |of| match self.woven(deck, of) {
            Some(woven) => woven.ends(),
            None => of.format().needles() as usize,
        })
    }

    fn widest(&self) -> usize {
        let decks = 0..self.mounted.len();
        decks.map(|deck| self.ends(deck)).max().unwrap_or(40)
    }

    fn woven<'a>(&self, deck: usize, of: &'a Deck) -> Option<Woven<'a>> {
        let mounting = self.mounted.get(deck)?.as_ref()?;
        Woven::new(of, self.cloth.as_ref()?, mounting).ok()
    }

    /// What is seen of the warp where this card is woven.
    fn shares(&self, stand: Stand) -> Shares {
        let plan = self.walk.plan();
        let Some(deck) = plan.decks().get(stand.deck.0).map(|deck| &deck.deck) else {
            return vec![127; self.columns];
        };
        let pick = stand.card.0.saturating_sub(1);
        let up: Vec<bool> = match self.woven(stand.deck.0, deck) {
            Some(woven) => woven.pick_on_face(pick).collect(),
            None => {
                let holes = deck.format().holes_per_row();
                let rows: &[Row] = deck.card(stand.card).unwrap_or_default();
                let row = |row: &Row| (1..=holes).map(|hole| row.has(hole)).collect::<Vec<_>>();
                rows.iter().flat_map(row).collect()
            }
        };
        let share = |column: usize| {
            let from = column * up.len() / self.columns;
            let to = ((column + 1) * up.len() / self.columns).max(from + 1);
            let ends = up.get(from..to.min(up.len())).unwrap_or_default();
            let lifted = ends.iter().filter(|up| **up).count();
            (255 * lifted).checked_div(ends.len()).unwrap_or(0) as u8
        };
        (0..self.columns).map(share).collect()
    }
}

/// How the deck is mounted for this cloth, or why it cannot be.
fn mount(deck: &Deck, cloth: &Cloth) -> Result<Mounting, String> {
    let mounting = cloth.mounting(cloth.columns_of(deck));
    let mounting = mounting.map_err(|cause| cause.to_string())?;
    let fits = Woven::new(deck, cloth, &mounting).map(|_| ());
    fits.map_err(|cause| cause.to_string())?;
    Ok(mounting)
}

/// Two lines of squares, each cell's upper in front and its lower behind it.
fn in_colour(pair: &[Squares], warp: Rgb, colours: Colours) -> Line<'static> {
    let seen = |squares: &Squares, column: usize| {
        let share = u32::from(squares.shares.get(column).copied().unwrap_or(0));
        let weft = told_apart(squares.weft, warp);
        let mix =
            |at: usize| (u32::from(warp[at]) * share + u32::from(weft[at]) * (255 - share)) / 255;
        colours.yarn([mix(0) as u8, mix(1) as u8, mix(2) as u8])
    };
    let columns = pair.first().map_or(0, |squares| squares.shares.len());
    let cell = |column: usize| {
        let mut style = Style::new();
        style.fg = pair.first().and_then(|squares| seen(squares, column));
        style.bg = pair.get(1).and_then(|squares| seen(squares, column));
        Span::styled("▀", style)
    };
    (0..columns).map(cell).collect::<Vec<_>>().into()
}

/// The weft's colour, darker or lighter where it would not be seen on this warp: in
/// the cloth the yarns shine in different ways.
fn told_apart(weft: Rgb, warp: Rgb) -> Rgb {
    if distance(weft, warp) >= ALIKE {
        return weft;
    }
    let bright = weft.iter().map(|part| u32::from(*part)).sum::<u32>() > 3 * 90;
    weft.map(|part| match bright {
        true => (u32::from(part) * 7 / 10) as u8,
        false => part.saturating_add(70),
    })
}

/// Where no two threads are merged: full where the warp is seen.
fn half_blocks(pair: &[Squares]) -> Line<'static> {
    let up = |at: usize, column: usize| {
        let squares = pair.get(at);
        squares.and_then(|squares| squares.shares.get(column)) > Some(&127)
    };
    let columns = pair.first().map_or(0, |squares| squares.shares.len());
    let cell = |column| match (up(0, column), up(1, column)) {
        (false, false) => ' ',
        (true, false) => '▀',
        (false, true) => '▄',
        (true, true) => '█',
    };
    (0..columns).map(cell).collect::<String>().into()
}

/// The more of the warp is seen, the fuller.
fn shades(pair: &[Squares]) -> Line<'static> {
    let columns = pair.first().map_or(0, |squares| squares.shares.len());
    let cell = |column: usize| {
        let of = |squares: &Squares| squares.shares.get(column).copied().map(usize::from);
        let sum: usize = pair.iter().filter_map(of).sum();
        // rounded to the nearest of five
        let of_all = 255 * pair.len().max(1);
        [' ', '░', '▒', '▓', '█'][(4 * sum + of_all / 2) / of_all]
    };
    (0..columns).map(cell).collect::<String>().into()
}
