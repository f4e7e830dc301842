//! The queries about places.

mod changes;
mod pieces;
mod seals;

pub use changes::{bag_names, holds, names, set_put_away, set_with_borrower, update};
pub use pieces::{Holding, Load, Pieces, holdings, loads, pieces};
pub use seals::{
    add_step as add_seal_step, contents as seal_contents, sealed_around, steps as seal_steps,
};

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::code::Code;
use crate::ids::{KitId, PlaceId, TeamId};

/// What a place is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Kind {
    Store,
    Shelf,
    Van,
    Venue,
    Crate,
    Box,
    Bag,
    Tray,
    Heap,
}

impl Kind {
    pub const ALL: [Kind; 9] = [
        Kind::Store,
        Kind::Shelf,
        Kind::Van,
        Kind::Venue,
        Kind::Crate,
        Kind::Box,
        Kind::Bag,
        Kind::Tray,
        Kind::Heap,
    ];

    pub fn word(self) -> &'static str {
        match self {
            Kind::Store => "store",
            Kind::Shelf => "shelf",
            Kind::Van => "van",
            Kind::Venue => "venue",
            Kind::Crate => "crate",
            Kind::Box => "box",
            Kind::Bag => "bag",
            Kind::Tray => "tray",
            Kind::Heap => "heap",
        }
    }

    /// Reads the word back.
    pub fn from_word(word: &str) -> Option<Kind> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Whether it is closed with a lid or a knot, so that a seal says something.
    pub fn is_sealed(self) -> bool {
        matches!(self, Kind::Crate | Kind::Box | Kind::Bag | Kind::Tray)
    }

    /// Whether pieces are kept in it and it can be carried.
    pub fn is_carried(self) -> bool {
        match self {
            Kind::Crate | Kind::Box | Kind::Bag | Kind::Tray | Kind::Heap => true,
            Kind::Store | Kind::Shelf | Kind::Van | Kind::Venue => false,
        }
    }
}

#[derive(Debug, Clone)]
pub struct Place {
    pub id: PlaceId,
    pub code: Code,
    pub kind: Kind,
    pub team: TeamId,
    pub kit: Option<KitId>,
    pub name: String,
    pub make: String,
    pub tare_g: Option<f64>,
    pub parent: Option<PlaceId>,
    pub usual_parent: Option<PlaceId>,
    pub note: String,
    pub put_away: bool,
    /// Not a place of the team: it stands for a borrower who has what is "in" it.
    pub with_borrower: bool,
    pub version: i64,
}

pub struct NewPlace {
    pub id: PlaceId,
    pub kind: Kind,
    pub team: TeamId,
    pub kit: Option<KitId>,
    pub name: String,
    pub make: String,
    pub tare_g: Option<f64>,
    pub parent: Option<PlaceId>,
    pub usual_parent: Option<PlaceId>,
    pub note: String,
}

pub async fn insert(db: &mut SqliteConnection, new: &NewPlace, now: Instant) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into place (
                id, kind, team_id, kit_id, name, make, tare_g, usual_parent_id, note, position, made_at
            )
            values (
                $1, $2, $3, $4, $5, $6, $7, $8, $9,
                (select coalesce(max(position), 0) + 1 from place where team_id = $3),
                $10
            )
        "#,
        new.id,
        new.kind,
        new.team,
        new.kit,
        new.name,
        new.make,
        new.tare_g,
        new.usual_parent,
        new.note,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Places as they are shown: what stands before the columns, and the rest of the query after them.
macro_rules! places {
    ($before:tt, $rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Place,
            $before + r#"
            select
                place.id as "id!: PlaceId",
                code.code as "code!: Code",
                place.kind as "kind!: Kind",
                place.team_id as "team!: TeamId",
                place.kit_id as "kit: KitId",
                place.name as "name!",
                place.make as "make!",
                place.tare_g,
                place.parent_id as "parent: PlaceId",
                place.usual_parent_id as "usual_parent: PlaceId",
                place.note as "note!",
                place.put_away_at is not null as "put_away!: bool",
                place.with_borrower as "with_borrower!: bool",
                place.version as "version!"
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn find(db: &mut SqliteConnection, place: PlaceId) -> sqlx::Result<Option<Place>> {
    places!(
        "",
        r#"
            from place
            join code on code.subject_id = place.id
            where place.id = $1 and place.kind <> 'outside'
        "#,
        place
    )
    .fetch_optional(db)
    .await
}

/// The boxes, bags, trays, heaps and crates of a kit that are not put away, in the order they were made.
pub async fn in_kit(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Place>> {
    places!(
        "",
        r#"
            from place
            join code on code.subject_id = place.id
            where place.kit_id = $1 and place.put_away_at is null
            order by place.position
        "#,
        kit
    )
    .fetch_all(db)
    .await
}

/// All places of a team that are not put away, in the order they were made.
pub async fn of_team(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Place>> {
    places!(
        "",
        r#"
            from place
            join code on code.subject_id = place.id
            where place.team_id = $1 and place.put_away_at is null
            order by place.position
        "#,
        team
    )
    .fetch_all(db)
    .await
}

/// A place and what it stands in, from the inside outwards.
pub async fn way(db: &mut SqliteConnection, place: PlaceId) -> sqlx::Result<Vec<Place>> {
    places!(
        r#"
            with recursive above (id, step) as (
                select $1, 0
                union all
                select place.parent_id, above.step + 1
                from above
                join place on place.id = above.id
                where place.parent_id is not null and above.step < 50
            )
        "#,
        r#"
            from above
            join place on place.id = above.id
            join code on code.subject_id = place.id
            order by above.step
        "#,
        place
    )
    .fetch_all(db)
    .await
}

/// Places with all that they stand in, outside places left out.
pub async fn around(db: &mut SqliteConnection, places: &[PlaceId]) -> sqlx::Result<Vec<Place>> {
    let ids = hex_list(places);
    places!(
        r#"
            with recursive above (id) as (
                select unhex(value)
                from json_each($1)
                union
                select place.parent_id
                from above
                join place on place.id = above.id
                where place.parent_id is not null
            )
        "#,
        r#"
            from above
            join place on place.id = above.id
            join code on code.subject_id = place.id
            where place.kind <> 'outside'
        "#,
        ids
    )
    .fetch_all(db)
    .await
}

/// Ids as a JSON array of hexadecimal texts, for `unhex(value) from json_each(…)`.
fn hex_list(places: &[PlaceId]) -> String {
    let ids: Vec<String> = places
        .iter()
        .map(|place| format!("\"{}\"", place.0.simple()))
        .collect();
    format!("[{}]", ids.join(","))
}

/// What stands in a place, however deep, without what was put away, in the order it was made.
pub async fn below(db: &mut SqliteConnection, place: PlaceId) -> sqlx::Result<Vec<Place>> {
    places!(
        r#"
            with recursive below (id) as (
                select id from place where parent_id = $1
                union
                select place.id
                from below
                join place on place.parent_id = below.id
            )
        "#,
        r#"
            from below
            join place on place.id = below.id
            join code on code.subject_id = place.id
            where place.put_away_at is null
            order by place.position
        "#,
        place
    )
    .fetch_all(db)
    .await
}
