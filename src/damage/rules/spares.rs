//! How many spares of a kit's parts the coming season needs: reading the question, and wording the answer. What
//! is reckoned is in `reckon::spares`. Pure.

use crate::reckon::spares::{self, Loss, SparesRefused, Use};
use crate::web::form::Wrong;

/// Most days of use in a season that are believed.
const MOST_DAYS: i64 = 3660;

/// How sure to be, in percent: what can be chosen.
pub const SURE: [u32; 4] = [80, 90, 95, 99];
/// Chosen unless somebody chooses another.
pub const USUALLY: u32 = 90;

/// A question as it was typed.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    pub practice: String,
    pub coming: String,
    pub sure: String,
}

/// Days of use, and how sure to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Question {
    /// Days on which the kit was in use: at events, and at practice besides.
    pub past: i64,
    pub practice: i64,
    /// Days of use to come.
    pub coming: i64,
    pub sure: u32,
}

/// Reads a question. `at_events` are the days that the books know of; without another number, the coming season
/// has as many days of use as the past one.
pub fn read(typed: &Typed, at_events: i64) -> Result<Question, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let mut days = |field: &str, typed: &str, otherwise: i64| match typed.trim() {
        "" => otherwise,
        text => match text.parse() {
            Ok(days) if (0..=MOST_DAYS).contains(&days) => days,
            _ => {
                let why = format!("write a whole number of days, up to {MOST_DAYS}");
                wrongs.push(Wrong::at(field, why));
                otherwise
            }
        },
    };
    let practice = days("practice", &typed.practice, 0);
    let past = at_events + practice;
    let coming = days("coming", &typed.coming, past);
    let sure = match typed.sure.trim() {
        "" => Some(USUALLY),
        text => text.parse().ok().filter(|sure| SURE.contains(sure)),
    };
    if sure.is_none() {
        wrongs.push(Wrong::at("sure", "choose one of the list"));
    }
    match sure {
        Some(sure) if wrongs.is_empty() => Ok(Question {
            past,
            practice,
            coming,
            sure,
        }),
        _ => Err(wrongs),
    }
}

/// One part of the kit: how many are in use, what was lost of them, and how many good spares there are.
#[derive(Debug, Clone)]
pub struct Lost<P> {
    pub part: P,
    pub in_use: i64,
    /// Of each report: the pieces, and whether they were a one-off.
    pub losses: Vec<(i64, bool)>,
    pub on_hand: i64,
}

/// What to keep of a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice<P> {
    pub part: P,
    /// Broken or lost, one-offs included.
    pub lost: i64,
    /// Of these, so many in one-offs.
    pub one_off: i64,
    /// How many one-offs that were.
    pub accidents: usize,
    pub spares: i64,
    pub on_hand: i64,
}

impl<P> Advice<P> {
    /// "7 broke or were lost, 2 of them in one accident and not counted on".
    pub fn words(&self) -> String {
        let lost = match self.lost {
            0 => return "none broke or was lost".into(),
            1 => "1 broke or was lost".to_owned(),
            lost => format!("{lost} broke or were lost"),
        };
        let how = match self.accidents {
            0 => return lost,
            1 => "one accident".to_owned(),
            accidents => format!("{accidents} accidents"),
        };
        match (self.lost, self.one_off) {
            (1, 1) => format!("{lost}, in {how} and not counted on"),
            (all, out) if all == out => format!("{lost}, all of them in {how} and not counted on"),
            (_, out) => format!("{lost}, {out} of them in {how} and not counted on"),
        }
    }

    /// Spares that are wanted besides those on hand.
    pub fn lacking(&self) -> i64 {
        (self.spares - self.on_hand).max(0)
    }
}

