//! Inches, pounds and gallons in metric units, and as many digits as a measure deserves.

/// Each is exact by definition: 16 CFR 500.19 marks inch, foot and yard so; the longer factors are those of
/// NIST SP 811, Appendix B, from memory. The regulation prints some of them rounded.
pub const CM_PER_INCH: f64 = 2.54;
pub const CM_PER_FOOT: f64 = 30.48;
pub const M_PER_YARD: f64 = 0.9144;
/// A mil is a thousandth of an inch: how thick bags and panels are.
pub const MICROMETRES_PER_MIL: f64 = 25.4;
pub const CM2_PER_SQUARE_INCH: f64 = 6.4516;
pub const CM2_PER_SQUARE_FOOT: f64 = 929.0304;
pub const CM3_PER_CUBIC_INCH: f64 = 16.387064;
pub const M3_PER_CUBIC_FOOT: f64 = 0.028316846592;
pub const KG_PER_POUND: f64 = 0.453_592_37;
pub const G_PER_OUNCE: f64 = 28.349_523_125;
pub const L_PER_GALLON: f64 = 3.785_411_784;
pub const ML_PER_FLUID_OUNCE: f64 = 29.573_529_562_5;
pub const NEWTON_PER_POUND_FORCE: f64 = 4.448_221_615_260_5;

/// A unit people in the United States measure in, and the metric unit it is told in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Told in centimetres.
    Inch,
    /// Centimetres.
    Foot,
    /// Metres.
    Yard,
    /// Micrometres.
    Mil,
    /// Square centimetres.
    SquareInch,
    /// Square centimetres.
    SquareFoot,
    /// Cubic centimetres.
    CubicInch,
    /// Cubic metres.
    CubicFoot,
    /// Kilograms.
    Pound,
    /// Grams.
    Ounce,
    /// Litres.
    Gallon,
    /// Millilitres.
    FluidOunce,
    /// Newtons.
    PoundForce,
}

/// Why a measure cannot be told, in words for the person who gave it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotAMeasure {
    #[error("that is not a number that can be measured")]
    NotANumber,
    #[error("a measure is not below zero")]
    BelowZero,
    #[error("that is more than can be reckoned with")]
    TooMuch,
}

impl Unit {
    /// How much of the metric unit one of these is. Exact.
    pub fn factor(self) -> f64 {
        match self {
            Unit::Inch => CM_PER_INCH,
            Unit::Foot => CM_PER_FOOT,
            Unit::Yard => M_PER_YARD,
            Unit::Mil => MICROMETRES_PER_MIL,
            Unit::SquareInch => CM2_PER_SQUARE_INCH,
            Unit::SquareFoot => CM2_PER_SQUARE_FOOT,
            Unit::CubicInch => CM3_PER_CUBIC_INCH,
            Unit::CubicFoot => M3_PER_CUBIC_FOOT,
            Unit::Pound => KG_PER_POUND,
            Unit::Ounce => G_PER_OUNCE,
            Unit::Gallon => L_PER_GALLON,
            Unit::FluidOunce => ML_PER_FLUID_OUNCE,
            Unit::PoundForce => NEWTON_PER_POUND_FORCE,
        }
    }

    /// The same measure in the metric unit.
    ///
    /// An inch is 2.54 cm and a pound is 0.45359237 kg, exactly; everything else follows from the two.
    ///
    /// `amount · factor`. Refuses what is below zero, no number, or too large. Source: 16 CFR 500.19.
    pub fn to_metric(self, amount: f64) -> Result<f64, NotAMeasure> {
        finite(measured(amount)? * self.factor())
    }

    /// A metric measure in this unit: `amount / factor`. Refuses as [`Unit::to_metric`] does.
    pub fn from_metric(self, amount: f64) -> Result<f64, NotAMeasure> {
        finite(measured(amount)? / self.factor())
    }
}

/// A measure with as many digits as a label declares.
///
/// Nobody reads seven digits off a scale. From a hundred upwards three digits are enough, below a hundred
/// two: 22.68 kg is "23", 453.6 g is "454", 0.4536 kg is "0.45".
///
/// Rounds to three significant digits, two below 100; halves go up. The amount is in grams, millilitres or
/// centimetres, for which the regulation gives the limit. Source: 16 CFR 500.19 (b).
pub fn declared(amount: f64) -> Result<String, NotAMeasure> {
    let amount = measured(amount)?;
    if amount == 0.0 {
        return Ok("0".into());
    }
    let digits = if amount < 100.0 { 2 } else { 3 };
    // 99.6 becomes 100: a third digit that rounding made is not one of precision.
    let magnitude = amount.log10().floor() as i32;
    let decimals = digits - 1 - magnitude;
    if decimals > 0 {
        let places = usize::try_from(decimals).unwrap_or(0);
        let shift = 10f64.powi(decimals);
        Ok(format!("{:.places$}", (amount * shift).round() / shift))
    } else {
        let shift = 10f64.powi(-decimals);
        Ok(format!("{:.0}", (amount / shift).round() * shift))
    }
}

fn measured(amount: f64) -> Result<f64, NotAMeasure> {
    if !amount.is_finite() {
        Err(NotAMeasure::NotANumber)
    } else if amount < 0.0 {
        Err(NotAMeasure::BelowZero)
    } else {
        Ok(amount)
    }
}

fn finite(amount: f64) -> Result<f64, NotAMeasure> {
    if amount.is_finite() {
        Ok(amount)
    } else {
        Err(NotAMeasure::TooMuch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_declares_three_digits_and_two_below_a_hundred() {
        for (amount, expected) in [
            (0.0, "0"),
            (0.4536, "0.45"),
            (22.68, "23"),
            (2.54, "2.5"),
            (99.4, "99"),
            (99.6, "100"),
            (121.92, "122"),
            (453.59, "454"),
            (22_679.6, "22700"),
        ] {
            assert_eq!(declared(amount).as_deref(), Ok(expected), "{amount}");
        }
    }

    #[test]
    fn what_is_no_measure_is_refused() {
        assert_eq!(Unit::Inch.to_metric(-1.0), Err(NotAMeasure::BelowZero));
        assert_eq!(declared(f64::NAN), Err(NotAMeasure::NotANumber));
        assert_eq!(Unit::Foot.to_metric(f64::MAX), Err(NotAMeasure::TooMuch));
        assert_eq!(
            Unit::Pound.from_metric(f64::INFINITY),
            Err(NotAMeasure::NotANumber)
        );
    }
}
