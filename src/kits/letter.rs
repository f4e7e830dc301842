//! The letter to the supplier: what it says beside its tables, and what to know before it is sent.

use sqlx::SqliteConnection;

use super::pages::checked_words;
use super::rules::looks::Said;
use super::rules::plural;
use super::rules::report::Report;
use super::{Arrival, Kit, accounts, arrival, looks, store};
use crate::clock::Day;
use crate::error::AppError;
use crate::guides;
use crate::ids::KitId;

/// Everything that the forms of the report are made of.
pub struct Letter {
    pub kit: Kit,
    pub arrival: Arrival,
    pub report: Report,
    /// The lines of the heading.
    pub facts: Vec<(String, String)>,
    pub warnings: Vec<String>,
    /// Why there is no report.
    pub not_yet: Option<&'static str>,
}

/// The letter as it would be sent today, in the days of a time zone.
pub async fn write(
    db: &mut SqliteConnection,
    zone: &str,
    kit: KitId,
    today: Day,
) -> Result<Letter, AppError> {
    let kit = super::find(db, kit)
        .await?
        .ok_or(AppError::NotFound("kit"))?;
    let arrival = arrival(db, kit.id).await?;
    let report = Report::of(&accounts(db, kit.id).await?);
    let last = store::last_count(db, kit.id).await?;
    let mut warnings = Vec::new();
    let mut list = String::new();
    if let Some(revision) = kit.revision
        && let Some(revision) = guides::revision(db, revision).await?
    {
        list = format!("{} of {}", revision.label, revision.issued_on.words());
        if !revision.is_newest
            && let Some(newest) = guides::revisions(db, revision.guide).await?.first()
        {
            warnings.push(format!(
                "The kit is checked against revision {}; the newest is {} of {}.",
                revision.label,
                newest.label,
                newest.issued_on.words()
            ));
        }
    }
    if report.not_counted + report.places_left > 0 {
        warnings.push(format!(
            "{} {} not counted at all and {} in single bags; what nobody counted is not reported as \
             short.",
            report.not_counted,
            plural(report.not_counted, "line was", "lines were"),
            report.places_left,
        ));
    }
    if report.to_come > 0 {
        warnings.push(format!(
            "More of the delivery is still to come: {} {} left out.",
            report.to_come,
            plural(report.to_come, "line is", "lines are"),
        ));
    }
    let low: Vec<String> = looks::looked_at(db, kit.id)
        .await?
        .into_iter()
        .filter(|part| part.said().is_some_and(Said::is_to_buy))
        .map(|part| format!("{} ({})", part.full_name(), part.words()))
        .collect();
    if !low.is_empty() {
        warnings.push(format!(
            "Only looked at, and so not in this report: {}. If it should have come with the kit, write it below \
             the text.",
            low.join(", ")
        ));
    }
    if arrival.open.is_some() {
        warnings.push("A count of this kit is open. What it finds is not in here yet.".to_owned());
    }
    match kit.report_by {
        Some(by) if by < today => warnings.push(format!(
            "Shorts could be reported until {}. That day has passed; send the report all the same \
             and ask.",
            by.words()
        )),
        Some(by) => warnings.push(match today.days_until(by) {
            0 => "Today is the last day to report shorts.".to_owned(),
            1 => format!("Shorts can be reported until tomorrow, {}.", by.words()),
            days => format!(
                "Shorts can be reported until {}: {days} days are left.",
                by.words()
            ),
        }),
        None => {}
    }
    let date = match &last {
        Some(last) => format!(
            "{}, counted on {}",
            today.words(),
            last.closed_at.day(zone).words()
        ),
        None => today.words(),
    };
    let facts = [
        ("Date", date),
        ("From", kit.team_name.clone()),
        ("To", kit.supplier.clone()),
        ("Kit", joined(&kit.name, "serial number", &kit.serial)),
        (
            "Purchase",
            joined(
                &kit.purchase_reference,
                "received on",
                &kit.received_on.map_or(String::new(), Day::words),
            ),
        ),
        (
            "Parts list",
            joined(
                &checked_words(kit.guide_name.as_deref(), kit.size_name.as_deref()),
                "revision",
                &list,
            ),
        ),
    ];
    let facts = facts.map(|(what, value)| (what.to_owned(), value)).to_vec();
    let not_yet = if kit.revision.is_none() {
        Some("This is a spares box: it is checked against nothing, so nothing can be short.")
    } else if last.is_none() {
        Some(
            "Nothing was counted yet, so there is nothing to report. Count the kit and close the \
             count; then this page is the letter to the supplier.",
        )
    } else {
        None
    };
    Ok(Letter {
        kit,
        arrival,
        report,
        facts,
        warnings,
        not_yet,
    })
}

/// "P-77, received on 3 Mar 2027", without what is not known.
fn joined(first: &str, word: &str, second: &str) -> String {
    match (first.is_empty(), second.is_empty()) {
        (_, true) => first.to_owned(),
        (true, false) => format!("{word} {second}"),
        (false, false) => format!("{first}, {word} {second}"),
    }
}
