//! The reader without its machine. If one of these fails, the host's verdict is
//! tried on readings that no unit would send.

mod common;

use cardwright_protocol::card::Row;
use cardwright_protocol::host_to_unit::Settings;
use cardwright_protocol::{Micros, Stroke};
use cardwright_virtual::card_maker::{CardMaker, Make};
use cardwright_virtual::faults::FaultKind;
use cardwright_virtual::optics::Dust;
use cardwright_virtual::reading::{Conditions, ReadCard, ReaderModel, Stray};
use cardwright_virtual::stock::Card;
use cardwright_virtual::{
    CabledUnit, Faults, LineSettings, Nameplate, VirtualUnit, World, WorldSettings,
};
use common::{SmallHost, card_400};

fn strokes() -> Vec<Stroke> {
    card_400(|row| Row((row * 37) & 0xff))
}

/// A card through the firmware, the cable and the world: what the host was
/// sent, and the card as it left.
fn through_the_machine(settings: &WorldSettings, faults: &Faults) -> (ReadCard, Card, Conditions) {
    let mut world = World::new(settings.clone(), faults);
    world.fill_magazine(1);
    let unit = VirtualUnit::new(world, Nameplate::default());
    let line = LineSettings::sound(115_200, 1_000);
    let mut cabled = CabledUnit::new(unit, &line, 2_000_000);
    let mut host = SmallHost::new(settings.as_told_to_unit(56), [strokes()]);
    let done = host.run(&mut cabled, Micros(60_000_000), |host, cabled| {
        host.readings.iter().any(|reading| reading.ended.is_some())
            && cabled.unit.world().truth().cards.len() == 1
    });
    assert!(done, "stops {:?}", host.stops);
    let reading = &host.readings[0];
    let began = reading.began.expect("it has begun");
    let mut read = ReadCard {
        dark: began.dark,
        open: began.open,
        length_um: reading.ended.expect("it has ended").length_um,
        ..ReadCard::default()
    };
    for (first, samples) in &reading.lines {
        assert_eq!(usize::from(*first) * 8, read.lines.len(), "in order");
        read.lines.extend(samples);
    }
    let world = cabled.unit.world();
    let mut conditions = Conditions {
        lamp_ageing: settings.lamp_ageing,
        ..Conditions::default()
    };
    for fault in &world.truth().injected {
        if fault.kind == FaultKind::LampDrift {
            conditions.lamp_drift = fault.amount;
        }
    }
    (read, world.truth().cards[0].card.clone(), conditions)
}

fn model(settings: &WorldSettings) -> ReaderModel {
    ReaderModel::new(settings.clone(), &settings.as_told_to_unit(56), 56).expect("settings")
}

fn farthest(one: &[u8], other: &[u8]) -> u8 {
    assert_eq!(one.len(), other.len());
    let pairs = one.iter().zip(other);
    pairs.map(|(a, b)| a.abs_diff(*b)).max().unwrap_or(0)
}

#[test]
fn it_reads_what_the_firmware_reads_of_the_same_card() {
    for seed in 1..=6 {
        let mut settings = WorldSettings {
            noise_level: 0.0,
            lamp_ageing: 0.02,
            seed,
            ..WorldSettings::default()
        };
        // stretched, turned and patched: each seed another card
        settings.stock.seed = seed;
        settings.stock.stretch_spread = 0.002;
        settings.stock.skew_spread = 0.004;
        let mut faults = Faults::seeded(seed);
        faults.hanging_chad.rate = 0.05;
        faults.missing_hole.rate = 0.002;
        faults.lamp_drift.rate = if seed % 2 == 0 { 1.0 } else { 0.0 };
        let (sent, card, conditions) = through_the_machine(&settings, &faults);
        assert_eq!(conditions.lamp_drift > 0.0, seed % 2 == 0, "seed {seed}");
        let read = model(&settings).read(&card, &conditions);
        assert_eq!(
            (read.dark, read.open),
            (sent.dark, sent.open),
            "seed {seed}"
        );
        let off = farthest(&read.lines, &sent.lines);
        assert!(off <= 1, "seed {seed}: {off} levels");
        assert_eq!(read.length_um, sent.length_um, "seed {seed}");
    }
}

/// The lines of one channel, from 0.
fn channel(read: &ReadCard, channel: usize) -> Vec<f64> {
    let lines = read.lines.chunks(8);
    lines.map(|line| f64::from(line[channel])).collect()
}

/// A machine whose levels are easily told: no spread of gains, and no light
/// thrown past the card.
fn plain() -> WorldSettings {
    WorldSettings {
        gain_spread: 0.0,
        stray_level: 0.0,
        dark_level: 10.0,
        open_level: 210.0,
        ..WorldSettings::default()
    }
}

