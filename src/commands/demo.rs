//! `fieldstow demo`: an invented league in a throw-away folder.

use std::process::ExitCode;

use anyhow::Context;

use super::in_runtime;
use super::serve::serve_folder;
use crate::config::DemoOptions;
use crate::lock::DataFolder;

pub fn run(options: &DemoOptions) -> anyhow::Result<ExitCode> {
    let temporary = tempfile::Builder::new()
        .prefix("fieldstow-demo-")
        .tempdir()
        .context("no throw-away folder could be made")?;
    let folder = DataFolder::take(temporary.path())?;
    in_runtime(async {
        fill(&folder).await?;
        serve_folder(folder.path(), &options.listen).await
    })?;
    Ok(ExitCode::SUCCESS)
}

/// Fills an empty data folder with the demo season and says how to sign in.
async fn fill(_folder: &DataFolder) -> anyhow::Result<()> {
    anyhow::bail!("the demo season is not built yet")
}
