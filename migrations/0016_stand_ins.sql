-- Parts that may be used instead of others. The rules are told in src/parts/stand_ins.rs.

-- Somebody said that a part may stand in for another. Ended, never deleted; saying it again is another row.
create table stand_in (
    n integer primary key,
    part_id blob not null references part (id),
    for_part_id blob not null references part (id),
    -- In official play too, or only for practice.
    allowed text not null check (allowed in ('practice', 'official')),
    said_by blob not null references person (id),
    said_at integer not null,
    ended_by blob references person (id),
    ended_at integer,
    check (part_id <> for_part_id),
    check ((ended_by is null) = (ended_at is null))
) strict;

create unique index stand_in_holds on stand_in (part_id, for_part_id) where ended_at is null;
create index stand_in_for on stand_in (for_part_id);

create trigger stand_in_stays before update on stand_in
when old.ended_at is not null
    or new.part_id is not old.part_id
    or new.for_part_id is not old.for_part_id
    or new.allowed is not old.allowed
    or new.said_by is not old.said_by
    or new.said_at is not old.said_at
begin
    select raise(abort, 'what was said of a part is ended, not changed');
end;

create trigger stand_in_never_goes before delete on stand_in
begin
    select raise(abort, 'what was said of a part is ended, not deleted');
end;
