//! How the modelled machine and its card stock really are.
//!
//! The firmware is told the same by the host's settings; where the two differ
//! the machine is as it is here, like any machine that is not quite as drawn.
//! Lengths are in millimetres, times in microseconds.

use cardwright_protocol::host_to_unit::Settings;

/// From Taylor p. 122: 1 7/8 in over the seven gaps of a row of 8.
pub const NEEDLE_PITCH_MM: f64 = 1.875 * 25.4 / 7.0;

/// The machine.
#[derive(Clone, Debug, PartialEq)]
pub struct WorldSettings {
    /// Feed steps in a metre.
    pub steps_per_metre: f64,
    /// Play in the feed, taken up by the first steps after its current comes
    /// on; opens again when the current goes off.
    pub backlash_mm: f64,
    /// From the edge sensor to the needle punches.
    pub edge_to_punch_mm: f64,
    /// From stroke to stroke, and hole to hole across.
    pub pitch_mm: f64,
    /// From the needle punches to the light bar, in pitches.
    pub reader_rows: u8,
    /// From the light bar to the last roller: a card is out when its trailing
    /// edge has passed it.
    pub reader_to_exit_mm: f64,
    /// How far before the edge sensor a picked card comes to lie.
    pub rollers_to_edge_mm: f64,
    /// How long `pick` must be high for a card to be pushed.
    pub pick_us: u64,
    /// Holes in a row: punches and light channels that stand over the card.
    pub holes: u8,
    /// Further light channels, which stand beside the last hole of a row: a card
    /// runs along a guide at hole 1, and the bar is as long as the widest card.
    /// Those that nobody looks at only cost time, so by default there are none.
    pub beside: u8,
    /// Diameter of needle and lace punches.
    pub needle_diameter_mm: f64,
    /// Diameter of the peg punch.
    pub peg_diameter_mm: f64,
    /// Diameter of a light channel's aperture.
    pub aperture_mm: f64,
    /// One down-and-up of the block.
    pub stroke_cycle_us: u64,
    /// For how long the top sensor sees the block after it has come up, and
    /// the bottom sensor after it has come down, driven on.
    pub sensor_zone_us: u64,
    /// How long a coil must be on before its punch is locked.
    pub lock_us: u64,
    /// From the beginning of a scan until its levels can be fetched.
    pub scan_us: u64,
    /// Level with the lamp off.
    pub dark_level: f64,
    /// Light that the lamp throws past the card's edge and over the next
    /// channel, in levels.
    pub stray_level: f64,
    /// Level of the open light, dark and stray included.
    pub open_level: f64,
    /// Spread of the channels' gains (standard deviation, share of 1).
    pub gain_spread: f64,
    /// Noise of one reading (standard deviation, levels).
    pub noise_level: f64,
    /// Share of its light the lamp loses with every card.
    pub lamp_ageing: f64,
    /// Supply at the coils when the world begins, in millivolts.
    pub supply_mv: u16,
    /// Seed of what is neither fault nor stock: gains and noise.
    pub seed: u64,
    /// What the cards are like.
    pub stock: StockSettings,
}

/// The card stock.
#[derive(Clone, Debug, PartialEq)]
pub struct StockSettings {
    /// Length of a dry card.
    pub length_mm: f64,
    /// Width of a card.
    pub width_mm: f64,
    /// Spread of the stretch from damp (standard deviation, share of 1).
    pub stretch_spread: f64,
    /// Spread of the skew in the feed (standard deviation, radians).
    pub skew_spread: f64,
    /// Light through plain card, share of the open light.
    pub paper: f64,
    /// Spread of that from card to card (standard deviation, share of it).
    pub paper_spread: f64,
    /// Most patches of thicker paper on one card.
    pub most_patches: u8,
    /// Seed of the stock.
    pub seed: u64,
}

