-- Seals: the number given when a crate is closed, and what was found when it was opened. The rules are told in
-- src/places/seals.rs.

-- One thing done about a place's seal, in order. Never changed: taking a step back is another step. Numbers may
-- come again over the years.
create table seal_step (
    place_id blob not null references place (id),
    line integer not null check (line >= 1),
    kind text not null check (kind in ('sealed', 'opened', 'taken back')),
    -- Sealed: the number on the seal.
    number text not null default '' check (length(number) <= 40),
    -- Opened: whether that seal was there and whole.
    found text not null default '' check (found in ('', 'intact', 'broken')),
    -- Opened, and not intact: what was found instead.
    words text not null default '' check (length(words) <= 300),
    -- The ledger's last entry then: what comes later happened after it.
    seq integer not null check (seq >= 0),
    undoes integer check (undoes < line),
    person_id blob not null references person (id),
    done_at integer not null,
    primary key (place_id, line),
    unique (place_id, undoes),
    check ((kind = 'sealed') = (number <> '')),
    check ((kind = 'opened') = (found <> '')),
    check ((kind = 'taken back') = (undoes is not null)),
    check (words = '' or found = 'broken')
) strict, without rowid;

create trigger seal_step_never_changes before update on seal_step
begin
    select raise(abort, 'what was done about a seal is never changed');
end;

create trigger seal_step_never_goes before delete on seal_step
begin
    select raise(abort, 'what was done about a seal is never deleted');
end;
