//! The queries about counts.

mod books;
mod facts;
mod parts;
mod sheets;
mod stints;
mod tallies;

pub use books::{held, part_counted};
pub use facts::facts;
pub use parts::{
    Part, due_of_part, due_of_place, need, others_like, part, parts_of_count, parts_of_kit,
};
pub use sheets::{
    Closing, CountPlace, CountSheet, LateTally, close, copy_lines, expect_books, expect_slip, find,
    insert, is_place_of, join_place, last_closed, late, of_teams, places, set_reopened,
};
pub use stints::{
    NewStint, Stint, choose, copy_settlements, finish, insert as insert_stint, latest_of, of_count,
    set_aside, stint, take_up, touch,
};
pub use tallies::{
    NewTally, blank, insert as insert_tally, late_amounts, line_taps, on_line, set_standing,
    standing, tally, totals,
};
