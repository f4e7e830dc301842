//! Counting a kit. The kit is the invented beacon: two bags with slips, eight kinds of part.

mod accuracy;
mod alone;
mod blind;
mod closing;
mod messy;
mod otherwise;
mod together;

use std::future::Future;
use std::pin::Pin;
use std::task::Poll;

use fieldstow::ids::{KitId, PartId, PersonId, PlaceId, TeamId};
use fieldstow::kits;
use fieldstow::ledger;
use fieldstow::people::Role;
use uuid::Uuid;

use crate::support::{Browser, Seen, World};

/// A kit of the team with two bags and what the slips say is in them.
pub struct Unpack {
    pub world: World,
    pub team: TeamId,
    pub keeper: PersonId,
    pub kit: KitId,
    pub bags: Vec<PlaceId>,
}

/// Bag 1: 4 posts, 8 pegs, 1 lamp. Bag 2: 12 pegs, 2 long plates, 2 short plates, 6 straps.
/// The two shades are on no slip.
pub async fn unpack() -> Unpack {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (keeper, _) = world
        .account("Maker of the kit", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, keeper, team, "Kettlehorn", &["Bag 1", "Bag 2"])
        .await;
    let slips: [(usize, &str, i64); 7] = [
        (0, "Post", 4),
        (0, "Peg", 8),
        (0, "Lamp", 1),
        (1, "Peg", 12),
        (1, "Plate, long", 2),
        (1, "Plate, short", 2),
        (1, "Strap", 6),
    ];
    for (position, (bag, part, qty)) in slips.into_iter().enumerate() {
        let part = world.part(part).await;
        let mut tx = world.app.db.begin_write().await.unwrap();
        sqlx::query(
            "insert into packing_line (place_id, part_id, qty, position) values ($1, $2, $3, $4)",
        )
        .bind(bags[bag])
        .bind(part)
        .bind(qty)
        .bind(position as i64)
        .execute(&mut *tx)
        .await
        .unwrap();
        tx.commit().await.unwrap();
    }
    Unpack {
        world,
        team,
        keeper,
        kit,
        bags,
    }
}

