//! One type for each kind of id, so that a kit's id cannot be passed as a place's.
//!
//! Every id is a UUIDv7 made by this program and stored as 16 bytes. A phone may send any 16 bytes
//! for its own acts.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident)*) => {$(
        $(#[$doc])*
        #[derive(
            Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, sqlx::Type,
        )]
        #[sqlx(transparent)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl $name {
            /// A new id, later than every earlier one of this machine.
            pub fn new() -> Self {
                Self(Uuid::now_v7())
            }

            /// The 16 bytes as they are stored.
            pub fn bytes(&self) -> &[u8; 16] {
                self.0.as_bytes()
            }
        }

        impl Default for $name {
            fn default() -> Self {
                Self::new()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = uuid::Error;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                text.parse().map(Self)
            }
        }
    )*};
}

ids! {
    TeamId
    PersonId
    SessionId
    TokenId
    SeasonId
    GuideId
    RevisionId
    SizeId
    PartId
    AssemblyId
    ListLineId
    ImportDraftId
    KitId
    PlaceId
    CountId
    StintId
    TallyId
    DamageId
    FileId
    PictureId
    GuidePdfId
    LoanId
    EventId
    PieceId
    FieldId
    FeedId
    PassId
    HelperId
    LinkId
    BorrowedId
    NotOursId
    DraftId
    PhoneId
    ReportId
    OrderId
    /// Drawn when a form is shown, sent with it, and kept for ever: the same form sent twice is
    /// recorded once. For acts that the ledger records it is also the entry's id.
    FormId
}
