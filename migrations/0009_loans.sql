-- Loans: pieces with another for a fixed time. The rules are told in src/loans/mod.rs.

-- Where a team stands what it lent: "with Upper Quern Workshop". Of no use to anybody but loans.
alter table place add column with_borrower integer not null default 0 check (with_borrower in (0, 1));

-- A kit, some of its crates or some pieces, asked for or handed out.
create table loan (
    id blob not null primary key check (length(id) = 16),
    -- As it is said and printed: "loan 12".
    number integer not null unique check (number >= 1),
    lender_id blob not null references team (id),
    kit_id blob not null references kit (id),
    -- Who has it: a team, or somebody outside the league who is written in.
    borrower_id blob references team (id),
    outsider text not null default '' check (length(outsider) <= 120),
    contact text not null default '' check (length(contact) <= 200),
    purpose text not null default '' check (length(purpose) <= 200),
    -- Its first day, and the day by whose end it is due back.
    out_on text not null check (out_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    due_on text not null check (due_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    state text not null check (state in (
        'asked', 'agreed', 'declined', 'withdrawn', 'out', 'taken back', 'closed'
    )),
    -- The count it left on; null where it was not counted, and `not_counted` says why.
    counted_id blob references count_sheet (id),
    not_counted text not null default '' check (length(not_counted) <= 500),
    -- Everything of the kit that could be lent went along.
    whole_kit integer not null default 0 check (whole_kit in (0, 1)),
    -- Where what is out stands in the books; null until it is handed out.
    spot_id blob references place (id),
    made_at integer not null,
    check ((borrower_id is null) = (outsider <> '')),
    check (borrower_id is null or borrower_id <> lender_id),
    check (out_on <= due_on),
    check (state not in ('out', 'taken back', 'closed') or spot_id is not null)
) strict;

create index loan_lender on loan (lender_id, state, due_on);
create index loan_borrower on loan (borrower_id, state, due_on);
create index loan_kit on loan (kit_id, state);

create trigger loan_never_goes before delete on loan
begin
    select raise(abort, 'a loan is never deleted');
end;

-- A crate, bag or box that left on a loan. Loose pieces left in a bag made for them.
create table loan_place (
    loan_id blob not null references loan (id),
    place_id blob not null references place (id),
    -- What it stood in when it left, where it goes back to.
    stood_in_id blob references place (id),
    -- Made for this loan's loose pieces, or for what is still owed; it does not come back.
    kind text not null check (kind in ('crate', 'loose', 'owed')),
    back_at integer,
    primary key (loan_id, place_id)
) strict, without rowid;

-- Nothing is out twice.
create unique index loan_place_out on loan_place (place_id) where back_at is null;

-- What was in it when it left, and what the kit lacked then: nobody is blamed for that later.
create table loan_line (
    loan_id blob not null references loan (id),
    line integer not null check (line >= 1),
    -- Where the pieces lay; null for pieces the kit lacked.
    place_id blob references place (id),
    part_id blob not null references part (id),
    kit_id blob not null references kit (id),
    state text not null check (state in ('good', 'doubtful', 'practice only', 'broken', 'short')),
    qty integer not null check (qty >= 1),
    -- Lay loose, and left in the loan's own bag.
    loose integer not null check (loose in (0, 1)),
    primary key (loan_id, line),
    check ((place_id is null) = (state = 'short'))
) strict, without rowid;

-- What happened to a loan, in order. Never changed.
create table loan_step (
    loan_id blob not null references loan (id),
    line integer not null check (line >= 1),
    kind text not null check (kind in (
        'asked', 'agreed', 'declined', 'withdrawn', 'handed out', 'taken back', 'due later',
        'came back', 'agreed about', 'came home', 'closed'
    )),
    -- What was said: a reason, or what came back.
    words text not null default '' check (length(words) <= 500),
    -- Handed out and due later: the day it is due back since.
    due_on text check (due_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    entry_seq integer references entry (seq),
    -- On whose side the person stood.
    of_borrower integer not null check (of_borrower in (0, 1)),
    person_id blob not null references person (id),
    done_at integer not null,
    primary key (loan_id, line)
) strict, without rowid;

create trigger loan_step_never_changes before update on loan_step
begin
    select raise(abort, 'what happened to a loan is never changed');
end;

create trigger loan_step_never_goes before delete on loan_step
begin
    select raise(abort, 'what happened to a loan is never deleted');
end;

-- What differed when it was counted back, and what both sides agreed about it.
create table loan_difference (
    loan_id blob not null references loan (id),
    line integer not null check (line >= 1),
    kind text not null check (kind in ('missing', 'broken', 'extra', 'not ours', 'wrong crate')),
    -- Null for what is not ours.
    part_id blob references part (id),
    kit_id blob references kit (id),
    -- Where it belongs; for what was too much, where it was found.
    place_id blob not null references place (id),
    qty integer not null check (qty >= 1),
    -- Of what was missing: so many came home since.
    came_home integer not null default 0 check (came_home between 0 and qty),
    words text not null default '' check (length(words) <= 500),
    agreement text not null default '' check (agreement in (
        '', 'found later', 'borrower replaces', 'wear', 'lender’s loss', 'goes back', 'ours'
    )),
    pays text not null default '' check (pays in ('', 'nobody', 'lender', 'borrower')),
    lender_name text not null default '' check (length(lender_name) <= 80),
    borrower_name text not null default '' check (length(borrower_name) <= 80),
    primary key (loan_id, line),
    check ((part_id is null) = (kit_id is null)),
    check (agreement = '' or (lender_name <> '' and borrower_name <> ''))
) strict, without rowid;

-- Whose a loan is, and who may see it besides: what access rules ask.
create view subject_sides as
select id, lender_id as team_id, borrower_id as other_team_id from loan;
