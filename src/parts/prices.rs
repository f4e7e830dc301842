//! What pieces cost a team to buy again, in its one currency, and above which value a second person agrees
//! before they are written off.
//!
//! Prices are a team's own business: its members see them, and nobody else does. The last one that was said
//! holds; those before it stay readable.

pub use super::store::{PriceSaid, Priced, TeamMoney, money_said, priced, prices_said};

use sqlx::SqliteConnection;

use super::store;
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{PartId, TeamId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::reckon::money::{Currency, Money, Price};
use crate::web::form::{self, Wrong};

/// What a team decided about money; `None` as long as it decided nothing.
pub async fn money(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Option<TeamMoney>> {
    Ok(store::money_said(db, team, 1).await?.into_iter().next())
}

/// What a part costs a team, if anybody knows.
pub async fn price(
    db: &mut SqliteConnection,
    team: TeamId,
    part: PartId,
) -> sqlx::Result<Option<Price>> {
    let said = store::prices_said(db, team, part, 1).await?;
    Ok(said.into_iter().next().and_then(|said| said.price))
}

/// Decides on the currency, and on the value above which a second name is needed; empty is none.
pub async fn decide(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    currency: &str,
    above: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let currency: Currency = currency.parse().map_err(|why| form::refused("currency", why))?;
        let above = match above.trim() {
            "" => None,
            typed => Some(Money::read(typed, currency).map_err(|why| form::refused("above", why))?),
        };
        let others = store::priced_otherwise(tx, team, currency).await?;
        if others > 0 {
            let why = format!(
                "{others} of your prices are in another currency; one team reckons in one currency, \
                 so take those away first"
            );
            return Err(form::refused("currency", why));
        }
        let now = app.clock.now();
        store::add_money(tx, team, currency, above, viewer.person, now).await?;
        Ok(format!("/teams/{team}/money"))
    })
    .await
}

/// Says what so many pieces of a part cost; an empty amount says that nobody knows any more.
pub async fn say(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (team, part): (TeamId, PartId),
    amount: &str,
    for_pieces: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        super::find(tx, part)
            .await?
            .ok_or(AppError::NotFound("part"))?;
        let Some(TeamMoney { currency, .. }) = money(tx, team).await? else {
            let why = "say first in which currency your team reckons";
            return Err(form::refused("amount", why));
        };
        let price = read(amount, for_pieces, currency).map_err(NotDone::Refused)?;
        let now = app.clock.now();
        store::add_price(tx, (team, part), currency, price, viewer.person, now).await?;
        Ok(format!("/teams/{team}/prices/{part}"))
    })
    .await
}

/// Reads a price; an empty number of pieces is one.
fn read(amount: &str, for_pieces: &str, currency: Currency) -> Result<Option<Price>, Vec<Wrong>> {
    if amount.trim().is_empty() {
        return Ok(None);
    }
    let mut wrongs = Vec::new();
    let money = Money::read(amount, currency)
        .map_err(|why| wrongs.push(Wrong::at("amount", why)))
        .ok();
    let for_pieces = match for_pieces.trim() {
        "" => Some(1),
        typed => typed
            .parse()
            .ok()
            .filter(|pieces| (1..=1_000_000).contains(pieces)),
    };
    if for_pieces.is_none() {
        let why = "write a whole number from 1 to 1,000,000";
        wrongs.push(Wrong::at("for_pieces", why));
    }
    match (money, for_pieces) {
        (Some(money), Some(for_pieces)) => Price::new(money, for_pieces)
            .map(Some)
            .map_err(|why| vec![Wrong::at("amount", why)]),
        _ => Err(wrongs),
    }
}

/// "4.50 EUR", "20.00 EUR for 12 pieces".
pub fn words(price: Price) -> String {
    match price.for_pieces {
        1 => price.money.to_string(),
        pieces => format!("{} for {pieces} pieces", price.money),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prices_are_read_with_their_packs() {
        let euro: Currency = "EUR".parse().expect("three letters");
        let read = |amount, pieces| {
            read(amount, pieces, euro)
                .map(|price| price.map(words))
                .map_err(|wrongs| wrongs.into_iter().map(|wrong| wrong.field).collect())
        };
        let is = |text: &str| Ok::<_, Vec<String>>(Some(text.to_owned()));
        assert_eq!(read("4.5", ""), is("4.50 EUR"));
        assert_eq!(read("20", "12"), is("20.00 EUR for 12 pieces"));
        assert_eq!(read(" ", "12"), Ok(None));
        assert_eq!(
            read("a lot", "no"),
            Err(vec!["amount".into(), "for_pieces".into()])
        );
        assert_eq!(read("1", "0"), Err(vec!["for_pieces".into()]));
    }
}
