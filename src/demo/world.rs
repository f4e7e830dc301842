//! The invented world of the demo, as plain data.
//!
//! **Everything here is invented.** League, teams, people, places, supplier, makes, part numbers
//! and quantities stand for nothing real, and no number here is a source for anything.
//! Couriers carry parcels over three passes; a field is built of what their season's list names.
//!
//! The lists lie beside this file: `world/parts-list-rev-1.csv` and `-rev-2.csv`, the list of the
//! season before, and what the supplier packed into each bag of a half and of a full set.
//! In them `Half` and `Full` are quantities *for each* of the line's assembly, and `How many of it`
//! says how often that assembly stands in the one named by `Part of`. Both packing slips follow
//! revision 2. What people have counted so far is told in [`story`].
//!
//! Dates are days from today and moments are minutes from now, so that the demo never grows old.

use jiff::Span;
use jiff::civil::Date;

pub mod parts;
pub mod places;
pub mod story;
#[cfg(test)]
mod tests;

/// A day, counted from the one on which the demo is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Days(pub i32);

impl Days {
    pub fn date(self, today: Date) -> Date {
        today.saturating_add(Span::new().days(self.0))
    }
}

/// A moment, counted in minutes from the one at which the demo is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Minutes(pub i32);

pub struct Team {
    pub name: &'static str,
    /// A zone that names no place. `Etc/GMT-1` is one hour *ahead* of UTC: the database of time
    /// zones writes these signs the other way round.
    pub zone: &'static str,
    pub is_league: bool,
}

pub const LEAGUE: &str = "Farrowpeak Courier League";
pub const HOBNAIL: &str = "Hobnail Bridge School";
pub const LARCHES: &str = "Nine Larches Club";
pub const QUERN: &str = "Upper Quern Workshop";

/// Neighbours who belong to no league.
pub const OUTSIDERS: &str = "Lantern House Workshop";

/// The league, which owns and lends kits too, and its three teams.
pub const TEAMS: &[Team] = &[
    Team {
        name: LEAGUE,
        zone: "Etc/GMT-1",
        is_league: true,
    },
    Team {
        name: HOBNAIL,
        zone: "Etc/GMT-1",
        is_league: false,
    },
    Team {
        name: LARCHES,
        zone: "Etc/GMT-1",
        is_league: false,
    },
    Team {
        name: QUERN,
        zone: "Etc/GMT-2",
        is_league: false,
    },
];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    Coordinator,
    Keeper,
    Deputy,
    Crew,
}

pub struct Person {
    pub name: &'static str,
    /// Under `.example`, which RFC 2606 keeps free of real addresses.
    pub email: &'static str,
    pub team: &'static str,
    pub role: Role,
}

pub const MARUNA: &str = "Maruna Stonepath";
pub const TAMSEL: &str = "Tamsel Snowdyke";
pub const BEXEL: &str = "Bexel Larchwell";
pub const JORRIN: &str = "Jorrin Foldmoor";
pub const QUILLA: &str = "Quilla Highbell";
pub const SEFARIN: &str = "Sefarin Cairnhold";
pub const PELLORI: &str = "Pellori Dämmergate";

pub const PEOPLE: &[Person] = &[
    Person {
        name: MARUNA,
        email: "maruna@farrowpeak.example",
        team: LEAGUE,
        role: Role::Coordinator,
    },
    Person {
        name: TAMSEL,
        email: "tamsel@hobnailbridge.example",
        team: HOBNAIL,
        role: Role::Keeper,
    },
    Person {
        name: "Éluna Mapleroot",
        email: "eluna@hobnailbridge.example",
        team: HOBNAIL,
        role: Role::Deputy,
    },
    Person {
        name: BEXEL,
        email: "bexel@ninelarches.example",
        team: LARCHES,
        role: Role::Keeper,
    },
    Person {
        name: JORRIN,
        email: "jorrin@ninelarches.example",
        team: LARCHES,
        role: Role::Deputy,
    },
    Person {
        name: QUILLA,
        email: "quilla@ninelarches.example",
        team: LARCHES,
        role: Role::Crew,
    },
    Person {
        name: PELLORI,
        email: "pellori@ninelarches.example",
        team: LARCHES,
        role: Role::Crew,
    },
    Person {
        name: SEFARIN,
        email: "sefarin@upperquern.example",
        team: QUERN,
        role: Role::Keeper,
    },
    Person {
        name: "Orvane Thistlegap",
        email: "orvane@upperquern.example",
        team: QUERN,
        role: Role::Crew,
    },
];

pub const SUPPLIER: &str = "Seven Mules Fieldworks";

/// The only two sizes the invented season is sold in.
pub const HALF: &str = "Half";
pub const FULL: &str = "Full";

