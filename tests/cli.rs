//! The built program as somebody at a terminal meets it: wrong starts, stopping, health.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_fieldstow");

/// The program with these arguments and nothing of ours in its environment.
fn program(arguments: &[&str]) -> Command {
    let mut command = Command::new(PROGRAM);
    command.args(arguments).env_clear().stdin(Stdio::null());
    command
}

/// Runs it to its end, which must come soon.
fn run(mut command: Command) -> Output {
    let child = command
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    output_within(child, Duration::from_secs(10))
}

fn output_within(mut child: Child, patience: Duration) -> Output {
    let started = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if started.elapsed() > patience {
            child.kill().unwrap();
            let output = child.wait_with_output().unwrap();
            panic!("it did not end: {output:?}");
        }
        sleep(Duration::from_millis(10));
    }
    child.wait_with_output().unwrap()
}

/// The start fails with exit code 1 and one line on standard error that has all of `words`.
#[track_caller]
fn refused(output: &Output, words: &[&str]) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert_eq!(said.lines().count(), 1, "{said}");
    assert!(said.starts_with("fieldstow: "), "{said}");
    for word in words {
        assert!(said.contains(word), "{word:?} is not in {said:?}");
    }
    assert_eq!(String::from_utf8_lossy(&output.stdout), "");
}

/// A running server on a free port.
struct Running {
    child: Option<Child>,
    address: SocketAddr,
}

impl Running {
    fn start(command: Command) -> Running {
        let mut command = command;
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let greeting = lines.next().unwrap().unwrap();
        let port = greeting.rsplit(':').next().unwrap().parse().unwrap();
        lines.next().unwrap().unwrap();
        Running {
            child: Some(child),
            address: SocketAddr::from(([127, 0, 0, 1], port)),
        }
    }

    fn on(folder: &Path) -> Running {
        Running::start(program(&[
            "--address",
            "127.0.0.1:0",
            "--data",
            folder.to_str().unwrap(),
        ]))
    }

    fn id(&self) -> u32 {
        self.child.as_ref().unwrap().id()
    }

    fn signal(&self, name: &str) {
        let sent = Command::new("sh")
            .args(["-c", &format!("kill -{name} {}", self.id())])
            .status();
        assert!(sent.unwrap().success());
    }

    fn exit_within(mut self, patience: Duration) -> Option<i32> {
        let child = self.child.take().unwrap();
        output_within(child, patience).status.code()
    }

    /// The first line of the answer to GET `path`.
    fn get(&self, path: &str) -> String {
        let mut stream = TcpStream::connect(self.address).unwrap();
        stream
            .set_read_timeout(Some(Duration::from_secs(10)))
            .unwrap();
        write!(
            stream,
            "GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n",
            self.address
        )
        .unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        answer.lines().next().unwrap_or_default().to_owned()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        if let Some(mut child) = self.child.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

#[test]
fn a_taken_port_is_named_with_the_way_to_another() {
    let other_program = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = other_program.local_addr().unwrap().to_string();
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let output = run(program(&["--address", &address, "--data", data]));
    let port = other_program.local_addr().unwrap().port().to_string();
    refused(
        &output,
        &[&format!("port {port} is taken"), "--address 127.0.0.1:"],
    );
}

#[test]
fn an_address_of_another_machine_is_refused() {
    // 192.0.2.0/24 is for documentation (RFC 5737): no machine has it.
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let output = run(program(&["--address", "192.0.2.1:8765", "--data", data]));
    refused(&output, &["192.0.2.1 is not an address of this machine"]);
}

#[test]
fn a_file_in_place_of_the_folder_is_refused() {
    let file = tempfile::NamedTempFile::new().unwrap();
    let data = file.path().to_str().unwrap();
    let output = run(program(&["--data", data]));
    refused(&output, &[data, "is a file"]);
}

#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_cannot_be_written_is_refused() {
    // Nobody, not even the superuser, can make a file here.
    let output = run(program(&["--data", "/sys"]));
    refused(&output, &["/sys is not writable"]);
}

#[test]
fn a_second_server_on_the_same_data_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let first = Running::on(folder.path());
    let output = run(program(&["--address", "127.0.0.1:0", "--data", data]));
    refused(
        &output,
        &["already running", data, &format!("process {}", first.id())],
    );
    // However the first one ends, the folder is free again.
    first.signal("KILL");
    first.exit_within(Duration::from_secs(5));
    let next = Running::on(folder.path());
    assert_eq!(next.get("/healthz"), "HTTP/1.1 200 OK");
}

#[test]
fn other_commands_do_not_make_the_folder_they_cannot_find() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("mistyped");
    let data = folder.to_str().unwrap();
    let copy = parent.path().join("copy");
    for arguments in [
        &["verify"][..],
        &["backup", copy.to_str().unwrap()],
        &["invite", "--coordinator"],
    ] {
        let output = run(program(&[arguments, &["--data", data]].concat()));
        refused(&output, &["no data folder", data]);
    }
    assert!(!folder.exists() && !copy.exists());
}

