//! A small world with something on every page, and an example for everything that stands in addresses:
//! for tests that go through all pages, those that are added later included.

use std::collections::BTreeMap;

use axum::http::Method;
use fieldstow::ids::{FormId, KitId, PartId, PersonId, PlaceId, TeamId};
use fieldstow::ledger::{self, Document, Entry, Move, Outside, Stand};
use fieldstow::people::access::Rule;
use fieldstow::people::{self, Role};
use fieldstow::{app, demo};
use uuid::Uuid;

use super::{Browser, Seen, World};

/// The demo's league in the midst of its work.
pub struct Busy<'w> {
    /// Keeps the team whose kit is being counted, and coordinates the league.
    pub keeper: Browser<'w>,
    /// Somebody of the same team who only counts.
    pub crew: Browser<'w>,
    examples: BTreeMap<&'static str, String>,
}

/// A part that the list of a kit needs.
const PART_OF: &str = "select need.part_id from need join kit on kit.revision_id = need.revision_id \
    where kit.id = $1 limit 1";

const BOX_2: &str = "select id from place where kit_id = $1 and name = 'Box 2'";
const BOX_3: &str = "select id from place where kit_id = $1 and name = 'Box 3'";

/// The route that an address belongs to: "/kits/{kit}".
pub fn route_of(method: &Method, address: &str) -> Option<&'static str> {
    let path = address.split(['?', '#']).next().unwrap_or(address);
    let is_of = |route: &str| {
        route.split('/').count() == path.split('/').count()
            && route
                .split('/')
                .zip(path.split('/'))
                .all(|(known, asked)| known == asked || known.starts_with('{'))
    };
    app::listed_routes()
        .into_iter()
        .filter(|listed| listed.method == *method && is_of(listed.path))
        // "/kits/new" before "/kits/{kit}".
        .min_by_key(|listed| listed.path.matches('{').count())
        .map(|listed| listed.path)
}

impl World {
    pub async fn busy(&self) -> Busy<'_> {
        let filled = demo::fill(&self.app).await.expect("the demo is told");
        let kit = filled.open_kit.to_string();
        let team: TeamId = self
            .stored("select team_id from kit where id = $1", &kit)
            .await;
        let kept = Some((team, Role::Keeper));
        let (_, keeper) = self.account("Ilvane Reedmark", kept, true).await;
        let counts = Some((team, Role::Crew));
        let (newcomer, crew) = self.account("Osk Fellgate", counts, false).await;

