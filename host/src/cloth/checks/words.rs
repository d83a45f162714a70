//! The checks in words, one line each.

use super::{Break, Checks, Division, Float, Turn, WeaveOf};
use crate::cloth::Unit;
use crate::deck::CardList;
use crate::words::counted;
use cardwright_protocol::CardNumber;

impl Checks {
    /// What a person reads.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![
            self.size_line(),
            self.ruling_line(),
            division(&self.division),
        ];
        lines.extend(self.breaks.iter().map(|one| self.break_line(one)));
        lines.extend(self.turns.iter().map(turn));
        lines.push(self.floats_line());
        lines.push(format!(
            "hooks lifted: {:.1} on a card in the mean, at most {} (card {})",
            self.lifts.mean, self.lifts.most, self.lifts.heaviest
        ));
        if self.alike.count > 0 {
            let more = if self.alike.count as usize > self.alike.first.len() {
                " and more"
            } else {
                ""
            };
            let cards = self.alike.first.iter().map(|card| CardNumber(*card));
            lines.push(format!(
                "{} the same as the one before: {}{more}",
                match self.alike.count {
                    1 => "1 card is".to_owned(),
                    count => format!("{count} cards are"),
                },
                CardList::from_cards(cards)
            ));
        }
        lines.push(self.work_line());
        lines
    }

    fn break_line(&self, one: &Break) -> String {
        let (repeat, size) = (one.repeat, one.size);
        let (name, weft) = match (&one.of, one.across) {
            (WeaveOf::Colour { name, weft }, _) => (name, weft),
            (WeaveOf::Selvedges, true) => {
                return format!(
                    "the weave of the selvedges breaks within a selvedge: it repeats on {repeat}, and the ends begin again after {size}, the holes of the spare row"
                );
            }
            (WeaveOf::Selvedges, false) => {
                return format!(
                    "the weave of the selvedges breaks at the edge of the repeat along the cloth: it repeats on {repeat}, and the deck has {}",
                    counted(size, "card")
                );
            }
        };
        let place = if !one.across {
            format!(
                "at the edge of the repeat along the cloth: it repeats on {repeat}, and the paper has {}",
                counted(size, "line")
            )
        } else if size == self.division.columns {
            format!(
                "at the edge of the repeat across the cloth: it repeats on {repeat}, and the paper has {}",
                counted(size, "column")
            )
        } else {
            let between = if size == 1 {
                "1 column lies".to_owned()
            } else {
                format!("{size} columns lie")
            };
            format!(
                "where the tie does not go on with the paper: it repeats on {repeat}, and {between} between"
            )
        };
        format!("the weave of \"{name}\" for the weft \"{weft}\" breaks {place}")
    }

    fn size_line(&self) -> String {
        let size = &self.size;
        let unit = match size.unit {
            Unit::Cm => "cm",
            Unit::Inch => "in",
        };
        let selvedges = if size.selvedges > 0.0 {
            format!(" and {:.2} {unit} of selvedges", size.selvedges)
        } else {
            String::new()
        };
        format!(
            "cloth: {:.2} {unit} wide{selvedges}, {:.2} {unit} long; {}, {}",
            size.width,
            size.length,
            counted(size.ends, "end"),
            counted(size.picks, "pick")
        )
    }

    fn ruling_line(&self) -> String {
        let ruling = &self.ruling;
        format!(
            "point paper: {} x {} ({:.2} to be exact)",
            ruling.across, ruling.up, ruling.exactly
        )
    }

    fn floats_line(&self) -> String {
        let floats = &self.floats;
        format!(
            "longest floats: warp on the face {}, on the back {}; weft on the face {}, on the back {}",
            float(&floats.warp_face),
            float(&floats.warp_back),
            float(&floats.weft_face),
            float(&floats.weft_back)
        )
    }

    fn work_line(&self) -> String {
        let work = &self.work;
        let rows = work
            .blank_rows
            .iter()
            .map(|row| CardNumber(u32::from(*row)));
        let rows = CardList::from_cards(rows);
        let blank = if rows.is_empty() {
            "no row is blank on every card".to_owned()
        } else {
            format!("blank rows: {rows}")
        };
        format!(
            "cards: {}, {} strokes; {blank}; by hand {} hours, {} lb of paper",
            work.cards,
            work.strokes,
            between(work.hours_by_hand),
            between(work.pounds)
        )
    }
}

/// Least and most to a tenth; one number if they are alike so.
fn between((least, most): (f64, f64)) -> String {
    let (least, most) = (format!("{least:.1}"), format!("{most:.1}"));
    match (least.as_str(), most.as_str()) {
        (_, "0.0") => "less than 0.1".to_owned(),
        ("0.0", _) => format!("at most {most}"),
        _ if least == most => most,
        _ => format!("{least} to {most}"),
    }
}

fn float(float: &Float) -> String {
    let Float {
        length,
        end,
        pick,
        unbound,
    } = float;
    match (length, unbound) {
        (0, _) => "none".to_owned(),
        (_, false) => format!("{length} (end {end}, pick {pick})"),
        (_, true) => format!("{length}, bound nowhere (end {end}, pick {pick})"),
    }
}

fn turn(turn: &Turn) -> String {
    let [one, next] = turn.ends;
    let more = match turn.places - 1 {
        0 => String::new(),
        1 => ", and those at 1 turn more,".to_owned(),
        more => format!(", and those at {more} turns more,"),
    };
    let names: Vec<String> = turn
        .colours
        .iter()
        .map(|name| format!("\"{name}\""))
        .collect();
    let weaves = if names.len() == 1 { "weave" } else { "weaves" };
    format!(
        "where the tie turns, ends {one} and {next}{more} lift alike in the {weaves} of {}",
        names.join(", ")
    )
}

fn division(division: &Division) -> String {
    let Division {
        columns,
        hooks,
        times,
        over,
        rows,
        holes,
    } = division;
    let go = match columns {
        1 => "column goes",
        _ => "columns go",
    };
    let times = match times {
        1 => "once".to_owned(),
        times => format!("{times} times"),
    };
    if *over == 0 {
        return format!("hooks: {columns} {go} {times} into {hooks}");
    }
    let mut idle = Vec::new();
    if !rows.is_empty() {
        let one = if rows.len() == 1 { "row" } else { "rows" };
        let rows = rows.iter().map(|row| CardNumber(u32::from(*row)));
        idle.push(format!("{one} {}", CardList::from_cards(rows)));
    }
    if let (Some((row, first)), Some((_, last))) = (holes.first(), holes.last()) {
        idle.push(if first == last {
            format!("row {row} hole {first}")
        } else {
            format!("row {row} holes {first}-{last}")
        });
    }
    format!(
        "hooks: {columns} {go} {times} into {hooks} with {over} over; \"auto\" casts out {}",
        idle.join(", ")
    )
}
