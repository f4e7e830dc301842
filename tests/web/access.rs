//! Every route against everybody: the guard answers what the truth table says.

use std::collections::HashMap;

use axum::http::Method;
use fieldstow::app;
use fieldstow::ids::TeamId;
use fieldstow::people::Role;
use fieldstow::people::access::{Rule, Standing, allowed};
use fieldstow::pictures::develop::develop;
use fieldstow::pictures::rules::Caption;
use fieldstow::pictures::{self, NewPicture, Of};
use uuid::Uuid;

use crate::support::{Browser, NOW, World, drawn};

/// A small world: a team with a kit, a bag in it and its picture, a count, a stint, a damage report, a
/// loan to the team beside of which something was handed on to a third, and an event.
async fn subjects(
    world: &World,
    team: TeamId,
    (beside, holding): (TeamId, TeamId),
) -> HashMap<&'static str, String> {
    let beacon = world.beacon().await;
    let (keeper, _) = world.account("Kit keeper", None, false).await;
    let (kit, places) = world
        .kit(&beacon, keeper, team, "Kettlehorn", &["Bag 1"])
        .await;
    let (count, stint, damage) = (Uuid::now_v7(), Uuid::now_v7(), Uuid::now_v7());
    let mut tx = world.app.db.begin_write().await.unwrap();
    sqlx::query(
        "insert into count_sheet (id, kit_id, purpose, source, opened_by, opened_at) \
         values ($1, $2, 'arrival', 'supplier', $3, 0)",
    )
    .bind(count)
    .bind(kit)
    .bind(keeper)
    .execute(&mut *tx)
    .await
    .unwrap();
    sqlx::query(
        "insert into stint (id, count_id, place_id, person_id, began_seq, began_at, last_at, state, \
         blind) values ($1, $2, $3, $4, 0, 0, 0, 'open', 0)",
    )
    .bind(stint)
    .bind(count)
    .bind(places[0])
    .bind(keeper)
    .execute(&mut *tx)
    .await
    .unwrap();
    sqlx::query(
        "insert into damage_report (id, team_id, what, qty, usable, reported_at) \
         values ($1, $2, 'broken', 1, 'no', 0)",
    )
    .bind(damage)
    .bind(team)
    .execute(&mut *tx)
    .await
    .unwrap();
    let developed = develop(&drawn::jpeg(32, 32)).unwrap();
    let new = NewPicture {
        of: Of::Place(places[0]),
        team,
        caption: Caption {
            words: "How bag 1 is packed".into(),
            taken_on: "2027-03-04".parse().unwrap(),
            layer: None,
        },
        by: Some(keeper),
    };
    let picture = pictures::keep(&mut tx, &new, &developed, NOW)
        .await
        .unwrap();
    let loan = Uuid::now_v7();
    sqlx::query(
        "insert into loan (id, number, lender_id, kit_id, borrower_id, out_on, due_on, state, made_at) \
         values ($1, 1, $2, $3, $4, '2027-03-01', '2027-03-09', 'agreed', 0)",
    )
    .bind(loan)
    .bind(team)
    .bind(kit)
    .bind(beside)
    .execute(&mut *tx)
    .await
    .unwrap();
    sqlx::query(
        "insert into loan_onward \
             (loan_id, n, team_id, state, asked_at, answered_by, spot_id, handed_at, counted) \
         values ($1, 1, $2, 'done', 0, $3, $4, 0, 1)",
    )
    .bind(loan)
    .bind(holding)
    .bind(keeper)
    .bind(places[0])
    .execute(&mut *tx)
    .await
    .unwrap();
    let borrowed = Uuid::now_v7();
    sqlx::query(
        "insert into borrowed (id, number, team_id, lender, crates, out_on, due_on, made_by, made_at) \
         values ($1, 1, $2, 'Tin Mill', 'a crate', '2027-03-01', '2027-03-09', $3, 0)",
    )
    .bind(borrowed)
    .bind(team)
    .bind(keeper)
    .execute(&mut *tx)
    .await
    .unwrap();
    let event = Uuid::now_v7();
    sqlx::query(
        "insert into event (id, team_id, name, first_on, last_on, made_at) \
         values ($1, $2, 'Pass Meeting', '2027-03-20', '2027-03-21', 0)",
    )
    .bind(event)
    .bind(team)
    .execute(&mut *tx)
    .await
    .unwrap();
    let field = Uuid::now_v7();
    sqlx::query("insert into field (id, team_id, name, made_at) values ($1, $2, 'Hall field', 0)")
        .bind(field)
        .bind(team)
        .execute(&mut *tx)
        .await
        .unwrap();
    let piece = Uuid::now_v7();
    sqlx::query(
        "insert into numbered_piece (id, kit_id, part_id, serial, made_by, made_at) \
         select $1, $2, id, 'KL-1', $3, 0 from part limit 1",
    )
    .bind(piece)
    .bind(kit)
    .bind(keeper)
    .execute(&mut *tx)
    .await
    .unwrap();
    sqlx::query(
        "insert into code (code, kind, subject_id, made_at) values ('7K3F28', 'piece', $1, 0)",
    )
    .bind(piece)
    .execute(&mut *tx)
    .await
    .unwrap();
    tx.commit().await.unwrap();
    HashMap::from([
        ("field", field.to_string()),
        ("piece", piece.to_string()),
        ("event", event.to_string()),
        ("team", team.to_string()),
        ("kit", kit.to_string()),
        ("place", places[0].to_string()),
        ("count", count.to_string()),
        ("stint", stint.to_string()),
        ("damage", damage.to_string()),
        ("picture", picture.to_string()),
        ("loan", loan.to_string()),
        ("borrowed", borrowed.to_string()),
    ])
}