#[test]
fn a_backup_never_overwrites() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let last = folder.path().join("last good");
    std::fs::write(&last, "good").unwrap();
    let output = run(program(&["backup", last.to_str().unwrap(), "--data", data]));
    refused(&output, &["last good is there already"]);
    assert_eq!(std::fs::read_to_string(last).unwrap(), "good");
}

#[test]
fn a_backup_of_a_running_server_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let _server = Running::on(folder.path());
    let output = run(program(&["verify", "--data", data]));
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let restored = folder.path().join("restored");
    std::fs::create_dir(&restored).unwrap();
    let copy = restored.join("fieldstow.db");
    let output = run(program(&["backup", copy.to_str().unwrap(), "--data", data]));
    assert_eq!(output.status.code(), Some(0), "{output:?}");

    let again = Running::on(&restored);
    assert_eq!(again.get("/healthz"), "HTTP/1.1 200 OK");
    let output = run(program(&["verify", "--data", restored.to_str().unwrap()]));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(said.contains(" 0 faults."), "{said}");
}

/// Runs one statement on the database file in `folder`, making it if need be.
fn alter(folder: &Path, statement: &'static str) {
    use sqlx::Connection;
    use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};

    let options = SqliteConnectOptions::new()
        .filename(folder.join("fieldstow.db"))
        .create_if_missing(true);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let mut connection = SqliteConnection::connect_with(&options).await.unwrap();
        sqlx::raw_sql(statement)
            .execute(&mut connection)
            .await
            .unwrap();
        connection.close().await.unwrap();
    });
}

#[test]
fn a_database_that_is_not_ours_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let start = || run(program(&["--address", "127.0.0.1:0", "--data", data]));

    std::fs::write(folder.path().join("fieldstow.db"), "a letter, ".repeat(99)).unwrap();
    refused(&start(), &[data, "is not a database"]);

    std::fs::remove_file(folder.path().join("fieldstow.db")).unwrap();
    alter(
        folder.path(),
        "create table recipe (name text); pragma application_id = 7",
    );
    refused(&start(), &[data, "another program"]);
}

#[cfg(unix)]
#[test]
fn a_database_of_a_newer_program_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let server = Running::on(folder.path());
    server.signal("TERM");
    assert_eq!(server.exit_within(Duration::from_secs(5)), Some(0));
    alter(
        folder.path(),
        "insert into _sqlx_migrations (version, description, success, checksum, execution_time) \
         values (9999, 'to come', 1, x'00', 0)",
    );
    let output = run(program(&["--address", "127.0.0.1:0", "--data", data]));
    refused(&output, &[data, "newer Fieldstow"]);
}

#[test]
fn a_folder_without_a_database_has_nothing_to_check() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let output = run(program(&["verify", "--data", data]));
    refused(&output, &["no Fieldstow database yet"]);
}

#[test]
fn wrong_usage_is_told_apart_from_a_wrong_start() {
    for arguments in [
        &["dance"][..],
        &["--address", "nowhere"],
        &["--public-url", "kits.example"],
        &["backup"],
    ] {
        let output = run(program(arguments));
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(!output.stderr.is_empty());
    }
    assert_eq!(run(program(&["--help"])).status.code(), Some(0));
    assert_eq!(run(program(&["--version"])).status.code(), Some(0));
}

#[test]
fn the_environment_says_the_same_as_the_options() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("of the league");
    let mut command = program(&[]);
    command
        .env("FIELDSTOW_DATA", &data)
        .env("FIELDSTOW_ADDRESS", "127.0.0.1:0")
        .env("FIELDSTOW_LOG", "warn");
    let server = Running::start(command);
    assert!(data.is_dir());

    // Set for the server, they must not get in the way of the other commands.
    let mut command = program(&["healthcheck"]);
    command
        .env("FIELDSTOW_DATA", &data)
        .env("FIELDSTOW_ADDRESS", server.address.to_string());
    let output = run(command);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
}

#[test]
fn without_a_word_the_data_goes_into_the_current_folder() {
    let folder = tempfile::tempdir().unwrap();
    let mut command = program(&["--address", "127.0.0.1:0"]);
    command.current_dir(folder.path());
    let _server = Running::start(command);
    assert!(folder.path().join("fieldstow-data").is_dir());
}

#[test]
fn the_health_check_tells_well_from_absent_and_from_unwell() {
    let folder = tempfile::tempdir().unwrap();
    let server = Running::on(folder.path());
    let address = server.address.to_string();
    let output = run(program(&["healthcheck", "--address", &address]));
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    server.signal("TERM");
    server.exit_within(Duration::from_secs(5));
    let output = run(program(&["healthcheck", "--address", &address]));
    refused(&output, &[&address, "does not answer"]);

    for (answer, words) in [
        ("HTTP/1.1 503 Service Unavailable\r\n\r\n", "answered 503"),
        ("SSH-2.0-something\r\n", "does not speak HTTP"),
    ] {
        let other = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = other.local_addr().unwrap().to_string();
        let answering = std::thread::spawn(move || {
            let (mut stream, _) = other.accept().unwrap();
            let mut request = [0; 1024];
            let _ = stream.read(&mut request).unwrap();
            stream.write_all(answer.as_bytes()).unwrap();
        });
        let output = run(program(&["healthcheck", "--address", &address]));
        refused(&output, &[words]);
        answering.join().unwrap();
    }
}

