//! Build check: whether a field can be built with the pieces that will be there, and if not, how much of it.
//!
//! In plain words: give every assembly its pieces. If there are enough, all is well. If not, first those stand
//! that must; then as many as possible; and where that leaves a choice, those that come earlier on the walk
//! round the field. Then it says which parts are lacking, which assemblies they stop, and where the
//! pieces could come from.
//!
//! - The field is a parts list (or several put together), as [`crate::guides::need`] adds it up. An
//!   assembly that holds others stands only if enough of those stand. Copies count one by one: of six towers four
//!   may stand. Of a line *for all of them together* some copies want their share, rounded up.
//! - An assembly that stands already ([`Asked::on_hand`]) brings its own pieces and what is inside it; it is
//!   used whole and never taken apart. To have it taken apart, give its pieces instead.
//! - Pieces that the field wants beside its assemblies come after them: they stop no assembly, but while they
//!   are lacking the field is not whole.
//! - For official play good and doubtful pieces count and what may stand in officially; for practice also
//!   practice-only pieces and what may stand in for practice. Broken pieces never count.
//!
//! How the choice is made, and why it is the best, stands in `standing.rs`; how pieces are shared out
//! among parts that may stand in for each other, in `stock.rs`. At most [`STEPS`] steps are made (a caller may
//! allow another number); beyond them the answer can be built, but may not be the best
//! ([`Proof::BestFound`]).

mod cures;
mod field;
mod shelf;
mod standing;
mod stock;

#[cfg(test)]
mod tests;

use crate::clock::Day;
use crate::guides::need::{Line, NeedRefused, need};
use crate::ledger::State;
use field::Field;
use shelf::Shelf;

/// The most steps of the search, unless the caller allows another number.
pub const STEPS: u64 = 20_000;

/// The most assemblies a field may have, copies counted, and the most pieces.
pub const MOST_ASSEMBLIES: u64 = 10_000;
pub const MOST_PIECES: u64 = 1 << 40;

/// What the field is built for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Purpose {
    Practice,
    Official,
}

/// An assembly at its place in the walk round the field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted<A> {
    pub assembly: A,
    /// How many of its copies must stand.
    pub must_stand: u64,
}

/// Pieces of one part in one kit that will be there on the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pieces<P, K> {
    pub part: P,
    pub kit: K,
    pub state: State,
    pub pieces: u64,
}

/// A part that may be used instead of another. What stands in for it may not stand in further.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StandIn<P> {
    pub part: P,
    pub stands_in_for: P,
    /// In official play too; otherwise only for practice.
    pub officially: bool,
}

/// Where lacking pieces can come from, in the order in which to try.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CureKind {
    /// Pieces that are there but do not count for official play.
    PracticeOrStandIn,
    SameKit,
    SparesBox,
    OtherKitOfTheTeam,
    OtherTeam,
    Order,
}

/// Pieces elsewhere that could be had.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Source<P, S> {
    pub kind: CureKind,
    pub source: S,
    pub part: P,
    pub pieces: u64,
    /// The first day on which they are there.
    pub there_on: Day,
}

/// What is asked.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a, P, A, K, S> {
    /// The parts list of the field, in the size asked for.
    pub lines: &'a [Line<P, A>],
    /// The assemblies in walk order; those not named come after them, in the order of their ids.
    pub walk: &'a [Wanted<A>],
    pub pieces: &'a [Pieces<P, K>],
    pub stand_ins: &'a [StandIn<P>],
    /// Assemblies that stand already, with how many of each, beside those inside others named here.
    pub on_hand: &'a [(A, u64)],
    pub purpose: Purpose,
    pub sources: &'a [Source<P, S>],
    pub day: Day,
}

/// How sure the answer is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Proof {
    /// Nothing is better.
    Proven,
    /// It can be built like this, but after so many steps it is not proven that nothing is better.
    BestFound { steps: u64 },
}

/// What can be built.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer<P, A, K, S> {
    /// Whether the whole field can be built, with all that it wants beside its assemblies.
    pub whole: bool,
    /// Every assembly in walk order.
    pub assemblies: Vec<Stands<A>>,
    /// If not all that must stand can: some of those, each with how many, that cannot stand together,
    /// though they could with one copy fewer of any of them. Otherwise empty.
    pub cannot_together: Vec<(A, u64)>,
    /// The pieces that go into the assemblies that stand and are still to be built.
    pub taken: Vec<Taken<P, K>>,
    /// What is lacking for the whole field.
    pub lacks: Vec<Lack<P, A, S>>,
    pub proof: Proof,
}

/// How many copies of an assembly can stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stands<A> {
    pub assembly: A,
    /// How many the field has.
    pub held: u64,
    pub must_stand: u64,
    /// How many can stand in the best choice.
    pub stand: u64,
    /// How many of these stand already, alone or inside others.
    pub already: u64,
}

/// Pieces that serve a part of an assembly.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Taken<P, K> {
    pub for_part: P,
    /// The part itself, or one that stands in.
    pub part: P,
    pub kit: K,
    pub state: State,
    pub pieces: u64,
}

