//! The program: reads what it was asked to do, does it, and says in one sentence why it could not.

use std::process::ExitCode;

use clap::Parser;
use fieldstow::commands;
use fieldstow::config::Cli;

fn main() -> ExitCode {
    match commands::run(Cli::parse().into_command()) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("fieldstow: {}", sentence(&error));
            ExitCode::FAILURE
        }
    }
}

/// The error and its causes in one line, without those that the line already tells.
fn sentence(error: &anyhow::Error) -> String {
    let mut told = error.to_string();
    for cause in error.chain().skip(1).map(ToString::to_string) {
        if !told.contains(&cause) {
            told = format!("{told}: {cause}");
        }
    }
    told.replace('\n', " ")
}
