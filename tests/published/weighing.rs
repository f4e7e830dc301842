//! The building blocks of measurement uncertainty: JCGM 100:2008 (GUM). All values from memory.

use fieldstow::reckon::weighing::{coverage_factor, effective_freedom, rectangular};

/// GUM 4.3.7: the expansion coefficient of copper within ± 0.40 × 10⁻⁶, u = 0.23 × 10⁻⁶ (two digits).
#[test]
fn rectangular_bounds() {
    assert!((rectangular(0.40) - 0.23).abs() < 0.005);
}

/// GUM H.1, end gauge: standard, comparison, difference of expansion, difference of temperature, in nm.
/// 16.7 degrees, from unrounded parts; ours are the printed, rounded ones, hence 0.1 of room. With 16, t at 99 % is 2.92 and U = 93 nm from u = 32 nm.
#[test]
fn end_gauge() {
    let freedom = effective_freedom(&[(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]);
    assert!((freedom - 16.7).abs() < 0.1, "{freedom}");
    let factor = coverage_factor(freedom, 0.99).unwrap();
    assert!((factor - 2.92).abs() < 0.005, "{factor}");
    assert_eq!((factor * 32.0).round(), 93.0);
}

/// GUM table G.2, two places.
#[test]
fn student_factors() {
    for (freedom, chance, printed) in [
        (1.0, 0.95, 12.71),
        (2.0, 0.95, 4.30),
        (5.0, 0.95, 2.57),
        (10.0, 0.95, 2.23),
        (16.0, 0.95, 2.12),
        (50.0, 0.95, 2.01),
        (1.0, 0.9545, 13.97),
        (10.0, 0.9545, 2.28),
        (5.0, 0.99, 4.03),
        (10.0, 0.99, 3.17),
        (f64::INFINITY, 0.95, 1.960),
        (f64::INFINITY, 0.9545, 2.000),
    ] {
        let factor = coverage_factor(freedom, chance).unwrap();
        assert!(
            (factor - printed).abs() < 0.0051,
            "{freedom} {chance}: {factor}"
        );
    }
}
