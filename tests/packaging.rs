//! `docker-compose.yml`: what it promises about how the program is built and run. There is no engine
//! here to try it with, so each promise is read from the file.

use std::fs;
use std::path::Path;
use std::time::Duration;

use clap::Parser;
use fieldstow::config::{Cli, Command};
use fieldstow::serve::Limits;
use serde_json::Value;

fn read(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

fn compose() -> Value {
    serde_saphyr::from_str(&read("docker-compose.yml")).unwrap()
}

/// What stands under `service`, by a path such as "/build/context".
#[track_caller]
fn at(path: &str) -> Value {
    compose()
        .pointer(&format!("/services/fieldstow{path}"))
        .unwrap_or_else(|| panic!("{path} is not in docker-compose.yml"))
        .clone()
}

#[track_caller]
fn words(path: &str) -> Vec<String> {
    at(path)
        .as_array()
        .unwrap_or_else(|| panic!("{path} is no list"))
        .iter()
        .map(|word| word.as_str().unwrap().to_owned())
        .collect()
}

/// The instructions of the inline Dockerfile, one a line, without comments and broken lines.
fn instructions() -> Vec<String> {
    let text = at("/build/dockerfile_inline").as_str().unwrap().to_owned();
    text.lines()
        .filter(|line| !line.trim_start().starts_with('#'))
        .collect::<Vec<_>>()
        .join("\n")
        .replace("\\\n", " ")
        .lines()
        .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "))
        .filter(|line| !line.is_empty())
        .collect()
}

/// The value of an environment variable, with the default that stands in the file.
#[track_caller]
fn environment(name: &str) -> String {
    let value = at(&format!("/environment/{name}"))
        .as_str()
        .unwrap()
        .to_owned();
    match value
        .strip_prefix("${")
        .and_then(|rest| rest.strip_suffix('}'))
    {
        Some(inside) => inside.split_once(":-").unwrap().1.to_owned(),
        None => value,
    }
}

fn seconds(path: &str) -> Duration {
    let text = at(path).as_str().unwrap().to_owned();
    Duration::from_secs(text.strip_suffix('s').unwrap().parse().unwrap())
}

#[test]
fn there_is_one_service_and_one_volume() {
    let compose = compose();
    assert_eq!(compose["services"].as_object().unwrap().len(), 1);
    assert_eq!(compose["volumes"].as_object().unwrap().len(), 1);
    assert_eq!(words("/volumes"), ["data:/data"]);
    assert!(Path::new(&environment("FIELDSTOW_DATA")).starts_with("/data"));
}

#[test]
fn the_image_is_built_from_this_folder_in_two_stages() {
    assert_eq!(at("/build/context"), ".");
    let instructions = instructions();
    let stages: Vec<_> = instructions
        .iter()
        .filter(|line| line.starts_with("FROM "))
        .collect();
    assert_eq!(stages.len(), 2, "{stages:?}");
    let (image, stage) = stages[0].split_once(" AS ").unwrap();
    assert_eq!(stages[1], "FROM scratch");
    let copied: Vec<_> = instructions
        .iter()
        .rev()
        .take_while(|line| *line != "FROM scratch")
        .filter(|line| line.starts_with("COPY "))
        .collect();
    assert_eq!(copied, [&format!("COPY --from={stage} /image/ /")]);
    // Built with a fixed compiler that the program accepts, and with the versions of the lock file.
    let version = image.split_once(':').unwrap().1.trim_end_matches("-alpine");
    let wanted = env!("CARGO_PKG_RUST_VERSION");
    let minor = |version: &str| version.split('.').nth(1).unwrap().parse::<u32>().unwrap();
    assert!(minor(version) >= minor(wanted), "{image}");
    assert!(instructions.iter().any(|line| line.contains("--locked")));
    for line in &instructions {
        assert!(!line.contains("latest"), "{line}");
        assert!(!line.starts_with("ADD "), "{line}");
    }
}

/// What cargo needs is sent to the build; the repository's past, earlier builds and data are not.
#[test]
fn the_build_gets_what_cargo_reads_and_no_more() {
    let ignored = read(".dockerignore");
    let mut lines = ignored.lines().filter(|line| !line.starts_with('#'));
    assert_eq!(lines.next(), Some("*"));
    let sent: Vec<_> = lines.map(|line| line.strip_prefix('!').unwrap()).collect();
    for needed in [
        "Cargo.toml",
        "Cargo.lock",
        "migrations",
        "src",
        "static",
        "templates",
    ] {
        assert!(sent.contains(&needed), "{needed}");
    }
    // Cargo refuses a manifest that names a file which is not there.
    for path in read("Cargo.toml")
        .lines()
        .filter_map(|line| line.strip_prefix("path = \""))
    {
        let path = path.trim_end_matches('"');
        assert!(sent.iter().any(|sent| path.starts_with(sent)), "{path}");
    }
    for kept in [".git", "target", "fieldstow-data"] {
        assert!(!sent.contains(&kept), "{kept}");
    }
}

#[test]
fn nobody_but_an_unprivileged_user_runs_it() {
    let user = at("/user").as_str().unwrap().to_owned();
    let (person, group) = user.split_once(':').unwrap();
    assert!(person.parse::<u32>().unwrap() > 1000);
    assert!(group.parse::<u32>().unwrap() > 1000);
    let instructions = instructions();
    assert!(instructions.contains(&format!("USER {user}")));
    let folder = format!("--owner {person} --group {group} /image/data");
    assert!(instructions.iter().any(|line| line.ends_with(&folder)));
    assert_eq!(words("/cap_drop"), ["ALL"]);
    assert_eq!(words("/security_opt"), ["no-new-privileges:true"]);
    for absent in ["privileged", "cap_add", "pid", "network_mode", "devices"] {
        assert!(
            compose()["services"]["fieldstow"].get(absent).is_none(),
            "{absent}"
        );
    }
}

#[test]
fn only_the_volume_and_a_small_folder_can_be_written() {
    assert_eq!(at("/read_only"), true);
    let [temporary] = &words("/tmpfs")[..] else {
        panic!("one folder for temporary files");
    };
    let (folder, options) = temporary.split_once(':').unwrap();
    assert_eq!(folder, "/tmp");
    let options: Vec<_> = options.split(',').collect();
    for option in ["noexec", "nosuid", "nodev"] {
        assert!(options.contains(&option), "{option}");
    }
    assert!(options.iter().any(|option| option.starts_with("size=")));
}

#[test]
fn only_this_machine_reaches_it() {
    let ports = words("/ports");
    assert_eq!(ports.len(), 1);
    let parts: Vec<_> = ports[0].split(':').collect();
    assert_eq!(parts[0], "127.0.0.1");
    assert!(environment("FIELDSTOW_ADDRESS").ends_with(&format!(":{}", parts[2])));
    assert!(environment("FIELDSTOW_PUBLIC_URL").ends_with(&format!(":{}", parts[1])));
}

#[test]
fn the_program_itself_says_whether_it_is_well() {
    let test = words("/healthcheck/test");
    assert_eq!(test[0], "CMD", "there is no shell");
    let entry = instructions()
        .iter()
        .find_map(|line| line.strip_prefix("ENTRYPOINT ").map(str::to_owned))
        .unwrap();
    assert_eq!(entry, format!("[\"{}\"]", test[1]));
    let command = Cli::try_parse_from(&test[1..]).unwrap().into_command();
    assert!(matches!(command, Command::Healthcheck(_)));
    assert!(seconds("/healthcheck/timeout") < seconds("/healthcheck/interval"));
}

#[test]
fn it_may_take_longer_to_stop_than_it_allows_itself() {
    // What `serve` gives the last writes, and how long the database waits for a lock when it closes.
    let own = Limits::default().stop + Duration::from_secs(2) + Duration::from_secs(5);
    assert!(seconds("/stop_grace_period") > own);
}

#[test]
fn it_cannot_take_the_whole_machine() {
    assert!(at("/pids_limit").as_u64().unwrap() <= 128);
    assert!(at("/mem_limit").as_str().unwrap().ends_with('m'));
    // Each connection is a file; the database needs some too.
    let files = at("/ulimits/nofile").as_u64().unwrap();
    assert!(files as usize >= Limits::default().connections + 64);
    assert_eq!(at("/restart"), "on-failure");
    assert!(at("/logging/options/max-size").is_string());
    assert!(at("/logging/options/max-file").is_string());
}

/// A variable with a typing error would silently do nothing.
#[test]
fn every_variable_is_one_that_the_program_reads() {
    let help = {
        use clap::CommandFactory;
        let mut command = Cli::command();
        let serve = command.find_subcommand_mut("serve").unwrap();
        serve.render_long_help().to_string()
    };
    let variables = at("/environment");
    let variables = variables.as_object().unwrap();
    assert!(variables.len() >= 3);
    for name in variables.keys() {
        assert!(help.contains(&format!("[env: {name}=")), "{name}");
    }
}
