//! `fieldstow demo`: an invented league in a throw-away folder.

use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context;

use super::in_runtime;
use super::serve::{say, serve_folder};
use crate::app::{self, App};
use crate::clock::SystemClock;
use crate::config::DemoOptions;
use crate::db::Db;
use crate::demo::{self, Account};
use crate::lock::DataFolder;

pub fn run(options: &DemoOptions) -> anyhow::Result<ExitCode> {
    let temporary = tempfile::Builder::new()
        .prefix("fieldstow-demo-")
        .tempdir()
        .context("no throw-away folder could be made")?;
    let folder = DataFolder::take(temporary.path())?;
    in_runtime(async {
        fill(&folder, options).await?;
        serve_folder(folder.path(), &options.listen, None).await
    })?;
    Ok(ExitCode::SUCCESS)
}

/// Fills an empty data folder with the demo season and says how to sign in.
async fn fill(folder: &DataFolder, options: &DemoOptions) -> anyhow::Result<()> {
    let public_url = options
        .listen
        .url
        .or_local(options.listen.address.address.port());
    let db = Db::open(folder.path()).await?;
    let settings = app::Settings {
        public_url: public_url.to_string(),
    };
    let app = App::new(db.clone(), Arc::new(SystemClock), settings);
    let filled = demo::fill(&app)
        .await
        .context("the demo could not be filled")?;
    db.close().await;

    say("This is the demo. Every name in it is invented, and all of it is gone when you stop.");
    say(&format!(
        "Sign in with one of these and the password: {}",
        demo::PASSWORD
    ));
    for account in &filled.accounts {
        let Account {
            name,
            email,
            team,
            role,
        } = account;
        say(&format!("  {email:30} {name}, {role}, {team}"));
    }
    say("Begin with bexel@ninelarches.example: her kit came today and is being counted.");
    Ok(())
}
