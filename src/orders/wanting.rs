//! Putting pieces on the list for the next order, and taking them off it again.

use super::rules::standing::{self, Kind, Standing, Step};
use super::rules::typed::{self, Wanted};
use super::store::{self, New};
use super::{Line, asked, path, store::Asked};
use crate::app::App;
use crate::clock::{Day, Instant};
use crate::db::Tx;
use crate::error::NotDone;
use crate::ids::{DamageId, KitId, OrderId, PartId, PersonId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::text::tidy;
use crate::web::form::{self, Wrong};
use crate::{kits, parts};

/// A line as it was typed.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    pub kit: String,
    /// Number, name, or number, name and colour.
    pub part: String,
    pub qty: String,
    pub needed_on: String,
    pub why: String,
}

/// Puts what somebody wants on the list for the next order.
pub async fn want(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    typed: &Typed,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let kit = match typed.kit.parse::<KitId>() {
            Ok(kit) => kits::find(tx, kit).await?,
            Err(_) => None,
        };
        let kit = match kit {
            Some(kit) if viewer.keeps(kit.team) && !kit.put_away => kit.id,
            Some(_) | None => return Err(form::refused("kit", "choose one of your kits")),
        };
        let words = tidy(&typed.part);
        let part = match parts::called(tx, &words).await?.as_slice() {
            _ if words.is_empty() => {
                return Err(form::refused("part", "write which part, by number or name"));
            }
            [] => {
                return Err(form::refused(
                    "part",
                    "no part is called so; write its number, or its name as the parts list has it",
                ));
            }
            [one] => *one,
            _ => {
                return Err(form::refused(
                    "part",
                    "several parts are called so; write number, name and colour: “B-4 Peg, black”",
                ));
            }
        };
        let wanted =
            typed::wanted(&typed.qty, &typed.needed_on, &typed.why).map_err(NotDone::Refused)?;
        let number = add(
            tx,
            (kit, part),
            &wanted,
            None,
            viewer.person,
            app.clock.now(),
        )
        .await?;
        Ok(path(kit, number))
    })
    .await
}

async fn add(
    tx: &mut Tx,
    (kit, part): (KitId, PartId),
    wanted: &Wanted,
    of: Option<(DamageId, i64)>,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<i64> {
    let new = New {
        id: OrderId::new(),
        kit,
        part,
        wanted,
        of,
        by,
        now,
    };
    store::insert(tx, &new).await
}

/// Puts pieces on the list that replace those of a report, as a step of it decided.
pub async fn want_for(
    tx: &mut Tx,
    (report, step): (DamageId, i64),
    of: (KitId, PartId),
    qty: i64,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    let wanted = Wanted {
        qty,
        needed_on: None,
        why: String::new(),
    };
    add(tx, of, &wanted, Some((report, step)), by, now).await?;
    Ok(())
}

/// Takes off the list what a step of a report put there. Answers the line where that comes too late: it was
/// ordered, or something of it arrived.
pub async fn take_off(
    tx: &mut Tx,
    (report, step): (DamageId, i64),
    by: PersonId,
    (today, now): (Day, Instant),
) -> sqlx::Result<Result<(), Line>> {
    let of = Asked {
        reports: Some(super::hex_list([report.0].into_iter())),
        ..Asked::default()
    };
    let lines = asked(tx, &of).await?;
    let line = lines
        .into_iter()
        .find(|line| line.brief.report_line == Some(step));
    let Some(line) = line else {
        return Ok(Ok(()));
    };
    match line.standing {
        Standing::CalledOff => return Ok(Ok(())),
        Standing::Waiting { left } if left == line.brief.qty => {}
        Standing::Waiting { .. } | Standing::Ordered { .. } | Standing::Arrived => {
            return Ok(Err(line));
        }
    }
    let off = Step {
        words: "The decision was taken back.".into(),
        ..blank(Kind::CalledOff, today, by, now)
    };
    store::add_step(tx, line.brief.id, &off).await?;
    store::set_state(tx, line.brief.id, standing::State::CalledOff).await?;
    Ok(Ok(()))
}

/// A step without particulars.
pub(super) fn blank(kind: Kind, day: Day, person: PersonId, now: Instant) -> Step {
    Step {
        line: 0,
        kind,
        day,
        words: String::new(),
        by: None,
        qty: 0,
        entry: None,
        entry_undone: false,
        undoes: None,
        person,
        done_at: now,
    }
}
