-- Numbered pieces: which piece of a kind is which. The rules are told in src/numbered/mod.rs.

-- A code may be on a single piece too.
create table code_now (
    code text not null primary key check (length(code) = 6),
    kind text not null check (kind in ('kit', 'place', 'count', 'piece')),
    subject_id blob not null unique check (length(subject_id) = 16),
    made_at integer not null
) strict, without rowid;

insert into code_now (code, kind, subject_id, made_at)
select code, kind, subject_id, made_at from code;

drop table code;
alter table code_now rename to code;

create trigger code_never_changes before update on code
begin
    select raise(abort, 'a code is never changed');
end;

create trigger code_never_goes before delete on code
begin
    select raise(abort, 'a code is never deleted');
end;

-- One piece with a code of its own: a timer, a controller. The books count its kind; this says which one it is.
create table numbered_piece (
    id blob not null primary key check (length(id) = 16),
    kit_id blob not null references kit (id),
    part_id blob not null references part (id),
    -- What people call it: "the one with the new battery".
    name text not null default '' check (length(name) <= 80),
    -- The maker's number on it; empty where it has none.
    serial text not null default '' check (length(serial) <= 80),
    note text not null default '' check (length(note) <= 500),
    made_by blob not null references person (id),
    made_at integer not null,
    put_away_at integer,
    -- Why it is put away: broken for good, given back.
    put_away_why text not null default '' check (length(put_away_why) <= 300),
    version integer not null default 1,
    check ((put_away_at is null) <= (put_away_why = ''))
) strict;

create index numbered_piece_kit on numbered_piece (kit_id);
create unique index numbered_piece_serial on numbered_piece (part_id, serial)
    where serial <> '' and put_away_at is null;

create trigger numbered_piece_never_goes before delete on numbered_piece
begin
    select raise(abort, 'a numbered piece is put away, never deleted');
end;

-- Somebody saw a numbered piece in a place, or looked for it there and did not. Never changed.
create table sighting (
    n integer primary key,
    piece_id blob not null references numbered_piece (id),
    place_id blob not null references place (id),
    said text not null check (said in ('seen', 'not here')),
    note text not null default '' check (length(note) <= 300),
    person_id blob not null references person (id),
    at integer not null
) strict;

create index sighting_piece on sighting (piece_id, n);

create trigger sighting_never_changes before update on sighting
begin
    select raise(abort, 'sightings are never changed');
end;

create trigger sighting_never_goes before delete on sighting
begin
    select raise(abort, 'sightings are never deleted');
end;
