//! What may be written about a numbered piece. Pure.

use crate::text::tidy;

/// What somebody who looked says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
pub enum Said {
    #[sqlx(rename = "seen")]
    Seen,
    #[sqlx(rename = "not here")]
    NotHere,
}

impl Said {
    pub const ALL: [Said; 2] = [Said::Seen, Said::NotHere];

    pub fn word(self) -> &'static str {
        match self {
            Said::Seen => "seen",
            Said::NotHere => "not here",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|said| said.word() == word)
    }
}

/// The fields of the form, as typed; then as they are kept.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Typed {
    pub name: String,
    pub serial: String,
    pub note: String,
}

/// Why it was not written down.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error("No part is called so. Write its number, or its name as the parts list has it.")]
    NoSuchPart,
    #[error("Several parts are called so. Write number, name and colour: “B-4 Peg, black”.")]
    SeveralParts,
    #[error("Write a serial number or a name, so that the piece can be told from its like.")]
    Nameless,
    #[error("A name has at most 80 characters.")]
    LongName,
    #[error("A serial number has at most 80 characters.")]
    LongSerial,
    #[error("A note has at most 500 characters.")]
    LongNote,
    #[error("Another piece of this kind bears this serial number.")]
    SerialTaken,
    #[error("Say whether you saw it.")]
    NothingSaid,
    #[error("Say where you looked.")]
    Nowhere,
    #[error("This piece is put away. Bring it back first.")]
    PutAway,
    #[error("Say why it is put away: broken for good, given back, lost.")]
    NoReason,
    #[error("A reason has at most 300 characters.")]
    LongReason,
    #[error(
        "Somebody else changed this piece meanwhile. What they wrote stands; look at it and type again."
    )]
    Changed,
}

impl Refused {
    /// The field it belongs to.
    pub fn field(&self) -> &'static str {
        match self {
            Refused::NoSuchPart | Refused::SeveralParts => "part",
            Refused::Nameless | Refused::LongSerial | Refused::SerialTaken => "serial",
            Refused::LongName => "name",
            Refused::LongNote => "note",
            Refused::Nowhere => "place",
            Refused::NoReason | Refused::LongReason => "why",
            Refused::NothingSaid | Refused::PutAway | Refused::Changed => "",
        }
    }
}

/// Reads the form.
pub fn read(typed: &Typed) -> Result<Typed, Refused> {
    let said = Typed {
        name: tidy(&typed.name),
        serial: tidy(&typed.serial),
        note: tidy(&typed.note),
    };
    if said.name.is_empty() && said.serial.is_empty() {
        return Err(Refused::Nameless);
    }
    if said.name.chars().count() > 80 {
        return Err(Refused::LongName);
    }
    if said.serial.chars().count() > 80 {
        return Err(Refused::LongSerial);
    }
    if said.note.chars().count() > 500 {
        return Err(Refused::LongNote);
    }
    Ok(said)
}

/// A few words beside a sighting.
pub fn note(text: &str) -> Result<String, Refused> {
    let text = tidy(text);
    if text.chars().count() > 300 {
        return Err(Refused::LongNote);
    }
    Ok(text)
}

/// Why a piece is put away.
pub fn reason(text: &str) -> Result<String, Refused> {
    let text = tidy(text);
    match text.chars().count() {
        0 => Err(Refused::NoReason),
        n if n > 300 => Err(Refused::LongReason),
        _ => Ok(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_piece_has_a_number_or_a_name() {
        let typed = |name: &str, serial: &str| Typed {
            name: name.into(),
            serial: serial.into(),
            note: String::new(),
        };
        let long = "x".repeat(81);
        for (name, serial, expected) in [
            ("", "", Err(Refused::Nameless)),
            ("  ", "\t", Err(Refused::Nameless)),
            ("old one", "", Ok(typed("old one", ""))),
            (" old  one ", " KW-7 ", Ok(typed("old one", "KW-7"))),
            (long.as_str(), "", Err(Refused::LongName)),
            ("", long.as_str(), Err(Refused::LongSerial)),
        ] {
            assert_eq!(read(&typed(name, serial)), expected, "{name} {serial}");
        }
        assert_eq!(reason(" "), Err(Refused::NoReason));
        assert_eq!(reason(&"x".repeat(301)), Err(Refused::LongReason));
        assert_eq!(note(&"x".repeat(301)), Err(Refused::LongNote));
        for said in Said::ALL {
            assert_eq!(Said::from_word(said.word()), Some(said));
        }
    }
}
