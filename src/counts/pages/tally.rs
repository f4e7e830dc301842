//! The tally page: one part, large, in the hand of somebody who counts.

use askama::Template;
use sqlx::SqliteConnection;

use super::super::kit_total::KitTotal;
use super::super::rules::close::Purpose;
use super::super::store::{self, CountSheet, Part, Stint};
use super::lines;
use super::{Counter, tap_words};
use crate::app::App;
use crate::error::AppError;
use crate::ids::{PartId, TallyId};
use crate::pictures;
use crate::places::{self, Place};
use crate::web::form::Wrong;
use crate::web::frame::Frame;

/// How many taps are listed with an undo.
const TAPS_LISTED: i64 = 10;
/// Up to so many pieces are seen without counting them.
const SEEN_AT_A_GLANCE: i64 = 4;

/// What a page brings along from a form that was refused.
#[derive(Default)]
pub struct Shown {
    pub refused: Option<String>,
    /// The refusal is about the typed number.
    pub typed_wrong: Option<String>,
    pub typed: String,
    pub groups_wrong: Option<String>,
    pub groups: String,
    pub rest: String,
}

#[derive(Template)]
#[template(path = "counts/tally.html")]
pub struct TallyPage {
    frame: Frame,
    /// The address of the stint.
    path: String,
    /// Somebody without an account counts: nothing of others is shown, and no page that needs an account.
    is_helper: bool,
    wrongs: Vec<Wrong>,
    refused: Option<String>,
    typed_wrong: Option<String>,
    typed: String,
    groups_wrong: Option<String>,
    groups: String,
    rest: String,
    sheet: CountSheet,
    stint: Stint,
    place: Place,
    part: Part,
    due: Option<i64>,
    shown: Option<i64>,
    doubted: bool,
    /// `None`: hidden from a second counter, and from helpers.
    kit: Option<KitTotal>,
    /// "Part 4 of 11", where the place has a slip.
    at: Option<(usize, usize)>,
    next: Option<(PartId, String)>,
    taps: Vec<TapRow>,
    may_tap: bool,
    picture: Option<pictures::Shown>,
}

struct TapRow {
    id: TallyId,
    amount: i64,
    words: String,
    by: String,
    undone: bool,
    /// It takes another tap back, or was taken back: not the tap that Undo on the keys means.
    spent: bool,
}

impl TallyPage {
    fn gates(&self) -> i64 {
        self.shown.unwrap_or(0)
    }

    fn shown_text(&self) -> String {
        self.shown.map_or_else(String::new, |n| n.to_string())
    }

    fn due_text(&self) -> String {
        self.due.map_or_else(String::new, |n| n.to_string())
    }

    fn to_come(&self) -> i64 {
        self.kit.map_or(0, |kit| kit.to_come())
    }

    fn over(&self) -> i64 {
        match (self.due, self.shown) {
            (Some(due), Some(shown)) => (shown - due).max(0),
            _ => 0,
        }
    }

    fn is_all_here(&self) -> bool {
        self.shown.is_some() && self.shown == self.due
    }

    fn is_recount(&self) -> bool {
        self.sheet.purpose == Purpose::Recount
    }

    /// The number that one key says at a glance: small, known, and nothing counted yet.
    fn all(&self) -> Option<i64> {
        let due = match self.due {
            Some(due) => due,
            None => self.kit?.to_come(),
        };
        (self.shown.is_none() && (1..=SEEN_AT_A_GLANCE).contains(&due)).then_some(due)
    }

    /// What the big key adds.
    fn step(&self) -> i64 {
        self.part.group().unwrap_or(1)
    }

    /// The latest tap that Undo on the keys takes back.
    fn last(&self) -> Option<&TapRow> {
        self.taps.iter().find(|tap| !tap.spent)
    }
}

