//! Spares: the Poisson table of textbooks, worked examples, and the predictive law.

use fieldstow::reckon::spares::{Loss, SparesRefused, Use, poisson, spares};

fn rows(text: &str) -> Vec<Vec<f64>> {
    let numbers = |line: &str| line.split(',').map(|it| it.parse().unwrap()).collect();
    text.lines().skip(2).map(numbers).collect()
}

/// The printed cumulative table, turned round: asked with a confidence just under what is printed for x,
/// x suffices; just above, it does not. Printed to four places, so 0.00006 of room.
#[test]
fn poisson_table() {
    let rows = rows(include_str!("poisson.csv"));
    assert_eq!(rows.len(), 110);
    for row in rows {
        let (mean, x, chance) = (row[0], row[1] as u64, row[2]);
        assert!(poisson(mean, chance - 0.00006).unwrap() <= x, "{row:?}");
        if chance < 0.9999 {
            assert!(poisson(mean, chance + 0.00006).unwrap() > x, "{row:?}");
        }
    }
}

/// A logistics exercise (30 like parts, 10 000 h between failures, 90 days, 95 %), answer read from a
/// nomograph: 11. Blanchard, *Logistics Engineering and Management*, spare-part nomograph: 20 parts, 0.1
/// failures in 1000 h, 90 days, 95 %: 8, from memory.
#[test]
fn worked_examples() {
    assert_eq!(poisson(30.0 * 0.0001 * 2160.0, 0.95), Ok(11));
    assert_eq!(poisson(20.0 * 0.0001 * 2160.0, 0.95), Ok(8));
}

fn ask(k: u64, past: f64, coming: f64, confidence: f64) -> Result<(u64, f64), SparesRefused> {
    let loss = Loss {
        what: "worn".to_owned(),
        pieces: k,
        one_off: false,
    };
    let season = |days| [Use { pieces: 1, days }];
    spares(&[loss], &season(past), &season(coming), confidence).map(|it| (it.spares, it.expected))
}

/// Every row at five confidences. The mean is printed to six places.
#[test]
fn predictive_law() {
    let rows = rows(include_str!("jeffreys.csv"));
    assert_eq!(rows.len(), 52);
    for row in rows {
        for (at, confidence) in [(5, 0.5), (6, 0.8), (7, 0.9), (8, 0.95), (9, 0.99)] {
            let (spares, mean) = ask(row[0] as u64, row[1], row[2], confidence).unwrap();
            assert_eq!(spares, row[at] as u64, "{row:?} at {confidence}");
            assert!((mean - row[3]).abs() < 1e-6, "{row:?}");
        }
    }
}

/// Computed independently with scipy: last season predicts one of the same size. 80, 90, 95, 99 %.
#[test]
fn like_the_last_season() {
    for (k, answers) in [
        (0, [1, 2, 2, 5]),
        (1, [3, 4, 5, 7]),
        (2, [4, 5, 7, 10]),
        (4, [7, 9, 10, 14]),
        (5, [8, 10, 12, 15]),
        (8, [12, 14, 16, 20]),
        (10, [14, 17, 19, 23]),
    ] {
        for (answer, confidence) in answers.into_iter().zip([0.8, 0.9, 0.95, 0.99]) {
            assert_eq!(
                ask(k, 1.0, 1.0, confidence).unwrap().0,
                answer,
                "{k} {confidence}"
            );
        }
    }
}
