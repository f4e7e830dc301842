//! Business days and ISO 8601 dates.

use fieldstow::clock::Day;
use fieldstow::reckon::days::{BusinessDays, Roll, Week, ordinal_date, week_date};
use jiff::civil::Weekday;

fn day(text: &str) -> Day {
    text.parse().expect("a date")
}

fn on(weekday: Weekday) -> BusinessDays {
    BusinessDays::new(Week::of(&[weekday]).expect("one day"), [])
}

fn weekdays() -> BusinessDays {
    BusinessDays::new(Week::MONDAY_TO_FRIDAY, [])
}

/// The examples in the documentation of `busday_offset`, numpy 2.4.6. A month there stands for its first
/// day.
#[test]
fn going_by_business_days() {
    for (days, from, by, roll, expected) in [
        // First business day of October 2011.
        (weekdays(), "2011-10-01", 0, Roll::Forward, "2011-10-03"),
        // Last business day of February 2012.
        (weekdays(), "2012-03-01", -1, Roll::Forward, "2012-02-29"),
        // Third Wednesday of January 2011.
        (
            on(Weekday::Wednesday),
            "2011-01-01",
            2,
            Roll::Forward,
            "2011-01-19",
        ),
        // Second Sunday of May 2012.
        (
            on(Weekday::Sunday),
            "2012-05-01",
            1,
            Roll::Forward,
            "2012-05-13",
        ),
        // On or after a Sunday, and on or after a Tuesday.
        (weekdays(), "2011-03-20", 0, Roll::Forward, "2011-03-21"),
        (weekdays(), "2011-03-22", 0, Roll::Forward, "2011-03-22"),
        // Strictly after them.
        (weekdays(), "2011-03-20", 1, Roll::Backward, "2011-03-21"),
        (weekdays(), "2011-03-22", 1, Roll::Backward, "2011-03-23"),
    ] {
        assert_eq!(
            days.offset(day(from), by, roll),
            Ok(day(expected)),
            "{by} from {from}"
        );
    }
}

/// The examples in the documentation of `busday_count`, numpy 2.4.6.
#[test]
fn counting_business_days() {
    // Weekdays in January 2011.
    assert_eq!(weekdays().count(day("2011-01-01"), day("2011-02-01")), 21);
    // Weekdays and Saturdays in 2011.
    assert_eq!(weekdays().count(day("2011-01-01"), day("2012-01-01")), 260);
    let saturdays = on(Weekday::Saturday);
    assert_eq!(saturdays.count(day("2011-01-01"), day("2012-01-01")), 53);
}

/// The example in the documentation of `is_busday`, numpy 2.4.6.
#[test]
fn holidays_and_weekends() {
    let holidays = ["2011-07-01", "2011-07-04", "2011-07-17"].map(day);
    let days = BusinessDays::new(Week::MONDAY_TO_FRIDAY, holidays);
    assert!(!days.is_one(day("2011-07-01")), "a holiday");
    assert!(!days.is_one(day("2011-07-02")), "a Saturday");
    assert!(days.is_one(day("2011-07-18")), "a Monday");
}

/// ISO 8601 week dates and ordinal dates: the usual examples around the turn of the year. From memory,
/// each computed independently with Python's `date.isocalendar`.
#[test]
fn iso_week_and_ordinal_dates() {
    for (date, week, ordinal) in [
        ("2005-01-01", "2004-W53-6", "2005-001"),
        ("2005-01-02", "2004-W53-7", "2005-002"),
        ("2005-12-31", "2005-W52-6", "2005-365"),
        ("2006-01-01", "2005-W52-7", "2006-001"),
        ("2007-01-01", "2007-W01-1", "2007-001"),
        ("2007-12-31", "2008-W01-1", "2007-365"),
        ("2008-01-01", "2008-W01-2", "2008-001"),
        ("2008-12-28", "2008-W52-7", "2008-363"),
        ("2008-12-29", "2009-W01-1", "2008-364"),
        ("2008-12-31", "2009-W01-3", "2008-366"),
        ("2009-12-31", "2009-W53-4", "2009-365"),
        ("2010-01-03", "2009-W53-7", "2010-003"),
        ("1981-04-05", "1981-W14-7", "1981-095"),
        ("2020-12-31", "2020-W53-4", "2020-366"),
        ("2026-12-31", "2026-W53-4", "2026-365"),
        ("2027-01-01", "2026-W53-5", "2027-001"),
    ] {
        assert_eq!(week_date(day(date)), week, "{date}");
        assert_eq!(ordinal_date(day(date)), ordinal, "{date}");
    }
}

/// The years from 2000 to 2040 that have a week 53. ISO 8601, from memory, computed independently.
#[test]
fn years_with_a_week_53() {
    let found: Vec<i32> = (2000..=2040)
        .filter(|year| {
            // The week of 28 December is always the year's last.
            week_date(day(&format!("{year}-12-28"))).contains("-W53-")
        })
        .collect();
    assert_eq!(found, [2004, 2009, 2015, 2020, 2026, 2032, 2037]);
}
