-- Damage: pictures of what broke, and the event it broke at.

-- A picture that came with a report, or was added to it. The picture itself belongs to the team.
create table damage_picture (
    picture_id blob not null primary key references picture (id),
    report_id blob not null references damage_report (id),
    -- The form that brought it: sent again, it brings no second one.
    form_id blob not null unique check (length(form_id) = 16)
) strict, without rowid;

create index damage_picture_report on damage_picture (report_id);

create trigger damage_picture_never_changes before update on damage_picture
begin
    select raise(abort, 'which report a picture belongs to is never changed');
end;

create trigger damage_picture_never_goes before delete on damage_picture
begin
    select raise(abort, 'the picture of a report is removed or erased as a picture');
end;

-- Which part, in the words of whoever told it, where the books know none of that name or several.
alter table damage_report add column said_part text not null default ''
    check (length(said_part) <= 200);
-- The event, where it was chosen; otherwise the words in "event" are all that is known.
alter table damage_report add column event_id blob references event (id);

create index damage_report_event on damage_report (event_id) where event_id is not null;

-- Helper passes: people help at an event without an account, by first name only, until the event is over.
create table pass (
    id blob not null primary key check (length(id) = 16),
    event_id blob not null references event (id),
    -- Whose kits it is for.
    team_id blob not null references team (id),
    -- Typed or scanned to open it. Like the codes on crates, but none of those.
    code text not null unique check (length(code) = 6),
    made_by blob not null references person (id),
    made_at integer not null,
    -- Ended before the event was over; null while it holds.
    ended_by blob references person (id),
    ended_at integer,
    check ((ended_by is null) = (ended_at is null))
) strict;

create unique index pass_in_force on pass (event_id, team_id) where ended_at is null;

create trigger pass_never_goes before delete on pass
begin
    select raise(abort, 'a helper pass is ended, never deleted');
end;

-- One phone on which a pass was opened. The cookie holds 256 random bits, this table their SHA-256.
create table helper (
    id blob not null primary key check (length(id) = 16),
    pass_id blob not null references pass (id),
    first_name text not null check (length(first_name) between 1 and 40),
    token_hash blob not null unique check (length(token_hash) = 32),
    began_at integer not null
) strict;

create index helper_pass on helper (pass_id);

-- Who told it with a helper pass.
alter table damage_report add column helper_id blob references helper (id);
