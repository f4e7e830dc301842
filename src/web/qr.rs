//! QR symbols as SVG paths, with presentation attributes only, so that no policy has to be loosened.

use fast_qr::{ECL, QRBuilder};

use crate::reckon::qr_size::QUIET;

/// A symbol with its quiet zone of four modules. Templates draw `path` in a box of `side` by `side`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Qr {
    /// Modules on a side, quiet zone included.
    pub side: usize,
    /// The dark modules, each run of a row one rectangle.
    pub path: String,
}

/// The symbol for what a code opens. The address is all upper case, which the alphanumeric mode holds in
/// fewer modules. `None` when the address is too long for any symbol.
pub fn of_code(public_url: &str, code: &crate::code::Code) -> Option<Qr> {
    symbol(&format!("{public_url}/c/{}", code.plain()).to_uppercase())
}

/// The symbol for any address of ours that is understood in upper case.
pub fn of_address(address: &str) -> Option<Qr> {
    symbol(&address.to_uppercase())
}

fn symbol(text: &str) -> Option<Qr> {
    let symbol = QRBuilder::new(text).ecl(ECL::M).build().ok()?;
    let mut path = String::new();
    for y in 0..symbol.size {
        let row = &symbol[y];
        let mut x = 0;
        while x < symbol.size {
            let start = x;
            while x < symbol.size && row[x].value() {
                x += 1;
            }
            if x > start {
                let (left, top, run) = (start + QUIET, y + QUIET, x - start);
                path.push_str(&format!("M{left} {top}h{run}v1h-{run}z"));
            }
            x += 1;
        }
    }
    Some(Qr {
        side: symbol.size + 2 * QUIET,
        path,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::code::Code;

    #[test]
    fn an_ordinary_address_fits_25_modules() {
        // ISO/IEC 18004, table of capacities: version 2 (25 modules) at level M holds 38 alphanumeric
        // characters and 26 bytes; the address has 32, so lower case would take version 3.
        let code = Code::from_random(7);
        let qr = of_code("https://kit.example.org", &code).unwrap();
        assert_eq!(qr.side, 25 + 8);
        let lower = symbol(&format!("https://kit.example.org/c/{}", code.plain())).unwrap();
        assert_eq!(lower.side, 29 + 8);
    }

    #[test]
    fn the_three_finders_stand_in_their_corners() {
        // ISO/IEC 18004: each finder's outermost row is seven dark modules.
        let qr = of_code("https://kit.example.org", &Code::from_random(7)).unwrap();
        for corner in ["M4 4h7v1", "M22 4h7v1", "M4 22h7v1"] {
            assert!(qr.path.contains(corner), "{corner} in {}", qr.path);
        }
        assert_eq!(symbol(&"X".repeat(5000)), None);
    }
}
