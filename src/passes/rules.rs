//! When a helper pass holds, and what is asked of a helper. Pure.

use crate::clock::Day;
use crate::people::bare_name::{Asked, NotAName};

/// What a helper is asked for.
pub const FIRST_NAME: Asked = Asked {
    what: "first name",
    most: 40,
};

/// Why something was not done about a pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error("this event was called off; a pass for it would open nothing")]
    CalledOff,
    #[error("none of this team’s kits goes to the event yet; say first which one goes")]
    NoKit,
    #[error("this team has a pass for the event already")]
    HasOne,
    #[error("this pass has ended; ask somebody of the team for the new one")]
    Ended,
    #[error("this pass is on as many phones as one may be; ask somebody of the team for a new one")]
    TooMany,
    #[error(transparent)]
    Name(#[from] NotAName),
}

/// What a pass depends on.
#[derive(Debug, Clone, Copy)]
pub struct Terms {
    pub is_ended: bool,
    pub is_called_off: bool,
    /// The event's last day, to its end.
    pub last_on: Day,
}

/// Whether a pass opens anything on a day. It holds before the event begins, because kits are packed before.
pub fn holds(terms: Terms, today: Day) -> bool {
    !terms.is_ended && !terms.is_called_off && today <= terms.last_on
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pass_holds_until_the_end_of_the_last_day() {
        let day = |text: &str| text.parse::<Day>().unwrap();
        let terms = Terms {
            is_ended: false,
            is_called_off: false,
            last_on: day("2027-03-07"),
        };
        assert!(holds(terms, day("2027-03-01")));
        assert!(holds(terms, day("2027-03-07")));
        assert!(!holds(terms, day("2027-03-08")));
        let ended = Terms {
            is_ended: true,
            ..terms
        };
        assert!(!holds(ended, day("2027-03-07")));
        let called_off = Terms {
            is_called_off: true,
            ..terms
        };
        assert!(!holds(called_off, day("2027-03-07")));
    }
}
