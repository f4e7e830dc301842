//! A small world with something on every page, and an example for everything that stands in addresses:
//! for tests that go through all pages, those that are added later included.

use std::collections::BTreeMap;

use axum::http::Method;
use fieldstow::app;
use fieldstow::ids::{FormId, PersonId, PlaceId, TeamId};
use fieldstow::people::access::Rule;
use fieldstow::people::{self, Role};
use fieldstow::places::{self, Kind, NewPlace};
use uuid::Uuid;

use super::{Browser, Seen, World};

/// Somebody who keeps a team's kits and coordinates the league, in the midst of it.
pub struct Busy<'w> {
    pub keeper: Browser<'w>,
    /// Somebody of the same team who only counts.
    pub crew: Browser<'w>,
    examples: BTreeMap<&'static str, String>,
}

/// Where in the database the first of a kind is found. A missing table is a mistake of this list; an
/// empty one leaves the example out.
const STORED: [(&str, &str); 7] = [
    ("kit", "select id from kit order by id limit 1"),
    ("team", "select id from team order by id limit 1"),
    ("season", "select id from season limit 1"),
    ("guide", "select id from guide order by id limit 1"),
    ("draft", "select id from import_draft limit 1"),
    ("count", "select id from count_sheet limit 1"),
    ("stint", "select id from stint limit 1"),
];

/// Pages that others lead to already although the slices that bring them are not there. Each counts
/// only until its route is.
const TO_COME: [&str; 4] = ["/kits", "/counts", "/where", "/history"];

/// Whether an address belongs to a page that is still to come.
pub fn is_to_come(address: &str) -> bool {
    let routes = app::listed_routes();
    TO_COME.iter().any(|to_come| {
        let below = address.strip_prefix(to_come);
        below.is_some_and(|rest| rest.is_empty() || rest.starts_with(['/', '?']))
            && !routes
                .iter()
                .any(|listed| listed.method == Method::GET && listed.path == *to_come)
            && route_of(&Method::GET, address).is_none()
    })
}

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
        let team = self.team("Nine Larches").await;
        self.team("Upper Quern Workshop").await;
        let (person, keeper) = self
            .account("Bexel", Some((team, Role::Keeper)), true)
            .await;
        let (quilla, crew) = self
            .account("Quilla", Some((team, Role::Crew)), false)
            .await;
        let form = keeper.open("/seasons/new").await;
        let season = [("name", "Over Three Passes")];
        keeper.press(&form, "Add the season", &season).await;

        let beacon = self.beacon().await;
        let bags = [
            "Bag 1",
            "Bag 2, with a name as long as people write on bags",
        ];
        let (kit, places) = self.kit(&beacon, person, team, "Kettlehorn", &bags).await;
        self.kit(&beacon, person, team, "Broomtop", &["Bag 1"])
            .await;
        self.crate_of(person, team).await;
        self.receive(person, kit, places[1], &[("Post", 2)]).await;

        let mut examples = BTreeMap::from([
            ("place", places[0].to_string()),
            ("revision", beacon.revision.to_string()),
            ("part", self.part("Peg").await.to_string()),
        ]);
        draft(&keeper).await;
        if let Some(opened) = act(&keeper, &format!("/kits/{kit}/counts"), &[]).await {
            let place = places[0];
            let count = last_segment(&opened);
            let stints = format!("/counts/{count}/places/{place}/stints");
            act(&keeper, &stints, &[]).await.expect("a stint begins");
        }
        for (name, query) in STORED {
            if let Some(id) = self.text(query).await {
                examples.insert(name, id);
            }
        }
        for (name, query) in [
            ("code", "select code from code where kind = 'place' limit 1"),
            ("seq", "select cast(max(seq) as text) from entry"),
        ] {
            let mut db = self.app.db.read().await.unwrap();
            let found = sqlx::query_scalar::<_, Option<String>>(query)
                .fetch_optional(&mut *db)
                .await
                .unwrap();
            if let Some(text) = found.flatten() {
                examples.insert(name, text);
            }
        }
        let invite = people::invite_coordinator(&self.app).await.unwrap();
        examples.insert("invites/token", last_segment(&invite));
        examples.insert("resets/token", reset(&keeper, team, quilla).await);
        Busy {
            keeper,
            crew,
            examples,
        }
    }

    async fn crate_of(&self, actor: PersonId, team: TeamId) {
        let new = NewPlace {
            id: PlaceId::new(),
            kind: Kind::Crate,
            team,
            kit: None,
            name: "Blue crate".into(),
            make: String::new(),
            tare_g: Some(1200.0),
            parent: None,
            usual_parent: None,
            note: String::new(),
        };
        let mut tx = self.app.db.begin_write().await.unwrap();
        places::make(&self.app, &mut tx, actor, &new).await.unwrap();
        tx.commit().await.unwrap();
    }

    async fn text(&self, query: &'static str) -> Option<String> {
        let mut db = self.app.db.read().await.unwrap();
        sqlx::query_scalar::<_, Uuid>(query)
            .fetch_optional(&mut *db)
            .await
            .unwrap()
            .map(|id| id.to_string())
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

/// Sends a form without fields, where the program has it. Answers where it leads.
async fn act(browser: &Browser<'_>, path: &str, fields: &[(&str, &str)]) -> Option<String> {
    if route_of(&Method::POST, path).is_none() {
        return None;
    }
    let form_id = FormId::new().to_string();
    let mut all = vec![("form_id", form_id.as_str())];
    all.extend(fields);
    let seen = browser.post(path, &all).await;
    let leads_to = seen.header("location").map(str::to_owned);
    Some(leads_to.unwrap_or_else(|| panic!("{path} leads nowhere:\n{}", seen.words())))
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
