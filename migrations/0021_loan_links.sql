-- Loans: links for borrowers without an account, what each side says, and crates that are handed on.

-- A link to one loan for a borrower outside the league. Its code is shown once; this table holds its SHA-256.
create table loan_link (
    id blob not null primary key check (length(id) = 16),
    loan_id blob not null references loan (id),
    code_hash blob not null unique check (length(code_hash) = 32),
    made_by blob not null references person (id),
    made_at integer not null,
    -- Withdrawn before the loan was closed; null while it holds.
    ended_by blob references person (id),
    ended_at integer,
    check ((ended_by is null) = (ended_at is null))
) strict;

create unique index loan_link_in_force on loan_link (loan_id) where ended_at is null;

create trigger loan_link_never_goes before delete on loan_link
begin
    select raise(abort, 'a link to a loan is withdrawn, never deleted');
end;

-- One phone on which a link was opened. The cookie holds 256 random bits, this table their SHA-256.
create table loan_phone (
    id blob not null primary key check (length(id) = 16),
    link_id blob not null references loan_link (id),
    name text not null check (length(name) between 1 and 80),
    token_hash blob not null unique check (length(token_hash) = 32),
    began_at integer not null
) strict;

create index loan_phone_link on loan_phone (link_id);

-- What happened to a loan besides its steps, in order: said by a member of either side, or on a phone on which
-- its link was opened. Never changed.
create table loan_note (
    loan_id blob not null references loan (id),
    line integer not null check (line >= 1),
    kind text not null check (kind in (
        'link made', 'link withdrawn', 'count confirmed', 'count doubted', 'given back', 'damage told',
        'proposed', 'agreed', 'said otherwise', 'asked to hand on', 'may be handed on', 'may not be handed on',
        'not handed on', 'handed on', 'laid to'
    )),
    words text not null default '' check (length(words) <= 500),
    entry_seq integer references entry (seq),
    -- On whose side they stood.
    of_borrower integer not null check (of_borrower in (0, 1)),
    person_id blob references person (id),
    phone_id blob references loan_phone (id),
    done_at integer not null,
    primary key (loan_id, line),
    check ((person_id is null) <> (phone_id is null)),
    check (phone_id is null or of_borrower = 1)
) strict, without rowid;

create trigger loan_note_never_changes before update on loan_note
begin
    select raise(abort, 'what happened to a loan is never changed');
end;

create trigger loan_note_never_goes before delete on loan_note
begin
    select raise(abort, 'what happened to a loan is never deleted');
end;

-- What the sides say about a difference until they agree, in order: what the lender proposes, and what the
-- borrower answers.
create table loan_say (
    loan_id blob not null,
    line integer not null,
    nth integer not null check (nth >= 1),
    kind text not null check (kind in ('proposed', 'agreed', 'said otherwise')),
    agreement text not null default '' check (agreement in (
        '', 'found later', 'borrower replaces', 'wear', 'lender’s loss', 'goes back', 'ours'
    )),
    pays text not null default '' check (pays in ('', 'nobody', 'lender', 'borrower')),
    words text not null default '' check (length(words) <= 500),
    -- As it was typed.
    name text not null check (length(name) between 1 and 80),
    said_at integer not null,
    primary key (loan_id, line, nth),
    foreign key (loan_id, line) references loan_difference (loan_id, line),
    check ((kind = 'proposed') = (agreement <> '')),
    check ((kind = 'proposed') = (pays <> '')),
    check (kind <> 'said otherwise' or words <> '')
) strict, without rowid;

-- Crates that the borrower hands on, or asks to: only with the lender's yes.
create table loan_onward (
    loan_id blob not null references loan (id),
    n integer not null check (n >= 1),
    -- Who gets them: a team, or somebody outside the league who is written in.
    team_id blob references team (id),
    outsider text not null default '' check (length(outsider) <= 120),
    contact text not null default '' check (length(contact) <= 200),
    why text not null default '' check (length(why) <= 500),
    state text not null check (state in ('asked', 'agreed', 'declined', 'dropped', 'done')),
    asked_at integer not null,
    -- The lender's word with the yes or no, and whose it was. The books follow that yes.
    answer text not null default '' check (length(answer) <= 500),
    answered_by blob references person (id),
    -- Handed on: where it stands in the books since, and on what count.
    spot_id blob references place (id),
    handed_at integer,
    counted integer not null default 0 check (counted in (0, 1)),
    not_counted text not null default '' check (length(not_counted) <= 500),
    primary key (loan_id, n),
    check ((team_id is null) = (outsider <> '')),
    check (state not in ('agreed', 'declined', 'done') or answered_by is not null),
    check ((state = 'done') = (handed_at is not null)),
    check ((handed_at is null) = (spot_id is null)),
    check (handed_at is null or (counted = 1) = (not_counted = ''))
) strict, without rowid;

create trigger loan_onward_never_goes before delete on loan_onward
begin
    select raise(abort, 'what was handed on is never deleted');
end;

-- Which crates.
create table loan_onward_place (
    loan_id blob not null,
    n integer not null,
    place_id blob not null references place (id),
    primary key (loan_id, n, place_id),
    foreign key (loan_id, n) references loan_onward (loan_id, n)
) strict, without rowid;

-- What was counted in them as they were handed on.
create table loan_onward_line (
    loan_id blob not null,
    n integer not null,
    place_id blob not null references place (id),
    part_id blob not null references part (id),
    kit_id blob not null references kit (id),
    qty integer not null check (qty >= 0),
    primary key (loan_id, n, place_id, part_id, kit_id),
    foreign key (loan_id, n) references loan_onward (loan_id, n)
) strict, without rowid;

-- In whose time a difference came about: 0 is the borrower's own, others are the n of what was handed on. Null
-- while nobody has said so. The counts tell it, or the keeper says it in words.
alter table loan_difference add column laid_to integer check (laid_to >= 0);
alter table loan_difference add column laid_by text not null default '' check (laid_by in ('', 'counts', 'keeper'));
alter table loan_difference add column laid_words text not null default '' check (length(laid_words) <= 500);
