//! Months, weeks and days of a calendar, and when a kit is free in them. Pure.

use crate::clock::Day;
use crate::loans::availability::{Around, Taken, gaps};
use crate::text::tidy;

/// A person has at most so many links at once.
pub const MOST_LINKS: usize = 20;

/// What an item of the calendar is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// A kit, or something of it, is with somebody else.
    Loan,
    Asked,
    DueBack,
    GiveBack,
    Event,
}

/// Something that lasts from one day to another, both included.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Item {
    /// Names it for calendar programs, always the same.
    pub uid: String,
    pub first: Day,
    pub last: Day,
    pub what: What,
    pub words: String,
    /// Where it is, if that is known.
    pub at: String,
    pub href: String,
    /// It was called off.
    pub is_off: bool,
}

impl Item {
    /// Whether it is told on a day: an event on each of its days, a loan on its first.
    pub fn is_told_on(&self, day: Day) -> bool {
        match self.what {
            What::Event => self.first <= day && day <= self.last,
            _ => self.first == day,
        }
    }
}

/// A month, by its first day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Month(Day);

/// A week from Monday to Sunday.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Week {
    /// ISO 8601: week 1 holds the year's first Thursday.
    pub number: i8,
    pub days: [Day; 7],
}

impl Month {
    pub fn of(day: Day) -> Self {
        Self(Day(day.0.first_of_month()))
    }

    /// Reads "2027-03". Years from 1900 to 2999: others are slips of the pen.
    pub fn read(text: &str) -> Option<Self> {
        let (year, _) = text.split_once('-')?;
        let day: Day = format!("{}-01", text.trim()).parse().ok()?;
        let is_year = year.len() == 4 && (1900..3000).contains(&day.0.year());
        is_year.then_some(Self(day))
    }

    pub fn first(self) -> Day {
        self.0
    }

    pub fn last(self) -> Day {
        Day(self.0.0.last_of_month())
    }

    pub fn before(self) -> Self {
        Self::of(self.0.plus_days(-1))
    }

    pub fn after(self) -> Self {
        Self::of(self.last().plus_days(1))
    }

    /// "March 2027".
    pub fn words(self) -> String {
        self.0.0.strftime("%B %Y").to_string()
    }

    /// "2027-03", as in the address.
    pub fn short(self) -> String {
        self.0.0.strftime("%Y-%m").to_string()
    }

    pub fn holds(self, day: Day) -> bool {
        Self::of(day) == self
    }

    /// The weeks with at least one day in this month.
    pub fn weeks(self) -> Vec<Week> {
        let since_monday = self.0.0.weekday().to_monday_zero_offset();
        let mut monday = self.0.plus_days(-i64::from(since_monday));
        let mut weeks = Vec::new();
        while monday <= self.last() {
            weeks.push(Week {
                number: monday.0.iso_week_date().week(),
                days: std::array::from_fn(|n| monday.plus_days(n as i64)),
            });
            monday = monday.plus_days(7);
        }
        weeks
    }
}

/// A stretch of free days, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Free {
    pub first: Day,
    pub last: Day,
}

impl Free {
    pub fn words(&self) -> String {
        if self.first == self.last {
            self.first.words()
        } else {
            format!("{} to {}", self.first.words(), self.last.words())
        }
    }
}

/// The free days from one day to another, both included.
///
/// Those are days for which it can be had: `around` is what the lending team needs before it goes out and after it
/// came back, which must be free as well.
pub fn free<I>(from: Day, to: Day, taken: &[Taken<I>], around: Around) -> Vec<Free> {
    let before = i64::from(around.counting_out) + i64::from(around.transport_there);
    let after = i64::from(around.transport_back) + i64::from(around.counting_back);
    // What ended a while before the first day may still be in the way of what has to be done before it.
    let begin = from.plus_days(-366);
    gaps(begin, taken)
        .into_iter()
        .map(|gap| {
            let first = if gap.from() == begin {
                begin
            } else {
                gap.from().plus_days(before)
            };
            let last = gap.until().map_or(to, |until| until.plus_days(-1 - after));
            Free {
                first: first.max(from),
                last: last.min(to),
            }
        })
        .filter(|free| free.first <= free.last)
        .collect()
}

/// Why a link was not made or withdrawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LinkRefused {
    #[error("Say where you will use it, so that you know later which link to withdraw.")]
    NoName,
    #[error("This has at most 80 characters.")]
    LongName,
    #[error("You have {MOST_LINKS} links already. Withdraw one that you do not use any more.")]
    TooMany,
    #[error("That link was withdrawn already.")]
    Gone,
}

