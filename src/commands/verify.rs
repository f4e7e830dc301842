//! `fieldstow verify`: checks that the books agree with themselves.

use std::path::Path;
use std::process::ExitCode;

use anyhow::Context;
use sqlx::Connection;

use super::{hex, in_runtime};
use crate::config::VerifyOptions;
use crate::db::{self, Db};
use crate::ledger::{self, Findings};
use crate::lock;

pub fn run(options: &VerifyOptions) -> anyhow::Result<ExitCode> {
    let folder = lock::existing(&options.data.data)?;
    let findings = in_runtime(findings_in(&folder))?;
    for fault in &findings.faults {
        println!("{fault}");
    }
    println!(
        "{} entries with {} moves read again, {} faults. The last entry's mark is {}.",
        findings.entries,
        findings.moves,
        findings.faults.len(),
        hex(&findings.head)
    );
    Ok(if findings.faults.is_empty() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// Reads the whole book in `folder` again, beside a running server or not.
async fn findings_in(folder: &Path) -> anyhow::Result<Findings> {
    let db = Db::open_existing(folder).await?;
    let findings = findings(&db).await?;
    db.close().await;
    Ok(findings)
}

/// Reads the whole book again.
pub(super) async fn findings(db: &Db) -> anyhow::Result<Findings> {
    let mut connection = db.read().await?;
    // One snapshot for all of it: an entry recorded meanwhile would look like a fault.
    let mut snapshot = connection.begin().await?;
    let mut findings = ledger::verify(&mut snapshot)
        .await
        .context("the books could not be read to their end")?;
    if let Err(dangling) = db::check_foreign_keys(&mut snapshot).await {
        findings.faults.push(dangling.to_string());
    }
    snapshot.rollback().await?;
    Ok(findings)
}
