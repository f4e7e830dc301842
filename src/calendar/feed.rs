//! The calendar as calendar programs read it: iCalendar, RFC 5545. Pure.
//!
//! Everything lasts whole days, so each item has a `DTEND` that is the day after its last (RFC 5545, 3.6.1:
//! "the non-inclusive end"). Free days are there as well, marked as not taking up time.

use icalendar::{Calendar, Component, Event, EventLike, EventStatus, Property};

use super::rules::{Free, Item};
use crate::clock::{Day, Instant};

/// A kit's free days.
pub struct FreeDays<'a> {
    pub kit_uid: String,
    pub kit_name: &'a str,
    pub free: Vec<Free>,
}

/// What the feed is about.
pub struct Feed<'a> {
    /// As the calendar program will show it.
    pub name: String,
    /// Where the pages are: `https://kit.example.org`.
    pub public_url: &'a str,
    pub now: Instant,
    pub items: &'a [Item],
    pub free: Vec<FreeDays<'a>>,
}

/// The text of the feed.
pub fn text(feed: &Feed<'_>) -> String {
    let mut calendar = Calendar::empty();
    calendar
        .append_property(Property::new("VERSION", "2.0"))
        .append_property(Property::new("PRODID", "-//Fieldstow//Fieldstow//EN"))
        .append_property(Property::new("CALSCALE", "GREGORIAN"));
    calendar.name(&feed.name);
    // A day is soon enough for what is planned in days; programs may ask more often.
    calendar.append_property(duration("REFRESH-INTERVAL", "PT6H"));
    for item in feed.items {
        let mut event = whole_days(&item.uid, item.first, item.last, feed.now);
        event.summary(&item.words);
        event.url(&format!("{}{}", feed.public_url, item.href));
        if !item.at.is_empty() {
            event.location(&item.at);
        }
        if item.is_off {
            event.status(EventStatus::Cancelled);
        }
        calendar.push(event.done());
    }
    for kit in &feed.free {
        for free in &kit.free {
            let uid = format!("free-{}-{}", kit.kit_uid, free.first);
            let mut event = whole_days(&uid, free.first, free.last, feed.now);
            event.summary(&format!("{} is free", kit.kit_name));
            event.append_property(Property::new("TRANSP", "TRANSPARENT"));
            calendar.push(event.done());
        }
    }
    calendar.to_string()
}

fn duration(name: &str, length: &str) -> Property {
    let mut property = Property::new(name, length);
    property.add_parameter("VALUE", "DURATION");
    property.done()
}

fn whole_days(uid: &str, first: Day, last: Day, now: Instant) -> Event {
    let mut event = Event::with_uid(&format!("{uid}@fieldstow"));
    event.append_property(Property::new("DTSTAMP", utc(now)));
    event.append_property(date("DTSTART", first));
    event.append_property(date("DTEND", last.plus_days(1)));
    event
}

fn date(name: &str, day: Day) -> Property {
    let mut property = Property::new(name, day.0.strftime("%Y%m%d").to_string());
    property.add_parameter("VALUE", "DATE");
    property.done()
}

/// "20270304T180000Z".
fn utc(now: Instant) -> String {
    let time = now.time_of_day("UTC").replace(':', "");
    format!("{}T{time}00Z", now.day("UTC").0.strftime("%Y%m%d"))
}