        let count = filled.open_count.to_string();
        let mut examples = BTreeMap::new();
        for (name, query, of) in [
            (
                "place",
                "select id from place where kit_id = $1 and kind = 'bag' limit 1",
                &kit,
            ),
            (
                "stint",
                "select id from stint where count_id = $1 order by state = 'open' desc limit 1",
                &count,
            ),
            ("part", PART_OF, &kit),
            (
                "damage",
                "select id from damage_report where kit_id = $1 limit 1",
                &kit,
            ),
            (
                "picture",
                "select id from picture where team_id = (select team_id from kit where id = $1) \
                 order by part_id is null limit 1",
                &kit,
            ),
            (
                "piece",
                "select id from numbered_piece where kit_id = $1 order by serial limit 1",
                &kit,
            ),
            (
                "season",
                "select id from season where $1 <> x'' limit 1",
                &kit,
            ),
            (
                "guide",
                "select id from guide where $1 <> x'' limit 1",
                &kit,
            ),
        ] {
            let id: Uuid = self.stored(query, of).await;
            examples.insert(name, id.to_string());
        }
        let supplied = self.browser();
        let cookie = people::viewer::cookie_name(&self.app);
        supplied.set_cookie(cookie, &filled.crates_session);
        let form = supplied
            .open(&format!("/kits/{}/reports/new", filled.counted_kit))
            .await;
        let report = supplied.press(&form, "I sent it on", &[]).await;
        examples.insert("/kits/{kit}/reports/{report}", report.path);
        let wanted = format!("/orders/new?kit={kit}&part={}", examples["part"]);
        let form = keeper.open(&wanted).await;
        let ordered = keeper.press(&form, "Put it on the list", &[]).await;
        examples.insert("/kits/{kit}/orders/{order}", ordered.path);
        let box_3 = self.box_of(&kit, BOX_3).await;
        let lent = loan(&keeper, &kit, &box_3, "Upper Quern Workshop").await;
        examples.insert("loan", last_segment(&lent.path));
        let form = keeper.open(&format!("{}/onward", lent.path)).await;
        let fields = [
            ("to", "Tin Mill"),
            ("to_contact", "the porter"),
            ("onward_why", "they build the gates"),
            (box_3.as_str(), "yes"),
        ];
        let onward = keeper.press(&form, "Write it in", &fields).await;
        examples.insert("onward/n", last_segment(&onward.path));
        let held = "select '/loans/' || lower(hex(loan_onward.loan_id)) || '/held' \
            from loan_onward join kit on kit.team_id = loan_onward.team_id \
            where kit.id = $1 and loan_onward.state = 'done' limit 1";
        examples.insert("/loans/{loan}/held", self.stored(held, &kit).await);
        let form = keeper.open("/borrowed/new").await;
        let fields = [
            ("lender", "Tin Mill"),
            ("crates", "two green crates"),
            ("pieces", "4 Peg"),
            ("due_on", "2099-01-09"),
        ];
        let borrowed = keeper.press(&form, "Write it in", &fields).await;
        examples.insert("borrowed", last_segment(&borrowed.path));
        let box_2 = self.box_of(&kit, BOX_2).await;
        let (key, lent) = linked(&keeper, &kit, &box_2).await;
        let key = key.replace(['-', ' '], "");
        let begin = keeper.open(&format!("/lent/open/{key}")).await;
        let phone = keeper
            .press(&begin, "Open the loan", &[("name", "Ivo")])
            .await;
        let fields = [
            ("to", "Upper Quern Workshop"),
            ("onward_why", "they build the gates"),
            (box_2.as_str(), "yes"),
        ];
        keeper.press(&phone, "Ask the lender", &fields).await;
        let page = keeper.open(&lent).await;
        keeper.press(&page, "Yes, they may", &[]).await;
        examples.insert("/lent/onward/{n}", "/lent/onward/1".to_owned());
        examples.insert("open/key", key.clone());
        examples.insert("OPEN/key", key);
        let form = keeper.open("/calendar/links").await;
        let made = keeper
            .press(&form, "Make the link", &[("name", "My phone")])
            .await;
        let link = made.attribute("#link", "value").expect("a link");
        examples.insert("feed/token", last_segment(&link));
        let form = keeper.open("/events/new").await;
        let day = [("name", "Larch Lantern Day"), ("first_on", "2027-03-27")];
        let event = keeper.press(&form, "Add the event", &day).await;
        examples.insert("event", last_segment(&event.path));
        let bring = keeper.press(&event, "It goes", &[("kit", &kit)]).await;
        let form = keeper.open("/kits/new").await;
        let floor = [("name", "Larch floor"), ("checked", "spares")];
        let floor = last_segment(&keeper.press(&form, "Add the kit", &floor).await.path);
        let form = [
            ("form_id", FormId::new().to_string()),
            ("team", team.to_string()),
            ("name", "Hall field".into()),
        ];
        let kits = [("kit", kit.clone()), ("kit", floor)];
        let fields: Vec<(&str, &str)> = form
            .iter()
            .chain(&kits)
            .map(|(name, value)| (*name, value.as_str()))
            .collect();
        let field = keeper.post("/fields", &fields).await;
        let field = field.header("location").expect("the field's page");
        examples.insert("field", last_segment(field));
        let pass = keeper.click(&bring, "Helper pass").await;
        let pass = keeper.press(&pass, "Make the pass", &[]).await;
        let pass = pass.text_of("main .code .plain").replace('-', "");
        let begin = keeper.open(&format!("/pass/{pass}")).await;
        keeper
            .press(&begin, "I am helping", &[("first_name", "Sam")])
            .await;
        let helping = keeper.open("/helping").await;
        let button = helping.text_of(".jobs li:last-child button");
        assert!(button.starts_with("Count "), "a bag that nobody has begun");
        let sheet = keeper.press(&helping, &button, &[]).await;
        examples.insert("/helping/stints/{stint}", sheet.path);
        examples.insert("pass/code", pass.clone());
        examples.insert("PASS/code", pass);
        let code = "select code from code where subject_id = $1";
        examples.insert("code", self.stored(code, &examples["place"]).await);
        self.bring_in_pictured(&kit, &examples["place"]).await;
        let small = "select '/c/' || code.code || '/pictures/' || lower(hex(picture.part_id)) || '/small.jpg' \
            from picture \
            join balance on balance.part_id = picture.part_id and balance.outside = 0 and balance.qty > 0 \
            join place on place.id = balance.place_id and place.team_id = picture.team_id \
            join code on code.subject_id = place.id \
            where place.kind in ('crate', 'bag', 'box', 'tray') and picture.removed_at is null and $1 <> x'' \
            limit 1";
        let small = self.stored(small, &kit).await;
        examples.insert("/c/{code}/pictures/{part}/small.jpg", small);
        let seq = "select cast(max(seq) as text) from entry where $1 <> x''";
        examples.insert("seq", self.stored(seq, &kit).await);
        examples.extend([
            ("kit", kit),
            ("count", count),
            ("team", team.to_string()),
            ("revision", filled.newest_revision.to_string()),
            ("draft", last_segment(&draft(&keeper).await.path)),
        ]);
        let invite = people::invite_coordinator(&self.app).await.unwrap();
        examples.insert("invites/token", last_segment(&invite));
        examples.insert("resets/token", reset(&keeper, team, newcomer).await);
        Busy {
            keeper,
            crew,
            examples,
        }
    }

    /// The field that ticks a box of a kit when it is lent.
    async fn box_of(&self, kit: &str, query: &'static str) -> String {
        let id: Uuid = self.stored(query, kit).await;
        format!("crate-{id}")
    }

    /// One piece of a part that has a picture lies in a place of the kit.
    async fn bring_in_pictured(&self, kit: &str, place: &str) {
        let pictured = "select picture.part_id from picture join kit on kit.team_id = picture.team_id \
            where kit.id = $1 and picture.part_id is not null and picture.removed_at is null limit 1";
        let part: PartId = self.stored(pictured, kit).await;
        let person = "select id from person where $1 <> x'' limit 1";
        let person: PersonId = self.stored(person, kit).await;
        let (kit, place): (KitId, PlaceId) = (kit.parse().unwrap(), place.parse().unwrap());
        let now = self.app.clock.now();
        let mut entry = Entry::new(FormId::new(), "brought in", person, now);
        entry.document = Some(Document::Kit(kit));
        entry.moves = vec![Move {
            part,
            qty: 1,
            from: Stand::good(kit, Outside::BroughtIn.place()),
            to: Stand::good(kit, place),
        }];
        let mut tx = self.app.db.begin_write().await.unwrap();
        ledger::append(&mut tx, &entry).await.unwrap();
        tx.commit().await.unwrap();
    }

    /// The first value that a query finds for an id.
    async fn stored<T>(&self, query: &'static str, id: &str) -> T
    where
        T: Send + Unpin + for<'r> sqlx::Decode<'r, sqlx::Sqlite> + sqlx::Type<sqlx::Sqlite>,
    {
        let mut db = self.app.db.read().await.unwrap();
        sqlx::query_scalar::<_, T>(query)
            .bind(id.parse::<Uuid>().expect("an id"))
            .fetch_one(&mut *db)
            .await
            .unwrap_or_else(|error| panic!("{query}: {error}"))
    }
}

