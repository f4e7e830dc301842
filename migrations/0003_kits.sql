-- Kits, and everything pieces are kept in or stand in.

-- Pieces that belong together and to one team. A spares box is a kit without a need.
create table kit (
    id blob not null primary key check (length(id) = 16),
    team_id blob not null references team (id),
    name text not null check (length(name) between 1 and 120),
    -- What it must hold; both null for a spares box.
    revision_id blob references revision (id),
    size_id blob references size (id),
    -- Who it came from, and what they need to know to find it in their books.
    supplier text not null default '' check (length(supplier) <= 200),
    serial text not null default '' check (length(serial) <= 120),
    purchase_reference text not null default '' check (length(purchase_reference) <= 120),
    -- Bought used, given, own make: no supplier answers for it.
    brought_in integer not null default 0 check (brought_in in (0, 1)),
    received_on text check (received_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    -- The last day on which shorts can be reported.
    report_by text check (report_by glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    note text not null default '' check (length(note) <= 2000),
    made_at integer not null,
    put_away_at integer,
    version integer not null default 1,
    unique (team_id, name),
    check ((revision_id is null) = (size_id is null))
) strict;

create index kit_revision on kit (revision_id);

-- Where pieces are: rooms and vehicles at the top, crates and bags in them, and the outside places
-- that pieces come from and go to (section 3.1 of the ledger's rules; see src/ledger/mod.rs).
create table place (
    id blob not null primary key check (length(id) = 16),
    kind text not null check (kind in (
        'outside',
        'store', 'shelf', 'van', 'venue',
        'crate', 'box', 'bag', 'tray', 'heap'
    )),
    -- Whose it is. Null only for outside places.
    team_id blob references team (id),
    -- The kit it was packed for, where there is one.
    kit_id blob references kit (id),
    name text not null check (length(name) between 1 and 120),
    -- The make of the crate, as its owner calls it.
    make text not null default '' check (length(make) <= 120),
    -- Mass of the empty crate, grams.
    tare_g real check (tare_g >= 0),
    -- What it stands in. Null: nowhere yet, or at the top.
    parent_id blob references place (id),
    -- Where it belongs when nobody is using it.
    usual_parent_id blob references place (id),
    note text not null default '' check (length(note) <= 2000),
    position integer not null default 0,
    made_at integer not null,
    put_away_at integer,
    version integer not null default 1,
    check ((kind = 'outside') = (team_id is null)),
    check (parent_id is null or parent_id <> id)
) strict;

create index place_parent on place (parent_id);
create index place_kit on place (kit_id);
create index place_team on place (team_id, kind);

-- The outside places. Their ids are fixed, so that the code can name them.
insert into place (id, kind, name, made_at) values
    (x'00000000000070008000000000000001', 'outside', 'supplier', 0),
    (x'00000000000070008000000000000002', 'outside', 'brought in', 0),
    (x'00000000000070008000000000000003', 'outside', 'missing', 0),
    (x'00000000000070008000000000000004', 'outside', 'found', 0),
    (x'00000000000070008000000000000005', 'outside', 'written off', 0),
    (x'00000000000070008000000000000006', 'outside', 'used up', 0),
    (x'00000000000070008000000000000007', 'outside', 'correction', 0);

create trigger place_outside_stays before update on place
when old.kind = 'outside' or new.kind = 'outside'
begin
    select raise(abort, 'outside places cannot be changed');
end;

create trigger place_never_goes before delete on place
begin
    select raise(abort, 'places are put away, never deleted');
end;

-- What the packing slip says a bag holds. A plan, not stock.
create table packing_line (
    place_id blob not null references place (id),
    part_id blob not null references part (id),
    qty integer not null check (qty between 1 and 1000000),
    position integer not null,
    primary key (place_id, part_id)
) strict, without rowid;

create index packing_line_part on packing_line (part_id);

-- A code printed on something: five characters and a check character. Never used again.
create table code (
    code text not null primary key check (length(code) = 6),
    kind text not null check (kind in ('kit', 'place', 'count')),
    subject_id blob not null unique check (length(subject_id) = 16),
    made_at integer not null
) strict, without rowid;

create trigger code_never_changes before update on code
begin
    select raise(abort, 'a code is never changed');
end;

create trigger code_never_goes before delete on code
begin
    select raise(abort, 'a code is never deleted');
end;
