//! The queries about counts.

mod books;
mod facts;
mod left_out;
mod parts;
mod places;
mod sheets;
mod stints;
mod tallies;
mod weighings;

pub use books::{held, part_counted};
pub use facts::facts;
pub use left_out::{
    LeftOut, copy_left_out, leave_out_lent, leave_out_others, left_out, set_goes_on,
};
pub use parts::{
    Part, due_of_part, due_of_place, need, others_like, part, parts_of_count, parts_of_kit,
};
pub use places::{CountPlace, LateTally, is_place_of, late, places};
pub use sheets::{
    Closing, CountSheet, close, copy_lines, expect_books, expect_slip, find, insert, join_place,
    last_closed, of_teams, set_reopened,
};
pub use stints::{
    NewStint, Stint, choose, copy_settlements, finish, insert as insert_stint, latest_of, of_count,
    set_aside, stint, take_up, touch,
};
pub use tallies::{
    NewTally, blank, insert as insert_tally, late_amounts, line_taps, on_line, set_standing,
    standing, tally, taps_of_many_hands, totals,
};
pub use weighings::{insert_weighing, last_sample};