/// The page of a part in a stint. A helper sees their own taps only.
pub async fn page(
    db: &mut SqliteConnection,
    app: &App,
    counter: &Counter,
    frame: Frame,
    (stint, sheet, part): (Stint, CountSheet, PartId),
    brought: Shown,
) -> Result<TallyPage, AppError> {
    let part = store::part(db, part)
        .await?
        .ok_or(AppError::NotFound("part"))?;
    let place = places::find(db, stint.place)
        .await?
        .ok_or(AppError::NotFound("place"))?;
    let is_helper = counter.is_helper();
    let picture = match is_helper {
        true => None,
        false => pictures::first_of_part(db, part.id, sheet.team).await?,
    };
    let due = store::due_of_place(db, sheet.id, stint.place).await?;
    let standing = store::standing(db, stint.id, part.id).await?;
    let kit = counter.kit_total(db, &sheet, &stint, part.id).await?;
    let counted: Vec<PartId> = store::totals(db, stint.id)
        .await?
        .into_iter()
        .map(|(part, _)| part)
        .collect();
    let position = due.iter().position(|(known, _)| *known == part.id);
    let next = following(&due, position, part.id, &counted);
    let next = match next {
        Some(next) => store::part(db, next)
            .await?
            .map(|part| (part.id, part.full_name())),
        None => None,
    };
    let taps = store::on_line(db, stint.id, part.id, TAPS_LISTED)
        .await?
        .into_iter()
        .filter(|tap| !is_helper || tap.person == counter.viewer.person)
        .map(|tap| TapRow {
            id: tap.id,
            amount: tap.amount,
            words: format!(
                "{}{} at {}",
                if tap.weighed { "weighed: " } else { "" },
                tap_words(tap.amount, tap.undoes.is_some()),
                counter.moment(app, tap.recorded_at)
            ),
            by: tap.person_name,
            undone: tap.undone,
            spent: tap.undone || tap.undoes.is_some() || tap.late,
        })
        .collect();
    let shows_need = lines::shows_need(&sheet, &stint);
    let mut wrongs = Vec::new();
    if let Some(text) = &brought.refused {
        wrongs.extend(super::whole(text));
    }
    if let Some(text) = &brought.typed_wrong {
        wrongs.push(Wrong::at("typed", super::sentence(text)));
    }
    if let Some(text) = &brought.groups_wrong {
        wrongs.push(Wrong::at("groups", super::sentence(text)));
    }
    Ok(TallyPage {
        groups_wrong: brought.groups_wrong.map(|text| super::sentence(&text)),
        groups: brought.groups,
        rest: brought.rest,
        frame,
        wrongs,
        refused: brought.refused.map(|text| super::sentence(&text)),
        typed_wrong: brought.typed_wrong.map(|text| super::sentence(&text)),
        typed: brought.typed,
        due: position.map(|at| due[at].1).filter(|_| shows_need),
        shown: standing.total,
        doubted: standing.doubted,
        kit,
        at: position.map(|at| (at + 1, due.len())),
        next,
        taps,
        may_tap: counter.works_for(sheet.team) && sheet.is_open() && stint.is_open(),
        path: counter.path(stint.id),
        is_helper,
        sheet,
        stint,
        place,
        part,
        picture,
    })
}

/// The next due line that is not counted: after this one, or else from the top.
fn following(
    due: &[(PartId, i64)],
    position: Option<usize>,
    this: PartId,
    counted: &[PartId],
) -> Option<PartId> {
    let start = position.map_or(0, |at| at + 1);
    due.iter()
        .cycle()
        .skip(start)
        .take(due.len())
        .map(|(part, _)| *part)
        .find(|part| *part != this && !counted.contains(part))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_next_line_is_the_next_that_is_not_counted() {
        let parts: Vec<PartId> = (0..4).map(|_| PartId::new()).collect();
        let due: Vec<(PartId, i64)> = parts.iter().map(|part| (*part, 1)).collect();
        let cases = [
            // this line, counted, next
            (Some(0), vec![], Some(1)),
            (Some(0), vec![1], Some(2)),
            (Some(3), vec![3], Some(0)),
            (Some(2), vec![0, 1, 2, 3], None),
            (Some(2), vec![0, 1, 3], None),
            (None, vec![0], Some(1)),
        ];
        for (this, counted, next) in cases {
            let counted: Vec<PartId> = counted.into_iter().map(|at: usize| parts[at]).collect();
            let part = this.map_or_else(PartId::new, |at| parts[at]);
            let expected = next.map(|at: usize| parts[at]);
            assert_eq!(following(&due, this, part, &counted), expected, "{this:?}");
        }
        assert_eq!(following(&[], None, parts[0], &[]), None);
    }
}
