//! How large a QR symbol must be printed for a text.

use fast_qr::{ECL, QRBuilder};

/// How much of a symbol may be dirty or torn and still be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recovery {
    /// About 7 % (level L of the standard). From memory, as the three below.
    Low,
    /// About 15 % (M).
    Medium,
    /// About 25 % (Q).
    Quartile,
    /// About 30 % (H).
    High,
}

/// A symbol as it will stand on paper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Printed {
    /// Version 1 to 40 of the standard.
    pub version: usize,
    /// Dark or light squares on a side, without the quiet zone.
    pub modules: usize,
    /// The side with the quiet zone, in millimetres.
    pub side_mm: f64,
}

/// Why a symbol cannot be printed, in words for the person who asked.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NotPrintable {
    #[error("there is nothing to print")]
    Empty,
    #[error("the text is too long for a QR symbol; shorten it")]
    TooLong,
    #[error(
        "squares of {0} mm cannot be printed and read well: choose {SMALLEST_MM} to {LARGEST_MM} mm"
    )]
    Module(f64),
}

/// Squares on each side that must stay blank. ISO/IEC 18004, from memory.
pub const QUIET: usize = 4;
/// Smallest side of a square, in millimetres: GS1 General Specifications, QR Code for retail and general
/// distribution, X-dimension 0.396 mm to 0.990 mm. From memory. ISO/IEC 18004 leaves it to the user.
pub const SMALLEST_MM: f64 = 0.396;
/// Largest side of a square, in millimetres; for a label on a hall's wall larger ones are no harm, but a
/// crate has no room for them.
pub const LARGEST_MM: f64 = 10.0;

/// The size of the QR symbol that holds a text.
///
/// The more characters, the more squares; the more squares, the larger the label must be, because a
/// telephone cannot tell squares apart that are too small. Digits take less room than letters, capital
/// letters less than small ones: an address in capitals often fits the next smaller symbol.
///
/// Version `v` has `17 + 4 v` squares on a side; with the quiet zone of 4 squares on either side the
/// label is `(17 + 4 v + 8) · module` wide. Refuses an empty text, one beyond version 40 and squares that
/// cannot be printed. Source: ISO/IEC 18004; the encoding is the library's.
pub fn printed(text: &str, recovery: Recovery, module_mm: f64) -> Result<Printed, NotPrintable> {
    if text.is_empty() {
        return Err(NotPrintable::Empty);
    }
    if !(SMALLEST_MM..=LARGEST_MM).contains(&module_mm) {
        return Err(NotPrintable::Module(module_mm));
    }
    let level = match recovery {
        Recovery::Low => ECL::L,
        Recovery::Medium => ECL::M,
        Recovery::Quartile => ECL::Q,
        Recovery::High => ECL::H,
    };
    let modules = QRBuilder::new(text)
        .ecl(level)
        .build()
        .map_err(|_| NotPrintable::TooLong)?
        .size;
    Ok(Printed {
        version: (modules - 17) / 4,
        modules,
        side_mm: (modules + 2 * QUIET) as f64 * module_mm,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_printed_is_refused_in_words() {
        let refused = |text: &str, module| printed(text, Recovery::Medium, module).unwrap_err();
        assert_eq!(refused("", 0.5), NotPrintable::Empty);
        assert_eq!(refused(&"x".repeat(2332), 0.5), NotPrintable::TooLong);
        for module in [0.39, 0.0, -0.5, f64::INFINITY, 10.1] {
            assert_eq!(refused("X", module), NotPrintable::Module(module));
        }
        assert!(matches!(
            refused("X", f64::NAN),
            NotPrintable::Module(module) if module.is_nan()
        ));
        assert_eq!(
            refused("X", 0.1).to_string(),
            "squares of 0.1 mm cannot be printed and read well: choose 0.396 to 10 mm"
        );
    }

    #[test]
    fn better_recovery_never_makes_a_smaller_symbol() {
        for length in [1, 20, 50, 200, 1000] {
            let side = |recovery| {
                printed(&"7K3F28".repeat(length), recovery, 0.5).map_or(usize::MAX, |it| it.modules)
            };
            let sides = [
                side(Recovery::Low),
                side(Recovery::Medium),
                side(Recovery::Quartile),
                side(Recovery::High),
            ];
            assert!(sides.is_sorted(), "{length}: {sides:?}");
        }
    }
}
