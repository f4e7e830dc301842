//! What an entry is made of. Plain data.

use crate::clock::Instant;
use crate::ids::{FormId, KitId, PartId, PersonId, PlaceId};
use uuid::Uuid;

/// An entry's place in the order of the book; the first is 1.
pub type Seq = i64;

/// The states a piece can be in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum State {
    Good,
    /// Reported, still in use.
    Doubtful,
    /// Mended or worn: not for official play.
    #[sqlx(rename = "practice only")]
    PracticeOnly,
    Broken,
}

impl State {
    pub const ALL: [State; 4] = [
        State::Good,
        State::Doubtful,
        State::PracticeOnly,
        State::Broken,
    ];

    /// The word for it, as on the screen and in the database.
    pub fn word(self) -> &'static str {
        match self {
            State::Good => "good",
            State::Doubtful => "doubtful",
            State::PracticeOnly => "practice only",
            State::Broken => "broken",
        }
    }
}

/// Where pieces come from and go to when they enter or leave the books.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outside {
    Supplier,
    BroughtIn,
    Missing,
    Found,
    WrittenOff,
    UsedUp,
    Correction,
}

impl Outside {
    pub const ALL: [Outside; 7] = [
        Outside::Supplier,
        Outside::BroughtIn,
        Outside::Missing,
        Outside::Found,
        Outside::WrittenOff,
        Outside::UsedUp,
        Outside::Correction,
    ];

    /// The row that the founding migration made for it.
    pub fn place(self) -> PlaceId {
        let number = match self {
            Outside::Supplier => 1,
            Outside::BroughtIn => 2,
            Outside::Missing => 3,
            Outside::Found => 4,
            Outside::WrittenOff => 5,
            Outside::UsedUp => 6,
            Outside::Correction => 7,
        };
        PlaceId(Uuid::from_u128(
            0x0000_0000_0000_7000_8000_0000_0000_0000 + number,
        ))
    }

    /// Which outside place this is, if it is one.
    pub fn from_place(place: PlaceId) -> Option<Outside> {
        Self::ALL
            .into_iter()
            .find(|outside| outside.place() == place)
    }

    /// As part of a sentence: "arrived from the supplier".
    pub fn came_from(self) -> &'static str {
        match self {
            Outside::Supplier => "arrived from the supplier",
            Outside::BroughtIn => "was brought in",
            Outside::Missing => "had been missing",
            Outside::Found => "was found",
            Outside::WrittenOff => "had been written off",
            Outside::UsedUp => "had been used up",
            Outside::Correction => "was corrected upwards",
        }
    }

    /// As part of a sentence: "went back to the supplier".
    pub fn went_to(self) -> &'static str {
        match self {
            Outside::Supplier => "never came from the supplier after all",
            Outside::BroughtIn => "was never brought in after all",
            Outside::Missing => "is missing",
            Outside::Found => "was not found after all",
            Outside::WrittenOff => "was written off",
            Outside::UsedUp => "was used up",
            Outside::Correction => "was corrected downwards",
        }
    }
}

/// Where a piece stands in the books: whose it is, where, and in which state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Stand {
    pub kit: KitId,
    pub place: PlaceId,
    pub state: State,
}

impl Stand {
    pub fn good(kit: KitId, place: PlaceId) -> Self {
        Self {
            kit,
            place,
            state: State::Good,
        }
    }
}

/// So many pieces of a part going from one stand to another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Move {
    pub part: PartId,
    /// More than zero.
    pub qty: i64,
    pub from: Stand,
    pub to: Stand,
}

/// A crate or bag carried from one place to another. `None` is "nowhere yet".
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlaceMove {
    pub place: PlaceId,
    pub from: Option<PlaceId>,
    pub to: Option<PlaceId>,
}

/// So many pieces of a part of a kit were counted in a place, in all states together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CountMark {
    pub part: PartId,
    pub kit: KitId,
    pub place: PlaceId,
    pub qty: i64,
}

/// What an entry is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Document {
    Kit(KitId),
    Place(PlaceId),
    Count(crate::ids::CountId),
}

impl Document {
    /// Its kind as stored.
    pub fn kind(self) -> &'static str {
        match self {
            Document::Kit(_) => "kit",
            Document::Place(_) => "place",
            Document::Count(_) => "count",
        }
    }

    pub fn id(self) -> Uuid {
        match self {
            Document::Kit(id) => id.0,
            Document::Place(id) => id.0,
            Document::Count(id) => id.0,
        }
    }
}

/// One act, ready to be recorded.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The id the form carried.
    pub id: FormId,
    /// What kind of act, in the words of the slice that records it, at most 40 characters.
    pub kind: &'static str,
    pub actor: PersonId,
    pub recorded_at: Instant,
    pub done_at: Instant,
    pub document: Option<Document>,
    pub corrects: Option<Seq>,
    /// At most 2,000 characters; `None` when empty.
    pub note: Option<String>,
    pub moves: Vec<Move>,
    pub carried: Vec<PlaceMove>,
    pub counted: Vec<CountMark>,
}

impl Entry {
    /// An entry that moves nothing yet, recorded when it is done.
    pub fn new(id: FormId, kind: &'static str, actor: PersonId, now: Instant) -> Self {
        Self {
            id,
            kind,
            actor,
            recorded_at: now,
            done_at: now,
            document: None,
            corrects: None,
            note: None,
            moves: Vec::new(),
            carried: Vec::new(),
            counted: Vec::new(),
        }
    }

    /// Whether there is anything to record.
    pub fn is_empty(&self) -> bool {
        self.moves.is_empty() && self.carried.is_empty() && self.counted.is_empty()
    }
}
