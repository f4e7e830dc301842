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