fn made(strokes: &[Stroke], make: &Make) -> Card {
    CardMaker::new(plain(), 14.2).make(strokes, make).card
}

fn read(strokes: &[Stroke], conditions: &Conditions) -> ReadCard {
    let card = made(strokes, &Make::default());
    model(&plain()).read(&card, conditions)
}

const BLANK: [Stroke; 56] = [Stroke::Blank; 56];
const FULL: [Stroke; 56] = [Stroke::Needles(Row(0xff)); 56];

#[test]
fn quiet_conditions_change_nothing_and_leave_no_trace() {
    let card = made(&strokes(), &Make::default());
    let mut model = model(&plain());
    let noisy = Conditions {
        noise_level: 3.0,
        feed_walk_mm: 0.1,
        lamp: 0.8,
        ..Conditions::default()
    };
    let quiet = model.read(&card, &Conditions::default());
    model.read(&card, &noisy);
    assert_eq!(model.read(&card, &Conditions::default()), quiet);
    // the same seed, the same noise
    model.seed(5);
    let one = model.read(&card, &noisy);
    assert_ne!(model.read(&card, &noisy), one);
    model.seed(5);
    assert_eq!(model.read(&card, &noisy), one);
}

#[test]
fn noise_has_the_spread_it_should() {
    let noise_level = 2.0;
    let conditions = Conditions {
        noise_level,
        ..Conditions::default()
    };
    let read = read(&BLANK, &conditions);
    let lines = &read.lines[..8 * 450];
    let count = lines.len() as f64;
    let mean = lines.iter().map(|level| f64::from(*level)).sum::<f64>() / count;
    let squares = lines.iter().map(|level| (f64::from(*level) - mean).powi(2));
    let spread = (squares.sum::<f64>() / (count - 1.0)).sqrt();
    // Whole levels add the variance of an even spread over one level, 1/12
    // (Sheppard 1897).
    let wanted = (noise_level * noise_level + 1.0 / 12.0).sqrt();
    // Standard error of a standard deviation: s / sqrt(2 (n - 1)).
    let error = wanted / (2.0 * (count - 1.0)).sqrt();
    assert!((spread - wanted).abs() < 5.0 * error, "{spread}, {wanted}");
    assert!((mean - (10.0 + 200.0 * 0.06)).abs() < 5.0 * wanted / count.sqrt());
}

#[test]
fn a_weak_lamp_shows_in_the_levels_and_an_ageing_one_only_in_the_lines() {
    let conditions = Conditions {
        lamp: 0.5,
        lamp_ageing: 0.2,
        ..Conditions::default()
    };
    let read = read(&FULL, &conditions);
    assert_eq!((read.dark[0], read.open[0]), (10, 110));
    assert_eq!(read.lines[8 * 8], 90);
}

#[test]
fn a_drifting_lamp_loses_its_light_evenly_over_the_card() {
    let conditions = Conditions {
        lamp_drift: 0.3,
        ..Conditions::default()
    };
    let read = read(&FULL, &conditions);
    let lines = channel(&read, 3);
    assert_eq!(read.open[3], 210);
    let rows: Vec<f64> = (1..=56).map(|row| lines[row * 8]).collect();
    let steps = rows.windows(2).map(|pair| pair[0] - pair[1]);
    // 60 levels over the whole way from the rollers: the card and what lies
    // before it
    let machine = plain();
    let way = machine.rollers_to_edge_mm + machine.edge_to_reader_mm() + machine.stock.length_mm;
    let a_row = 60.0 * machine.pitch_mm / way;
    assert!(steps.into_iter().all(|step| (step - a_row).abs() <= 1.0));
    assert!((rows[0] - rows[55] - 55.0 * a_row).abs() <= 1.0);
}

#[test]
fn dust_dims_its_channel_from_its_place_on() {
    let edge_to_reader = plain().edge_to_reader_mm();
    let conditions = Conditions {
        dust: Some(Dust {
            channel: 4,
            loss: 0.4,
            from_mm: edge_to_reader + 200.0,
        }),
        ..Conditions::default()
    };
    let dusty = read(&FULL, &conditions);
    let clean = read(&FULL, &Conditions::default());
    let model = model(&plain());
    for line in 0..model.lines() {
        for hole in 0..8 {
            let at = usize::from(line) * 8 + hole;
            let (dim, bright) = (f64::from(dusty.lines[at]), f64::from(clean.lines[at]));
            let left = if hole == 4 && model.line_mm(line) >= 200.0 {
                0.6
            } else {
                1.0
            };
            assert!(
                (dim - 10.0 - left * (bright - 10.0)).abs() <= 1.0,
                "line {line}, {hole}"
            );
        }
    }
    assert_eq!((dusty.dark, dusty.open), (clean.dark, clean.open));
}

