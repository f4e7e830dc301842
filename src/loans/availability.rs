//! When a kit (or a crate, or a piece) is free: loans and events as days, and the first free days for a
//! request.
//!
//! Pure. What is given is about one kit, or whatever else is lent as one; whoever asks picks the loans and
//! events that concern it.
//!
//! A loan is *due back* on a day and is expected by the end of it. Around the days of use there may be
//! days on the road and days for counting, on which the kit is nobody else's either. Inside, all of them
//! together are a half-open interval: due back on the 14th with three days for counting means free on the
//! 18th.

use std::num::NonZeroU32;

use crate::clock::Day;
use crate::reckon::days::moved;
use crate::reckon::interval::Interval;

/// Days before and after the use, on which the kit is not free either.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Around {
    pub counting_out: u32,
    pub transport_there: u32,
    pub transport_back: u32,
    pub counting_back: u32,
}

/// The days something is used: from the first to the last, both included, and what is around them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stay {
    first: Day,
    /// Due back by the end of this day; none if nobody agreed on one.
    last: Option<Day>,
    around: Around,
    taken: Interval<Day>,
}

/// What takes the kit away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Loan,
    Event,
}

/// A loan or an event that is agreed on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken<I> {
    pub id: I,
    pub kind: Kind,
    /// The team that has it, or the event's name.
    pub name: String,
    pub stay: Stay,
}

/// A place in the calendar for a request: the days of use that fit, and the free days around them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Opening {
    pub stay: Stay,
    /// All free days there, from the end of what comes before until the start of what comes after.
    pub free: Interval<Day>,
}

/// A request may go ahead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Granted<I> {
    Free,
    /// Not free, but the keeper has decided otherwise.
    Overridden {
        conflicts: Vec<Taken<I>>,
        reason: String,
    },
}

/// Why days cannot be asked for, in words for the person who gave them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum StayRefused {
    #[error("due back on {} is before it goes out on {}", last.words(), first.words())]
    BackBeforeOut { first: Day, last: Day },
    #[error("these days lead out of the calendar; check the dates and the days around them")]
    OutOfCalendar,
}

/// Why the kit cannot be had for these days, in words for the person who asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotFree<I> {
    #[error("say why it is lent although it is not free")]
    NoReason,
    #[error("{}", conflict_in_words(.wanted, .conflicts, .first_free.as_ref()))]
    Conflict {
        wanted: Stay,
        /// In order of their first days.
        conflicts: Vec<Taken<I>>,
        /// The first days that would do, not earlier than those asked for. None: it is not known when it
        /// will be free again.
        first_free: Option<Opening>,
    },
}

impl Around {
    fn before(self) -> u64 {
        u64::from(self.counting_out) + u64::from(self.transport_there)
    }

    fn after(self) -> u64 {
        u64::from(self.transport_back) + u64::from(self.counting_back)
    }
}

impl Stay {
    /// The days from the first to the last. Both are days of use: out on the 3rd and due back on the 3rd
    /// is one day. Without a last day, it is taken for ever.
    ///
    /// Refuses a last day before the first, and days that lead out of the calendar.
    pub fn new(first: Day, last: Option<Day>, around: Around) -> Result<Self, StayRefused> {
        if let Some(last) = last.filter(|last| *last < first) {
            return Err(StayRefused::BackBeforeOut { first, last });
        }
        Self::within_calendar(first, last, around).ok_or(StayRefused::OutOfCalendar)
    }

    fn within_calendar(first: Day, last: Option<Day>, around: Around) -> Option<Self> {
        let from = moved(first, -i64::try_from(around.before()).ok()?)?;
        let taken = match last {
            None => Interval::without_end(from),
            Some(last) => {
                let until = moved(last, i64::try_from(around.after()).ok()? + 1)?;
                Interval::new(from, until).ok()?
            }
        };
        Some(Self {
            first,
            last,
            around,
            taken,
        })
    }

    pub fn first(self) -> Day {
        self.first
    }

    pub fn last(self) -> Option<Day> {
        self.last
    }

    pub fn around(self) -> Around {
        self.around
    }

    /// All days on which it is not free: of use, on the road, and for counting.
    pub fn taken(self) -> Interval<Day> {
        self.taken
    }

    /// The first day on which it can go to somebody else; none if no end is agreed on.
    pub fn free_from(self) -> Option<Day> {
        self.taken.until()
    }

    /// The same loan seen from a day on which it is still not back: then it lasts at least until the end
    /// of that day, whatever was agreed on.
    pub fn not_back_on(self, today: Day) -> Result<Self, StayRefused> {
        let last = self.last.map(|last| last.max(today));
        Self::new(self.first, last, self.around)
    }

    /// "from 3 Mar 2027 to 14 Mar 2027".
    pub fn in_words(self) -> String {
        let first = self.first.words();
        match self.last {
            None => format!("from {first}, with no date to be back by"),
            Some(last) if last == self.first => format!("on {first}"),
            Some(last) => format!("from {first} to {}", last.words()),
        }
    }
}

impl<I> Taken<I> {
    /// "lent to the Cairn team from 3 Mar 2027 to 14 Mar 2027, free again on 18 Mar 2027".
    pub fn in_words(&self) -> String {
        let days = self.stay.in_words();
        let what = match self.kind {
            Kind::Loan => format!("lent to {} {days}", self.name),
            Kind::Event => format!("needed for {} {days}", self.name),
        };
        match self.stay.free_from() {
            Some(free) => format!("{what}, free again on {}", free.words()),
            None => format!("{what}, so nobody knows when it is free again"),
        }
    }
}