impl Busy<'_> {
    /// Every page that can be asked for, with the rule's parameters filled in, and what lacks an example.
    pub fn addresses(&self) -> (Vec<String>, Vec<String>) {
        let mut filled = Vec::new();
        let mut lacking = Vec::new();
        for listed in app::listed_routes() {
            if listed.method != Method::GET {
                continue;
            }
            match self.fill(listed.path) {
                Ok(address) => filled.push(address),
                Err(lacks) => lacking.push(lacks),
            }
        }
        (filled, lacking)
    }

    /// Every page that somebody without an account may see.
    pub fn strangers_addresses(&self) -> Vec<String> {
        app::listed_routes()
            .iter()
            .filter(|listed| listed.method == Method::GET && listed.rule == Rule::Anyone)
            .filter_map(|listed| self.fill(listed.path).ok())
            .collect()
    }

    /// "/kits/{kit}/edit" with an example for each parameter.
    fn fill(&self, path: &str) -> Result<String, String> {
        // Where one parameter must fit another, the whole address is the example.
        if let Some(whole) = self.examples.get(path) {
            return Ok(whole.clone());
        }
        let mut filled = Vec::new();
        let mut before = "";
        for segment in path.split('/') {
            let Some((name, rest)) = segment
                .strip_prefix('{')
                .and_then(|rest| rest.split_once('}'))
            else {
                filled.push(segment.to_owned());
                before = segment;
                continue;
            };
            let told_apart = format!("{before}/{name}");
            let example = self
                .examples
                .get(told_apart.as_str())
                .or_else(|| self.examples.get(name))
                .ok_or_else(|| {
                    format!("add an example for {{{name}}} in {path} to `World::busy`")
                })?;
            filled.push(format!("{example}{rest}"));
            before = segment;
        }
        Ok(filled.join("/"))
    }
}

