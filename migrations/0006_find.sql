-- The words by which parts, kits and places are found, whatever their case and accents.
-- The words of kits and places begin with one made of their team's id, so that a search in one team's
-- books does not grow with the league.

create table finding (
    n integer primary key,
    kind text not null check (kind in ('part', 'kit', 'place')),
    subject_id blob not null unique check (length(subject_id) = 16),
    -- Null for parts, which belong to everybody.
    team_id blob references team (id),
    words text not null
) strict;

create virtual table finding_words using fts5 (
    words,
    content = 'finding',
    content_rowid = 'n',
    tokenize = 'unicode61 remove_diacritics 2',
    prefix = '1 2 3'
);

create trigger finding_insert after insert on finding begin
    insert into finding_words (rowid, words) values (new.n, new.words);
end;
create trigger finding_update after update of words on finding begin
    insert into finding_words (finding_words, rowid, words) values ('delete', old.n, old.words);
    insert into finding_words (rowid, words) values (new.n, new.words);
end;
create trigger finding_delete after delete on finding begin
    insert into finding_words (finding_words, rowid, words) values ('delete', old.n, old.words);
end;

create trigger part_found after insert on part begin
    insert into finding (kind, subject_id, words)
    values ('part', new.id, new.number || ' ' || new.name || ' ' || new.colour);
end;
create trigger part_found_again after update of number, name, colour on part begin
    update finding set words = new.number || ' ' || new.name || ' ' || new.colour
    where subject_id = new.id;
end;
create trigger kit_found after insert on kit begin
    insert into finding (kind, subject_id, team_id, words)
    values ('kit', new.id, new.team_id, 't' || hex(new.team_id) || ' ' || new.name || ' ' || new.serial);
end;
create trigger kit_found_again after update of name, serial on kit begin
    update finding set words = 't' || hex(new.team_id) || ' ' || new.name || ' ' || new.serial
    where subject_id = new.id;
end;
create trigger place_found after insert on place when new.kind <> 'outside' begin
    insert into finding (kind, subject_id, team_id, words)
    values (
        'place', new.id, new.team_id,
        't' || hex(new.team_id) || ' ' || new.kind || ' ' || new.name || ' ' || new.make
    );
end;
create trigger place_found_again after update of name, make, kind on place begin
    update finding
    set words = 't' || hex(new.team_id) || ' ' || new.kind || ' ' || new.name || ' ' || new.make
    where subject_id = new.id;
end;
