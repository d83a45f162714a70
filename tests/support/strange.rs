//! Cards of any format, damaged and damp, read with the whole light bar as a card
//! of unknown format is.
//!
//! Enters: a format, how poor the card and the conditions are, a seed. Leaves: a
//! reading. Every hole may be damaged, lace and peg holes too.

use crate::trust::{Worst, reading_of};
use cardwright::copy::Known;
use cardwright::deck::{CardFormat, Row};
use cardwright::judge::Reading;
use cardwright::rig::RigFile;
use cardwright_protocol::Stroke;
use cardwright_virtual::WorldSettings;
use cardwright_virtual::card_maker::{CardMaker, Flaw, Lay, Make, PEG, Placed};
use cardwright_virtual::reading::ReaderModel;
use cardwright_virtual::stock::{Card, Hole};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::f64::consts::TAU;

/// How the cards are.
#[derive(Clone, Copy, Debug)]
pub struct Poor {
    /// What they are read under, and how damp they are.
    pub worst: Worst,
    /// Share of the positions that are damaged.
    pub damage: f64,
    /// Chance that a card lies end for end.
    pub turned: f64,
}

/// Makes and reads cards of one format.
pub struct Strangers {
    format: CardFormat,
    machine: WorldSettings,
    maker: CardMaker,
    model: ReaderModel,
    poor: Poor,
    rng: ChaCha8Rng,
}

impl Strangers {
    /// Cards of `format`, read as `known` wants them to be.
    ///
    /// # Panics
    /// If the unit refuses such a reading.
    #[must_use]
    pub fn new(format: &CardFormat, known: &Known, rig: &RigFile, poor: Poor, seed: u64) -> Self {
        let wide = known.wide();
        let mut machine = WorldSettings::for_card(format.holes_per_row(), format.strokes());
        machine.pitch_mm = format.row_pitch_mm();
        machine.stock.length_mm = format.card_length_mm();
        machine.stock.width_mm = format.card_width_mm();
        machine.beside = wide.holes_per_row() - format.holes_per_row();
        let told = known.settings(rig);
        let model = ReaderModel::new(machine.clone(), &told, wide.strokes());
        Strangers {
            maker: CardMaker::new(machine.clone(), format.first_stroke_mm()),
            model: model.unwrap_or_else(|setting| panic!("{setting:?}")),
            format: format.clone(),
            machine,
            poor,
            rng: ChaCha8Rng::seed_from_u64(seed),
        }
    }

    /// The reading of a card with rows as dense as chance will have it, from blank
    /// to full.
    pub fn card(&mut self) -> Reading {
        let density = [0.0, 0.05, 0.15, 0.3, 0.5, 0.7, 1.0][self.rng.random_range(0..7)];
        let holes = self.format.holes_per_row();
        let row = |rng: &mut ChaCha8Rng| {
            let cut = (1..=holes).filter(|_| rng.random_bool(density));
            Row::from_holes(cut.collect::<Vec<_>>())
        };
        let rows: Vec<Row> = (0..self.format.rows())
            .map(|_| row(&mut self.rng))
            .collect();
        self.card_of(&rows)
    }

    /// The reading of a card with these rows.
    pub fn card_of(&mut self, rows: &[Row]) -> Reading {
        let strokes = self.format.programme(rows);
        let make = Make {
            read: Lay {
                stretch: 1.0 + self.even(self.poor.worst.stretch),
                skew: self.even(self.poor.worst.skew),
            },
            cut_offset_mm: self.even(0.3),
            paper: 0.06 * (1.0 + self.even(0.2)),
            flaws: self.chads(&strokes),
            ..Make::default()
        };
        let made = self.maker.make(&strokes, &make).card;
        let mut card = self.tears(made, &strokes);
        if self.rng.random_bool(self.poor.turned) {
            turn(&mut card);
        }
        let conditions = self.poor.worst.conditions(&mut self.rng);
        self.model.seed(self.rng.random());
        let read = self.model.read(&card, &conditions);
        reading_of(read, strokes.len() as u16, self.machine.channels())
    }

    fn even(&mut self, most: f64) -> f64 {
        self.rng.random_range(-1.0..=1.0) * most
    }

    /// Chads and uncut parts, and holes that are pasted over.
    fn chads(&mut self, strokes: &[Stroke]) -> Vec<Placed> {
        let mut flaws = Vec::new();
        for (what, stroke) in strokes.iter().zip(0u16..) {
            let peg = what.peg().then_some(PEG);
            for hole in what.punches().holes().chain(peg) {
                if !self.rng.random_bool(self.poor.damage) {
                    continue;
                }
                let share = self.rng.random_range(0.1..0.9);
                let flaw = match self.rng.random_range(0..4) {
                    0 if hole != PEG => Flaw::Missing,
                    0 | 1 => Flaw::HalfCut {
                        share,
                        leading: self.rng.random_bool(0.5),
                    },
                    _ => Flaw::Chad {
                        share,
                        direction: self.rng.random_range(0.0..TAU),
                    },
                };
                flaws.push(Placed { stroke, hole, flaw });
            }
        }
        flaws
    }

    /// Pinholes and tears up to the size of a hole, anywhere on the card.
    fn tears(&mut self, mut card: Card, strokes: &[Stroke]) -> Card {
        let places = strokes.len() * usize::from(self.format.holes_per_row());
        for _ in 0..places {
            if !self.rng.random_bool(self.poor.damage / 2.0) {
                continue;
            }
            let half = card.width_mm / 2.0;
            card.add(Hole {
                x_mm: self.rng.random_range(0.0..card.length_mm),
                y_mm: self.rng.random_range(-half..half),
                r_mm: self.rng.random_range(0.3..2.2),
                flap: None,
                stroke: None,
            });
        }
        card
    }
}

/// Lays a card end for end.
fn turn(card: &mut Card) {
    for hole in &mut card.holes {
        hole.x_mm = card.length_mm - hole.x_mm;
        hole.y_mm = -hole.y_mm;
        hole.flap = hole.flap.map(|flap| flap.end_for_end());
    }
    card.holes.reverse();
}
