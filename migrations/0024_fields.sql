-- Fields: the kits that stand together. The rules are told in src/fields/mod.rs.

create table field (
    id blob not null primary key check (length(id) = 16),
    team_id blob not null references team (id),
    name text not null check (length(name) between 1 and 120),
    note text not null default '' check (length(note) <= 500),
    put_away_at integer,
    made_at integer not null,
    version integer not null default 1
) strict;

create unique index field_name on field (team_id, name) where put_away_at is null;

create trigger field_never_goes before delete on field
begin
    select raise(abort, 'a field is put away, never deleted');
end;

-- A kit that stands in a field. One that does no more has no row.
create table field_kit (
    field_id blob not null references field (id),
    kit_id blob not null references kit (id),
    position integer not null,
    primary key (field_id, kit_id)
) strict, without rowid;

create index field_kit_kit on field_kit (kit_id);

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
select id, team_id from event
union all
select id, team_id from field
union all
select numbered_piece.id, kit.team_id
from numbered_piece
join kit on kit.id = numbered_piece.kit_id;
