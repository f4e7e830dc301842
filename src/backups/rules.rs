//! When a backup is due, which are kept, and when somebody should worry. Pure.

use std::collections::BTreeSet;

use crate::clock::{Day, Instant};

/// The newest of each of so many days is kept.
pub const DAILY: usize = 7;
/// The newest of each of so many weeks is kept.
pub const WEEKLY: usize = 4;
/// From this age on, in hours, another is made.
const DUE_HOURS: i64 = 24;
/// From this age on, in hours, somebody should look.
const WORRY_HOURS: i64 = 48;

/// What a backup of a moment is called. UTC, so that names stand in the order of time.
pub fn name(at: Instant) -> String {
    let day = at.day("UTC");
    let time = at.time_of_day("UTC").replace(':', "");
    let seconds = at.0.rem_euclid(60_000) / 1000;
    format!("fieldstow-{day}-{time}{seconds:02}.db")
}

/// The moment in the name of a backup, to the second. None for any other file.
pub fn made_at(name: &str) -> Option<Instant> {
    let stamp = name.strip_prefix("fieldstow-")?.strip_suffix(".db")?;
    let (day, time) = stamp.rsplit_once('-')?;
    if time.len() != 6 || !time.bytes().all(|digit| digit.is_ascii_digit()) || day.len() != 10 {
        return None;
    }
    let day: Day = day.parse().ok()?;
    let number = |digits: &str| digits.parse::<i64>().ok();
    let (hours, minutes, seconds) = (
        number(&time[..2])?,
        number(&time[2..4])?,
        number(&time[4..])?,
    );
    if hours > 23 || minutes > 59 || seconds > 59 {
        return None;
    }
    let first: Day = "1970-01-01".parse().ok()?;
    let minutes = first.days_until(day) * 24 * 60 + hours * 60 + minutes;
    Some(Instant(minutes * 60_000 + seconds * 1000))
}

/// Which backups are kept: the newest of each of the 7 latest days and of each of the 4 latest weeks that
/// have one. Those with a moment in the future were made while the clock was wrong: they are kept as well,
/// and push no other out.
pub fn kept(all: &[Instant], now: Instant) -> BTreeSet<Instant> {
    let mut kept: BTreeSet<Instant> = all.iter().copied().filter(|at| now < *at).collect();
    let mut past: Vec<Instant> = all.iter().copied().filter(|at| *at <= now).collect();
    past.sort_by_key(|at| std::cmp::Reverse(*at));
    let week = |at: Instant| {
        let day = at.day("UTC").0;
        let monday_first = i64::from(day.weekday().to_monday_zero_offset());
        at.day("UTC").plus_days(-monday_first)
    };
    let (mut days, mut weeks) = (BTreeSet::new(), BTreeSet::new());
    for at in past {
        let day = at.day("UTC");
        if days.len() < DAILY && days.insert(day) {
            kept.insert(at);
        }
        if weeks.len() < WEEKLY && weeks.insert(week(at)) {
            kept.insert(at);
        }
    }
    kept
}

/// Whether another is to be made. One from the future says nothing: the clock was set back.
pub fn is_due(newest: Option<Instant>, now: Instant) -> bool {
    match newest {
        Some(at) => at > now || at.plus_minutes(DUE_HOURS * 60) <= now,
        None => true,
    }
}

/// What is known of the backups.
#[derive(Debug, Clone, Copy)]
pub struct Facts<'a> {
    /// The newest of them that is not from the future.
    pub newest: Option<Instant>,
    /// Why the last try failed, if it did.
    pub failed: Option<&'a str>,
    /// Since when this program runs.
    pub since: Instant,
    pub now: Instant,
}

