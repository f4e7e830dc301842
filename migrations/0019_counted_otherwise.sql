-- Parts that are not counted piece by piece: looked at, and weighed. The rules are told in src/kits/looks.rs
-- and src/counts/weighing.rs.

-- Nothing can be built without it, although nobody counts it. Only asked of parts that are looked at.
alter table part add column essential integer not null default 0
    check (essential in (0, 1) and (essential = 0 or counted_by = 'look'));

-- Somebody looked at a part of a kit in a place. A later look in the same place takes its stead; none is ever
-- changed.
create table look (
    n integer primary key,
    kit_id blob not null references kit (id),
    part_id blob not null references part (id),
    place_id blob not null references place (id),
    said text not null check (said in ('enough', 'low', 'none')),
    person_id blob not null references person (id),
    at integer not null
) strict;

create index look_line on look (kit_id, part_id, place_id, n);

create trigger look_never_changes before update on look
begin
    select raise(abort, 'looks are never changed');
end;

create trigger look_never_goes before delete on look
begin
    select raise(abort, 'looks are never deleted');
end;

-- What was put on the scale for a tally that was weighed. All masses in grams.
create table weighing (
    tally_id blob not null primary key references tally (id),
    gross_g real not null check (gross_g >= 0),
    tare_g real not null check (tare_g >= 0),
    step_g real not null check (step_g > 0),
    -- Single pieces, weighed one by one: "12.1 11.9 12.0".
    sample text not null check (length(sample) between 1 and 500),
    sample_step_g real not null check (sample_step_g > 0),
    -- What the reckoning said: pieces, and how far off they may be 19 times of 20.
    pieces integer not null check (pieces >= 0),
    within real not null check (within >= 0)
) strict, without rowid;

create trigger weighing_never_changes before update on weighing
begin
    select raise(abort, 'weighings are never changed');
end;

create trigger weighing_never_goes before delete on weighing
begin
    select raise(abort, 'weighings are never deleted');
end;

-- What a kit must hold, piece by piece: its list without what is only looked at.
create view kit_need as
select kit.id as kit_id, need.part_id, need.qty, need.position
from kit
join need on need.revision_id = kit.revision_id and need.size_id = kit.size_id
join part on part.id = need.part_id
where part.counted_by <> 'look';