/// What a new link will be called, where somebody has `links` of them.
pub fn link_name(typed: &str, links: usize) -> Result<String, LinkRefused> {
    let name = tidy(typed);
    if name.is_empty() {
        return Err(LinkRefused::NoName);
    }
    if name.chars().count() > 80 {
        return Err(LinkRefused::LongName);
    }
    if links >= MOST_LINKS {
        return Err(LinkRefused::TooMany);
    }
    Ok(name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::loans::availability::{Around, Kind, Stay};

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    #[test]
    fn a_month_is_read_and_has_whole_weeks() {
        let march = Month::read("2027-03").unwrap();
        assert_eq!(march.words(), "March 2027");
        assert_eq!(
            (march.first(), march.last()),
            (day("2027-03-01"), day("2027-03-31"))
        );
        assert_eq!(march.before().short(), "2027-02");
        assert_eq!(march.after().short(), "2027-04");
        // The 1st of March 2027 is a Monday.
        let weeks = march.weeks();
        assert_eq!(weeks.len(), 5);
        assert_eq!(weeks[0].days[0], day("2027-03-01"));
        assert_eq!(weeks[4].days[6], day("2027-04-04"));
        for wrong in [
            "", "2027", "2027-13", "2027-3", "12027-03", "0000-01", "9999-12", "x-01",
        ] {
            assert_eq!(Month::read(wrong), None, "{wrong}");
        }
        assert_eq!(Month::read("2026-12").unwrap().after().short(), "2027-01");
    }

    /// Week dates: the usual table of ISO 8601 examples, from memory; the days are those of
    /// tests/published/days.rs.
    #[test]
    fn weeks_are_numbered_as_iso_8601_says() {
        for (in_month, monday, number) in [
            ("2005-01", "2004-12-27", 53),
            ("2008-12", "2008-12-29", 1),
            ("2009-12", "2009-12-28", 53),
            ("2007-01", "2007-01-01", 1),
        ] {
            let weeks = Month::read(in_month).unwrap().weeks();
            let week = weeks
                .iter()
                .find(|week| week.days[0] == day(monday))
                .unwrap();
            assert_eq!(week.number, number, "{monday}");
        }
    }

    #[test]
    fn free_days_stand_between_what_is_taken() {
        let taken = |first: &str, last: &str| Taken {
            id: (),
            kind: Kind::Loan,
            name: "Quern".into(),
            stay: Stay::new(day(first), Some(day(last)), Around::default()).unwrap(),
        };
        let words = |taken: &[Taken<()>]| -> Vec<String> {
            free(
                day("2027-03-01"),
                day("2027-03-31"),
                taken,
                Around::default(),
            )
            .iter()
            .map(Free::words)
            .collect()
        };
        assert_eq!(words(&[]), ["1 Mar 2027 to 31 Mar 2027"]);
        // Due back on the 14th is back by its end, so free on the 15th.
        assert_eq!(
            words(&[
                taken("2027-03-05", "2027-03-14"),
                taken("2027-03-16", "2027-04-02")
            ]),
            ["1 Mar 2027 to 4 Mar 2027", "15 Mar 2027"]
        );
        assert_eq!(words(&[taken("2027-02-01", "2027-04-02")]), [""; 0]);
        assert_eq!(
            words(&[taken("2027-04-01", "2027-04-02")]),
            ["1 Mar 2027 to 31 Mar 2027"]
        );
    }

    /// Two days before and one after, on both sides: what is free is what could be lent.
    #[test]
    fn days_around_loans_are_not_free() {
        let around = Around {
            counting_out: 2,
            counting_back: 1,
            ..Around::default()
        };
        let loan = |first: &str, last: &str| Taken {
            id: (),
            kind: Kind::Loan,
            name: "Quern".into(),
            stay: Stay::new(day(first), Some(day(last)), around).unwrap(),
        };
        let free = |taken: &[Taken<()>]| -> Vec<String> {
            free(day("2027-03-01"), day("2027-03-31"), taken, around)
                .iter()
                .map(Free::words)
                .collect()
        };
        // Counted back until the 15th; counted out on the 16th and 17th.
        assert_eq!(
            free(&[loan("2027-03-10", "2027-03-14")]),
            ["1 Mar 2027 to 6 Mar 2027", "18 Mar 2027 to 31 Mar 2027"]
        );
        // It ended before the month, and is still in the way of its first days.
        assert_eq!(
            free(&[loan("2027-02-20", "2027-02-27")]),
            ["3 Mar 2027 to 31 Mar 2027"]
        );
        assert_eq!(free(&[]), ["1 Mar 2027 to 31 Mar 2027"]);
    }

    #[test]
    fn a_link_has_a_name_and_nobody_has_too_many() {
        assert_eq!(link_name("  my  phone ", 0), Ok("my phone".into()));
        assert_eq!(link_name(" ", 0), Err(LinkRefused::NoName));
        assert_eq!(link_name(&"x".repeat(81), 0), Err(LinkRefused::LongName));
        assert_eq!(link_name("phone", MOST_LINKS), Err(LinkRefused::TooMany));
    }
}
