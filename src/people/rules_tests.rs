//! The tables of cases for the rules about people.

use super::*;

#[test]
fn names_are_tidied_and_teams_are_named_once() {
    assert_eq!(person_name("  Ama \n Holm "), Ok("Ama Holm".into()));
    assert_eq!(person_name(" \u{200b} "), Err(PeopleRefused::NoName));
    assert_eq!(person_name(&"x".repeat(121)), Err(PeopleRefused::LongName));
    assert_eq!(league_name(""), Err(PeopleRefused::NoLeague));
    assert_eq!(
        team_name("Nine Larches", ["Quern"]),
        Ok("Nine Larches".into())
    );
    assert_eq!(
        team_name("nine  LÁRCHES", ["Nine Larches"]),
        Err(PeopleRefused::SameTeam("Nine Larches".into()))
    );
}

#[test]
fn zones_come_from_the_time_zone_database() {
    for (typed, kept) in [
        ("Europe/Vienna", Some("Europe/Vienna")),
        (" europe/vienna ", Some("Europe/Vienna")),
        ("UTC", Some("UTC")),
        ("Etc/GMT-1", Some("Etc/GMT-1")),
        ("Vienna", None),
        ("", None),
        ("../etc/passwd", None),
    ] {
        assert_eq!(zone(typed).ok().as_deref(), kept, "{typed}");
    }
}

#[test]
fn emails_have_one_at_between_two_texts() {
    for (typed, kept) in [
        (" Ama@Example.org ", Some("ama@example.org")),
        ("a@b", Some("a@b")),
        ("ama", None),
        ("@example.org", None),
        ("ama@", None),
        ("a@b@c", None),
        ("a ma@example.org", None),
        ("ama@exa\u{0}mple.org", None),
    ] {
        assert_eq!(email(typed).ok().as_deref(), kept, "{typed}");
    }
    assert!(email(&format!("{}@example.org", "x".repeat(243))).is_err());
}

#[test]
fn passwords_are_long_and_not_guessable_from_what_is_known() {
    let context = [
        "Cloud Ladder League".to_owned(),
        "ama.holm@example.org".to_owned(),
    ];
    for (typed, expected) in [
        ("lantern gravel otter sieve", Ok(())),
        // Leading and trailing spaces belong to it.
        (" lantern gravel 7 ", Ok(())),
        ("ёлка-картошка-винтовка", Ok(())),
        ("short but odd#", Err(PeopleRefused::ShortPassword)),
        ("aaaaaaaaaaaaaaaaaaaa", Err(PeopleRefused::WeakPassword)),
        ("passwordpassword", Err(PeopleRefused::WeakPassword)),
        ("123456789012345678", Err(PeopleRefused::WeakPassword)),
        ("cloud ladder league", Err(PeopleRefused::WeakPassword)),
        ("ama.holm@example.org", Err(PeopleRefused::WeakPassword)),
        ("fieldstow fieldstow", Err(PeopleRefused::WeakPassword)),
    ] {
        assert_eq!(password(typed, &context), expected, "{typed}");
    }
    assert_eq!(
        password(&"lantern gravel 4 ".repeat(8), &context),
        Err(PeopleRefused::LongPassword)
    );
}

#[test]
fn only_paths_of_this_server_are_followed() {
    for good in ["/", "/seasons/new", "/where?q=peg&x=1", "/a//b", "/sign-in"] {
        assert_eq!(own_path(good), Some(good));
    }
    // OWASP, Unvalidated Redirects and Forwards Cheat Sheet, and the URL standard's treatment of
    // backslashes, tabs and line breaks in special URLs (url.spec.whatwg.org, basic URL parser).
    for bad in [
        "",
        "seasons",
        "//evil.example",
        "///evil.example",
        "/\\evil.example",
        "\\\\evil.example",
        "/\t/evil.example",
        "/\n/evil.example",
        "\t//evil.example",
        " //evil.example",
        "https://evil.example",
        "https:evil.example",
        "javascript:alert(1)",
        "data:text/html,x",
        "/ok\r\nSet-Cookie: a=b",
        "/\u{0}",
        "/ö",
    ] {
        assert_eq!(own_path(bad), None, "{bad:?}");
    }
}

