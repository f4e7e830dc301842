//! Parts: the kinds of piece. They come into being by a parts list (`guides`); here they are looked at and
//! described: what they weigh, how to know them from their look-alikes, what can hurt, how they are
//! counted.

pub mod pages;
pub mod prices;
pub mod rules;
pub mod stand_ins;
mod store;

pub use store::{Listed, Part, StandIn, called, find, holding as stand_ins_that_hold, listed_in};

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::PartId;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use rules::{CountedBy, Described, DescriptionRefused};

/// Why a description was not kept.
#[derive(Debug)]
pub enum NotDescribed {
    Refused(Vec<(&'static str, DescriptionRefused)>),
    /// Somebody else changed it since the form was shown: what it says now.
    ChangedMeanwhile(Box<Part>),
}

/// "B-4 Peg, black": number, name and colour, as `called` finds it again.
pub fn full_words(part: &Part) -> String {
    let mut words = format!("{} {}", part.number, part.name);
    if !part.colour.is_empty() {
        words.push_str(&format!(", {}", part.colour));
    }
    words.trim().to_owned()
}

/// Keeps a new description of a part, unless somebody else changed it since `version` was shown.
pub async fn describe(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    part: PartId,
    version: i64,
    described: &Described,
) -> Result<Outcome, NotDone<NotDescribed>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let now = store::find(tx, part)
            .await?
            .ok_or(AppError::NotFound("part"))?;
        let values = rules::describe(described)
            .map_err(|wrongs| NotDone::Refused(NotDescribed::Refused(wrongs)))?;
        if now.version != version {
            return Err(NotDone::Refused(NotDescribed::ChangedMeanwhile(Box::new(
                now,
            ))));
        }
        if values.counted_by == CountedBy::Look && now.counted_by != CountedBy::Look {
            let refused = |why| {
                Err(NotDone::Refused(NotDescribed::Refused(vec![(
                    "counted_by",
                    why,
                )])))
            };
            let pieces = store::in_the_books(tx, part).await?;
            if pieces > 0 {
                return refused(DescriptionRefused::InTheBooks(pieces));
            }
            if store::is_being_counted(tx, part).await? {
                return refused(DescriptionRefused::BeingCounted);
            }
        }
        store::update(tx, part, &values).await?;
        Ok(format!("/parts/{part}"))
    })
    .await
}
