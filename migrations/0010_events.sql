-- Events: days at a venue, and the kits that go there. The rules are told in src/events/mod.rs.

create table event (
    id blob not null primary key check (length(id) = 16),
    -- Who wrote it down, and changes it.
    team_id blob not null references team (id),
    name text not null check (length(name) between 1 and 120),
    venue text not null default '' check (length(venue) <= 200),
    -- Its first and its last day at the venue.
    first_on text not null check (first_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    last_on text not null check (last_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    note text not null default '' check (length(note) <= 2000),
    -- It does not take place.
    called_off_at integer,
    made_at integer not null,
    version integer not null default 1,
    check (first_on <= last_on)
) strict;

create index event_days on event (last_on, first_on);
create index event_team on event (team_id);

create trigger event_never_goes before delete on event
begin
    select raise(abort, 'an event is never deleted, it is called off');
end;

-- A kit that goes to an event. A kit that stays at home after all has no row any more; the steps tell of it.
create table event_kit (
    event_id blob not null references event (id),
    kit_id blob not null references kit (id),
    primary key (event_id, kit_id)
) strict, without rowid;

create index event_kit_kit on event_kit (kit_id);

-- What was done about an event, in order. Never changed.
create table event_step (
    event_id blob not null references event (id),
    line integer not null check (line >= 1),
    kind text not null check (kind in (
        'planned', 'changed', 'called off', 'takes place', 'kit goes', 'kit stays'
    )),
    -- Planned and changed: its name, venue and days as they were then. Otherwise the reason, where one was given.
    words text not null default '' check (length(words) <= 600),
    kit_id blob references kit (id),
    person_id blob not null references person (id),
    done_at integer not null,
    primary key (event_id, line),
    check ((kit_id is not null) = (kind in ('kit goes', 'kit stays')))
) strict, without rowid;

create trigger event_step_never_changes before update on event_step
begin
    select raise(abort, 'what was done about an event is never changed');
end;

create trigger event_step_never_goes before delete on event_step
begin
    select raise(abort, 'what was done about an event is never deleted');
end;

-- Whose a thing is: what access rules ask.
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
select id, team_id from damage_report
union all
select id, team_id from event;
