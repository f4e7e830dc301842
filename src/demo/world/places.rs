//! Where the invented teams keep things: stores, shelves, a van, a hall, and the crates in them.

use super::{HOBNAIL, LARCHES, LEAGUE, LONG_GABLE, OLD_NEEDLE, QUERN, TAMSEL};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Store,
    Shelf,
    /// A table top on which a delivery is opened.
    Heap,
    Van,
    Venue,
}

pub struct Place {
    pub name: &'static str,
    pub kind: Kind,
    /// The place it is in, by name; none at the root.
    pub parent: Option<&'static str>,
    pub team: &'static str,
}

const fn root(name: &'static str, kind: Kind, team: &'static str) -> Place {
    Place {
        name,
        kind,
        parent: None,
        team,
    }
}

const fn inside(parent: &'static str, name: &'static str, kind: Kind, team: &'static str) -> Place {
    Place {
        name,
        kind,
        parent: Some(parent),
        team,
    }
}

pub const CELLAR: &str = "Cellar store";
pub const LOFT: &str = "Ropery loft";
pub const SAWMILL: &str = "Old sawmill";
pub const TOLL_HOUSE: &str = "Toll house";
pub const SORTING_TABLE: &str = "Sorting table";
pub const GREY_VAN: &str = "Grey van";

/// Parents stand before what is in them.
pub const PLACES: &[Place] = &[
    root(TOLL_HOUSE, Kind::Store, LEAGUE),
    inside(TOLL_HOUSE, "Toll house shelf 1", Kind::Shelf, LEAGUE),
    inside(TOLL_HOUSE, "Toll house shelf 2", Kind::Shelf, LEAGUE),
    root(GREY_VAN, Kind::Van, LEAGUE),
    root("Snowline Hall", Kind::Venue, LEAGUE),
    root(CELLAR, Kind::Store, HOBNAIL),
    inside(CELLAR, "Cellar shelf left", Kind::Shelf, HOBNAIL),
    inside(CELLAR, "Cellar shelf right", Kind::Shelf, HOBNAIL),
    root(LOFT, Kind::Store, LARCHES),
    inside(LOFT, "Loft shelf low", Kind::Shelf, LARCHES),
    inside(LOFT, "Loft shelf high", Kind::Shelf, LARCHES),
    inside(LOFT, SORTING_TABLE, Kind::Heap, LARCHES),
    root(SAWMILL, Kind::Store, QUERN),
    inside(SAWMILL, "Sawmill rack", Kind::Shelf, QUERN),
];

/// A make of crate; no firm sells it.
pub struct CrateMake {
    pub name: &'static str,
    pub tare_g: u32,
}

pub const LEDGE_30: CrateMake = CrateMake {
    name: "Ledge 30, hinged lid",
    tare_g: 1_650,
};
pub const BOULDER_60: CrateMake = CrateMake {
    name: "Boulder 60, loose lid",
    tare_g: 2_900,
};
pub const LONG_SLEDGE: CrateMake = CrateMake {
    name: "Long Sledge, open, two handles",
    tare_g: 3_400,
};

/// What a crate holds: some bags of one kit, or all of the parts of one kit's assembly.
pub enum Holds {
    Nothing,
    Bags {
        kit: &'static str,
        bags: &'static [&'static str],
    },
    Assemblies {
        kit: &'static str,
        assemblies: &'static [&'static str],
    },
}

pub struct Crate {
    pub name: &'static str,
    pub make: &'static CrateMake,
    pub place: &'static str,
    pub usual_place: &'static str,
    pub holds: Holds,
}

pub const CRATES: &[Crate] = &[
    Crate {
        name: "Gable 1, edge and ground",
        make: &LONG_SLEDGE,
        place: "Cellar shelf left",
        usual_place: "Cellar shelf left",
        holds: Holds::Bags {
            kit: LONG_GABLE,
            bags: &["Bundle 2", "Bag 1", "Bag 2"],
        },
    },
    Crate {
        name: "Gable 2, gate and hut",
        make: &BOULDER_60,
        place: "Cellar shelf left",
        usual_place: "Cellar shelf left",
        holds: Holds::Bags {
            kit: LONG_GABLE,
            bags: &["Bag 3", "Bag 4", "Bag 5", "Bag 6", "Bag 7"],
        },
    },
    Crate {
        name: "Gable 3, cable-way and bridge",
        make: &BOULDER_60,
        place: "Cellar shelf right",
        usual_place: "Cellar shelf right",
        holds: Holds::Bags {
            kit: LONG_GABLE,
            bags: &["Bag 8", "Bag 9", "Bag 10", "Bag 11", "Bundle 3"],
        },
    },
    // Loaded into the van: the one crate that is not where it usually stands.
    Crate {
        name: "Gable 4, parcels",
        make: &LEDGE_30,
        place: GREY_VAN,
        usual_place: "Cellar shelf right",
        holds: Holds::Bags {
            kit: LONG_GABLE,
            bags: &[
                "Tray 1", "Tray 2", "Tray 3", "Tray 4", "Tray 5", "Bag 12", "Bag 13",
            ],
        },
    },
    // 37 kg with its crate: too much on purpose, so that a repacking has something to propose.
    Crate {
        name: "Needle 1, edge",
        make: &LONG_SLEDGE,
        place: "Toll house shelf 1",
        usual_place: "Toll house shelf 1",
        holds: Holds::Assemblies {
            kit: OLD_NEEDLE,
            assemblies: &["Road field", "Edge frame"],
        },
    },
    Crate {
        name: "Needle 2, ground",
        make: &LONG_SLEDGE,
        place: "Toll house shelf 1",
        usual_place: "Toll house shelf 1",
        holds: Holds::Assemblies {
            kit: OLD_NEEDLE,
            assemblies: &["Ground"],
        },
    },
    Crate {
        name: "Needle 3, road and lanterns",
        make: &BOULDER_60,
        place: "Toll house shelf 2",
        usual_place: "Toll house shelf 2",
        holds: Holds::Assemblies {
            kit: OLD_NEEDLE,
            assemblies: &["Lantern road", "Lantern"],
        },
    },
    Crate {
        name: "Needle 4, mill, bells and sacks",
        make: &BOULDER_60,
        place: "Toll house shelf 2",
        usual_place: "Toll house shelf 2",
        holds: Holds::Assemblies {
            kit: OLD_NEEDLE,
            assemblies: &["Wind mill", "Bell gate", "Sacks"],
        },
    },
    Crate {
        name: "Kettlehorn 1, empty",
        make: &BOULDER_60,
        place: "Loft shelf low",
        usual_place: "Loft shelf low",
        holds: Holds::Nothing,
    },
    Crate {
        name: "Kettlehorn 2, empty",
        make: &LEDGE_30,
        place: "Loft shelf low",
        usual_place: "Loft shelf low",
        holds: Holds::Nothing,
    },
];

/// A crate with the number of its seal, and who closed it.
pub const SEALED: (&str, &str, &str) = ("Gable 4, parcels", "0451", TAMSEL);

/// Bags that stand on a shelf or a table without a crate: kit, bag, place. Long bundles fit no
/// crate. The boxes of the full kit stand on the sorting table with all their bags.
pub const LOOSE: &[(&str, &str, &str)] = &[(LONG_GABLE, "Bundle 1", "Cellar shelf left")];
