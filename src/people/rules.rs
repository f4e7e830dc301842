//! What names, addresses and passwords may be, who may do what to whom, and when somebody who
//! guesses passwords has to wait. Pure.

use jiff::tz::TimeZone;
use zxcvbn::Score;

use super::Role;
use crate::clock::Instant;
use crate::ids::TeamId;
use crate::text::{fold, tidy};

/// How long a code for the first start and a link for a new password work.
pub const RESET_MINUTES: i64 = 30;
/// How long an invitation works.
pub const INVITE_DAYS: i64 = 7;
/// Browsers in which one person may be signed in at once.
pub const MOST_SESSIONS: i64 = 10;

const LONGEST_NAME: usize = 120;
/// NIST SP 800-63B-4, 3.1.1.2: at least 15 characters where the password is the only factor.
pub const SHORTEST_PASSWORD: usize = 15;
pub const LONGEST_PASSWORD: usize = 128;

/// Why something about people was not done, in words for the form.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PeopleRefused {
    #[error("give your name")]
    NoName,
    #[error("a name has at most 120 characters")]
    LongName,
    #[error("give the league a name")]
    NoLeague,
    #[error("a league's name has at most 120 characters")]
    LongLeague,
    #[error("give the team a name")]
    NoTeam,
    #[error("a team's name has at most 120 characters")]
    LongTeam,
    #[error("there is a team called “{0}” already")]
    SameTeam(String),
    #[error("“{0}” is not a time zone; give one like Europe/Vienna or America/Denver")]
    UnknownZone(String),
    #[error("give an e-mail address like ana@example.org")]
    NotAnEmail,
    #[error("another account has this e-mail already")]
    EmailTaken,
    #[error(
        "there is an account with this e-mail already; sign in with it, then open this link again"
    )]
    SignInInstead,
    #[error("no account has this e-mail")]
    NoSuchAccount,
    #[error("a password has at least 15 characters; four or five words are easy to remember")]
    ShortPassword,
    #[error("a password has at most 128 characters")]
    LongPassword,
    #[error(
        "this password is too easy to guess: it is made of names, common words or patterns; choose \
         other words"
    )]
    WeakPassword,
    #[error("this is not your present password")]
    NotYourPassword,
    #[error("wait {0}, then try again: there were too many wrong passwords")]
    Wait(String),
    #[error(
        "there were too many wrong passwords in a row; ask your keeper, or a coordinator, for a \
         link that works once"
    )]
    Locked,
    #[error("{0}")]
    MistypedCode(String),
    #[error("this is not the code that the program printed when it was started last")]
    WrongCode,
    #[error("the code is older than 30 minutes; start the program again, it prints a new one")]
    OldCode,
    #[error("choose what they are to the team: keeper, deputy or crew")]
    NoRole,
    #[error(
        "this is the team's only keeper; make somebody else keeper first, so that somebody answers \
         for the kits"
    )]
    LastKeeper,
    #[error("this is the league's only coordinator; give the role to somebody else first")]
    LastCoordinator,
    #[error("you belong to {0} already; its keeper can change what you are there")]
    MemberAlready(String),
    #[error("this person answers for more than you do; ask a coordinator for the link")]
    AboveYou,
    #[error(
        "somebody changed this meanwhile: it is now “{name}”, {zone}. What you typed is still here; \
         send it again if it is right"
    )]
    ChangedMeanwhile { name: String, zone: String },
}

impl PeopleRefused {
    /// The field of the form it is about; "" for the form as a whole.
    pub fn field(&self) -> &'static str {
        use PeopleRefused as R;
        match self {
            R::NoName | R::LongName => "name",
            R::NoLeague | R::LongLeague => "league",
            R::NoTeam | R::LongTeam | R::SameTeam(_) => "team",
            R::UnknownZone(_) => "zone",
            R::NotAnEmail | R::EmailTaken | R::SignInInstead | R::NoSuchAccount => "email",
            R::ShortPassword | R::LongPassword | R::WeakPassword => "password",
            R::NotYourPassword => "current_password",
            R::MistypedCode(_) | R::WrongCode | R::OldCode => "code",
            R::NoRole => "role",
            R::Wait(_)
            | R::Locked
            | R::LastKeeper
            | R::LastCoordinator
            | R::MemberAlready(_)
            | R::AboveYou
            | R::ChangedMeanwhile { .. } => "",
        }
    }
}

