//! Trying a code: what somebody typed or scanned is looked up, unless they missed too often. Codes are short, so
//! whatever opens something by one goes through here.

use super::pages::Asker;
use crate::app::App;
use crate::code::NotACode;
use crate::error::AppError;

/// What came of looking a code up, with what to answer where it opens nothing.
pub enum Tried<T, E = String> {
    Opens(T),
    /// It could be no code at all: nobody guesses like this.
    Unreadable(E),
    /// It might have been guessed, and is counted.
    Missed(E),
}

impl<T> Tried<T> {
    /// What is no code. One whose check character is wrong could be somebody trying others.
    pub fn no_code(why: &NotACode) -> Self {
        match why {
            NotACode::Check(_) => Tried::Missed(why.to_string()),
            NotACode::Length | NotACode::Character(_) => Tried::Unreadable(why.to_string()),
        }
    }
}

/// Awaits a look-up for somebody who has not missed too often. `bearer` is what they should look at again.
pub async fn tried<T, E>(
    app: &App,
    asker: &Asker,
    bearer: &str,
    look_up: impl Future<Output = Result<Tried<T, E>, AppError>>,
) -> Result<Result<T, E>, AppError> {
    let now = app.clock.now();
    if app.misses.is_blocked(&asker.0, now) {
        return Err(AppError::TooMany(format!(
            "Too many codes that do not exist. Wait ten minutes, then look at the {bearer} again."
        )));
    }
    Ok(match look_up.await? {
        Tried::Opens(what) => Ok(what),
        Tried::Unreadable(why) => Err(why),
        Tried::Missed(why) => {
            app.misses.note(&asker.0, now);
            Err(why)
        }
    })
}
