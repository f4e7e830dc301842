//! Kits.

use fieldstow::kits;
use fieldstow::people::Role;

use crate::support::World;

#[tokio::test]
async fn a_statement_adds_a_part_up_over_assemblies() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (keeper, _) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, _) = world
        .kit(&beacon, keeper, team, "Kettlehorn", &["Bag 1"])
        .await;

    let mut db = world.app.db.read().await.unwrap();
    let statement = kits::statement(&mut db, kit).await.unwrap();
    let needs: Vec<(String, i64)> = statement
        .iter()
        .map(|line| (format!("{} {}", line.name, line.colour), line.facts.need))
        .collect();
    let expected = [
        ("Post grey", 4),
        ("Plate, long white", 2),
        ("Plate, short white", 2),
        ("Peg black", 20),
        ("Lamp ", 1),
        ("Shade amber", 1),
        ("Shade white", 1),
        ("Strap red", 6),
    ];
    assert_eq!(needs, expected.map(|(name, need)| (name.to_owned(), need)));
    assert!(
        statement
            .iter()
            .all(|line| line.still_to_come == line.facts.need)
    );
}
