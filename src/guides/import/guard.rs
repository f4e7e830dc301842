//! Cells that a spreadsheet would run.
//!
//! A cell beginning with one of `= + - @`, a tab or a line break can be taken for a formula when
//! the file is opened in a spreadsheet. Such a cell is written with an apostrophe in front
//! (OWASP, "CSV Injection"), and reading takes exactly that apostrophe off again.

use std::borrow::Cow;

/// Whether a cell, leaving out apostrophes in front, begins like a formula.
fn is_dangerous(cell: &str) -> bool {
    cell.trim_start_matches('\'')
        .starts_with(['=', '+', '-', '@', '\t', '\r', '\n'])
}

/// The cell as it is written.
pub fn put_on(cell: &str) -> Cow<'_, str> {
    if is_dangerous(cell) {
        Cow::Owned(format!("'{cell}"))
    } else {
        Cow::Borrowed(cell)
    }
}

/// The cell as it was before [`put_on`].
pub fn take_off(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if is_dangerous(rest) => rest,
        _ => cell,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn every_dangerous_beginning_gets_one_apostrophe() {
        for start in ["=", "+", "-", "@", "\t", "\r", "\n"] {
            let cell = format!("{start}1+1");
            assert_eq!(put_on(&cell), format!("'{cell}"));
            assert_eq!(take_off(&put_on(&cell)), cell);
        }
        for harmless in ["", "4", "Peg", "'s-Graven peg", "a=b", "''"] {
            assert_eq!(put_on(harmless), harmless);
            assert_eq!(take_off(harmless), harmless);
        }
    }

    proptest! {
        #[test]
        fn taking_off_undoes_putting_on(cell in "['=+@\t\r\na-]{0,6}") {
            let written = put_on(&cell);
            prop_assert_eq!(take_off(&written), &cell);
            prop_assert!(!written.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']));
        }
    }
}
