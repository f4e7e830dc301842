//! Taking back what was written down about a report.

use super::rules::standing::{self, Kind, Standing};
use super::{Step, find, step, store};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::KitId;
use crate::ledger;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::{self, Wrong};

/// Takes a step back: pieces that arrived by taking back their entry, everything else by another step.
pub async fn take_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    number: i64,
    line: i64,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    let today = viewer.today(app);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let report = find(tx, kit, number).await?;
        let Some(taken) = report.steps.iter().find(|step| step.line == line) else {
            return Err(AppError::NotFound("step").into());
        };
        if taken.kind == Kind::TakenBack || !standing::is_in_force(taken, &report.steps) {
            return Err(form::refused("", "this was taken back before"));
        }
        if report.standing == Standing::Closed && taken.kind != Kind::Closed {
            return Err(form::refused(
                "",
                "this report is closed; take that back first",
            ));
        }
        let others = report.steps.iter().any(|step| {
            step.line > line
                && step.kind != Kind::TakenBack
                && standing::is_in_force(step, &report.steps)
        });
        if taken.kind == Kind::Sent && others {
            return Err(form::refused(
                "",
                "take back first what happened to it after it was sent",
            ));
        }
        if let Some(seq) = taken.entry {
            let now = app.clock.now();
            return match ledger::undo(tx, seq, sent.id, viewer.person, now, None).await {
                Ok(_) => Ok(report.path()),
                Err(why) => Err(form::refused("", why.of_step()?)),
            };
        }
        let step = Step {
            undoes: Some(line),
            ..step(Kind::TakenBack, today, String::new(), viewer, app)
        };
        store::add_step(tx, report.id, &step).await?;
        match taken.kind {
            Kind::Sent => store::set_state(tx, report.id, store::State::NotSent, None).await?,
            Kind::Closed => store::set_state(tx, report.id, store::State::Open, None).await?,
            _ => {}
        }
        Ok(report.path())
    })
    .await
}