impl Opening {
    /// "from 18 Mar 2027 to 20 Mar 2027 (free until 24 Mar 2027)".
    pub fn in_words(self) -> String {
        let days = self.stay.in_words();
        match self.free.until().and_then(|until| moved(until, -1)) {
            Some(last_free) => format!("{days} (free until {})", last_free.words()),
            None => days,
        }
    }
}

/// Whether a kit can be had for these days.
///
/// It can if no other loan or event has it on any of them, the days on the road and for counting
/// included, on both sides. Otherwise each conflict is named with its dates and the first free days of
/// the same length are offered. The keeper may decide to lend it all the same, and says why.
///
/// In whole days. `override_reason` is None where nobody overrides; given but blank it is refused, as a
/// reason is missing; where nothing is in the way it is not needed and not kept.
pub fn decide<I: Clone>(
    wanted: Stay,
    taken: &[Taken<I>],
    override_reason: Option<&str>,
) -> Result<Granted<I>, NotFree<I>> {
    let conflicts = conflicts(wanted, taken);
    if conflicts.is_empty() {
        return Ok(Granted::Free);
    }
    match override_reason.map(str::trim) {
        Some("") => Err(NotFree::NoReason),
        Some(reason) => Ok(Granted::Overridden {
            conflicts,
            reason: reason.to_owned(),
        }),
        None => {
            let request = Request::like(wanted);
            let first_free = first_free(wanted.taken.from(), request, taken);
            Err(NotFree::Conflict {
                wanted,
                conflicts,
                first_free,
            })
        }
    }
}

/// The loans and events that have it on a day of this stay, in order of their first days.
pub fn conflicts<I: Clone>(wanted: Stay, taken: &[Taken<I>]) -> Vec<Taken<I>> {
    let mut found: Vec<Taken<I>> = taken
        .iter()
        .filter(|other| other.stay.taken.overlaps(wanted.taken))
        .cloned()
        .collect();
    found.sort_by_key(|other| (other.stay.first, other.stay.last.is_none(), other.stay.last));
    found
}

/// How long somebody wants it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Request {
    /// Days of use; none with no date to be back by.
    pub days: Option<NonZeroU32>,
    pub around: Around,
}

impl Request {
    /// As long as another stay.
    fn like(stay: Stay) -> Self {
        let days = stay.last.and_then(|last| {
            u32::try_from(stay.first.days_until(last) + 1)
                .ok()
                .and_then(NonZeroU32::new)
        });
        Self {
            days,
            around: stay.around,
        }
    }

    /// The stay whose first taken day is this one.
    fn beginning(self, from: Day) -> Option<Stay> {
        let first = moved(from, i64::try_from(self.around.before()).ok()?)?;
        let last = match self.days {
            Some(days) => Some(moved(first, i64::from(days.get()) - 1)?),
            None => None,
        };
        Stay::within_calendar(first, last, self.around)
    }
}

/// The earliest days that would do.
///
/// It looks for the first day, not before `from`, from which the kit is free long enough for the use
/// asked for and for the days on the road and for counting around it. None if it never is: somebody has
/// it with no date to be back by, or it is wanted with none and another loan or event comes later.
///
/// `from` is the first day that may be taken, the days before the use included.
pub fn first_free<I>(from: Day, request: Request, taken: &[Taken<I>]) -> Option<Opening> {
    openings(from, request, taken).next()
}

/// The earliest days that would do in each gap between the loans and events, one after the other.
///
/// Gaps that are too short are left out. The last one, after everything, has no end.
pub fn openings<I>(
    from: Day,
    request: Request,
    taken: &[Taken<I>],
) -> impl Iterator<Item = Opening> {
    gaps(from, taken).into_iter().filter_map(move |free| {
        let stay = request.beginning(free.from())?;
        free.covers(stay.taken).then_some(Opening { stay, free })
    })
}

/// All stretches of free days from a day on, in order. The last has no end, unless somebody has the kit
/// with no date to be back by.
pub fn gaps<I>(from: Day, taken: &[Taken<I>]) -> Vec<Interval<Day>> {
    let mut stays: Vec<Interval<Day>> = taken.iter().map(|other| other.stay.taken).collect();
    stays.sort_by_key(|stay| stay.from());
    let mut gaps = Vec::new();
    let mut free_from = from;
    for stay in stays {
        if free_from < stay.from() {
            gaps.extend(Interval::new(free_from, stay.from()));
        }
        match stay.until() {
            Some(until) => free_from = free_from.max(until),
            None => return gaps,
        }
    }
    gaps.push(Interval::without_end(free_from));
    gaps
}

fn conflict_in_words<I>(
    wanted: &Stay,
    conflicts: &[Taken<I>],
    first_free: Option<&Opening>,
) -> String {
    let others: Vec<String> = conflicts.iter().map(Taken::in_words).collect();
    let offer = match (first_free, wanted.last) {
        (Some(opening), _) => format!("The first free days are {}.", opening.in_words()),
        (None, None) => {
            "With no date to be back by it can only go out after everything else.".to_owned()
        }
        (None, Some(_)) => "No free days can be offered until that one is back.".to_owned(),
    };
    format!(
        "{} it is not free: {}. {offer}",
        capitalised(&wanted.in_words()),
        others.join("; "),
    )
}

fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

#[cfg(test)]
#[path = "availability_tests.rs"]
mod tests;
