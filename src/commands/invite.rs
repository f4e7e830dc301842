//! `fieldstow invite --coordinator`: the way back in for whoever holds the machine.

use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use super::in_runtime;
use crate::app::{self, App};
use crate::clock::SystemClock;
use crate::config::{InviteOptions, PublicUrl};
use crate::db::Db;
use crate::lock;
use crate::people;

pub fn run(options: &InviteOptions) -> anyhow::Result<ExitCode> {
    let folder = lock::existing(&options.data.data)?;
    let public_url = options.url.or_local(options.address.address.port());
    let link = in_runtime(coordinator_link(&folder, &public_url))?;
    println!("Open this link once to become a coordinator: {link}");
    Ok(ExitCode::SUCCESS)
}

/// Makes a one-use invitation for a coordinator in the data of `folder` and gives its link. It works
/// beside a running server.
async fn coordinator_link(folder: &Path, public_url: &PublicUrl) -> anyhow::Result<String> {
    let db = Db::open_existing(folder).await?;
    let settings = app::Settings {
        public_url: public_url.to_string(),
    };
    let app = App::new(db.clone(), Arc::new(SystemClock), settings);
    let path = people::invite_coordinator(&app).await?;
    db.close().await;
    Ok(format!("{public_url}{path}"))
}
