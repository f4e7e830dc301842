//! The program on a machine of ours: all of it but the socket, with one team that works.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use fieldstow::app::{self, App};
use fieldstow::backups;
use fieldstow::clock::FixedClock;
use fieldstow::db::{self, Db, OpenError};
use fieldstow::ids::{FormId, PlaceId};
use fieldstow::ledger;
use fieldstow::people::Role;
use fieldstow::places::Kind;
use fieldstow::web::layers::{self, Writes};
use sqlx::sqlite::SqliteConnection;
use tempfile::TempDir;
use tokio::sync::OnceCell;

use crate::support::drawn;
use crate::support::{Browser, NOW, Seen, World};

/// Nothing may take longer, however the disk fails.
const PATIENCE: Duration = Duration::from_secs(30);

const PUBLIC_URL: &str = "http://localhost:8765";

fn settings() -> app::Settings {
    app::Settings {
        public_url: PUBLIC_URL.into(),
    }
}

/// Something that a person sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// A few rows.
    Event,
    /// An entry in the ledger.
    Move,
    /// A file in pieces.
    Picture,
    Backup,
}

/// A form that was filled in, with the id it has on its page.
struct Form {
    action: String,
    body: Vec<u8>,
    id: String,
    brings_a_file: bool,
}

/// A data folder with a league in it, and its forms filled in, made once for all tests.
pub struct Template {
    folder: TempDir,
    session: String,
    event: Form,
    /// There and back.
    moves: [Form; 2],
    picture: Form,
    backup: Form,
    pages: Vec<String>,
}

static TEMPLATE: OnceCell<Template> = OnceCell::const_new();

pub async fn template() -> &'static Template {
    TEMPLATE.get_or_init(Template::make).await
}

impl Template {
    async fn make() -> Template {
        let folder = tempfile::tempdir().unwrap();
        let world = World::on(folder.path()).await;
        let world = world.with_backups(folder.path().join("backups"));
        let team = world.team("Nine Larches").await;
        let keeper = Some((team, Role::Keeper));
        let (person, ama) = world.account("Ama", keeper, true).await;
        let beacon = world.beacon().await;
        let (kit, bags) = world
            .kit(&beacon, person, team, "Kettlehorn", &["Bag 1", "Bag 2"])
            .await;
        let van = world.place(person, team, Kind::Van, "Grey van", None).await;
        for bag in &bags {
            world.receive(person, kit, *bag, &[("Peg", 500)]).await;
        }
        let event = filled(
            &ama,
            "/events/new",
            "Add the event",
            &[("name", "Ridge day"), ("first_on", "2027-03-20")],
        )
        .await;
        let moves = [
            moving(&ama, bags[0], bags[1]).await,
            moving(&ama, bags[1], bags[0]).await,
        ];
        let page = ama.open(&format!("/places/{}/pictures/new", bags[0])).await;
        let jpeg = drawn::noise(210, 150);
        let (action, body) = ama.filled_upload(
            &page,
            "Add the picture",
            &[("choose", "bag.jpg", &jpeg)],
            &[("words", "How bag 1 is packed")],
        );
        let picture = Form {
            action,
            body,
            id: id_on(&page),
            brings_a_file: true,
        };
        let backup = filled(&ama, "/league/backups", "Make one now", &[]).await;
        let pages = vec![
            "/".into(),
            "/events".into(),
            format!("/kits/{kit}"),
            format!("/places/{van}"),
            format!("/places/{}", bags[0]),
            "/league/backups".into(),
        ];
        let session = ama.cookie("sid").expect("signed in");
        world.app.db.clone().close().await;
        Template {
            session,
            event,
            moves,
            picture,
            backup,
            pages,
            folder,
        }
    }

    /// A folder of one's own with the same in it.
    pub fn copy_into(&self, folder: &Path) {
        crate::disk::lay_out(&crate::machine::gathered(self.folder.path()), folder);
    }

    /// Pages that read much and little.
    pub fn pages(&self) -> &[String] {
        &self.pages
    }

    fn form(&self, act: Act, number: usize) -> &Form {
        match act {
            Act::Event => &self.event,
            Act::Move => &self.moves[number % 2],
            Act::Picture => &self.picture,
            Act::Backup => &self.backup,
        }
    }
}

async fn filled(ama: &Browser<'_>, path: &str, button: &str, fields: &[(&str, &str)]) -> Form {
    let page = ama.open(path).await;
    let (action, body) = ama.filled(&page, button, fields);
    Form {
        action,
        body: body.into(),
        id: id_on(&page),
        brings_a_file: false,
    }
}

