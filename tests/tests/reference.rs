//! The way to the reference libraries. If one of these fails, what other tests
//! take for an outside check is none.

use cardwright_tests::reference::reference;
use serde_json::{Value, json};

fn numbers(answer: &Value) -> Vec<f64> {
    let list = answer["solution"].as_array().expect("a solution");
    list.iter().filter_map(Value::as_f64).collect()
}

fn close(found: &[f64], wanted: &[f64], by: f64) {
    assert_eq!(found.len(), wanted.len());
    let near = found.iter().zip(wanted).all(|(a, b)| (a - b).abs() < by);
    assert!(near, "{found:?}, {wanted:?}");
}

#[test]
fn least_squares_gives_the_line_of_the_handbook() {
    // NumPy reference, numpy.linalg.lstsq, example: slope 1, intercept -0.95.
    let line = json!({
        "design": [[0.0, 1.0], [1.0, 1.0], [2.0, 1.0], [3.0, 1.0]],
        "right": [-1.0, 0.2, 0.9, 2.1],
    });
    // Without its last point, by hand: the slope of three points in equal steps
    // is half the difference of the outer two, the mean is 0.1 / 3 at 1.
    let mut three = line.clone();
    three["weights"] = json!([1.0, 1.0, 1.0, 0.0]);
    let answers = reference("lstsq", json!([line, three]));
    close(&numbers(&answers[0]), &[1.0, -0.95], 1e-12);
    close(&numbers(&answers[1]), &[0.95, 0.1 / 3.0 - 0.95], 1e-12);
}

#[test]
fn weights_count_a_point_as_often_as_they_say() {
    let answer = reference(
        "lstsq",
        json!({"design": [[1.0], [1.0]], "right": [0.0, 8.0], "weights": [1.0, 3.0]}),
    );
    // The weighted mean: (0 + 3 x 8) / 4.
    close(&numbers(&answer), &[6.0], 1e-12);
}

#[test]
fn huber_pulls_no_harder_for_a_point_far_off() {
    let answer = reference(
        "huber",
        json!({"design": [[1.0], [1.0], [1.0], [1.0], [1.0]],
               "right": [-1.0, 0.0, 0.0, 1.0, 1000.0], "scale": 2.0}),
    );
    // Huber 1964: residuals are clipped at the scale, so the centre m solves
    // (-1 - m) + 2 (0 - m) + (1 - m) + 2 = 0.
    close(&numbers(&answer), &[0.5], 1e-6);
}

#[test]
fn otsu_parts_two_heaps() {
    let mut values = vec![20; 50];
    values.extend([22; 30]);
    values.extend([200; 40]);
    let answer = reference("otsu", json!({ "values": values }));
    let threshold = answer["threshold"].as_f64().expect("a threshold");
    assert!((22.0..200.0).contains(&threshold), "{threshold}");
}

#[test]
#[should_panic(expected = "a number for each row")]
fn a_problem_that_is_none_is_refused() {
    let _ = reference("lstsq", json!({"design": [[1.0], [2.0]], "right": [1.0]}));
}
