//! How the program is told what to do: by options and by environment variables.
//!
//! Every setting is here, with its default and its meaning; `fieldstow help` prints them.

mod public_url;

pub use public_url::{PublicUrl, UrlRefused};

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use tracing_subscriber::EnvFilter;

/// Keeps the books on competition field kits: what arrived, what is short, and which crate holds it.
#[derive(Debug, Parser)]
#[command(name = "fieldstow", version, args_conflicts_with_subcommands = true)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Option<Command>,
    #[command(flatten)]
    pub serve: ServeOptions,
}

impl Cli {
    /// The command to run; to serve, if none is named.
    pub fn into_command(self) -> Command {
        self.command.unwrap_or(Command::Serve(self.serve))
    }
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Serve the pages (what happens when no command is named)
    Serve(ServeOptions),
    /// Serve an invented league from a throw-away folder, to look around in
    Demo(DemoOptions),
    /// Check that the books agree with themselves
    Verify(VerifyOptions),
    /// Write a copy of all data into one new file, also while the server runs
    Backup(BackupOptions),
    /// Bring a backup into an empty data folder, after checking it
    Restore(RestoreOptions),
    /// Write everything into one file that other programs can read, also while the server runs
    Archive(ArchiveOptions),
    /// Read an archive into an empty data folder, after checking it
    ReadArchive(ReadArchiveOptions),
    /// Make a one-use link for somebody who cannot get in
    Invite(InviteOptions),
    /// Ask the running server whether it is well
    Healthcheck(HealthcheckOptions),
}

impl Command {
    /// How to log while it runs.
    pub fn log(&self) -> &LogOptions {
        match self {
            Command::Serve(options) => &options.log,
            Command::Demo(options) => &options.log,
            Command::Verify(options) => &options.log,
            Command::Backup(options) => &options.log,
            Command::Restore(options) => &options.log,
            Command::Archive(options) => &options.log,
            Command::ReadArchive(options) => &options.log,
            Command::Invite(options) => &options.log,
            Command::Healthcheck(options) => &options.log,
        }
    }
}

#[derive(Debug, Args)]
pub struct ServeOptions {
    #[command(flatten)]
    pub data: DataOptions,
    #[command(flatten)]
    pub listen: ListenOptions,
    #[command(flatten)]
    pub backups: BackupsOptions,
    #[command(flatten)]
    pub log: LogOptions,
}

#[derive(Debug, Args)]
pub struct BackupsOptions {
    /// Where a checked backup is made each day; 7 daily and 4 weekly ones are kept [default: the folder
    /// `backups` in the data folder]
    #[arg(long, env = "FIELDSTOW_BACKUPS", value_name = "FOLDER")]
    pub backups: Option<PathBuf>,
    /// Make no backups by itself
    #[arg(long, env = "FIELDSTOW_NO_BACKUPS", conflicts_with = "backups")]
    pub no_backups: bool,
}

impl BackupsOptions {
    /// The folder for backups, where any are made.
    pub fn folder(&self, data: &std::path::Path) -> Option<PathBuf> {
        if self.no_backups {
            return None;
        }
        let usual = || data.join("backups");
        Some(self.backups.clone().unwrap_or_else(usual))
    }
}

#[derive(Debug, Args)]
pub struct DemoOptions {
    #[command(flatten)]
    pub listen: ListenOptions,
    #[command(flatten)]
    pub log: LogOptions,
}

#[derive(Debug, Args)]
pub struct VerifyOptions {
    #[command(flatten)]
    pub data: DataOptions,
    #[command(flatten)]
    pub log: LogOptions,
}

#[derive(Debug, Args)]
pub struct BackupOptions {
    /// The file to write; it must not be there yet
    pub file: PathBuf,
    #[command(flatten)]
    pub data: DataOptions,
    #[command(flatten)]
    pub log: LogOptions,
}

#[derive(Debug, Args)]
pub struct RestoreOptions {
    /// The backup to restore; it stays as it is
    pub file: PathBuf,
    /// The mark of an entry that must be in it, as `backup` and `verify` print it
    #[arg(long, value_name = "MARK", value_parser = mark)]
    pub mark: Option<[u8; 32]>,
    #[command(flatten)]
    pub data: DataOptions,
    #[command(flatten)]
    pub log: LogOptions,
}

#[derive(Debug, Args)]
pub struct ArchiveOptions {
    /// The file to write; it must not be there yet
    pub file: PathBuf,
    #[command(flatten)]
    pub data: DataOptions,
    #[command(flatten)]
    pub log: LogOptions,
}

#[derive(Debug, Args)]
pub struct ReadArchiveOptions {
    /// The archive to read; it stays as it is
    pub file: PathBuf,
    /// The mark of an entry that must be in it, as `archive` and `verify` print it
    #[arg(long, value_name = "MARK", value_parser = mark)]
    pub mark: Option<[u8; 32]>,
    #[command(flatten)]
    pub data: DataOptions,
    #[command(flatten)]
    pub log: LogOptions,
}