impl Default for WorldSettings {
    /// Our own machine, set for a 400 card (sizes: common practice, no source).
    fn default() -> WorldSettings {
        WorldSettings {
            steps_per_metre: 20_000.0,
            backlash_mm: 0.1,
            edge_to_punch_mm: 30.0,
            pitch_mm: NEEDLE_PITCH_MM,
            reader_rows: 6,
            reader_to_exit_mm: 12.0,
            rollers_to_edge_mm: 40.0,
            pick_us: 150_000,
            holes: 8,
            beside: 0,
            needle_diameter_mm: 4.4,
            peg_diameter_mm: 10.0,
            aperture_mm: 3.0,
            stroke_cycle_us: 20_000,
            sensor_zone_us: 600,
            lock_us: 4_000,
            scan_us: 40,
            dark_level: 4.0,
            stray_level: 2.0,
            open_level: 220.0,
            gain_spread: 0.02,
            noise_level: 0.7,
            lamp_ageing: 1e-7,
            supply_mv: 24_000,
            seed: 1,
            stock: StockSettings::default(),
        }
    }
}

impl WorldSettings {
    /// The machine set for cards of `holes` holes a row and `strokes` strokes.
    #[must_use]
    pub fn for_card(holes: u8, strokes: u16) -> WorldSettings {
        let holes = holes.clamp(1, cardwright_protocol::card::MOST_HOLES);
        let mut settings = WorldSettings {
            holes,
            ..WorldSettings::default()
        };
        settings.stock.length_mm = 2.0 * 14.2 + f64::from(strokes.max(1) - 1) * settings.pitch_mm;
        settings.stock.width_mm = f64::from(holes) * settings.pitch_mm + 18.0;
        settings
    }

    /// Where hole `hole` (from 1) lies across the feed, from the middle.
    #[must_use]
    pub fn across_mm(&self, hole: u8) -> f64 {
        (f64::from(hole) - (f64::from(self.holes) + 1.0) / 2.0) * self.pitch_mm
    }

    /// Light channels, those beside the card among them.
    #[must_use]
    pub fn channels(&self) -> u8 {
        let most = cardwright_protocol::card::MOST_HOLES;
        self.holes.saturating_add(self.beside).min(most)
    }

    /// From the edge sensor to the light bar.
    #[must_use]
    pub fn edge_to_reader_mm(&self) -> f64 {
        self.edge_to_punch_mm + f64::from(self.reader_rows) * self.pitch_mm
    }

    /// The settings a unit needs to drive this machine as it really is, with
    /// moderate speeds (common practice, no source). `strokes` is the card's.
    #[must_use]
    pub fn as_told_to_unit(&self, strokes: u16) -> Settings {
        let um = |mm: f64| (mm * 1000.0).round() as u32;
        Settings {
            holes: self.holes,
            steps_per_metre: self.steps_per_metre.round() as u32,
            row_pitch_um: um(self.pitch_mm),
            first_stroke_um: 14_200,
            card_length_um: um(2.0 * 14.2 + f64::from(strokes.max(1) - 1) * self.pitch_mm),
            length_slack_um: 4_000,
            edge_to_punch_um: um(self.edge_to_punch_mm),
            reader_rows: self.reader_rows,
            samples_per_row: 8,
            pick_up_um: um(self.rollers_to_edge_mm + 45.0),
            run_out_um: um(self.reader_to_exit_mm + 10.0),
            start_speed_mm_s: 40,
            top_speed_mm_s: 400,
            acceleration_mm_s2: 8_000,
            feed_settle_us: 2_000,
            lock_settle_us: 5_000,
            coil_stagger_us: 300,
            coils_at_once: 4,
            stroke_timeout_us: 60_000,
            coil_on_limit_us: 60_000,
            coil_duty_permille: 500,
            gross_holes: 4,
            single_card_permille: 20,
            supply_mv: (20_000, 28_000),
            magazine: true,
        }
    }

    /// One feed step.
    #[must_use]
    pub fn step_mm(&self) -> f64 {
        1000.0 / self.steps_per_metre
    }
}

impl Default for StockSettings {
    fn default() -> StockSettings {
        StockSettings {
            length_mm: 2.0 * 14.2 + 55.0 * NEEDLE_PITCH_MM,
            width_mm: 8.0 * NEEDLE_PITCH_MM + 18.0,
            stretch_spread: 0.0005,
            skew_spread: 0.0004,
            paper: 0.06,
            paper_spread: 0.08,
            most_patches: 3,
            seed: 2,
        }
    }
}
