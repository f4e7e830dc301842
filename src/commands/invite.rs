//! `fieldstow invite --coordinator`: the way back in for whoever holds the machine.

use std::path::Path;
use std::process::ExitCode;

use super::in_runtime;
use crate::config::{InviteOptions, PublicUrl};
use crate::lock;

pub fn run(options: &InviteOptions) -> anyhow::Result<ExitCode> {
    let folder = lock::existing(&options.data.data)?;
    let public_url = options.url.or_local(options.address.address.port());
    let link = in_runtime(coordinator_link(&folder, &public_url))?;
    println!("Open this link once to become a coordinator: {link}");
    Ok(ExitCode::SUCCESS)
}

/// Makes a one-use invitation for a coordinator in the data of `folder` and gives its link. It works
/// beside a running server.
async fn coordinator_link(_folder: &Path, _public_url: &PublicUrl) -> anyhow::Result<String> {
    anyhow::bail!("invitations are not built yet")
}