/// A part of which pieces are lacking for the whole field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lack<P, A, S> {
    pub part: P,
    pub lacking: u64,
    /// The assemblies that do not all stand and use it themselves, in walk order.
    pub stops: Vec<A>,
    /// In the order in which to try; together never more than is lacking.
    pub cures: Vec<Cure<S>>,
    /// Pieces of sources that come only after the day.
    pub too_late: u64,
    /// What no cure covers.
    pub uncured: u64,
}

/// How many of the lacking pieces can come from one source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cure<S> {
    pub kind: CureKind,
    /// None for pieces that are there but do not count for official play.
    pub source: Option<S>,
    pub pieces: u64,
}

/// Why a build was not checked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BuildRefused<P, A> {
    #[error("The parts list cannot be added up.")]
    Need(NeedRefused<P, A>),
    #[error("An assembly is named twice in the walk round the field.")]
    TwiceInWalk(A),
    #[error("The field has no such assembly.")]
    NotInField(A),
    #[error("More copies of an assembly must stand than the field has.")]
    MoreThanHeld(A),
    #[error("A part is said to stand in for itself.")]
    StandsInForItself(P),
    #[error("The field is too large to be checked exactly.")]
    TooLarge,
}

/// Whether this field can be built, and if not, the best that can: first what must stand, then the most
/// assemblies, then those that come earlier on the walk. Says which parts are lacking and what would
/// cure it.
///
/// Quantities are whole pieces and whole copies. At most `most_steps` steps are made; [`STEPS`] is a good
/// number. Refused are a list that cannot be added up, a walk that names an assembly twice or one the field
/// does not have, more that must stand than there are, a part that stands in for itself, and fields
/// beyond [`MOST_ASSEMBLIES`] or [`MOST_PIECES`].
pub fn check<P, A, K, S>(
    asked: &Asked<'_, P, A, K, S>,
    most_steps: u64,
) -> Result<Answer<P, A, K, S>, BuildRefused<P, A>>
where
    P: Copy + Ord,
    A: Copy + Ord,
    K: Copy,
    S: Copy,
{
    let need = need(asked.lines).map_err(BuildRefused::Need)?;
    let copies = need
        .assemblies()
        .try_fold(0_u64, |all, (_, copies)| all.checked_add(copies));
    if copies.is_none_or(|copies| copies > MOST_ASSEMBLIES) || need.total() > MOST_PIECES {
        return Err(BuildRefused::TooLarge);
    }
    let mut parts: Vec<P> = need.parts().map(|(part, _)| part).collect();
    parts.extend(asked.stand_ins.iter().map(|stand_in| stand_in.part));
    parts.sort_unstable();
    parts.dedup();
    let shelf = Shelf::read(
        &parts,
        asked.pieces,
        asked.stand_ins,
        asked.purpose,
        need.total(),
    )?;
    let mut field = Field::read(asked.lines, &need, &parts, asked.walk)?;
    field.set_standing(asked.on_hand)?;

    let must: Vec<u64> = field.kinds.iter().map(|kind| kind.must_stand).collect();
    let cannot_together = cannot_together(&field, &shelf, &must);
    let least = if cannot_together.is_empty() {
        field.closed(must)
    } else {
        field.closed(vec![0; field.kinds.len()])
    };
    let standing = standing::best(&field, &shelf.stock, &least, most_steps)?;
    let sharing = shelf.stock.share_out(&field.wanted(&standing.copies));
    let lacks = cures::lacks(asked, &field, &shelf, &standing.copies);
    let stands = field.kinds.iter().zip(&standing.copies);
    Ok(Answer {
        whole: lacks.is_empty(),
        assemblies: stands
            .map(|(kind, stand)| Stands {
                assembly: kind.assembly,
                held: kind.held,
                must_stand: kind.must_stand,
                stand: *stand,
                already: kind.standing,
            })
            .collect(),
        cannot_together,
        taken: shelf.take(&sharing),
        lacks,
        proof: if standing.proven {
            Proof::Proven
        } else {
            Proof::BestFound {
                steps: standing.steps,
            }
        },
    })
}

/// Of what must stand, so little as cannot stand together: nothing if all of it can. Each is lowered as far
/// as the rest still cannot stand, the last on the walk first.
fn cannot_together<P, A, K>(field: &Field<P, A>, shelf: &Shelf<P, K>, must: &[u64]) -> Vec<(A, u64)>
where
    P: Copy + Ord,
    A: Copy + Ord,
{
    let can_stand = |copies: &[u64]| {
        let wanted = field.wanted(&field.closed(copies.to_vec()));
        shelf.stock.too_few(&wanted).is_none()
    };
    if can_stand(must) {
        return Vec::new();
    }
    let mut least = must.to_vec();
    for kind in (0..least.len()).rev() {
        // The fewest copies with which the rest still cannot stand: never less than `low`, surely `high`.
        let (mut low, mut high) = (0, least[kind]);
        while low < high {
            least[kind] = low + (high - low) / 2;
            if can_stand(&least) {
                low = least[kind] + 1;
            } else {
                high = least[kind];
            }
        }
        least[kind] = high;
    }
    let named = field.kinds.iter().zip(least);
    named
        .filter(|(_, copies)| *copies > 0)
        .map(|(kind, copies)| (kind.assembly, copies))
        .collect()
}