/// What to keep of each part, what lacks most first. One-offs are left out of the reckoning and told.
pub fn advise<P: Clone>(
    lost: &[Lost<P>],
    asked: &Question,
) -> Result<Vec<Advice<P>>, SparesRefused> {
    let mut all = Vec::new();
    for one in lost.iter().filter(|one| one.in_use > 0) {
        let days = |days: i64| Use {
            pieces: one.in_use.unsigned_abs(),
            days: days as f64,
        };
        let losses: Vec<Loss> = one
            .losses
            .iter()
            .map(|&(pieces, one_off)| Loss {
                what: String::new(),
                pieces: pieces.unsigned_abs(),
                one_off,
            })
            .collect();
        let confidence = f64::from(asked.sure) / 100.0;
        let found = spares::spares(
            &losses,
            &[days(asked.past)],
            &[days(asked.coming)],
            confidence,
        )?;
        let one_offs = || one.losses.iter().filter(|(_, one_off)| *one_off);
        all.push(Advice {
            part: one.part.clone(),
            lost: one.losses.iter().map(|(pieces, _)| pieces).sum(),
            one_off: one_offs().map(|(pieces, _)| pieces).sum(),
            accidents: one_offs().count(),
            spares: found.spares.cast_signed(),
            on_hand: one.on_hand,
        });
    }
    all.sort_by_key(|advice| (-advice.lost, -advice.lacking()));
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(past: i64, coming: i64) -> Question {
        Question {
            past,
            practice: 0,
            coming,
            sure: 95,
        }
    }

    fn lost(losses: &[(i64, bool)]) -> Lost<char> {
        Lost {
            part: 'p',
            in_use: 20,
            losses: losses.to_vec(),
            on_hand: 1,
        }
    }

    /// The numbers are those of `tests/published/spares.rs`: the Jeffreys predictive at equal exposure.
    #[test]
    fn one_offs_are_left_out_and_both_numbers_are_told() {
        let advise = |losses: &[(i64, bool)]| {
            let found = super::advise(&[lost(losses)], &asked(10, 10)).expect("days of use");
            found.into_iter().next().expect("one part")
        };
        let with = advise(&[(5, false), (2, true)]);
        let without = advise(&[(5, false)]);
        assert_eq!(
            with.words(),
            "7 broke or were lost, 2 of them in one accident and not counted on"
        );
        assert_eq!(with.spares, without.spares);
        assert!(advise(&[(7, false)]).spares > with.spares);
        let none = advise(&[]);
        assert_eq!((none.spares, none.lacking()), (2, 1));
        assert_eq!(none.words(), "none broke or was lost");
        assert_eq!(
            advise(&[(1, true)]).words(),
            "1 broke or was lost, in one accident and not counted on"
        );
        assert_eq!(
            advise(&[(1, true), (3, true)]).words(),
            "4 broke or were lost, all of them in 2 accidents and not counted on"
        );
    }

    #[test]
    fn without_days_of_use_nothing_is_said() {
        let ask = |past, coming| super::advise(&[lost(&[])], &asked(past, coming));
        assert_eq!(ask(0, 5), Err(SparesRefused::NoPast));
        assert_eq!(ask(5, 0), Err(SparesRefused::NoFuture));
    }

    #[test]
    fn a_question_is_read_with_what_is_usual() {
        let typed = |practice: &str, coming: &str, sure: &str| Typed {
            practice: practice.into(),
            coming: coming.into(),
            sure: sure.into(),
        };
        let read = |typed| super::read(&typed, 4);
        let usual = read(typed("", "", "")).expect("as usual");
        assert_eq!((usual.past, usual.coming, usual.sure), (4, 4, 90));
        let more = read(typed("20", "30", "99")).expect("more");
        assert_eq!((more.past, more.coming, more.sure), (24, 30, 99));
        for (typed, field) in [
            (typed("many", "", ""), "practice"),
            (typed("", "-1", ""), "coming"),
            (typed("", "9999", ""), "coming"),
            (typed("", "", "100"), "sure"),
        ] {
            let wrongs = read(typed).expect_err(field);
            assert_eq!(wrongs[0].field, field);
        }
    }
}
