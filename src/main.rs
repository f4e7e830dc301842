//! The program: reads what it was asked to do, does it, and says in one sentence why it could not.

use std::process::ExitCode;

use clap::Parser;
use fieldstow::commands;
use fieldstow::config::Cli;

fn main() -> ExitCode {
    match commands::run(Cli::parse().into_command()) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("fieldstow: {error:#}");
            ExitCode::FAILURE
        }
    }
}