async fn moving(ama: &Browser<'_>, from: PlaceId, to: PlaceId) -> Form {
    let path = format!("/places/{from}/move");
    let page = ama.open(&path).await;
    let field = page.attribute("main input[name^=qty]", "name").unwrap();
    let to = to.to_string();
    filled(ama, &path, "Move them", &[(&field, "1"), ("to", &to)]).await
}

fn id_on(page: &Seen) -> String {
    page.attribute("main input[name=form_id]", "value")
        .unwrap_or_else(|| panic!("no form on {}: {}", page.path, page.html()))
}

/// A form in somebody's hand: sent again and again, it stays the same form.
#[derive(Debug, Clone, Copy)]
pub struct Paper {
    pub act: Act,
    pub id: FormId,
    number: usize,
}

impl Paper {
    pub fn new(act: Act, number: usize) -> Paper {
        Paper {
            act,
            id: FormId::new(),
            number,
        }
    }
}

/// The program at work on a folder.
pub struct League {
    pub app: App,
    router: Router,
    writes: Writes,
    template: &'static Template,
}

impl League {
    /// Starts it as `fieldstow serve` does.
    pub async fn start(folder: &Path) -> Result<League, OpenError> {
        let template = template().await;
        let db = Db::open(folder).await?;
        let clock = Arc::new(FixedClock::at(NOW));
        let app = App::new(db, clock, settings()).with_backups(folder.join("backups"));
        let settings = layers::Settings {
            draw: app::draw_outside,
            ..layers::Settings::new(PUBLIC_URL, vec!["localhost:8765".into()])
        };
        Ok(League {
            router: layers::stack(app::router(app.clone()), &settings),
            app,
            writes: settings.writes,
            template,
        })
    }

    fn browser(&self) -> Browser<'_> {
        let browser = Browser::new(&self.router);
        browser.set_cookie("sid", &self.template.session);
        browser
    }

    /// Opens a page; whatever happens, it is answered in time and with a page.
    pub async fn open(&self, path: &str) -> Seen {
        let browser = self.browser();
        let seen = tokio::time::timeout(PATIENCE, browser.open_with(path, &[]))
            .await
            .unwrap_or_else(|_| panic!("{path} is never answered"));
        answered(&seen);
        seen
    }

    /// Sends a form; true where it was acknowledged.
    pub async fn send(&self, paper: &Paper) -> bool {
        let form = self.template.form(paper.act, paper.number);
        let body = with_id(&form.body, &form.id, paper);
        let browser = self.browser();
        let sending = async {
            match form.brings_a_file {
                true => browser.post_upload(&form.action, body).await,
                false => {
                    let body = String::from_utf8(body).unwrap();
                    browser.post_body(&form.action, body).await
                }
            }
        };
        let seen = tokio::time::timeout(PATIENCE, sending)
            .await
            .unwrap_or_else(|_| panic!("{paper:?} is never answered"));
        answered(&seen);
        seen.status == 303
    }

    /// Makes a backup, so many days later, and gives its name.
    pub async fn back_up(&self, days: i64) -> Result<String, backups::NotMade> {
        let shelf = self.app.backups.folder().expect("there is one");
        let later = Arc::new(FixedClock::at(NOW.plus_minutes(days * 24 * 60)));
        let app = App::new(self.app.db.clone(), later, settings());
        let made = backups::make(&app.with_backups(shelf.to_path_buf())).await;
        made.map(|made| made.name)
    }

    /// Changes a setting of the connection that writes, which SQLite refuses inside a transaction.
    pub async fn set(&self, setting: &'static str) {
        let mut tx = self.app.db.begin_write().await.unwrap();
        for statement in ["commit", setting, "begin immediate"] {
            sqlx::raw_sql(statement).execute(&mut *tx).await.unwrap();
        }
        tx.commit().await.unwrap();
    }

    /// Stops in good order.
    pub async fn stop(self) {
        let stopping = async {
            assert!(self.writes.finished(PATIENCE).await, "a write never ends");
            drop(self.router);
            self.app.db.clone().close().await;
        };
        tokio::time::timeout(2 * PATIENCE, stopping)
            .await
            .expect("it stops");
    }
}

/// The same bytes with another form's id and, so that no two pictures are the same, other pixels.
fn with_id(body: &[u8], id: &str, paper: &Paper) -> Vec<u8> {
    let mut body = body.to_vec();
    let new = paper.id.to_string();
    assert_eq!(new.len(), id.len());
    let at = body
        .windows(id.len())
        .position(|window| window == id.as_bytes())
        .expect("the form has its id");
    body[at..at + new.len()].copy_from_slice(new.as_bytes());
    if paper.act == Act::Picture {
        // Somewhere in the picture's own bytes, far behind its tables.
        let middle = body.len() * 3 / 4;
        for (n, byte) in paper.id.0.as_bytes().iter().enumerate() {
            body[middle + 7 * n] = byte & 0x7f;
        }
    }
    body
}

