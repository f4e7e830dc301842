//! Where log lines go: to standard error, so that standard output is for answers.

use std::io::IsTerminal;

use tracing_subscriber::EnvFilter;

use crate::config::{LogFormat, LogOptions};

/// Starts logging for the rest of the process.
pub fn start(options: &LogOptions) {
    let lines = tracing_subscriber::fmt()
        .with_env_filter(EnvFilter::new(&options.log))
        .with_ansi(std::io::stderr().is_terminal())
        .with_writer(std::io::stderr);
    // Only a second start in one process can fail, and then the first one goes on.
    let _ = match options.log_format {
        LogFormat::Text => lines.with_target(false).try_init(),
        LogFormat::Json => lines.json().try_init(),
    };
}