fn named(name: &str, missing: PeopleRefused, long: PeopleRefused) -> Result<String, PeopleRefused> {
    let name = tidy(name);
    if name.is_empty() {
        return Err(missing);
    }
    if name.chars().count() > LONGEST_NAME {
        return Err(long);
    }
    Ok(name)
}

/// A person's name as it is kept.
pub fn person_name(name: &str) -> Result<String, PeopleRefused> {
    named(name, PeopleRefused::NoName, PeopleRefused::LongName)
}

/// The league's name as it is kept.
pub fn league_name(name: &str) -> Result<String, PeopleRefused> {
    named(name, PeopleRefused::NoLeague, PeopleRefused::LongLeague)
}

/// A team's name as it is kept, if no other team bears it, whatever its case and accents.
pub fn team_name<'a>(
    name: &str,
    others: impl IntoIterator<Item = &'a str>,
) -> Result<String, PeopleRefused> {
    let name = named(name, PeopleRefused::NoTeam, PeopleRefused::LongTeam)?;
    match others.into_iter().find(|other| fold(other) == fold(&name)) {
        Some(same) => Err(PeopleRefused::SameTeam(same.to_owned())),
        None => Ok(name),
    }
}

/// A time zone under the name the time zone database gives it.
pub fn zone(name: &str) -> Result<String, PeopleRefused> {
    let name = name.trim();
    let unknown = || PeopleRefused::UnknownZone(name.to_owned());
    if name.is_empty() || name.len() > 64 {
        return Err(unknown());
    }
    let zone = TimeZone::get(name).map_err(|_| unknown())?;
    Ok(zone.iana_name().ok_or_else(unknown)?.to_owned())
}

/// An e-mail address as it is kept and compared: in lower case. Whether mail arrives there nobody can
/// tell from its letters, so only the shape is looked at: one @ between two texts without spaces
/// (at most 254 octets, RFC 5321, 4.5.3.1.3 less the angle brackets).
pub fn email(typed: &str) -> Result<String, PeopleRefused> {
    let email = typed.trim().to_lowercase();
    let shape = email
        .split_once('@')
        .is_some_and(|(local, host)| !local.is_empty() && !host.is_empty() && !host.contains('@'));
    let plain = !email.chars().any(|c| c.is_whitespace() || c.is_control());
    if shape && plain && (3..=254).contains(&email.len()) {
        Ok(email)
    } else {
        Err(PeopleRefused::NotAnEmail)
    }
}

/// So many characters of a password must be other than words that anybody would try first.
const SHORTEST_OWN_PART: usize = 8;

/// Whether a password is long enough and hard to guess for somebody who knows `context`: the names of
/// league, team and person, and the e-mail. The password is taken as typed; nothing is trimmed.
pub fn password(typed: &str, context: &[String]) -> Result<(), PeopleRefused> {
    let length = typed.chars().count();
    if length < SHORTEST_PASSWORD {
        return Err(PeopleRefused::ShortPassword);
    }
    if length > LONGEST_PASSWORD {
        return Err(PeopleRefused::LongPassword);
    }
    let mut known: Vec<&str> = vec!["fieldstow"];
    for text in context {
        known.push(text);
        known.extend(
            text.split(|c: char| !c.is_alphanumeric())
                .filter(|word| word.len() > 2),
        );
    }
    // The estimator does not know that a known word said twice is no harder to guess than once.
    let mut rest = typed.to_lowercase();
    for word in &known {
        rest = rest.replace(&word.to_lowercase(), "");
    }
    let own = rest.chars().filter(|c| !c.is_whitespace()).count();
    if own < SHORTEST_OWN_PART || zxcvbn::zxcvbn(typed, &known).score() < Score::Three {
        return Err(PeopleRefused::WeakPassword);
    }
    Ok(())
}

