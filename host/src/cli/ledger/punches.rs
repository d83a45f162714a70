//! The punches' list. Enters: an open ledger. Leaves: for each unit and width of
//! card what every punch's holes are like, and which punch is not steady.

use super::lists::lines;
use super::wording::{plain, wrapped};
use crate::engine::Clock;
use crate::ledger::{BoardId, Ledger};
use crate::service::upkeep_news;
use crate::wear::PunchState;
use serde_json::json;
use std::io::Write;

pub(super) fn punches(ledger: &Ledger, as_json: bool, out: &mut dyn Write) -> anyhow::Result<u8> {
    let mut rows = Vec::new();
    for unit in ledger.units()? {
        let Ok(number) = u64::from_str_radix(&unit.board, 16) else {
            continue;
        };
        for known in ledger.upkeep(BoardId(number.to_be_bytes()))? {
            let known = upkeep_news(known, Clock::time_of_day());
            if as_json {
                let state = |state: &PunchState| {
                    let mut row = serde_json::to_value(state)?;
                    row["board"] = json!(unit.board);
                    row["holes_a_row"] = json!(known.holes);
                    anyhow::Ok(row)
                };
                for punch in &known.punches {
                    rows.push(state(punch)?);
                }
                continue;
            }
            let (board, holes) = (plain(&unit.board), known.holes.unwrap_or(0));
            writeln!(out, "{board}, cards of {holes} holes a row")?;
            for line in &known.words {
                writeln!(out, "{}", wrapped(&format!("    {line}"), 6))?;
            }
            table(&known.punches, out)?;
        }
    }
    if as_json {
        let summary = json!({ "punches": rows.len() });
        return lines(&rows, &summary, out);
    }
    Ok(0)
}

fn table(punches: &[PunchState], out: &mut dyn Write) -> anyhow::Result<()> {
    if !punches.is_empty() {
        writeln!(out, "    punch   cards  strokes  wide, mm  along, mm")?;
    }
    for state in punches {
        let punch = match state.hole {
            0 => "peg".to_string(),
            hole => hole.to_string(),
        };
        let (cards, strokes) = (state.cards, state.strokes);
        let (wide, along) = (state.diameter_mm, state.along_mm);
        writeln!(
            out,
            "    {punch:>5}  {cards:>6}  {strokes:>7}  {wide:>8.2}  {along:>+9.2}"
        )?;
    }
    Ok(())
}
