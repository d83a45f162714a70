use super::*;

fn bench(changes: &[(&str, &str)]) -> RigFile {
    let mut text = RigFile::BENCH.to_string();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    RigFile::parse(&text, "changed").expect("a rig file")
}

fn format(name: &str) -> CardFormat {
    CardFormat::named(name).expect("a built-in format")
}

fn rate(changes: &[(&str, &str)]) -> Rate {
    Rate::new(&bench(changes), &format("400")).expect("it cuts")
}

/// By hand: from 20 mm/s with 20 m/s^2 it takes (600 - 20) / 20,000 s = 29 ms and
/// (600^2 - 20^2) / 40,000 mm = 8.99 mm to 600 mm/s, and as much to rest again. So
/// 100 mm take 2 x 29 ms and (100 - 17.98) / 600 s = 136.7 ms: 194.7 ms. 6 mm are too
/// short for that: they reach sqrt(20^2 + 20,000 x 6) mm/s = 347.0 mm/s in 16.35 ms, and
/// take 32.7 ms. A motor makes steps, and its first comes at once: with 50 steps a
/// millimetre that is a millisecond or two less.
#[test]
fn a_way_takes_what_the_trapezoid_of_its_speed_takes() {
    let settings =
        bench(&[("steps_per_mm = 20.0", "steps_per_mm = 50.0")]).settings(&format("400"));
    for (mm, by_hand_ms) in [(100.0, 194.7), (6.0, 32.7)] {
        let ms = feed_us(&settings, mm * 1000.0) / 1000.0;
        let early = by_hand_ms - ms;
        assert!((0.0..2.0).contains(&early), "{mm} mm: {ms} ms");
    }
}

/// By hand: at one speed all the way, 20 mm/s and 20 steps a millimetre, a step takes
/// 2.5 ms. Of the 140 steps of 7 mm the first comes at once.
#[test]
fn without_a_ramp_it_is_steps_by_speed() {
    let settings =
        bench(&[("top_speed_mm_s = 600", "top_speed_mm_s = 20")]).settings(&format("400"));
    let ms = feed_us(&settings, 7_000.0) / 1000.0;
    assert!((ms - 139.0 * 2.5).abs() < 1e-6, "{ms}");
    assert_eq!(feed_us(&settings, 0.0), 0.0);
}

/// By hand: 8 needle punches and the peg's, 4 at once, are 3 groups.
#[test]
fn coils_are_switched_group_by_group() {
    let rate = rate(&[]);
    let ms = |stroke: Stroke| {
        let mut run = Run {
            rate: &rate,
            us: 0.0,
            heat: [0.0; COILS],
        };
        run.stroke(stroke);
        run.us / 1000.0
    };
    use cardwright_protocol::card::Row;
    assert_eq!(ms(Stroke::Blank), 20.0);
    assert_eq!(ms(Stroke::Peg), 25.0);
    assert_eq!(ms(Stroke::Needles(Row::full(4))), 25.0);
    assert_eq!(ms(Stroke::Needles(Row::full(5))), 25.5);
    assert_eq!(ms(Stroke::NeedlesAndPeg(Row::full(8))), 26.0);
}

#[test]
fn a_rig_that_cannot_cut_such_cards_has_no_rate() {
    let of = |changes: &[(&str, &str)]| Rate::new(&bench(changes), &format("400")).err();
    let setting = |setting| Some(NoRate::Setting(setting));
    assert_eq!(
        of(&[("acceleration_mm_s2 = 20000", "acceleration_mm_s2 = 0")]),
        setting(BadSetting::Speed)
    );
    assert_eq!(
        of(&[("coils_at_once = 4 ", "coils_at_once = 0 ")]),
        setting(BadSetting::CoilsAtOnce)
    );
    // 58 rows of 8 in 8192 bytes are 17 samples a row
    let samples = |n: &str| of(&[("samples_per_row = 8", n), ("= 600", "= 200")]);
    assert_eq!(samples("samples_per_row = 16"), None);
    assert_eq!(samples("samples_per_row = 18"), Some(NoRate::Readings));
}

/// A rig file from before there were such figures.
#[test]
fn what_a_rig_file_leaves_out_is_the_benchs() {
    let without = |key: &str| {
        let lines = RigFile::BENCH.lines().filter(|line| !line.starts_with(key));
        let text: Vec<&str> = lines.collect();
        RigFile::parse(&text.join("\n"), "older").expect("a rig file")
    };
    let whole = bench(&[]);
    assert_eq!(without("stroke_ms").stroke_ms(), whole.stroke_ms());
    let pick_up = without("usual_pick_up_mm");
    assert_eq!(pick_up.usual_pick_up_mm(), whole.usual_pick_up_mm());
}

#[test]
fn figures_that_only_estimates_use_are_checked_too() {
    for (from, to) in [
        ("\nstroke_ms = 20.0", "\nstroke_ms = -1.0"),
        ("\nstroke_ms = 20.0", "\nstroke_ms = nan"),
        ("usual_pick_up_mm = 40.0", "usual_pick_up_mm = 121.0"),
    ] {
        let text = RigFile::BENCH.replace(from, to);
        let error = RigFile::parse(&text, "odd")
            .expect_err("refused")
            .to_string();
        let key = to.trim().split(' ').next().unwrap_or_default();
        assert!(error.contains(key), "{error}");
    }
}
