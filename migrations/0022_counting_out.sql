-- Lending: counting what goes before it goes, and what was borrowed from others.

-- Where a count goes on when it is closed, for whatever waits for it: the form of a loan. A path, or nothing.
alter table count_sheet add column goes_on text not null default '' check (length(goes_on) <= 200);

-- Places that a count does not go over: what is with a borrower, and what stays while only what goes is counted.
create table count_left_out (
    count_id blob not null references count_sheet (id),
    place_id blob not null references place (id),
    why text not null check (why in ('lent', 'stays')),
    primary key (count_id, place_id)
) strict, without rowid;

-- A lending form that waits until what goes was counted: everything as it was typed.
create table lending_draft (
    id blob not null primary key check (length(id) = 16),
    kit_id blob not null references kit (id),
    person_id blob not null references person (id),
    count_id blob not null references count_sheet (id),
    -- The fields by name, as a JSON object.
    fields text not null check (json_valid(fields)),
    made_at integer not null
) strict;

create index lending_draft_kit on lending_draft (kit_id);

-- Something a team borrowed from somebody outside the league, written in by its keeper. None of it is in the books
-- of any kit.
create table borrowed (
    id blob not null primary key check (length(id) = 16),
    -- As it is said: "borrowed 3".
    number integer not null unique check (number >= 1),
    team_id blob not null references team (id),
    -- Whose it is, and how to reach them.
    lender text not null check (length(lender) between 1 and 120),
    contact text not null default '' check (length(contact) <= 200),
    -- Crates in words: "two green crates".
    crates text not null default '' check (length(crates) <= 500),
    purpose text not null default '' check (length(purpose) <= 200),
    out_on text not null check (out_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    due_on text not null check (due_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    made_by blob not null references person (id),
    made_at integer not null,
    -- Given back: when, and what was said of it.
    given_on text check (given_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    given_by blob references person (id),
    given_words text not null default '' check (length(given_words) <= 500),
    check (out_on <= due_on),
    check ((given_on is null) = (given_by is null))
) strict;

create index borrowed_team on borrowed (team_id, given_on);

create trigger borrowed_never_goes before delete on borrowed
begin
    select raise(abort, 'what was borrowed is given back, never deleted');
end;

-- Its pieces, in words, and as a part where the words name one.
create table borrowed_line (
    borrowed_id blob not null references borrowed (id),
    line integer not null check (line >= 1),
    qty integer not null check (qty >= 1),
    words text not null check (length(words) between 1 and 200),
    part_id blob references part (id),
    primary key (borrowed_id, line)
) strict, without rowid;

-- Pieces that somebody found while counting a place and set aside, because they are not ours. In no total.
create table not_ours (
    id blob not null primary key check (length(id) = 16),
    stint_id blob not null references stint (id),
    qty integer not null check (qty >= 1),
    words text not null check (length(words) between 1 and 200),
    part_id blob references part (id),
    -- Whose they are, where that is known: borrowed outside the league, or on a loan to us.
    borrowed_id blob references borrowed (id),
    loan_id blob references loan (id),
    person_id blob not null references person (id),
    done_at integer not null,
    -- It was a mistake.
    withdrawn_at integer,
    check (borrowed_id is null or loan_id is null)
) strict;

create index not_ours_stint on not_ours (stint_id);
create index not_ours_borrowed on not_ours (borrowed_id) where borrowed_id is not null;
create index not_ours_loan on not_ours (loan_id) where loan_id is not null;

-- Whose a loan or something borrowed is, and who may see it besides: what access rules ask.
drop view subject_sides;
create view subject_sides as
select id, lender_id as team_id, borrower_id as other_team_id from loan
union all
select id, team_id, null from borrowed;
