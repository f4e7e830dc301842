//! What a field may be called and made of. Pure.

use crate::events::rules::Refused as EventRefused;
use crate::ids::KitId;
use crate::text::{fold, tidy};

/// The fields of the form, as typed; then as they are kept.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Typed {
    pub name: String,
    pub note: String,
    pub kits: Vec<KitId>,
}

/// Why it was not done.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error("Give the field a name of at most 120 characters.")]
    Name,
    #[error("Another field of the team is called so.")]
    NameTaken,
    #[error("A note has at most 500 characters.")]
    LongNote,
    #[error("Choose at least two kits; one kit alone is a field already.")]
    TooFewKits,
    #[error("One of these kits is not your team's, or was put away. Choose again.")]
    OtherKit,
    #[error("Choose an event.")]
    NoEvent,
    #[error("All its kits go there already.")]
    AllGo,
    #[error("{0}: {1}")]
    Kit(String, EventRefused),
    #[error(
        "Somebody else changed this field meanwhile. What they wrote stands; look at it and choose again."
    )]
    Changed,
}

impl Refused {
    /// The field of the form it belongs to.
    pub fn field(&self) -> &'static str {
        match self {
            Refused::Name | Refused::NameTaken => "name",
            Refused::LongNote => "note",
            Refused::TooFewKits | Refused::OtherKit => "kits",
            Refused::NoEvent | Refused::AllGo => "event",
            Refused::Kit(..) => "why",
            Refused::Changed => "",
        }
    }
}

/// Reads the form, given the team's kits.
pub fn read(typed: &Typed, of_team: &[KitId]) -> Result<Typed, Refused> {
    let name = tidy(&typed.name);
    if name.is_empty() || name.chars().count() > 120 {
        return Err(Refused::Name);
    }
    let note = tidy(&typed.note);
    if note.chars().count() > 500 {
        return Err(Refused::LongNote);
    }
    let mut kits: Vec<KitId> = Vec::new();
    for kit in &typed.kits {
        if !of_team.contains(kit) {
            return Err(Refused::OtherKit);
        }
        if !kits.contains(kit) {
            kits.push(*kit);
        }
    }
    if kits.len() < 2 {
        return Err(Refused::TooFewKits);
    }
    Ok(Typed { name, note, kits })
}

/// Whether two names are one to people.
pub fn same_name(one: &str, other: &str) -> bool {
    fold(one) == fold(other)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_is_two_kits_of_the_team_and_a_name() {
        let kits: Vec<KitId> = (0..3).map(|_| KitId::new()).collect();
        let typed = |name: &str, kits: &[KitId]| Typed {
            name: name.into(),
            note: String::new(),
            kits: kits.to_vec(),
        };
        let of_team = &kits[..2];
        for (typed, expected) in [
            (typed("Hall", of_team), Ok(2)),
            (typed("", of_team), Err(Refused::Name)),
            (typed(&"x".repeat(121), of_team), Err(Refused::Name)),
            (typed("Hall", &kits[..1]), Err(Refused::TooFewKits)),
            (typed("Hall", &[kits[0], kits[0]]), Err(Refused::TooFewKits)),
            (typed("Hall", &kits), Err(Refused::OtherKit)),
        ] {
            let read = read(&typed, of_team).map(|read| read.kits.len());
            assert_eq!(read, expected, "{typed:?}");
        }
        assert!(same_name("Hall Field", "hall field"));
    }
}