/// Who tries, and what they are to the subject's team, or to the other teams of the loan.
async fn everybody(
    world: &World,
    team: TeamId,
    (beside, holding): (TeamId, TeamId),
) -> Vec<(&'static str, Browser<'_>, Option<Standing>)> {
    let elsewhere = world.team("Quern").await;
    let standing = |role_there: Option<Role>| Standing {
        coordinator: false,
        keeps_some_team: role_there.is_some_and(Role::keeps),
        works_somewhere: role_there.is_some(),
        role_there,
        role_beside: None,
        role_holding: None,
    };
    let mut people = vec![("nobody", world.browser(), None)];
    let (_, browser) = world.account("Account only", None, false).await;
    people.push(("account only", browser, Some(standing(None))));
    let coordinator = Standing {
        coordinator: true,
        ..standing(None)
    };
    people.push((
        "coordinator",
        world.coordinator("Wen").await,
        Some(coordinator),
    ));
    let browser = world.person("Ivo", elsewhere, Role::Keeper).await;
    let keeper_elsewhere = Standing {
        keeps_some_team: true,
        works_somewhere: true,
        ..standing(None)
    };
    people.push(("keeper elsewhere", browser, Some(keeper_elsewhere)));
    for role in [Role::Crew, Role::Deputy, Role::Keeper] {
        let browser = world.person(role.word(), team, role).await;
        people.push((role.word(), browser, Some(standing(Some(role)))));
    }
    for (who, role) in [("crew beside", Role::Crew), ("keeper beside", Role::Keeper)] {
        let standing = Standing {
            role_there: None,
            role_beside: Some(role),
            ..standing(Some(role))
        };
        people.push((who, world.person(who, beside, role).await, Some(standing)));
    }
    for (who, role) in [
        ("crew holding", Role::Crew),
        ("keeper holding", Role::Keeper),
    ] {
        let standing = Standing {
            role_there: None,
            role_holding: Some(role),
            ..standing(Some(role))
        };
        people.push((who, world.person(who, holding, role).await, Some(standing)));
    }
    people
}

/// Only a loan has other sides: to everything else their members are strangers.
fn towards(path: &str, standing: Standing) -> Standing {
    if path.starts_with("/loans/{loan}") {
        return standing;
    }
    Standing {
        role_beside: None,
        role_holding: None,
        ..standing
    }
}

/// The path with its parameters filled in. Where the rule asks about a subject, the first is a thing of
/// the small world; all others may be anything.
fn filled(path: &str, rule: Rule, subjects: &HashMap<&'static str, String>) -> String {
    let mut first = true;
    let parts = path.split('/').map(|part| {
        let Some(name) = part
            .strip_prefix('{')
            .and_then(|rest| rest.strip_suffix('}'))
        else {
            return part.to_owned();
        };
        let is_subject = std::mem::take(&mut first) && rule.has_subject();
        match subjects.get(name) {
            Some(id) => id.clone(),
            None if is_subject => panic!("{path}: the small world has no {name}; add one"),
            None => Uuid::now_v7().to_string(),
        }
    });
    parts.collect::<Vec<_>>().join("/")
}

#[tokio::test]
async fn every_route_lets_in_whom_its_rule_lets_in() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let others = (
        world.team("Upper Quern").await,
        world.team("Saddle Post").await,
    );
    let subjects = subjects(&world, team, others).await;
    let mut routes = app::listed_routes();
    assert!(routes.len() > 30, "all slices are listed");
    // Last, because it ends the session.
    routes.sort_by_key(|route| route.path == "/sign-out");

    let mut wrong = Vec::new();
    for (who, browser, standing) in everybody(&world, team, others).await {
        for route in &routes {
            let path = filled(route.path, route.rule, &subjects);
            // Without a form id, a form that gets past the guard does nothing.
            let seen = match route.method {
                Method::GET => browser.open_with(&path, &[]).await,
                Method::POST => browser.post(&path, &[]).await,
                _ => panic!("{} {path}: teach this test the method", route.method),
            };
            let status = seen.status.as_u16();
            let to_sign_in = seen
                .header("location")
                .is_some_and(|location| location.starts_with("/sign-in?then="));
            let let_in = match standing {
                None => status != 401 && status != 403 && !to_sign_in,
                Some(_) => status != 403,
            };
            let standing = standing.map(|standing| towards(route.path, standing));
            let expected = allowed(route.rule, standing);
            let sound = status < 500 && !(standing.is_some() && (status == 401 || to_sign_in));
            if let_in != expected || !sound {
                wrong.push(format!(
                    "{who}: {} {} ({:?}) answered {status}",
                    route.method, route.path, route.rule
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test]
async fn a_subject_that_does_not_exist_is_not_found_rather_than_shown() {
    let world = World::empty().await;
    let coordinator = world.coordinator("Wen").await;
    for id in [Uuid::now_v7().to_string(), "no-id".into(), "..%2f..".into()] {
        let seen = coordinator.open(&format!("/teams/{id}/people")).await;
        assert_eq!(seen.status.as_u16(), 404, "{id}");
    }
}
