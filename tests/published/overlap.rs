//! Half-open intervals: which overlap, and three ways to write one.

use fieldstow::clock::Day;
use fieldstow::reckon::interval::Interval;
use jiff::{Span, Timestamp, tz::TimeZone};

fn days(from: &str, until: &str) -> Interval<Day> {
    let day = |text: &str| -> Day { text.parse().expect("a date") };
    Interval::new(day(from), day(until)).expect("ends after its start")
}

/// PostgreSQL manual, section "Date/Time Functions and Operators", the examples of `OVERLAPS`. From
/// memory, computed independently.
#[test]
fn overlapping_and_touching() {
    let autumn = days("2001-10-30", "2002-10-30");
    let one_day = days("2001-10-30", "2001-10-31");
    let hundred_days: Day = "2001-02-16".parse().expect("a date");
    assert_eq!(hundred_days.plus_days(100).to_string(), "2001-05-27");
    for (first, second, expected) in [
        (days("2001-02-16", "2001-12-21"), autumn, true),
        // From 16 February for 100 days.
        (days("2001-02-16", "2001-05-27"), autumn, false),
        // Touching is not overlapping.
        (days("2001-10-29", "2001-10-30"), one_day, false),
        // An instant inside.
        (days("2001-10-30", "2001-10-30"), one_day, true),
    ] {
        assert_eq!(first.overlaps(second), expected, "{first:?} {second:?}");
        assert_eq!(second.overlaps(first), expected, "{second:?} {first:?}");
    }
}

/// The usual example of ISO 8601 intervals: start and end, start and duration, duration and end are the
/// same interval. From memory.
#[test]
fn an_interval_written_in_three_ways() {
    let start: Timestamp = "2007-03-01T13:00:00Z".parse().expect("a moment");
    let end: Timestamp = "2008-05-11T15:30:00Z".parse().expect("a moment");
    let lasting: Span = "P1Y2M10DT2H30M".parse().expect("a duration");
    let in_utc = |moment: Timestamp| moment.to_zoned_datetime(TimeZone::UTC);
    let later = in_utc(start).checked_add(lasting).expect("in the calendar");
    let earlier = in_utc(end).checked_sub(lasting).expect("in the calendar");

    let written = Interval::new(start, end).expect("ends after its start");
    assert_eq!(Interval::new(start, later.timestamp()), Ok(written));
    assert_eq!(Interval::new(earlier.timestamp(), end), Ok(written));
}