impl Unpack {
    pub async fn person(&self, name: &str, role: Role) -> Browser<'_> {
        self.world.person(name, self.team, role).await
    }

    /// Opens the kit's count by the button on the list of counts. Answers its address.
    pub async fn open(&self, browser: &Browser<'_>) -> String {
        let counts = browser.open("/counts").await;
        let button = counts
            .texts_of("form button")
            .into_iter()
            .find(|text| text.contains("Kettlehorn"))
            .expect("a button to begin a count");
        let list = browser.press(&counts, &button, &[]).await;
        assert_eq!(list.status.as_u16(), 200);
        list.path
    }

    /// Begins to count a bag of the count. Answers the stint's address.
    pub async fn begin(&self, browser: &Browser<'_>, count: &str, bag: usize) -> String {
        let place = browser
            .open(&format!("{count}/places/{}", self.bags[bag]))
            .await;
        let button = place
            .texts_of("form button")
            .into_iter()
            .find(|text| text.starts_with("Count this bag") || text.starts_with("Start this bag"))
            .unwrap_or_else(|| panic!("nothing to begin on {}", place.words()));
        let stint = browser.press(&place, &button, &[]).await;
        assert!(stint.path.starts_with("/stints/"), "{}", stint.words());
        stint.path
    }

    pub async fn line(&self, stint: &str, part: &str) -> String {
        format!("{stint}?part={}", self.world.part(part).await)
    }

    /// Types a number into a line and keeps it, whatever is asked.
    pub async fn count(&self, browser: &Browser<'_>, stint: &str, part: &str, number: &str) {
        let page = browser.open(&self.line(stint, part).await).await;
        let mut seen = browser
            .press(&page, "Write it down", &[("typed", number)])
            .await;
        if seen.status.as_u16() == 422 {
            seen = browser.press(&seen, &format!("Keep {number}"), &[]).await;
        }
        seen.expect(200, number);
    }

    /// Finishes a bag, leaving uncounted what is.
    pub async fn finish(&self, browser: &Browser<'_>, stint: &str) -> Seen {
        let page = browser.open(&format!("{stint}/done")).await;
        let leave = page
            .texts_of("form button")
            .into_iter()
            .find(|text| text.starts_with("Finish") || text == "Leave them uncounted")
            .expect("a button to finish");
        browser.press(&page, &leave, &[]).await
    }

    /// Closes the count with these answers; the fields must be on the page.
    pub async fn close(&self, browser: &Browser<'_>, count: &str, fields: &[(&str, &str)]) -> Seen {
        let page = browser.open(&format!("{count}/close")).await;
        browser.press(&page, "Close the count", fields).await
    }

    /// Need, here, short now, over and still to come of a part.
    pub async fn statement(&self, part: &str) -> (i64, i64, i64, i64, i64) {
        let mut db = self.world.app.db.read().await.unwrap();
        let lines = kits::statement(&mut db, self.kit).await.unwrap();
        let line = lines.iter().find(|line| line.name == part).unwrap();
        (
            line.facts.need,
            line.facts.here(),
            line.facts.short_now(),
            line.facts.over(),
            line.still_to_come,
        )
    }

    /// The place of this name.
    pub async fn named(&self, name: &str) -> PlaceId {
        let mut db = self.world.app.db.read().await.unwrap();
        sqlx::query_scalar("select id from place where name = $1")
            .bind(name)
            .fetch_one(&mut *db)
            .await
            .unwrap()
    }

    /// What the books hold of a part in a bag, in all states.
    pub async fn balance(&self, bag: usize, part: &str) -> i64 {
        let part = self.world.part(part).await;
        let mut db = self.world.app.db.read().await.unwrap();
        sqlx::query_scalar(
            "select coalesce(sum(qty), 0) from balance where place_id = $1 and part_id = $2",
        )
        .bind(self.bags[bag])
        .bind(part)
        .fetch_one(&mut *db)
        .await
        .unwrap()
    }

    /// One number of the database.
    pub async fn number(&self, sql: &'static str) -> i64 {
        let mut db = self.world.app.db.read().await.unwrap();
        sqlx::query_scalar(sql).fetch_one(&mut *db).await.unwrap()
    }

    /// The books are whole: balances are the sum of the moves, the chain holds; and every stint's total is
    /// the sum of its tallies.
    pub async fn verify(&self) {
        let mut db = self.world.app.db.read().await.unwrap();
        let findings = ledger::verify(&mut db).await.unwrap();
        assert!(findings.faults.is_empty(), "{:?}", findings.faults);
        let wrong: i64 = sqlx::query_scalar(
            "select count(*) from stint_total
             where qty <> (
                 select coalesce(sum(amount), 0) from tally
                 where tally.stint_id = stint_total.stint_id
                     and tally.part_id = stint_total.part_id
                     and late = 0
             )",
        )
        .fetch_one(&mut *db)
        .await
        .unwrap();
        assert_eq!(wrong, 0, "a total is not the sum of its tallies");
    }
}

/// A tap as the script sends it.
pub fn tap(part: PartId, amount: i64, shown: Option<i64>) -> serde_json::Value {
    serde_json::json!({
        "id": Uuid::now_v7().simple().to_string(),
        "part": part,
        "amount": amount,
        "shown": shown,
        "undoes": null,
        "done_at": 1_804_183_200_000_i64,
    })
}

/// The answer to a pile of taps: each one's state.
pub fn states(seen: &Seen) -> Vec<String> {
    assert_eq!(seen.status.as_u16(), 200, "{}", seen.html());
    seen.json()["results"]
        .as_array()
        .unwrap()
        .iter()
        .map(|result| result["state"].as_str().unwrap().to_owned())
        .collect()
}

/// Waits for all of them at once.
pub async fn all_at_once<T>(futures: Vec<impl Future<Output = T>>) -> Vec<T> {
    let mut waiting: Vec<Pin<Box<_>>> = futures.into_iter().map(Box::pin).collect();
    let mut done: Vec<Option<T>> = waiting.iter().map(|_| None).collect();
    std::future::poll_fn(|context| {
        for (one, result) in waiting.iter_mut().zip(&mut done) {
            if result.is_none()
                && let Poll::Ready(value) = one.as_mut().poll(context)
            {
                *result = Some(value);
            }
        }
        if done.iter().all(Option::is_some) {
            Poll::Ready(())
        } else {
            Poll::Pending
        }
    })
    .await;
    done.into_iter().flatten().collect()
}