#[derive(Debug, Args)]
pub struct InviteOptions {
    /// Make a link that turns into a coordinator's account
    #[arg(long, required = true)]
    pub coordinator: bool,
    #[command(flatten)]
    pub data: DataOptions,
    #[command(flatten)]
    pub address: AddressOptions,
    #[command(flatten)]
    pub url: UrlOptions,
    #[command(flatten)]
    pub log: LogOptions,
}

#[derive(Debug, Args)]
pub struct HealthcheckOptions {
    #[command(flatten)]
    pub address: AddressOptions,
    #[command(flatten)]
    pub log: LogOptions,
}

#[derive(Debug, Args)]
pub struct DataOptions {
    /// The folder that holds everything; made if it is not there
    #[arg(
        long,
        env = "FIELDSTOW_DATA",
        value_name = "FOLDER",
        default_value = "fieldstow-data"
    )]
    pub data: PathBuf,
}

#[derive(Debug, Args)]
pub struct ListenOptions {
    #[command(flatten)]
    pub address: AddressOptions,
    #[command(flatten)]
    pub url: UrlOptions,
    /// Connections one address may have open at once; this machine's own are not counted
    #[arg(
        long,
        env = "FIELDSTOW_CONNECTIONS_PER_ADDRESS",
        value_name = "COUNT",
        default_value_t = 16,
        value_parser = at_least_one
    )]
    pub connections_per_address: usize,
}

#[derive(Debug, Args)]
pub struct AddressOptions {
    /// Where to listen; 0.0.0.0:8765 to be reached from other machines, port 0 for any free one
    #[arg(
        long,
        env = "FIELDSTOW_ADDRESS",
        value_name = "ADDRESS:PORT",
        default_value_t = SocketAddr::from((Ipv4Addr::LOCALHOST, 8765))
    )]
    pub address: SocketAddr,
}

#[derive(Debug, Args)]
pub struct UrlOptions {
    /// The address people type, https://kits.example say [default: http://localhost:PORT]
    #[arg(long, env = "FIELDSTOW_PUBLIC_URL", value_name = "URL")]
    pub public_url: Option<PublicUrl>,
}

impl UrlOptions {
    /// The public URL, or this machine's own name with the port that is listened on.
    pub fn or_local(&self, port: u16) -> PublicUrl {
        let local = || PublicUrl::local(port);
        self.public_url.clone().unwrap_or_else(local)
    }
}

#[derive(Debug, Args)]
pub struct LogOptions {
    /// How much to log: error, warn, info, debug, trace, or a list such as info,fieldstow=debug
    #[arg(
        long,
        env = "FIELDSTOW_LOG",
        value_name = "LEVEL",
        default_value = "info",
        value_parser = log_filter
    )]
    pub log: String,
    /// How to write the log
    #[arg(
        long,
        env = "FIELDSTOW_LOG_FORMAT",
        value_name = "FORMAT",
        default_value = "text"
    )]
    pub log_format: LogFormat,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogFormat {
    /// Lines for people
    Text,
    /// One JSON object a line, for programs
    Json,
}

fn log_filter(text: &str) -> Result<String, String> {
    match EnvFilter::try_new(text) {
        Ok(_) => Ok(text.to_owned()),
        Err(error) => Err(error.to_string()),
    }
}

/// 64 digits, as the program prints them.
fn mark(text: &str) -> Result<[u8; 32], String> {
    let digits = text.as_bytes();
    let mut mark = [0; 32];
    if digits.len() == 64 && digits.iter().all(u8::is_ascii_hexdigit) {
        for (byte, pair) in mark.iter_mut().zip(text.as_bytes().chunks(2)) {
            let pair = String::from_utf8_lossy(pair);
            *byte = u8::from_str_radix(&pair, 16).map_err(|error| error.to_string())?;
        }
        return Ok(mark);
    }
    Err("a mark has 64 digits, from 0 to 9 and from a to f".into())
}

fn at_least_one(text: &str) -> Result<usize, String> {
    match text.parse() {
        Ok(0) | Err(_) => Err("this must be a whole number from 1 up".into()),
        Ok(count) => Ok(count),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_options_are_well_formed() {
        Cli::command().debug_assert();
    }

    #[test]
    fn to_serve_is_what_happens_without_a_command() {
        for line in [
            vec!["fieldstow", "--data", "here"],
            vec!["fieldstow", "serve", "--data", "here"],
        ] {
            let command = Cli::try_parse_from(&line).unwrap().into_command();
            let Command::Serve(options) = command else {
                panic!("{line:?} is not to serve");
            };
            assert_eq!(options.data.data, PathBuf::from("here"));
        }
    }

    #[test]
    fn what_cannot_be_meant_is_refused() {
        for line in [
            "fieldstow dance",
            "fieldstow --data here verify",
            "fieldstow --address nowhere",
            "fieldstow --public-url kits.example",
            "fieldstow --log info,=",
            "fieldstow --log-format prose",
            "fieldstow --connections-per-address 0",
            "fieldstow demo --data here",
            "fieldstow backup",
            "fieldstow restore",
            "fieldstow archive",
            "fieldstow read-archive",
            "fieldstow restore file --mark 7",
            "fieldstow invite",
        ] {
            let refused = Cli::try_parse_from(line.split(' '));
            assert!(refused.is_err(), "{line}");
        }
    }
}
