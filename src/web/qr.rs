//! QR codes as one SVG path.

use std::fmt::Write;

use fast_qr::{ECL, QRBuilder};

/// Free modules around the symbol that readers need (ISO/IEC 18004).
const QUIET_ZONE: usize = 4;

/// A symbol, ready for a template: a square of `size` units with its quiet zone, and the path of its dark
/// modules.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Qr {
    pub size: usize,
    pub path: String,
}

/// The symbol of a text, with 15 % of it recoverable. Upper-case addresses take a denser mode and so a
/// smaller symbol. `None` if the text is too long for any symbol.
pub fn of(text: &str) -> Option<Qr> {
    let code = QRBuilder::new(text).ecl(ECL::M).build().ok()?;
    let mut path = String::new();
    for (y, row) in (0..code.size).map(|y| (y, &code[y])) {
        let mut x = 0;
        while x < code.size {
            let run = row[x..code.size]
                .iter()
                .take_while(|module| module.value())
                .count();
            if run > 0 {
                // Writing to a String cannot fail.
                let _ = write!(
                    path,
                    "M{} {}h{run}v1h-{run}z",
                    x + QUIET_ZONE,
                    y + QUIET_ZONE
                );
            }
            x += run.max(1);
        }
    }
    Some(Qr {
        size: code.size + 2 * QUIET_ZONE,
        path,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_upper_case_address_fits_a_small_symbol() {
        // Version 2 has 25 modules (ISO/IEC 18004, 17 + 4 × version).
        let qr = of("HTTPS://KIT.EXAMPLE.ORG/C/7K3F28").expect("short enough");
        assert_eq!(qr.size, 25 + 8);
        // The first row of a finder pattern: seven dark modules.
        assert!(qr.path.starts_with("M4 4h7v1h-7z"), "{}", qr.path);
    }

    #[test]
    fn a_text_beyond_the_largest_symbol_has_none() {
        assert_eq!(of(&"A".repeat(5000)), None);
    }
}
