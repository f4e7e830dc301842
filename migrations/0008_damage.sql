-- Damage: what broke, was lost or was found, who said so, and what was decided about it.

-- What somebody told. Never changed but for what a crew puts right before accepting it: which part it
-- is, whose, and where.
create table damage_report (
    id blob not null primary key check (length(id) = 16),
    team_id blob not null references team (id),
    what text not null check (what in ('broken', 'lost', 'found', 'astray')),
    -- Null while nobody knows which part, whose, or where.
    part_id blob references part (id),
    kit_id blob references kit (id),
    place_id blob references place (id),
    qty integer not null check (qty between 1 and 1000000),
    -- Can it still be used?
    usable text not null check (usable in ('yes', 'no', 'unsure')),
    -- Cracked, bent, torn; empty where nobody said.
    happened text not null default '' check (length(happened) <= 60),
    -- At which event, in the words of whoever told it.
    event text not null default '' check (length(event) <= 120),
    note text not null default '' check (length(note) <= 2000),
    -- Null for somebody without an account, who may give a first name.
    reported_by blob references person (id),
    reporter text not null default '' check (length(reporter) <= 40),
    reported_at integer not null
) strict;

create index damage_report_team on damage_report (team_id, reported_at);
create index damage_report_part on damage_report (part_id, team_id);
create index damage_report_place on damage_report (place_id, reported_at);

create trigger damage_report_never_goes before delete on damage_report
begin
    select raise(abort, 'a damage report is never deleted');
end;

-- What was done about a report, in order. Never changed: taking a step back is another step.
create table damage_step (
    report_id blob not null references damage_report (id),
    line integer not null check (line >= 1),
    kind text not null check (kind in (
        'accepted', 'joined', 'set aside', 'seen to', 'kept in use', 'mended', 'practice only',
        'spare used', 'to order', 'written off', 'missing', 'turned up', 'one-off', 'taken back'
    )),
    qty integer not null check (qty between 0 and 1000000),
    -- Accepted: the state the pieces are in since.
    state text check (state in ('doubtful', 'broken')),
    -- The entry that moved pieces, if any moved.
    entry_seq integer references entry (seq),
    -- Joined: the report that tells of the same pieces.
    other_id blob references damage_report (id),
    -- Taken back: which line.
    undoes integer check (undoes < line),
    why text not null default '' check (length(why) <= 500),
    person_id blob not null references person (id),
    done_at integer not null,
    primary key (report_id, line),
    unique (report_id, undoes)
) strict, without rowid;

create index damage_step_entry on damage_step (entry_seq) where entry_seq is not null;

create trigger damage_step_never_changes before update on damage_step
begin
    select raise(abort, 'what was decided is never changed');
end;

create trigger damage_step_never_goes before delete on damage_step
begin
    select raise(abort, 'what was decided is never deleted');
end;

drop view subject_team;
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
join kit on kit.id = count_sheet.kit_id
union all
select id, team_id from picture
union all
select id, team_id from damage_report;
