//! Which parts are taken for each other. Pure.

use crate::text::fold;

/// How two parts are alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Likeness {
    /// One number, two colours.
    OtherColour,
    /// One name, two numbers.
    OtherNumber,
    /// Names that differ only in a size ("peg 40", "peg 45") or in the side ("left", "right").
    OtherMeasure,
}

impl Likeness {
    /// As part of a sentence.
    pub fn words(self) -> &'static str {
        match self {
            Likeness::OtherColour => "same number, other colour",
            Likeness::OtherNumber => "same name, other number",
            Likeness::OtherMeasure => "differs only in size or side",
        }
    }
}

/// A part as it looks to somebody who holds it.
#[derive(Debug, Clone, Copy)]
pub struct Looks<'a> {
    pub number: &'a str,
    pub name: &'a str,
    pub colour: &'a str,
}

/// How one part is like another, if it is. The parts are known to be two.
pub fn likeness(one: Looks<'_>, other: Looks<'_>) -> Option<Likeness> {
    let (name, other_name) = (fold(one.name), fold(other.name));
    if !one.number.is_empty() && fold(one.number) == fold(other.number) {
        return Some(Likeness::OtherColour);
    }
    if name == other_name {
        let same_colour = fold(one.colour) == fold(other.colour);
        return Some(if one.number.is_empty() && !same_colour {
            Likeness::OtherColour
        } else {
            Likeness::OtherNumber
        });
    }
    differs_in_measure(&name, &other_name).then_some(Likeness::OtherMeasure)
}

/// Whether two folded names have the same words but for sizes and sides, and one word that is neither.
fn differs_in_measure(one: &str, other: &str) -> bool {
    let (mut words, mut others) = (one.split(' '), other.split(' '));
    let mut shared = false;
    loop {
        match (words.next(), others.next()) {
            (None, None) => return shared,
            (Some(word), Some(other)) if word == other => {
                shared |= !has_digit(word);
            }
            (Some(word), Some(other)) => {
                let sizes = has_digit(word) && has_digit(other);
                let sides = is_side(word) && is_side(other);
                if !sizes && !sides {
                    return false;
                }
            }
            _ => return false,
        }
    }
}

fn has_digit(word: &str) -> bool {
    word.chars().any(char::is_numeric)
}

fn is_side(word: &str) -> bool {
    let word = word.trim_matches(|c: char| !c.is_alphanumeric());
    matches!(word, "left" | "right")
}

/// Whether the colour cannot be seen before a film is peeled, going by how to know the part.
pub fn hides_under_film(how_to_know: &str) -> bool {
    fold(how_to_know)
        .split(|c: char| !c.is_alphanumeric())
        .any(|word| matches!(word, "film" | "films" | "foil"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(one: (&str, &str, &str), other: (&str, &str, &str), expected: Option<Likeness>) {
        let looks = |(number, name, colour)| Looks {
            number,
            name,
            colour,
        };
        assert_eq!(likeness(looks(one), looks(other)), expected);
        assert_eq!(likeness(looks(other), looks(one)), expected, "both ways");
    }

    #[test]
    fn what_people_mix_up() {
        use Likeness::*;
        check(
            ("B-6", "Shade", "amber"),
            ("b-6", "Shade", "white"),
            Some(OtherColour),
        );
        check(
            ("", "Shade", "amber"),
            ("", "shade", "white"),
            Some(OtherColour),
        );
        check(
            ("B-4", "Peg", "black"),
            ("B-9", "PEG", "black"),
            Some(OtherNumber),
        );
        check(
            ("E-101", "Edge panel 600", "pine"),
            ("E-102", "Edge panel 300", "pine"),
            Some(OtherMeasure),
        );
        check(
            ("S-420", "Screw M6 × 20", "steel"),
            ("S-425", "Screw M6 × 25", "steel"),
            Some(OtherMeasure),
        );
        check(
            ("A-1", "Bracket, left", "grey"),
            ("A-2", "Bracket, right", "grey"),
            Some(OtherMeasure),
        );
        check(("", "40", ""), ("", "45", ""), None);
        check(("", "Peg 40", ""), ("", "Peg 40 long", ""), None);
        check(("", "Peg 40", ""), ("", "Plate 40", ""), None);
        check(
            ("B-2", "Plate, long", "white"),
            ("B-3", "Plate, short", "white"),
            None,
        );
    }

    #[test]
    fn film_is_read_from_how_to_know_a_part() {
        for (words, hides) in [
            ("Colour hidden by film: peel a corner", true),
            ("Under a FILM.", true),
            ("Filmy", false),
            ("", false),
        ] {
            assert_eq!(hides_under_film(words), hides, "{words}");
        }
    }
}