/// A path on this server that is safe to lead to: never another host, whatever a browser makes of
/// backslashes, tabs and control characters.
pub fn own_path(path: &str) -> Option<&str> {
    let plain = path
        .bytes()
        .all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    let inside = path.starts_with('/') && !path.starts_with("//");
    (plain && inside && path.len() <= 2000).then_some(path)
}

/// Failed sign-ins of one account.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Failures {
    pub consecutive: i64,
    pub window_began_at: Instant,
    pub in_window: i64,
    pub blocked_until: Instant,
}

const WINDOW_MINUTES: i64 = 15;
const FREE_IN_WINDOW: i64 = 10;
const LONGEST_BLOCK_SECONDS: i64 = 15 * 60;
/// NIST SP 800-63B-4, 3.2.2: no more than 100 consecutive failures on one account.
const MOST_CONSECUTIVE: i64 = 100;

impl Failures {
    pub fn none(now: Instant) -> Self {
        Self {
            consecutive: 0,
            window_began_at: now,
            in_window: 0,
            blocked_until: Instant(0),
        }
    }

    /// Counts an attempt, before it is known whether the password is right: a success wipes the
    /// account's row. Refused attempts are not counted and not looked at.
    pub fn attempt(self, now: Instant) -> Result<Self, PeopleRefused> {
        if self.consecutive >= MOST_CONSECUTIVE {
            return Err(PeopleRefused::Locked);
        }
        if now < self.blocked_until {
            return Err(PeopleRefused::Wait(wait_words(
                self.blocked_until.0 - now.0,
            )));
        }
        let fresh = now >= self.window_began_at.plus_minutes(WINDOW_MINUTES);
        let in_window = if fresh { 1 } else { self.in_window + 1 };
        let over = in_window - FREE_IN_WINDOW;
        let block = match over {
            ..0 => 0,
            0..10 => (1_i64 << over).min(LONGEST_BLOCK_SECONDS),
            10.. => LONGEST_BLOCK_SECONDS,
        };
        Ok(Self {
            consecutive: self.consecutive + 1,
            window_began_at: if fresh { now } else { self.window_began_at },
            in_window,
            blocked_until: Instant(now.0 + block * 1000),
        })
    }
}

fn wait_words(milliseconds: i64) -> String {
    let seconds = (milliseconds + 999) / 1000;
    match seconds {
        ..=1 => "one second".into(),
        2..=90 => format!("{seconds} seconds"),
        _ => format!("{} minutes", (seconds + 59) / 60),
    }
}

/// What somebody answers for, as far as giving out links for their password asks.
#[derive(Debug, Clone, Default)]
pub struct Reach {
    pub coordinator: bool,
    pub teams: Vec<(TeamId, Role)>,
}

/// Whether one person may make the link that sets another's password. Who holds it can act as them,
/// so it must open nothing that the maker cannot open: every team of theirs is one the maker keeps.
pub fn may_reset(maker: &Reach, whose: &Reach) -> Result<(), PeopleRefused> {
    let keeps = |team: TeamId| {
        maker
            .teams
            .iter()
            .any(|(kept, role)| *kept == team && role.keeps())
    };
    let within = !whose.coordinator && whose.teams.iter().all(|(team, _)| keeps(*team));
    if maker.coordinator || within {
        Ok(())
    } else {
        Err(PeopleRefused::AboveYou)
    }
}

/// Whether a member may become `becomes` (`None`: leave), with so many keepers in the team now.
pub fn change_role(is: Role, becomes: Option<Role>, keepers: i64) -> Result<(), PeopleRefused> {
    if is == Role::Keeper && becomes != Some(Role::Keeper) && keepers <= 1 {
        return Err(PeopleRefused::LastKeeper);
    }
    Ok(())
}

#[cfg(test)]
#[path = "rules_tests.rs"]
mod tests;
