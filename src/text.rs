//! Comparing what people typed: names that look alike count as the same.

use unicode_normalization::{UnicodeNormalization, char::is_combining_mark};

/// The form of a text used for comparing and searching: without case, accents and extra spaces.
///
/// Two names with the same fold are the same name to a person who reads them out.
/// The result is never shown.
pub fn fold(text: &str) -> String {
    let letters = text.nfkd().flat_map(char::to_lowercase).nfkd();
    one_spaced(letters.filter(|c| !is_combining_mark(*c)))
}

/// A text as it is kept: without spaces and invisible characters around it, and with each run
/// of spaces and line breaks inside it made one space.
pub fn tidy(text: &str) -> String {
    one_spaced(text.chars())
}

fn one_spaced(letters: impl Iterator<Item = char>) -> String {
    let mut result = String::new();
    let mut gap = false;
    for letter in letters.filter(|c| !is_invisible(*c)) {
        if letter.is_whitespace() {
            gap = true;
            continue;
        }
        if gap && !result.is_empty() {
            result.push(' ');
        }
        gap = false;
        result.push(letter);
    }
    result
}

/// Characters that take no room on the screen and come along when text is pasted.
fn is_invisible(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{200b}' | '\u{2060}' | '\u{feff}')
        || c.is_control() && !c.is_whitespace()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn case_accents_and_spaces_do_not_count() {
        for (text, folded) in [
            ("  Long   Bolt ", "long bolt"),
            ("LONG\tbolt", "long bolt"),
            ("Élan", "elan"),
            ("E\u{301}lan", "elan"),
            ("ＡＢＣ １２", "abc 12"),
            ("Long\u{a0}Bolt", "long bolt"),
            ("\u{feff}Bolt\u{200b}", "bolt"),
            ("İ", "i"),
            ("ﬁt", "fit"),
            ("", ""),
            ("   ", ""),
        ] {
            assert_eq!(fold(text), folded, "{text:?}");
        }
    }

    #[test]
    fn different_names_stay_different() {
        assert_ne!(fold("Bolt 6"), fold("Bolt 60"));
        assert_ne!(fold("Ø6 pin"), fold("6 pin"));
        assert_ne!(fold("long bolt"), fold("longbolt"));
    }

    proptest! {
        #[test]
        fn folding_twice_changes_nothing(text in "\\PC{0,40}") {
            let once = fold(&text);
            prop_assert_eq!(fold(&once), once);
        }

        #[test]
        fn tidying_changes_no_fold(text in "[ a-zA-Zéß\u{a0}\u{feff}\t\n]{0,20}") {
            let tidied = tidy(&text);
            prop_assert_eq!(tidy(&tidied), tidied.clone());
            prop_assert_eq!(fold(&tidied), fold(&text));
        }
    }
}
