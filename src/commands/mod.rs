//! What the program can be asked to do, one file a command.

pub mod archive;
pub mod backup;
pub mod demo;
pub mod healthcheck;
pub mod invite;
pub mod restore;
pub mod serve;
pub mod verify;

mod logging;
mod signals;

use std::process::ExitCode;
use std::time::Duration;

use anyhow::Context;

use crate::config::Command;

/// Runs one command to its end.
///
/// An error is a sentence for standard error and exit code 1. `verify` alone has more to say than
/// a sentence when it finds faults, and gives the exit code itself.
pub fn run(command: Command) -> anyhow::Result<ExitCode> {
    logging::start(command.log());
    match command {
        Command::Serve(options) => serve::run(&options),
        Command::Demo(options) => demo::run(&options),
        Command::Verify(options) => verify::run(&options),
        Command::Backup(options) => backup::run(&options),
        Command::Restore(options) => restore::run(&options),
        Command::Archive(options) => archive::run(&options),
        Command::ReadArchive(options) => archive::read(&options),
        Command::Invite(options) => invite::run(&options),
        Command::Healthcheck(options) => healthcheck::run(&options),
    }
}

/// Runs `work` in the threads every command with a database needs.
fn in_runtime<T>(work: impl Future<Output = anyhow::Result<T>>) -> anyhow::Result<T> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .context("the program could not start its threads")?;
    let done = runtime.block_on(work);
    // A query that nobody waits for any more must not keep the program from ending.
    runtime.shutdown_timeout(Duration::from_secs(1));
    done
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
