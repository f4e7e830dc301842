//! Parts.

use fieldstow::people::Role;

use crate::support::World;

#[tokio::test]
async fn a_part_is_described_and_two_keepers_do_not_overwrite_each_other() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let ama = world.person("Ama", team, Role::Keeper).await;
    let bo = world.person("Bo", team, Role::Deputy).await;
    world.beacon().await;
    let page = format!("/parts/{}", world.part("Lamp").await);

    let first = ama
        .click(&ama.open(&page).await, "Describe it better")
        .await;
    let second = bo.click(&bo.open(&page).await, "Describe it better").await;
    let wrong = ama.press(&first, "Keep this", &[("mass", "heavy")]).await;
    wrong.expect(422, "give the mass of one piece in grams");
    assert_eq!(wrong.attribute("#mass", "value").as_deref(), Some("heavy"));
    ama.press(&wrong, "Keep this", &[("mass", "82,5 g")])
        .await
        .expect(200, "82.5 g");

    let both = bo
        .press(&second, "Keep this", &[("hazard", "The glass breaks.")])
        .await;
    both.expect(422, "somebody else changed this part")
        .expect(422, "82.5 g");
    assert!(both.text_of("#hazard").contains("The glass breaks."));
    let kept = bo.press(&both, "Keep this", &[("mass", "82.5")]).await;
    kept.expect(200, "82.5 g")
        .expect(200, "The glass breaks.")
        .expect(200, "full: 1");
}

#[tokio::test]
async fn crew_look_at_parts_but_do_not_describe_them() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let crew = world.person("Bo", team, Role::Crew).await;
    world.beacon().await;
    let page = format!("/parts/{}", world.part("Peg").await);
    let seen = crew.open(&page).await;
    seen.expect(200, "half: 14, full: 20");
    assert_eq!(seen.link("Describe it better"), None);
    crew.open(&format!("{page}/edit"))
        .await
        .expect(403, "keepers");
}