/// Done, or a page that says in a sentence what is the matter and leads on.
fn answered(seen: &Seen) {
    let status = seen.status.as_u16();
    let is_done = matches!(status, 200 | 303);
    let is_told = matches!(status, 500 | 503 | 507)
        && seen.words().contains('.')
        && seen.html().contains("<h1>")
        && seen.html().contains("<a href=");
    assert!(
        is_done || is_told,
        "{} is answered with {status}:\n{}",
        seen.path,
        seen.html()
    );
    // This is what the layers say of a panic.
    assert!(
        !seen.words().contains("Something went wrong on our side"),
        "a handler panicked at {}",
        seen.path
    );
}

/// What the books hold, of what was sent.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Books {
    /// How many times each form that was asked about is recorded.
    pub recorded: Vec<bool>,
    /// Why these books are not whole.
    pub faults: Vec<String>,
}

/// Opens what is left as the program does, and reads all of it.
pub async fn books(folder: &Path, papers: &[Paper]) -> Result<Books, OpenError> {
    let db = Db::open(folder).await?;
    let mut faults = Vec::new();
    let mut recorded = Vec::new();
    {
        let mut reader = db.read().await?;
        match read(&mut reader, &mut faults).await {
            Ok(forms) => {
                recorded.extend(papers.iter().map(|paper| forms.contains(&paper.id)));
            }
            Err(error) => faults.push(format!("the books cannot be read: {error}")),
        }
    }
    if faults.is_empty() {
        // And they can be gone on with.
        let mut tx = db.begin_write().await?;
        sqlx::query("update team set name = name || '.'")
            .execute(&mut *tx)
            .await?;
        tx.commit().await?;
    }
    db.close().await;
    backups_are_whole(&folder.join("backups"), &mut faults).await;
    Ok(Books { recorded, faults })
}

async fn read(
    reader: &mut SqliteConnection,
    faults: &mut Vec<String>,
) -> sqlx::Result<Vec<FormId>> {
    let sound: Vec<String> = sqlx::query_scalar("pragma integrity_check")
        .fetch_all(&mut *reader)
        .await?;
    if sound != ["ok"] {
        faults.extend(sound);
    }
    if let Err(error) = db::check_foreign_keys(reader).await {
        faults.push(error.to_string());
    }
    faults.extend(ledger::verify(reader).await?.faults);
    // Each pair must be equal: what a form is told of, and what came of it.
    for (what, counts) in [
        (
            "moves",
            "select (select count(*) from receipt where location like '/entries/%'),
                    (select count(*) from entry join receipt on receipt.form_id = entry.id)",
        ),
        (
            "entries",
            "select (select count(*) from entry where kind = 'pieces moved'),
                    (select count(*) from entry join receipt on receipt.form_id = entry.id)",
        ),
        (
            "events",
            "select (select count(*) from receipt where location like '/events/%'),
                    (select count(*) from event)",
        ),
        (
            "steps of events",
            "select (select count(*) from event), (select count(*) from event_step)",
        ),
        (
            "pictures",
            "select (select count(*) from receipt where location like '/places/%#pictures'),
                    (select count(*) from picture)",
        ),
        (
            "bytes of pictures",
            "select (select coalesce(sum(size), 0) from file where sha256 is not null),
                    (select coalesce(sum(length(bytes)), 0) from file_chunk)",
        ),
    ] {
        let (told, there): (i64, i64) = sqlx::query_as(counts).fetch_one(&mut *reader).await?;
        if told != there {
            faults.push(format!("{what}: {told} and {there}"));
        }
    }
    sqlx::query_scalar("select form_id from receipt")
        .fetch_all(&mut *reader)
        .await
}

/// Whatever is called a backup is whole.
async fn backups_are_whole(shelf: &Path, faults: &mut Vec<String>) {
    for backup in backups::all(shelf).unwrap_or_default() {
        let findings = async {
            let mut copy = Db::read_copy(&backup.file).await?;
            ledger::verify(&mut copy).await
        };
        match findings.await {
            Ok(findings) => faults.extend(findings.faults),
            Err(error) => faults.push(format!("{}: {error}", backup.name)),
        }
    }
}

/// A runtime as the program's own.
pub fn block_on<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap()
        .block_on(work)
}
