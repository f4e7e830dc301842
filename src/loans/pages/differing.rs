//! What differs on a loan, in words, with what each side said and the form by which the borrower answers.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use crate::loans::rules::back::Agreement;
use crate::loans::store::{self, Difference, Say};
use crate::loans::{Loan, last_proposal};
use crate::web::form::{self, Choice, Wrong};

/// One difference as a borrower reads it.
pub struct Differing {
    pub line: i64,
    /// "2 Peg, black (B-4) missing, from Bag 2".
    pub words: String,
    /// What was agreed, or that it was not.
    pub agreed: String,
    /// What each side said, in order.
    pub said: Vec<String>,
    /// It is still to be agreed about.
    pub is_open: bool,
    /// The lender proposed something that can be agreed to.
    pub is_proposed: bool,
}

impl Differing {
    pub fn field(&self, name: &str) -> String {
        format!("{name}-{}", self.line)
    }

    pub fn typed<'a>(&self, fields: &'a BTreeMap<String, String>, name: &str) -> &'a str {
        fields.get(&self.field(name)).map_or("", String::as_str)
    }

    pub fn wrong<'a>(&self, wrongs: &'a [Wrong], name: &str) -> Option<&'a str> {
        form::at(wrongs, &self.field(name))
    }

    /// The name that was typed, or the one that is known.
    pub fn name<'a>(&self, fields: &'a BTreeMap<String, String>, known: &'a str) -> &'a str {
        fields
            .get(&self.field("name"))
            .map_or(known, String::as_str)
    }

    /// The label of their own words: before anything is proposed there is nothing to agree to.
    pub fn otherwise(&self) -> &'static str {
        if self.is_proposed {
            "What you say otherwise"
        } else {
            "What you say about it"
        }
    }

    pub fn answers(&self, fields: &BTreeMap<String, String>) -> Vec<Choice> {
        let chosen = self.typed(fields, "agrees");
        vec![
            Choice::one_of("yes", "We agree", chosen),
            Choice::one_of("no", "We say otherwise", chosen),
        ]
    }
}

/// The differences of a loan. The lender's typed names are left out for those who see no people.
pub async fn differing(
    db: &mut SqliteConnection,
    loan: &Loan,
    with_names: bool,
) -> sqlx::Result<Vec<Differing>> {
    let says = store::says(db, loan.id).await?;
    let differences = store::differences(db, loan.id).await?;
    Ok(differences
        .iter()
        .map(|one| {
            let said = said(loan, one, &says, with_names);
            Differing {
                line: one.line,
                words: one.tell(),
                agreed: agreed(one),
                is_open: loan.is_out()
                    && one.kind.wants_agreement()
                    && one.agreement.is_empty()
                    && !one.is_home(),
                is_proposed: last_proposal(&says, one.line).is_some(),
                said,
            }
        })
        .collect())
}

/// What was agreed about a difference, as a sentence without its stop.
pub(super) fn agreed(one: &Difference) -> String {
    if one.agreement.is_empty() {
        return if one.is_home() || !one.kind.wants_agreement() {
            "put right".into()
        } else {
            "not agreed yet".into()
        };
    }
    follows(one, &one.agreement, &one.pays)
}

fn follows(one: &Difference, agreement: &str, pays: &str) -> String {
    let sentence = Agreement::from_word(one.kind, agreement)
        .map_or_else(String::new, |known| known.told(one.kind).to_lowercase());
    let pays = match pays {
        "lender" => "the lender pays",
        "borrower" => "the borrower pays",
        _ => "nobody pays",
    };
    format!("{sentence}; {pays}")
}

/// "Nine Larches proposes: it is wear; nobody pays (Ama)", "Tin Mill says otherwise: it lacked before (Ivo)".
pub(super) fn said(loan: &Loan, one: &Difference, says: &[Say], with_names: bool) -> Vec<String> {
    let mine = says.iter().filter(|say| say.line == one.line);
    mine.map(|say| {
        let (lender, borrower) = (&loan.lender_name, &loan.borrower_name);
        match say.kind.as_str() {
            "proposed" => {
                let what = follows(one, &say.agreement, &say.pays);
                if with_names {
                    format!("{lender} proposes: {what} ({})", say.name)
                } else {
                    format!("{lender} proposes: {what}")
                }
            }
            "agreed" => format!("{borrower} agrees ({})", say.name),
            _ => format!("{borrower} says otherwise: {} ({})", say.words, say.name),
        }
    })
    .collect()
}