const START: Instant = Instant(1_804_183_200_000);

#[test]
fn ten_wrong_passwords_are_free_then_each_costs_twice_as_long() {
    let mut failures = Failures::none(START);
    let mut now = START;
    let mut waits = Vec::new();
    for _ in 0..20 {
        failures = failures.attempt(now).expect("waited long enough");
        let wait = (failures.blocked_until.0 - now.0).max(0) / 1000;
        waits.push(wait);
        if wait > 0 {
            let early = Instant(failures.blocked_until.0 - 1);
            assert_eq!(
                failures.attempt(early),
                Err(PeopleRefused::Wait("one second".into()))
            );
            now = failures.blocked_until;
        }
    }
    // After 511 s (1+2+…+256) the wait of 512 s leads past the quarter of an hour: a new one begins.
    assert_eq!(waits[..9], [0; 9]);
    assert_eq!(waits[9..19], [1, 2, 4, 8, 16, 32, 64, 128, 256, 512]);
    assert_eq!(waits[19], 0);
}

#[test]
fn a_block_lasts_a_quarter_of_an_hour_at_most() {
    let failures = Failures {
        in_window: 40,
        ..Failures::none(START)
    };
    let next = failures.attempt(START).unwrap();
    assert_eq!(next.blocked_until, START.plus_minutes(15));
    assert_eq!(
        next.attempt(START.plus_minutes(5)),
        Err(PeopleRefused::Wait("10 minutes".into()))
    );
}

#[test]
fn a_hundred_in_a_row_end_it_however_slowly_they_come() {
    let mut failures = Failures::none(START);
    let mut now = START;
    for _ in 0..100 {
        failures = failures.attempt(now).unwrap();
        now = now.plus_minutes(16);
    }
    assert_eq!(
        failures.attempt(now.plus_days(400)),
        Err(PeopleRefused::Locked)
    );
}

#[test]
fn a_link_for_a_password_opens_nothing_its_maker_cannot() {
    let (here, there) = (TeamId::new(), TeamId::new());
    let reach = |teams: &[(TeamId, Role)]| Reach {
        coordinator: false,
        teams: teams.to_vec(),
    };
    let coordinator = Reach {
        coordinator: true,
        ..Reach::default()
    };
    let keeper = reach(&[(here, Role::Keeper)]);
    let deputy = reach(&[(here, Role::Deputy)]);
    let crew = reach(&[(here, Role::Crew)]);
    let crew_of_both = reach(&[(here, Role::Crew), (there, Role::Crew)]);
    for (maker, whose, may) in [
        (&keeper, &crew, true),
        (&deputy, &keeper, true),
        (&keeper, &coordinator, false),
        (&keeper, &crew_of_both, false),
        (&crew, &crew, false),
        (&coordinator, &crew_of_both, true),
        (&coordinator, &coordinator, true),
    ] {
        assert_eq!(
            may_reset(maker, whose).is_ok(),
            may,
            "{maker:?} for {whose:?}"
        );
    }
}

#[test]
fn a_team_that_has_a_keeper_keeps_one() {
    for (is, becomes, keepers, may) in [
        (Role::Keeper, None, 1, false),
        (Role::Keeper, Some(Role::Deputy), 1, false),
        (Role::Keeper, Some(Role::Keeper), 1, true),
        (Role::Keeper, None, 2, true),
        (Role::Deputy, None, 1, true),
        (Role::Crew, Some(Role::Keeper), 0, true),
    ] {
        assert_eq!(
            change_role(is, becomes, keepers).is_ok(),
            may,
            "{is:?} {becomes:?}"
        );
    }
}