#[test]
fn light_from_elsewhere_adds_to_every_channel_as_it_comes() {
    let conditions = Conditions {
        stray: Stray {
            at_levels: 0.05,
            to: 0.15,
            rounds: 0.5,
        },
        ..Conditions::default()
    };
    let lit = read(&BLANK, &conditions);
    assert_eq!((lit.dark[2], lit.open[2]), (20, 220));
    let lines = channel(&lit, 2);
    // paper 12 above dark; light from elsewhere from 10 up to 30, and never down
    assert!(lines.is_sorted());
    assert!((32.0..=36.0).contains(&lines[0]), "{}", lines[0]);
    assert!(lines[448] > 50.0, "{}", lines[448]);
    let still = Stray {
        at_levels: 0.05,
        to: 0.05,
        rounds: 3.0,
    };
    for done in [0.0, 0.3, 1.0] {
        assert!((still.at(done) - 0.05).abs() < 1e-12);
    }
}

#[test]
fn a_feed_that_lags_reads_as_a_card_cut_too_far_behind() {
    for lag in [0.0, 0.4, 1.3] {
        let conditions = Conditions {
            feed_lag_mm: lag,
            ..Conditions::default()
        };
        let late = read(&strokes(), &conditions);
        let offset = Make {
            cut_offset_mm: lag,
            ..Make::default()
        };
        let card = made(&strokes(), &offset);
        let behind = model(&plain()).read(&card, &Conditions::default());
        // but for the card's own edges
        assert_eq!(
            late.lines[8 * 8..8 * 448],
            behind.lines[8 * 8..8 * 448],
            "{lag}"
        );
        let exact = read(&strokes(), &Conditions::default());
        assert_eq!(late.lines == exact.lines, lag == 0.0, "{lag}");
    }
}

/// Where a hole of stroke `stroke` is seen on channel 0, in lines: the middle
/// of the light that is more than the paper's.
fn seen_at(read: &ReadCard, stroke: usize) -> f64 {
    let lines = channel(read, 0);
    let near = (stroke + 1) * 8 - 8..(stroke + 1) * 8 + 9;
    let weight = |line: usize| (lines[line] - 22.0).max(0.0);
    let all: f64 = near.clone().map(weight).sum();
    near.map(|line| weight(line) * line as f64).sum::<f64>() / all
}

#[test]
fn errors_of_the_feed_add_up_from_row_to_row() {
    let mut strokes = BLANK;
    strokes[3] = Stroke::Needles(Row(1));
    strokes[48] = Stroke::Needles(Row(1));
    let card = made(&strokes, &Make::default());
    let mut model = model(&plain());
    let walk = 0.05;
    let conditions = Conditions {
        feed_walk_mm: walk,
        ..Conditions::default()
    };
    let a_line = plain().pitch_mm / 8.0;
    let cards = 400;
    let mut squares = 0.0;
    for seed in 0..cards {
        model.seed(seed);
        let read = model.read(&card, &conditions);
        let apart = (seen_at(&read, 48) - seen_at(&read, 3)) * a_line;
        squares += (apart - 45.0 * plain().pitch_mm).powi(2);
    }
    let spread = (squares / cards as f64).sqrt();
    // A random walk of 45 equal steps spreads by sqrt(45) of them.
    let wanted = walk * f64::sqrt(45.0);
    let error = wanted / f64::sqrt(2.0 * cards as f64);
    assert!(
        (spread - wanted).abs() < 5.0 * error,
        "{spread}, {wanted}, seeds from 0"
    );
}

#[test]
fn a_second_card_under_it_dims_the_paper_and_lengthens_what_is_measured() {
    let under = made(&BLANK, &Make::default());
    let conditions = Conditions {
        under: Some((under, 20.0)),
        ..Conditions::default()
    };
    let two = read(&BLANK, &conditions);
    let one = read(&BLANK, &Conditions::default());
    // Light through two layers is the product of what each passes
    // (Bouguer-Lambert law): 0.06 x 0.06 x 200 levels.
    let lines = channel(&two, 0);
    assert!((lines[200] - 10.7).abs() <= 0.5, "{}", lines[200]);
    assert_eq!(channel(&one, 0)[200], 22.0);
    assert_eq!(lines[4], 22.0, "the second begins 20 mm behind");
    let longer = two.length_um - one.length_um;
    assert!((19_950..=20_050).contains(&longer), "{longer}");
}

#[test]
fn settings_that_the_unit_would_refuse_are_refused() {
    let settings = WorldSettings::default();
    let told = Settings {
        samples_per_row: 0,
        ..settings.as_told_to_unit(56)
    };
    assert!(ReaderModel::new(settings, &told, 56).is_err());
}
