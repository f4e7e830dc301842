//! How much a van or a car may still be loaded with.

/// What a vehicle carries. All masses in the unit of the placard, kilograms or pounds.
#[derive(Debug, Clone, PartialEq)]
pub struct Load {
    /// "The combined weight of occupants and cargo should never exceed …" on the placard.
    pub placard: f64,
    /// Each person on board, the driver among them.
    pub occupants: Vec<f64>,
    pub cargo: f64,
    /// What a trailer's tongue presses on the coupling; `None` without a trailer.
    pub tongue: Option<f64>,
}

/// What is left, in the unit of the placard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    /// What may be loaded besides the people, the tongue load among it.
    pub cargo_allowed: f64,
    pub state: State,
}

/// How the load compares with what is allowed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum State {
    Room { left: f64 },
    Overloaded { by: f64 },
}

/// Why nothing is allowed, in words for the person who asked.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoLoad {
    #[error("read the placard in the door frame: it gives a mass above zero")]
    NoPlacard,
    #[error("somebody has to drive: give the mass of each person on board")]
    Nobody,
    #[error("masses are numbers that are not below zero")]
    NotAMass,
    #[error(
        "the people alone are {by:.0} over what the placard allows: fewer people, and nothing loaded"
    )]
    PeopleAlone { by: f64 },
}

/// How much more may be loaded into a vehicle.
///
/// Take the figure on the placard in the door frame, take away everybody on board, and what remains is for
/// the luggage. A trailer presses on its coupling, and that counts as luggage, too. Five people can leave
/// nothing for crates. The vehicle's own manual and the axle loads come first.
///
/// `allowed = placard - Σ occupants`, `left = allowed - cargo - tongue`. Refuses a vehicle without a
/// placard or a driver, and people who exceed the placard by themselves. Source: 49 CFR 575.6 (a)(5), steps
/// for determining the correct load limit, as printed in owner's manuals.
pub fn load(load: &Load) -> Result<Left, NoLoad> {
    let others = [load.cargo, load.tongue.unwrap_or(0.0)];
    let masses = load.occupants.iter().chain(&others);
    if !masses.copied().all(|mass| mass.is_finite() && mass >= 0.0) {
        return Err(NoLoad::NotAMass);
    }
    if !load.placard.is_finite() || load.placard <= 0.0 {
        return Err(NoLoad::NoPlacard);
    }
    if load.occupants.is_empty() || load.occupants.contains(&0.0) {
        return Err(NoLoad::Nobody);
    }
    let people: f64 = load.occupants.iter().sum();
    if !people.is_finite() {
        return Err(NoLoad::NotAMass);
    }
    let cargo_allowed = load.placard - people;
    if cargo_allowed < 0.0 {
        return Err(NoLoad::PeopleAlone { by: -cargo_allowed });
    }
    let left = cargo_allowed - others.iter().sum::<f64>();
    if !left.is_finite() {
        return Err(NoLoad::NotAMass);
    }
    Ok(Left {
        cargo_allowed,
        state: if left < 0.0 {
            State::Overloaded { by: -left }
        } else {
            State::Room { left }
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn van() -> Load {
        Load {
            placard: 640.0,
            occupants: vec![80.0, 70.0],
            cargo: 400.0,
            tongue: None,
        }
    }

    #[test]
    fn a_trailers_tongue_counts_as_cargo() {
        assert_eq!(load(&van()).unwrap().state, State::Room { left: 90.0 });
        let trailer = Load {
            tongue: Some(75.0),
            ..van()
        };
        assert_eq!(load(&trailer).unwrap().state, State::Room { left: 15.0 });
        let heavy = Load {
            tongue: Some(100.0),
            ..van()
        };
        assert_eq!(load(&heavy).unwrap().state, State::Overloaded { by: 10.0 });
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        let check = |wrong: Load, expected| assert_eq!(load(&wrong), Err(expected));
        let occupants = |occupants: &[f64]| Load {
            occupants: occupants.to_vec(),
            ..van()
        };
        check(occupants(&[]), NoLoad::Nobody);
        check(occupants(&[80.0, 0.0]), NoLoad::Nobody);
        check(occupants(&[f64::NAN]), NoLoad::NotAMass);
        check(occupants(&[f64::MAX; 2]), NoLoad::NotAMass);
        check(occupants(&[330.0; 2]), NoLoad::PeopleAlone { by: 20.0 });
        check(
            Load {
                placard: 0.0,
                ..van()
            },
            NoLoad::NoPlacard,
        );
        check(
            Load {
                cargo: -1.0,
                ..van()
            },
            NoLoad::NotAMass,
        );
    }
}
