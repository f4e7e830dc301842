-- Seasons, the published guides with their revisions, and the parts lists in them.

-- One year's game.
create table season (
    id blob not null primary key check (length(id) = 16),
    name text not null unique check (length(name) between 1 and 120),
    starts_on text not null check (starts_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    version integer not null default 1
) strict;

-- A published build guide, or a list of a team's own (tools, perimeter) without a season.
create table guide (
    id blob not null primary key check (length(id) = 16),
    season_id blob references season (id),
    name text not null unique check (length(name) between 1 and 120),
    -- Whose part numbers these are. The same number from two makers is two parts.
    maker text not null default '' check (length(maker) <= 120),
    version integer not null default 1
) strict;

create index guide_season on guide (season_id);

-- One dated issue of a guide. Its parts list is frozen once a kit was checked against it.
create table revision (
    id blob not null primary key check (length(id) = 16),
    guide_id blob not null references guide (id),
    label text not null check (length(label) between 1 and 60),
    issued_on text not null check (issued_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    sealed_at integer,
    unique (guide_id, label)
) strict;

create trigger revision_stays_sealed
before update of sealed_at on revision
when old.sealed_at is not null and new.sealed_at is not old.sealed_at
begin
    select raise(abort, 'a sealed revision stays sealed');
end;

-- Half, full, or another size the guide defines.
create table size (
    id blob not null primary key check (length(id) = 16),
    guide_id blob not null references guide (id),
    name text not null check (length(name) between 1 and 60),
    position integer not null,
    unique (guide_id, name)
) strict;

-- A kind of piece.
create table part (
    id blob not null primary key check (length(id) = 16),
    maker text not null default '' check (length(maker) <= 120),
    -- Empty where the maker gives none.
    number text not null default '' check (length(number) <= 80),
    colour text not null default '' check (length(colour) <= 60),
    -- Tells two shapes apart that bear the same number.
    issue_mark text not null default '' check (length(issue_mark) <= 20),
    name text not null check (length(name) between 1 and 200),
    mass_g real check (mass_g > 0),
    -- How to tell this part from its look-alikes: "colour hidden by film: peel a corner".
    how_to_know text not null default '' check (length(how_to_know) <= 500),
    -- What can hurt: sharp edge, sprung, heavy.
    hazard text not null default '' check (length(hazard) <= 500),
    counted_by text not null default 'piece' check (counted_by in ('piece', 'group', 'weight', 'look')),
    -- Pieces in a full group (a tray of 12).
    group_of integer check (group_of between 2 and 10000),
    version integer not null default 1,
    check ((counted_by = 'group') <= (group_of is not null))
) strict;

create unique index part_by_number on part (maker, number, colour, issue_mark) where number <> '';
create unique index part_by_name on part (maker, name, colour, issue_mark) where number = '';

-- What one revision calls a part, where that differs from today's name.
create table part_name (
    revision_id blob not null references revision (id),
    part_id blob not null references part (id),
    name text not null check (length(name) between 1 and 200),
    primary key (revision_id, part_id)
) strict, without rowid;

-- A thing built of parts and assemblies. Its name is stable across the revisions of a guide.
create table assembly (
    id blob not null primary key check (length(id) = 16),
    guide_id blob not null references guide (id),
    name text not null check (length(name) between 1 and 200),
    unique (guide_id, name)
) strict;

-- One line of a parts list: so many of a part, or of an assembly, in an assembly (null: in the
-- kit itself).
create table list_line (
    id blob not null primary key check (length(id) = 16),
    revision_id blob not null references revision (id),
    assembly_id blob references assembly (id),
    part_id blob references part (id),
    child_assembly_id blob references assembly (id),
    -- For each of its assembly, or for all of them together.
    basis text not null check (basis in ('each', 'all')),
    position integer not null,
    -- Where it stood in the imported file.
    source_line integer,
    check ((part_id is null) <> (child_assembly_id is null)),
    check (child_assembly_id is null or assembly_id is null or child_assembly_id <> assembly_id)
) strict;

create index list_line_revision on list_line (revision_id, position);
create index list_line_part on list_line (part_id, revision_id);

-- How many of a line a size holds. No row means none.
create table list_quantity (
    line_id blob not null references list_line (id),
    size_id blob not null references size (id),
    qty integer not null check (qty between 1 and 1000000),
    primary key (line_id, size_id)
) strict, without rowid;

-- The roll-up of a revision, kept because many pages ask for it: what a kit of a size must hold.
-- Always derived from the lines above by `guides::need`, in the same transaction that writes them.
create table need (
    revision_id blob not null references revision (id),
    size_id blob not null references size (id),
    part_id blob not null references part (id),
    qty integer not null check (qty between 1 and 1000000000),
    -- Order of first appearance in the list.
    position integer not null,
    primary key (revision_id, size_id, part_id)
) strict, without rowid;

create index need_part on need (part_id, revision_id, size_id);

create trigger list_line_sealed_insert before insert on list_line
when (select sealed_at from revision where id = new.revision_id) is not null
begin
    select raise(abort, 'this revision is sealed');
end;

create trigger list_line_sealed_update before update on list_line
when (select sealed_at from revision where id = old.revision_id) is not null
begin
    select raise(abort, 'this revision is sealed');
end;

create trigger list_line_sealed_delete before delete on list_line
when (select sealed_at from revision where id = old.revision_id) is not null
begin
    select raise(abort, 'this revision is sealed');
end;

create trigger list_quantity_sealed_insert before insert on list_quantity
when (
    select revision.sealed_at
    from list_line join revision on revision.id = list_line.revision_id
    where list_line.id = new.line_id
) is not null
begin
    select raise(abort, 'this revision is sealed');
end;

create trigger list_quantity_sealed_update before update on list_quantity
when (
    select revision.sealed_at
    from list_line join revision on revision.id = list_line.revision_id
    where list_line.id = old.line_id
) is not null
begin
    select raise(abort, 'this revision is sealed');
end;

create trigger list_quantity_sealed_delete before delete on list_quantity
when (
    select revision.sealed_at
    from list_line join revision on revision.id = list_line.revision_id
    where list_line.id = old.line_id
) is not null
begin
    select raise(abort, 'this revision is sealed');
end;

-- A file or pasted table on its way into a parts list. The preview is made from it anew each time,
-- so it survives a reload.
create table import_draft (
    id blob not null primary key check (length(id) = 16),
    -- The list it is for.
    revision_id blob not null references revision (id),
    made_by blob not null references person (id),
    made_at integer not null,
    ends_at integer not null,
    file_name text not null check (length(file_name) <= 255),
    bytes blob not null check (length(bytes) <= 5242880),
    -- Which column means what and which lines are left out, as JSON; at first a guess.
    mapping text check (mapping is null or json_valid(mapping)),
    applied_at integer
) strict;
