//! What the program can be asked to do, one file a command.

pub mod backup;
pub mod demo;
pub mod healthcheck;
pub mod invite;
pub mod serve;
pub mod verify;

mod logging;
mod signals;

use std::process::ExitCode;

use crate::config::Command;

/// Runs one command to its end.
///
/// A command that could do its work and found something wrong (`verify`, `healthcheck`) says so
/// and returns a failing exit code; an error is for work that could not be done.
pub fn run(command: Command) -> anyhow::Result<ExitCode> {
    logging::start(command.log());
    match command {
        Command::Serve(options) => serve::run(&options),
        Command::Demo(options) => demo::run(&options),
        Command::Verify(options) => verify::run(&options),
        Command::Backup(options) => backup::run(&options),
        Command::Invite(options) => invite::run(&options),
        Command::Healthcheck(options) => healthcheck::run(&options),
    }
}

/// The runtime every command with a database runs in.
fn in_runtime<T>(work: impl Future<Output = anyhow::Result<T>>) -> anyhow::Result<T> {
    use anyhow::Context;

    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .context("the program could not start its threads")?
        .block_on(work)
}
