//! What the borrower's side says about a loan, with or without an account, and what the lender proposes to it.
//!
//! Nothing of it moves a piece: the count at the start is confirmed or doubted in words, and about a difference
//! they agree with what is proposed or say otherwise.

use super::rules::back::Agreement;
use super::rules::saying::{self, Answered, Confirmed, Proposed};
use super::store::{self, By, Difference, NewNote, NewSay, Say, Side};
use super::{Loan, found, refused};
use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{LoanId, PersonId, PhoneId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;

/// Who speaks, on whose side, and the page that shows what came of it.
#[derive(Debug, Clone)]
pub struct Speaker {
    pub by: By,
    pub side: Side,
    then: String,
}

impl Speaker {
    /// A member of the lending team or of the borrowing one.
    pub fn member(viewer: &Viewer, side: Side, loan: LoanId) -> Self {
        Self {
            by: By::Person(viewer.person),
            side,
            then: format!("/loans/{loan}"),
        }
    }

    /// A member of the team that the `n`-th handing on went to.
    pub fn holder(viewer: &Viewer, loan: LoanId, n: i64) -> Self {
        Self {
            by: By::Person(viewer.person),
            side: Side::Holder(n),
            then: format!("/loans/{loan}/held"),
        }
    }

    /// Somebody of the borrower's without an account.
    pub fn phone(phone: PhoneId) -> Self {
        Self {
            by: By::Phone(phone),
            side: Side::Borrower,
            then: "/lent".to_owned(),
        }
    }

    pub(super) fn person(&self) -> Option<PersonId> {
        match self.by {
            By::Person(person) => Some(person),
            By::Phone(_) => None,
        }
    }

    pub(super) fn then(&self) -> String {
        self.then.clone()
    }

    /// Notes what they say in the loan's history.
    pub(super) async fn note(
        &self,
        app: &App,
        tx: &mut Tx,
        loan: LoanId,
        kind: &'static str,
        words: &str,
    ) -> sqlx::Result<()> {
        let new = NewNote {
            kind,
            words,
            entry: None,
            side: self.side,
            by: self.by,
            now: app.clock.now(),
        };
        store::add_note(tx, loan, &new).await
    }
}

/// The lender made a link to the loan, or withdrew it.
pub async fn note_link(
    app: &App,
    tx: &mut Tx,
    viewer: &Viewer,
    loan: LoanId,
    kind: &'static str,
) -> sqlx::Result<()> {
    let lender = Speaker::member(viewer, Side::Lender, loan);
    lender.note(app, tx, loan, kind, "").await
}

/// Somebody who has it told of damage.
pub async fn note_damage(
    app: &App,
    tx: &mut Tx,
    loan: LoanId,
    speaker: &Speaker,
    words: &str,
) -> sqlx::Result<()> {
    speaker.note(app, tx, loan, "damage told", words).await
}

/// The borrower says of what left that all of it is there, or what is not as the sheet says.
pub async fn confirm_count(
    app: &App,
    speaker: &Speaker,
    sent: &Sent,
    loan: LoanId,
    all_there: &str,
    words: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, speaker.person(), async |tx| {
        let loan = out(tx, loan).await?;
        let confirmed = saying::confirmed(all_there, words).map_err(NotDone::Refused)?;
        let (kind, words) = match &confirmed {
            Confirmed::AllThere => ("count confirmed", ""),
            Confirmed::Not(words) => ("count doubted", words.as_str()),
        };
        speaker.note(app, tx, loan.id, kind, words).await?;
        Ok(speaker.then())
    })
    .await
}

/// The borrower says that it was given back; the lender counts it back.
pub async fn say_given_back(
    app: &App,
    speaker: &Speaker,
    sent: &Sent,
    loan: LoanId,
    words: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, speaker.person(), async |tx| {
        let loan = out(tx, loan).await?;
        if loan.still_out == 0 {
            return Err(refused("given", "all of it was counted back already"));
        }
        let words = saying::short(words, "given").map_err(NotDone::Refused)?;
        speaker.note(app, tx, loan.id, "given back", &words).await?;
        Ok(speaker.then())
    })
    .await
}

/// The lender proposes what should follow from a difference; the borrower answers.
pub async fn propose(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (loan, line): (LoanId, i64),
    proposed: &Proposed,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let (loan, difference) = open_difference(tx, loan, line, "agreement").await?;
        let kind = difference.kind;
        let read = saying::proposed(kind, line, proposed).map_err(NotDone::Refused)?;
        let new = NewSay {
            line,
            kind: "proposed",
            agreement: read.agreement.word(),
            pays: &read.pays,
            words: "",
            name: &read.name,
            now: app.clock.now(),
        };
        store::add_say(tx, loan.id, &new).await?;
        let lender = Speaker::member(viewer, Side::Lender, loan.id);
        let words = format!("{}: {}", difference.tell(), read.agreement.told(kind));
        lender.note(app, tx, loan.id, "proposed", &words).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}

/// The borrower agrees with what the lender proposed last, or says otherwise.
pub async fn answer_difference(
    app: &App,
    speaker: &Speaker,
    sent: &Sent,
    (loan, line): (LoanId, i64),
    answered: &Answered,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, speaker.person(), async |tx| {
        let (loan, difference) = open_difference(tx, loan, line, "answer").await?;
        let kind = difference.kind;
        let said = store::says(tx, loan.id).await?;
        let proposed = last_proposal(&said, line);
        let read =
            saying::answered(line, proposed.is_some(), answered).map_err(NotDone::Refused)?;
        let new = NewSay {
            line,
            kind: if read.agrees {
                "agreed"
            } else {
                "said otherwise"
            },
            agreement: "",
            pays: "",
            words: &read.words,
            name: &read.name,
            now: app.clock.now(),
        };
        store::add_say(tx, loan.id, &new).await?;
        let mut words = read.words.clone();
        if let Some(proposed) = proposed.filter(|_| read.agrees) {
            let what = (proposed.agreement.as_str(), proposed.pays.as_str());
            store::agree(tx, loan.id, line, what, (&proposed.name, &read.name)).await?;
            words = Agreement::from_word(kind, &proposed.agreement)
                .map_or_else(String::new, |known| known.told(kind).to_owned());
        }
        let words = format!("{}: {words}", difference.tell());
        speaker.note(app, tx, loan.id, new.kind, &words).await?;
        Ok(speaker.then())
    })
    .await
}

/// What the lender proposed last about a difference.
pub fn last_proposal(said: &[Say], line: i64) -> Option<&Say> {
    said.iter()
        .rev()
        .find(|say| say.line == line && say.kind == "proposed")
}

async fn out(tx: &mut Tx, loan: LoanId) -> Result<Loan, NotDone<Vec<Wrong>>> {
    let loan = found(tx, loan).await?;
    if loan.is_out() {
        Ok(loan)
    } else {
        Err(refused("", "nothing of this loan is out"))
    }
}

/// A difference about which something can still be said.
async fn open_difference(
    tx: &mut Tx,
    loan: LoanId,
    line: i64,
    field: &str,
) -> Result<(Loan, Difference), NotDone<Vec<Wrong>>> {
    let loan = found(tx, loan).await?;
    let difference = store::difference(tx, loan.id, line)
        .await?
        .ok_or(AppError::NotFound("difference"))?;
    if !loan.is_out() {
        return Err(refused("", "the loan is closed; its agreements stand"));
    }
    if !difference.kind.wants_agreement() {
        return Err(refused(
            &format!("{field}-{line}"),
            "nothing has to be agreed about this",
        ));
    }
    Ok((loan, difference))
}