/// A list half read in.
async fn draft(keeper: &Browser<'_>) -> Seen {
    let form = keeper.open("/guides/new").await;
    let fields = [
        ("name", "Pass Run"),
        ("label", "A"),
        ("issued_on", "2027-01-09"),
    ];
    let list = keeper.press(&form, "Add the guide", &fields).await;
    let form = keeper.click(&list, "Read a list in").await;
    let messy: &[u8] = include_bytes!("../../examples/messy-parts-list.csv");
    keeper
        .upload(&form, "Read it", Some(("messy.csv", messy)), &[])
        .await
}

/// A box of the kit, handed out.
async fn loan(keeper: &Browser<'_>, kit: &str, tick: &str, borrower: &str) -> Seen {
    let form = keeper.open(&format!("/kits/{kit}/lend")).await;
    let fields = [
        ("borrower", borrower),
        ("contact", "the porter"),
        ("due_on", "2099-01-09"),
        ("not_counted", "still closed as it came"),
        (tick, "yes"),
    ];
    // The demo's kit goes to an event before that.
    let refused = keeper.press(&form, "It is handed out", &fields).await;
    let despite = [("despite", "that box stays out"), (tick, "yes")];
    keeper.press(&refused, "It is handed out", &despite).await
}

/// Another box is lent to somebody outside the league, with a link: its key, and the loan's page.
async fn linked(keeper: &Browser<'_>, kit: &str, tick: &str) -> (String, String) {
    let lent = loan(keeper, kit, tick, "Tin Mill").await;
    let page = keeper.click(&lent, "Link for the borrower").await;
    let made = keeper.press(&page, "Make the link", &[]).await;
    (made.text_of(".loan-key"), lent.path)
}

/// The token of a link for a new password.
async fn reset(keeper: &Browser<'_>, team: TeamId, person: PersonId) -> String {
    let form_id = FormId::new().to_string();
    let path = format!("/teams/{team}/people/{person}/reset");
    let seen = keeper.post(&path, &[("form_id", &form_id)]).await;
    let html = seen.html();
    let (_, rest) = html
        .split_once("/resets/")
        .unwrap_or_else(|| panic!("no link on {path}:\n{}", seen.words()));
    rest.chars()
        .take_while(|c| c.is_ascii_alphanumeric() || "-_".contains(*c))
        .collect()
}

fn last_segment(path: &str) -> String {
    let path = path.split(['?', '#']).next().unwrap_or(path);
    path.rsplit('/').next().unwrap_or_default().to_owned()
}
