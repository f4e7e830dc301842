//! The queries about numbered pieces.

use sqlx::SqliteConnection;

use super::rules::{Said, Typed};
use crate::clock::Instant;
use crate::code::Code;
use crate::ids::{KitId, PartId, PersonId, PieceId, PlaceId, TeamId};

/// A numbered piece, and where it was seen last.
#[derive(Debug, Clone)]
pub struct Piece {
    pub id: PieceId,
    pub code: Code,
    pub kit: KitId,
    pub kit_name: String,
    pub team: TeamId,
    pub part: PartId,
    /// "TM-2 Timer, grey".
    pub part_words: String,
    pub name: String,
    pub serial: String,
    pub note: String,
    pub put_away_at: Option<Instant>,
    pub put_away_why: String,
    pub version: i64,
    /// The last place where somebody saw it.
    pub place: Option<PlaceId>,
    pub place_name: Option<String>,
    pub seen_at: Option<Instant>,
    /// Somebody looked for it there later, and it was not.
    pub is_gone: bool,
}

impl Piece {
    pub fn is_put_away(&self) -> bool {
        self.put_away_at.is_some()
    }

    /// What tells it from its like: "KW-0007", or the name where it has no number.
    pub fn called(&self) -> String {
        match (self.serial.is_empty(), self.name.is_empty()) {
            (false, false) => format!("{}, {}", self.serial, self.name),
            (false, true) => self.serial.clone(),
            (true, _) => self.name.clone(),
        }
    }

    /// "in Bag 3", "not where it was seen last (Bag 3)", "nobody has seen it yet".
    pub fn whereabouts(&self) -> String {
        match (&self.place_name, self.is_gone) {
            (None, _) => "nobody has seen it yet".into(),
            (Some(place), false) => format!("in {place}"),
            (Some(place), true) => format!("not where it was seen last ({place})"),
        }
    }
}

/// Something somebody said about where a piece is.
#[derive(Debug, Clone)]
pub struct Sighting {
    pub place_name: String,
    pub said: Said,
    pub note: String,
    pub by: String,
    pub at: Instant,
}

/// Pieces with their last sighting, narrowed and ordered by the rest of the query.
macro_rules! pieces {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Piece,
            r#"
            select
                numbered_piece.id as "id!: PieceId",
                code.code as "code!: Code",
                numbered_piece.kit_id as "kit!: KitId",
                kit.name as "kit_name!",
                kit.team_id as "team!: TeamId",
                numbered_piece.part_id as "part!: PartId",
                trim(part.number || ' ' || part.name)
                    || case when part.colour = '' then '' else ', ' || part.colour end
                    as "part_words!: String",
                numbered_piece.name as "name!",
                numbered_piece.serial as "serial!",
                numbered_piece.note as "note!",
                numbered_piece.put_away_at as "put_away_at?: Instant",
                numbered_piece.put_away_why as "put_away_why!",
                numbered_piece.version as "version!",
                seen.place_id as "place?: PlaceId",
                place.name as "place_name?",
                seen.at as "seen_at?: Instant",
                exists (
                    select 1 from sighting as later
                    where later.piece_id = numbered_piece.id
                        and later.n > seen.n
                        and later.place_id = seen.place_id
                        and later.said = 'not here'
                ) as "is_gone!: bool"
            from numbered_piece
            join code on code.subject_id = numbered_piece.id
            join kit on kit.id = numbered_piece.kit_id
            join part on part.id = numbered_piece.part_id
            left join sighting as seen on seen.n = (
                select max(n) from sighting
                where piece_id = numbered_piece.id and said = 'seen'
            )
            left join place on place.id = seen.place_id
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn find(db: &mut SqliteConnection, piece: PieceId) -> sqlx::Result<Option<Piece>> {
    pieces!(
        r#"
            where numbered_piece.id = $1
        "#,
        piece
    )
    .fetch_optional(db)
    .await
}

/// The pieces of a kit, those put away last.
pub async fn of_kit(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Piece>> {
    pieces!(
        r#"
            where numbered_piece.kit_id = $1
            order by
                numbered_piece.put_away_at is not null,
                part.name,
                numbered_piece.serial,
                numbered_piece.name
        "#,
        kit
    )
    .fetch_all(db)
    .await
}

/// The pieces of a kit that should be in a place: that is where they were seen last.
pub async fn in_place(
    db: &mut SqliteConnection,
    kit: KitId,
    place: PlaceId,
) -> sqlx::Result<Vec<Piece>> {
    pieces!(
        r#"
            where numbered_piece.kit_id = $1
                and numbered_piece.put_away_at is null
                and seen.place_id = $2
            order by part.name, numbered_piece.serial, numbered_piece.name
        "#,
        kit,
        place
    )
    .fetch_all(db)
    .await
}

/// Everything that was said about where a piece is, the newest first.
pub async fn sightings(db: &mut SqliteConnection, piece: PieceId) -> sqlx::Result<Vec<Sighting>> {
    sqlx::query_as!(
        Sighting,
        r#"
            select
                place.name as "place_name!",
                sighting.said as "said!: Said",
                sighting.note as "note!",
                person.name as "by!",
                sighting.at as "at!: Instant"
            from sighting
            join place on place.id = sighting.place_id
            join person on person.id = sighting.person_id
            where sighting.piece_id = $1
            order by sighting.n desc
            limit 100
        "#,
        piece
    )
    .fetch_all(db)
    .await
}

/// Whether another piece of the kind that is not put away bears this serial number.
pub async fn has_serial(
    db: &mut SqliteConnection,
    part: PartId,
    serial: &str,
    besides: Option<PieceId>,
) -> sqlx::Result<bool> {
    sqlx::query_scalar!(
        r#"
            select exists (
                select 1 from numbered_piece
                where part_id = $1 and serial = $2 and serial <> '' and put_away_at is null
                    and ($3 is null or id <> $3)
            ) as "has!: bool"
        "#,
        part,
        serial,
        besides
    )
    .fetch_one(db)
    .await
}

pub async fn insert(
    db: &mut SqliteConnection,
    (piece, kit, part): (PieceId, KitId, PartId),
    said: &Typed,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into numbered_piece (id, kit_id, part_id, name, serial, note, made_by, made_at)
            values ($1, $2, $3, $4, $5, $6, $7, $8)
        "#,
        piece,
        kit,
        part,
        said.name,
        said.serial,
        said.note,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn update(db: &mut SqliteConnection, piece: PieceId, said: &Typed) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update numbered_piece
            set name = $2, serial = $3, note = $4, version = version + 1
            where id = $1
        "#,
        piece,
        said.name,
        said.serial,
        said.note
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn put_away(
    db: &mut SqliteConnection,
    piece: PieceId,
    at: Option<Instant>,
    why: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update numbered_piece
            set put_away_at = $2, put_away_why = $3, version = version + 1
            where id = $1
        "#,
        piece,
        at,
        why
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn add_sighting(
    db: &mut SqliteConnection,
    (piece, place): (PieceId, PlaceId),
    said: Said,
    note: &str,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into sighting (piece_id, place_id, said, note, person_id, at)
            values ($1, $2, $3, $4, $5, $6)
        "#,
        piece,
        place,
        said,
        note,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}
