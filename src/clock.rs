//! Time as the program uses it: instants in milliseconds UTC, days as calendar dates. The clock is a
//! parameter, so that tests can say what time it is.

use std::fmt;
use std::str::FromStr;
use std::sync::atomic::{AtomicI64, Ordering};

use jiff::Timestamp;
use jiff::civil::Date as CivilDate;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};
use sqlx::encode::IsNull;
use sqlx::error::BoxDynError;
use sqlx::sqlite::{SqliteArgumentsBuffer, SqliteTypeInfo, SqliteValueRef};
use sqlx::{Decode, Encode, Sqlite, Type};

/// A moment, in milliseconds since 1970 UTC.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, sqlx::Type,
)]
#[sqlx(transparent)]
#[serde(transparent)]
pub struct Instant(pub i64);

impl Instant {
    /// This moment moved by a number of minutes, which may be negative.
    pub fn plus_minutes(self, minutes: i64) -> Self {
        Self(self.0 + minutes * 60_000)
    }

    /// This moment moved by a number of days of 24 hours, which may be negative.
    pub fn plus_days(self, days: i64) -> Self {
        self.plus_minutes(days * 24 * 60)
    }

    /// The day it is in a time zone. An unknown zone counts as UTC.
    pub fn day(self, zone: &str) -> Day {
        Day(self.zoned(zone).date())
    }

    /// "18:04" in a time zone.
    pub fn time_of_day(self, zone: &str) -> String {
        self.zoned(zone).strftime("%H:%M").to_string()
    }

    /// "4 Mar 2027, 18:04" in a time zone.
    pub fn words(self, zone: &str) -> String {
        self.zoned(zone).strftime("%-d %b %Y, %H:%M").to_string()
    }

    fn zoned(self, zone: &str) -> jiff::ZonedDateTime {
        let zone = TimeZone::get(zone).unwrap_or(TimeZone::UTC);
        Timestamp::from_millisecond(self.0)
            .unwrap_or(Timestamp::UNIX_EPOCH)
            .to_zoned_datetime(zone)
    }
}

/// A calendar day without a time zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(pub CivilDate);

impl Day {
    /// "4 Mar 2027".
    pub fn words(self) -> String {
        self.0.strftime("%-d %b %Y").to_string()
    }

    /// Days from `self` to `later`; negative if that is earlier.
    pub fn days_until(self, later: Day) -> i64 {
        (later.0 - self.0).get_days().into()
    }

    /// This day moved by a number of days, which may be negative. Stays within what a date can be.
    pub fn plus_days(self, days: i64) -> Day {
        Day(self
            .0
            .saturating_add(jiff::Span::new().days(days.clamp(-3_000_000, 3_000_000))))
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for Day {
    type Err = jiff::Error;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        text.parse().map(Self)
    }
}

impl Type<Sqlite> for Day {
    fn type_info() -> SqliteTypeInfo {
        <String as Type<Sqlite>>::type_info()
    }

    fn compatible(ty: &SqliteTypeInfo) -> bool {
        <String as Type<Sqlite>>::compatible(ty)
    }
}

impl Encode<'_, Sqlite> for Day {
    fn encode_by_ref(&self, buffer: &mut SqliteArgumentsBuffer) -> Result<IsNull, BoxDynError> {
        Encode::<Sqlite>::encode(self.to_string(), buffer)
    }
}

impl Decode<'_, Sqlite> for Day {
    fn decode(value: SqliteValueRef<'_>) -> Result<Self, BoxDynError> {
        Ok(<&str as Decode<Sqlite>>::decode(value)?.parse()?)
    }
}

/// The time zone this machine is set to; UTC where it does not say.
pub fn zone_of_this_machine() -> String {
    match TimeZone::system().iana_name() {
        Some(name) if name != "Etc/Unknown" => name.to_owned(),
        _ => "UTC".to_owned(),
    }
}

/// Says what time it is.
pub trait Clock: Send + Sync {
    fn now(&self) -> Instant;
}

/// The machine's clock.
pub struct SystemClock;

impl Clock for SystemClock {
    fn now(&self) -> Instant {
        Instant(Timestamp::now().as_millisecond())
    }
}

/// A clock that stands still until it is moved. For tests and for the demo's past.
pub struct FixedClock(AtomicI64);

impl FixedClock {
    pub fn at(now: Instant) -> Self {
        Self(AtomicI64::new(now.0))
    }

    pub fn advance_minutes(&self, minutes: i64) {
        self.0.fetch_add(minutes * 60_000, Ordering::SeqCst);
    }

    pub fn set(&self, now: Instant) {
        self.0.store(now.0, Ordering::SeqCst);
    }
}

impl Clock for FixedClock {
    fn now(&self) -> Instant {
        Instant(self.0.load(Ordering::SeqCst))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_another_day_in_another_zone() {
        // 4 March 2027, 23:30 UTC.
        let moment = Instant(1_804_203_000_000);
        assert_eq!(moment.words("UTC"), "4 Mar 2027, 23:30");
        assert_eq!(moment.day("UTC").to_string(), "2027-03-04");
        assert_eq!(moment.day("Europe/Vienna").to_string(), "2027-03-05");
        assert_eq!(moment.time_of_day("no such zone"), "23:30");
    }

    #[test]
    fn days_are_counted_across_months() {
        let february: Day = "2028-02-28".parse().unwrap();
        let march: Day = "2028-03-01".parse().unwrap();
        assert_eq!(february.days_until(march), 2, "2028 is a leap year");
        assert_eq!(march.days_until(february), -2);
        assert_eq!(february.plus_days(2), march);
        assert!("2028-02-30".parse::<Day>().is_err());
    }
}