#[test]
fn a_wrong_host_is_turned_away_by_the_program_itself() {
    let folder = tempfile::tempdir().unwrap();
    let server = Running::on(folder.path());
    let mut stream = TcpStream::connect(server.address).unwrap();
    stream
        .write_all(b"GET /healthz HTTP/1.1\r\nHost: other.example\r\nConnection: close\r\n\r\n")
        .unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 421 "), "{answer}");
    assert!(answer.contains(&format!("http://localhost:{}", server.address.port())));
}

#[cfg(unix)]
#[test]
fn either_signal_stops_it_in_good_order() {
    for signal in ["TERM", "INT"] {
        let folder = tempfile::tempdir().unwrap();
        let server = Running::on(folder.path());
        // A connection that is merely kept open does not hold it up.
        let _idle = TcpStream::connect(server.address).unwrap();
        assert_eq!(server.get("/healthz"), "HTTP/1.1 200 OK");
        server.signal(signal);
        let code = server.exit_within(Duration::from_secs(5));
        assert_eq!(code, Some(0), "{signal}");
    }
}

#[cfg(unix)]
#[test]
fn a_second_signal_does_not_wait() {
    let folder = tempfile::tempdir().unwrap();
    let server = Running::on(folder.path());
    // Half a request holds the good order up for its eight seconds.
    let mut half = TcpStream::connect(server.address).unwrap();
    half.write_all(b"GET / HTTP/1.1\r\nHost: he").unwrap();
    sleep(Duration::from_millis(200));
    server.signal("TERM");
    sleep(Duration::from_millis(500));
    let started = Instant::now();
    server.signal("TERM");
    assert_eq!(server.exit_within(Duration::from_secs(4)), Some(1));
    assert!(started.elapsed() < Duration::from_secs(4));
}

#[cfg(target_os = "linux")]
#[test]
fn running_out_of_file_descriptors_passes() {
    let folder = tempfile::tempdir().unwrap();
    // A backup that is being made would come and go with its own.
    let data = folder.path().to_str().unwrap();
    let options = ["--address", "127.0.0.1:0", "--data", data, "--no-backups"];
    let server = Running::start(program(&options));
    let descriptors = || -> Vec<u32> {
        let open = std::fs::read_dir(format!("/proc/{}/fd", server.id())).unwrap();
        let number = |entry: std::io::Result<std::fs::DirEntry>| {
            entry
                .unwrap()
                .file_name()
                .to_str()
                .unwrap()
                .parse()
                .unwrap()
        };
        open.map(number).collect()
    };
    // Lowered only now, because at the start the program makes do with what it is given.
    let limit = descriptors().len() as u32 + 6;
    let lowered = Command::new("prlimit")
        .arg(format!("--pid={}", server.id()))
        .arg(format!("--nofile={limit}:"))
        .status();
    assert!(lowered.unwrap().success());

    let visitors: Vec<_> = (0..limit + 20)
        .map(|_| TcpStream::connect(server.address).unwrap())
        .collect();
    sleep(Duration::from_millis(300));
    let taken = descriptors();
    assert!(
        (0..limit).all(|number| taken.contains(&number)),
        "the descriptors did not run out: {taken:?}"
    );
    drop(visitors);
    assert_eq!(server.get("/healthz"), "HTTP/1.1 200 OK");
}

#[test]
fn the_log_can_be_read_by_programs() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let mut child = program(&[
        "--address",
        "127.0.0.1:0",
        "--data",
        data,
        "--log-format",
        "json",
    ])
    .stdout(Stdio::null())
    .stderr(Stdio::piped())
    .spawn()
    .unwrap();
    let mut line = String::new();
    BufReader::new(child.stderr.take().unwrap())
        .read_line(&mut line)
        .unwrap();
    child.kill().unwrap();
    child.wait().unwrap();
    let entry: serde_json::Value = serde_json::from_str(&line).unwrap();
    assert_eq!(entry["level"], "INFO");
    assert_eq!(entry["fields"]["message"], "started");
}

/// A newer program beside an older server must not change the tables under it.
#[cfg(unix)]
#[test]
fn commands_beside_a_server_never_bring_its_data_up_to_date() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let server = Running::on(folder.path());
    server.signal("TERM");
    assert_eq!(server.exit_within(Duration::from_secs(5)), Some(0));
    alter(
        folder.path(),
        "delete from _sqlx_migrations where version = (select max(version) from _sqlx_migrations)",
    );
    let before = std::fs::read(folder.path().join("fieldstow.db")).unwrap();
    let copy = folder.path().join("copy");
    for arguments in [
        &["verify"][..],
        &["backup", copy.to_str().unwrap()],
        &["invite", "--coordinator"],
    ] {
        let output = run(program(&[arguments, &["--data", data]].concat()));
        refused(&output, &[data, "older Fieldstow"]);
    }
    assert_eq!(
        std::fs::read(folder.path().join("fieldstow.db")).unwrap(),
        before
    );
    assert!(!copy.exists());
}
