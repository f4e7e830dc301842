-- Counting: a count is made of stints, a stint of tallies that add up. The rules are told in
-- src/counts/mod.rs.

-- A job of counting one kit: when it arrives, or later.
create table count_sheet (
    id blob not null primary key check (length(id) = 16),
    kit_id blob not null references kit (id),
    purpose text not null check (purpose in ('arrival', 'recount')),
    -- Where what is counted came from, for an arrival.
    source text not null check (source in ('supplier', 'brought in')),
    opened_by blob not null references person (id),
    opened_at integer not null,
    closed_by blob references person (id),
    closed_at integer,
    -- The entry that closing made; null when closing changed nothing.
    closing_seq integer references entry (seq),
    -- More boxes are expected: what lacks is still to come, not short.
    more_to_come integer check (more_to_come in (0, 1)),
    -- Why lines were left uncounted.
    left_reason text not null default '' check (length(left_reason) <= 500),
    -- The count that began by taking this one back.
    reopened_as blob references count_sheet (id),
    check ((closed_at is null) = (closed_by is null)),
    check ((closed_at is null) = (more_to_come is null))
) strict;

create unique index count_sheet_open on count_sheet (kit_id) where closed_at is null;
create index count_sheet_kit on count_sheet (kit_id, opened_at);
create unique index count_sheet_reopened on count_sheet (reopened_as) where reopened_as is not null;

-- A line the count expects: from the packing slip, or from the books. Frozen when the count opens or
-- the bag joins it.
create table count_line (
    count_id blob not null references count_sheet (id),
    place_id blob not null references place (id),
    part_id blob not null references part (id),
    position integer not null,
    -- What the slip or the books say.
    due integer not null check (due >= 0),
    primary key (count_id, place_id, part_id)
) strict, without rowid;

-- One person's counting of one place in a count.
create table stint (
    id blob not null primary key check (length(id) = 16),
    count_id blob not null references count_sheet (id),
    place_id blob not null references place (id),
    person_id blob not null references person (id),
    -- The ledger's last entry when this stint began: what it counted was there then.
    began_seq integer not null,
    began_at integer not null,
    last_at integer not null,
    state text not null check (state in ('open', 'done', 'set aside')),
    done_at integer,
    -- The ledger's last entry when its last tally came or it was finished: until then moves disturbed it.
    done_seq integer,
    -- Somebody had counted here before: their number is not shown.
    blind integer not null check (blind in (0, 1)),
    -- The stint of a closed count whose numbers this one carries on.
    copied_from blob unique references stint (id),
    set_aside_by blob references person (id),
    set_aside_reason text not null default '' check (length(set_aside_reason) <= 500),
    check ((state = 'set aside') = (set_aside_by is not null)),
    check (state <> 'done' or (done_at is not null and done_seq is not null))
) strict;

create index stint_count on stint (count_id, place_id);
create index stint_place on stint (place_id, state);

-- One tap, or one typed number as the difference it makes.
create table tally (
    n integer primary key,
    id blob not null unique check (length(id) = 16),
    stint_id blob not null references stint (id),
    part_id blob not null references part (id),
    amount integer not null check (amount between -1000000 and 1000000),
    -- What the screen showed at that moment; null where nothing was counted yet.
    shown integer,
    -- The tally this one takes back.
    undoes blob unique references tally (id),
    person_id blob not null references person (id),
    -- When the phone says it was tapped, and when it arrived here.
    done_at integer not null,
    recorded_at integer not null,
    -- Arrived after its count was closed: kept, but in no total.
    late integer not null check (late in (0, 1))
) strict;

create index tally_stint on tally (stint_id, part_id, n);
create index tally_late on tally (stint_id) where late = 1;

create trigger tally_never_changes before update on tally
begin
    select raise(abort, 'tallies are never changed');
end;

create trigger tally_never_goes before delete on tally
begin
    select raise(abort, 'tallies are never deleted');
end;

-- The sum of a stint's tallies for a part, late ones left out. No row: not counted. Kept with each tally.
create table stint_total (
    stint_id blob not null references stint (id),
    part_id blob not null references part (id),
    qty integer not null check (qty >= 0),
    -- A tally was made on another number than stood here: two devices count the same line.
    doubted integer not null default 0 check (doubted in (0, 1)),
    primary key (stint_id, part_id)
) strict, without rowid;

-- Which of several differing stints stands for a line, and who said so.
create table settlement (
    count_id blob not null references count_sheet (id),
    place_id blob not null references place (id),
    part_id blob not null references part (id),
    stint_id blob not null references stint (id),
    settled_by blob not null references person (id),
    settled_at integer not null,
    primary key (count_id, place_id, part_id)
) strict, without rowid;

-- Which team a thing belongs to, whatever it is: what access rules ask.
create view subject_team as
select id, id as team_id from team
union all
select id, team_id from kit
union all
select id, team_id from place where team_id is not null
union all
select count_sheet.id, kit.team_id
from count_sheet
join kit on kit.id = count_sheet.kit_id
union all
select stint.id, kit.team_id
from stint
join count_sheet on count_sheet.id = stint.count_id
join kit on kit.id = count_sheet.kit_id;