/// What somebody should know, if anything.
pub fn worry(facts: Facts<'_>) -> Option<String> {
    if let Some(why) = facts.failed {
        return Some(format!("The last one was not made: {why}."));
    }
    let old = |at: Instant| at.plus_minutes(WORRY_HOURS * 60) <= facts.now;
    match facts.newest {
        Some(at) if old(at) => {
            let days = (facts.now.0 - at.0) / (24 * 60 * 60_000);
            Some(format!("The newest is {days} days old."))
        }
        None if old(facts.since) => Some("There is none yet.".into()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        made_at(&format!("fieldstow-{text}.db")).unwrap_or_else(|| panic!("{text}"))
    }

    #[test]
    fn a_name_says_when_and_nothing_else_is_taken_for_one() {
        // 4 March 2027, 18:00:07 UTC.
        let moment = Instant(1_804_183_207_000);
        assert_eq!(name(moment), "fieldstow-2027-03-04-180007.db");
        assert_eq!(made_at(&name(moment)), Some(moment));
        for other in [
            "fieldstow.db",
            "fieldstow-2027-03-04-180007.db.unfinished",
            "fieldstow-2027-02-30-180007.db",
            "fieldstow-2027-03-04-240007.db",
            "fieldstow-2027-03-04-186007.db",
            "fieldstow-2027-03-04-18000.db",
            "fieldstow-2027-03-04-1800+7.db",
            "fieldstow-monday.db",
            "letter.txt",
        ] {
            assert_eq!(made_at(other), None, "{other}");
        }
    }

    #[test]
    fn seven_days_and_four_weeks_are_kept() {
        let now = at("2027-03-31-120000");
        // One a day through February and March.
        let all: Vec<Instant> = (0..59)
            .map(|n| at("2027-02-01-030000").plus_days(n))
            .collect();
        let names: Vec<String> = kept(&all, now)
            .iter()
            .map(|at| at.day("UTC").to_string()[5..].to_owned())
            .collect();
        // The 31st is a Wednesday: seven days, and the Sundays of the three weeks before.
        assert_eq!(
            names,
            [
                "03-14", "03-21", "03-25", "03-26", "03-27", "03-28", "03-29", "03-30", "03-31"
            ]
        );
    }

    #[test]
    fn gaps_two_a_day_and_a_clock_set_back() {
        let now = at("2027-03-31-120000");
        // Of two on one day the newer.
        let two = [at("2027-03-30-010000"), at("2027-03-30-230000")];
        assert_eq!(kept(&two, now), BTreeSet::from([two[1]]));
        // Months without any: the last ones stay.
        let old: Vec<Instant> = (1..=9)
            .map(|n| at("2026-05-01-030000").plus_days(n * 20))
            .collect();
        let stay = kept(&old, now);
        assert_eq!(stay.len(), 7);
        assert!(stay.contains(&old[8]));
        // Made with a wrong clock: they push nothing out, and another is due.
        let mut future: Vec<Instant> = (1..=20)
            .map(|n| at("2031-01-01-030000").plus_days(n))
            .collect();
        future.push(at("2027-03-31-030000"));
        let stay = kept(&future, now);
        assert_eq!(stay.len(), 21);
        assert!(is_due(Some(future[0]), now));
        assert_eq!(kept(&[], now), BTreeSet::new());
    }

    #[test]
    fn one_is_due_each_day_and_an_old_one_is_said() {
        let now = at("2027-03-31-120000");
        for (newest, due) in [
            (None, true),
            (Some(at("2027-03-31-115959")), false),
            (Some(at("2027-03-30-120001")), false),
            (Some(at("2027-03-30-120000")), true),
        ] {
            assert_eq!(is_due(newest, now), due, "{newest:?}");
        }
        let facts = |newest, failed, since| Facts {
            newest,
            failed,
            since,
            now,
        };
        let long_ago = at("2027-03-01-000000");
        for (facts, words) in [
            (facts(Some(at("2027-03-30-120000")), None, long_ago), None),
            (
                facts(Some(at("2027-03-28-120000")), None, long_ago),
                Some("The newest is 3 days old."),
            ),
            (facts(None, None, long_ago), Some("There is none yet.")),
            (facts(None, None, now), None),
            (
                facts(Some(now), Some("the disk is full"), long_ago),
                Some("The last one was not made: the disk is full."),
            ),
        ] {
            assert_eq!(worry(facts).as_deref(), words, "{facts:?}");
        }
    }
}
