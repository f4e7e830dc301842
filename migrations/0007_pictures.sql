-- Pictures and the guides' PDFs, kept in the database so that one file is the whole backup.

-- Bytes that were sent to us, or made of what was sent. The same bytes are kept once.
create table file (
    id blob not null primary key check (length(id) = 16),
    -- SHA-256 of the bytes. Null while they still arrive, and after they were erased.
    sha256 blob unique check (length(sha256) = 32),
    kind text not null check (kind in ('picture', 'pdf')),
    -- Bytes so far.
    size integer not null check (size between 0 and 41943040),
    -- Pixels; null for a PDF.
    width integer check (width between 1 and 1600),
    height integer check (height between 1 and 1600),
    begun_at integer not null,
    erased_at integer,
    check ((kind = 'picture') = (width is not null and height is not null)),
    check (erased_at is null or sha256 is null)
) strict;

-- At most 256 KiB of a file, in order from 0.
create table file_chunk (
    file_id blob not null references file (id),
    n integer not null check (n >= 0),
    bytes blob not null check (length(bytes) between 1 and 262144),
    primary key (file_id, n)
) strict;

create trigger file_chunk_never_changes before update on file_chunk
begin
    select raise(abort, 'the bytes of a file are never changed');
end;

create trigger file_chunk_comes_before_the_hash before insert on file_chunk
when (select sha256 is not null or erased_at is not null from file where id = new.file_id)
begin
    select raise(abort, 'a whole file takes no more bytes');
end;

create trigger file_chunk_of_a_whole_file_stays before delete on file_chunk
when (select sha256 from file where id = old.file_id) is not null
begin
    select raise(abort, 'the bytes of a whole file are erased, not deleted');
end;

-- A picture of a part, or of how a crate or another place is packed; of neither where another table
-- names it.
create table picture (
    id blob not null primary key check (length(id) = 16),
    -- Who may see it.
    team_id blob not null references team (id),
    large_id blob not null references file (id),
    thumb_id blob not null references file (id),
    part_id blob references part (id),
    place_id blob references place (id),
    -- Which layer of the place, from the bottom; null: the place as a whole.
    layer integer check (layer between 1 and 99),
    -- Among those of the same part, or of the same layer.
    position integer not null,
    -- What is to be seen, for whoever cannot see it. Blank once erased.
    words text not null check (length(words) <= 300),
    taken_on text not null check (taken_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    -- Null: somebody without an account.
    added_by blob references person (id),
    added_at integer not null,
    -- Null while it is shown.
    removed_at integer,
    -- The one that took its place, if one did.
    replaced_by blob references picture (id),
    -- When its bytes were erased for good.
    erased_at integer,
    version integer not null default 1,
    check (part_id is null or place_id is null),
    check (layer is null or place_id is not null),
    check (erased_at is null or removed_at is not null),
    check (replaced_by is null or removed_at is not null),
    check ((words = '') = (erased_at is not null))
) strict;

create index picture_part on picture (part_id, team_id, position) where part_id is not null;
create index picture_place on picture (place_id, layer, position) where place_id is not null;
create index picture_team on picture (team_id, added_at);
create index picture_large on picture (large_id);
create index picture_thumb on picture (thumb_id);

create trigger picture_never_goes before delete on picture
begin
    select raise(abort, 'pictures are removed or erased, never deleted');
end;

-- What was done with a picture, by whom and when.
create table picture_act (
    picture_id blob not null references picture (id),
    n integer not null check (n >= 1),
    act text not null check (act in (
        'added', 'described', 'put first', 'removed', 'replaced', 'brought back', 'erased'
    )),
    -- Null: somebody without an account.
    person_id blob references person (id),
    at integer not null,
    primary key (picture_id, n)
) strict, without rowid;

create trigger picture_act_never_changes before update on picture_act
begin
    select raise(abort, 'what was done stays done');
end;

create trigger picture_act_never_goes before delete on picture_act
begin
    select raise(abort, 'what was done stays done');
end;

-- The guide of a revision as its publisher issued it. One is shown; earlier ones are kept.
create table guide_pdf (
    id blob not null primary key check (length(id) = 16),
    revision_id blob not null references revision (id),
    file_id blob not null references file (id),
    name text not null check (length(name) between 1 and 255),
    added_by blob not null references person (id),
    added_at integer not null,
    removed_by blob references person (id),
    removed_at integer,
    check ((removed_by is null) = (removed_at is null))
) strict;

create unique index guide_pdf_shown on guide_pdf (revision_id) where removed_at is null;
create index guide_pdf_revision on guide_pdf (revision_id, added_at);
create index guide_pdf_file on guide_pdf (file_id);

-- Pictures belong to a team as well.
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
select id, team_id from picture;