pub struct Revision {
    pub label: &'static str,
    pub issued: Days,
    /// What the publisher says has changed.
    pub note: &'static str,
    pub parts_list: &'static str,
}

pub struct Season {
    pub name: &'static str,
    pub starts: Days,
    pub ends: Days,
    pub guide: &'static str,
    /// Oldest first.
    pub revisions: &'static [Revision],
}

pub const LAST_SEASON: &str = "Lantern Road";
pub const THIS_SEASON: &str = "Over Three Passes";

pub const SEASONS: &[Season] = &[
    Season {
        name: LAST_SEASON,
        starts: Days(-401),
        ends: Days(-48),
        guide: "Lantern Road: building the field",
        revisions: &[Revision {
            label: "Issue 1",
            issued: Days(-401),
            note: "First issue.",
            parts_list: include_str!("world/parts-list-last-season.csv"),
        }],
    },
    Season {
        name: THIS_SEASON,
        starts: Days(-37),
        ends: Days(316),
        guide: "Over Three Passes: building the field",
        revisions: &[
            Revision {
                label: "Issue 1",
                issued: Days(-37),
                note: "First issue.",
                parts_list: include_str!("world/parts-list-rev-1.csv"),
            },
            Revision {
                label: "Issue 2",
                issued: Days(-9),
                note: "More edge straps, pylon pegs and express letters. Washers under the gate \
                       latch and a guard on the pulley wheel are new. The height marks of Night \
                       Pass are gone. The bridge's clips now go on with the handrail. One white \
                       shelf plate fewer on each far shelf.",
                parts_list: include_str!("world/parts-list-rev-2.csv"),
            },
        ],
    },
];

pub const SLIP_HALF: &str = include_str!("world/packing-slip-half.csv");
pub const SLIP_FULL: &str = include_str!("world/packing-slip-full.csv");

pub struct Kit {
    pub name: &'static str,
    pub team: &'static str,
    pub season: &'static str,
    pub revision: &'static str,
    pub size: &'static str,
    pub serial: &'static str,
    pub purchase: &'static str,
    pub received: Days,
    /// Until when the supplier takes word of what is short.
    pub report_by: Option<Days>,
    /// What each bag should hold, if a slip came with it.
    pub slip: Option<&'static str>,
}

/// Full, and being counted now.
pub const KETTLEHORN: &str = "Kettlehorn";
/// Half, counted and reported.
pub const LONG_GABLE: &str = "Long Gable";
/// Half, received yesterday, still closed, and packed to the older revision.
pub const BROOMTOP: &str = "Broomtop";
/// Last season's, at the league.
pub const OLD_NEEDLE: &str = "Old Needle";

pub const KITS: &[Kit] = &[
    Kit {
        name: KETTLEHORN,
        team: LARCHES,
        season: THIS_SEASON,
        revision: "Issue 2",
        size: FULL,
        serial: "OTP-F-0417",
        purchase: "NLC 58/3",
        received: Days(0),
        report_by: Some(Days(14)),
        slip: Some(SLIP_FULL),
    },
    Kit {
        name: LONG_GABLE,
        team: HOBNAIL,
        season: THIS_SEASON,
        revision: "Issue 2",
        size: HALF,
        serial: "OTP-H-0182",
        purchase: "HBS-2207",
        received: Days(-6),
        report_by: Some(Days(8)),
        slip: Some(SLIP_HALF),
    },
    Kit {
        name: BROOMTOP,
        team: QUERN,
        season: THIS_SEASON,
        revision: "Issue 1",
        size: HALF,
        serial: "OTP-H-0063",
        purchase: "Quern order 19",
        received: Days(-1),
        report_by: Some(Days(13)),
        slip: None,
    },
    Kit {
        name: OLD_NEEDLE,
        team: LEAGUE,
        season: LAST_SEASON,
        revision: "Issue 1",
        size: FULL,
        serial: "LR-F-0009",
        purchase: "FCL-88",
        received: Days(-390),
        report_by: None,
        slip: None,
    },
];

/// Boxes of one kit that come on one day.
pub struct Delivery {
    pub kit: &'static str,
    pub boxes: &'static [&'static str],
    /// Today or earlier: it is here. Later: it is still to come.
    pub on: Days,
}

pub const DELIVERIES: &[Delivery] = &[
    Delivery {
        kit: KETTLEHORN,
        boxes: &["Box 1", "Box 2"],
        on: Days(0),
    },
    Delivery {
        kit: KETTLEHORN,
        boxes: &["Box 3"],
        on: Days(2),
    },
    Delivery {
        kit: LONG_GABLE,
        boxes: &["Box 1", "Box 2"],
        on: Days(-6),
    },
    Delivery {
        kit: BROOMTOP,
        boxes: &["Box 1", "Box 2"],
        on: Days(-1),
    },
];
