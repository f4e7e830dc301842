-- The ledger: what moved from where to where, in the order in which it was recorded. Nothing here is
-- ever changed or deleted. The rules are told in src/ledger/mod.rs; the triggers are the second lock.

-- One recorded act.
create table entry (
    seq integer not null primary key,
    -- The id the form carried.
    id blob not null unique check (length(id) = 16),
    -- What kind of act, in the words of the slice that made it.
    kind text not null check (length(kind) between 1 and 40),
    actor_id blob not null references person (id),
    recorded_at integer not null,
    -- When the person says it happened.
    done_at integer not null,
    -- The kit, place or count it is about.
    document_kind text not null check (document_kind in ('', 'kit', 'place', 'count')),
    document_id blob check (length(document_id) = 16),
    -- The entry this one undoes or corrects.
    corrects_seq integer unique references entry (seq) check (corrects_seq < seq),
    -- How many rows of `move`, `place_move` and `count_mark` belong to it.
    moves integer not null check (moves >= 0),
    place_moves integer not null check (place_moves >= 0),
    count_marks integer not null check (count_marks >= 0),
    -- Salted commitment to the note, which is kept apart so that it can be erased.
    note_hash blob check (length(note_hash) = 32),
    -- SHA-256 over the entry before it and everything above, moves included.
    hash blob not null check (length(hash) = 32),
    check (moves + place_moves + count_marks > 0),
    check ((document_kind = '') = (document_id is null))
) strict;

create index entry_document on entry (document_id) where document_id is not null;

create trigger entry_in_order before insert on entry
when new.seq <> (select coalesce(max(seq), 0) + 1 from entry)
begin
    select raise(abort, 'entries are numbered one after the other');
end;

create trigger entry_never_changes before update on entry
begin
    select raise(abort, 'the ledger is never changed');
end;

create trigger entry_never_goes before delete on entry
begin
    select raise(abort, 'nothing is deleted from the ledger');
end;

-- So many pieces of one part, from one place and state to another.
create table move (
    entry_seq integer not null references entry (seq),
    line integer not null check (line >= 1),
    part_id blob not null references part (id),
    qty integer not null check (qty between 1 and 1000000000),
    from_kit_id blob not null references kit (id),
    from_place_id blob not null references place (id),
    from_state text not null check (from_state in ('good', 'doubtful', 'practice only', 'broken')),
    to_kit_id blob not null references kit (id),
    to_place_id blob not null references place (id),
    to_state text not null check (to_state in ('good', 'doubtful', 'practice only', 'broken')),
    primary key (entry_seq, line),
    check (
        from_kit_id <> to_kit_id
        or from_place_id <> to_place_id
        or from_state <> to_state
    )
) strict, without rowid;

create index move_part_from on move (part_id, from_kit_id, entry_seq);
create index move_part_to on move (part_id, to_kit_id, entry_seq);
create index move_from_place on move (from_place_id, entry_seq);
create index move_to_place on move (to_place_id, entry_seq);
create index move_from_kit on move (from_kit_id, entry_seq);
-- Few moves change the kit; the others are found by the kit they come from.
create index move_to_kit on move (to_kit_id, entry_seq) where to_kit_id <> from_kit_id;

create trigger move_belongs before insert on move
when new.line > (select moves from entry where seq = new.entry_seq)
    or new.entry_seq <> (select max(seq) from entry)
begin
    select raise(abort, 'a move belongs to the entry being recorded');
end;

create trigger move_never_changes before update on move
begin
    select raise(abort, 'the ledger is never changed');
end;

create trigger move_never_goes before delete on move
begin
    select raise(abort, 'nothing is deleted from the ledger');
end;

-- A crate, bag or heap that was carried somewhere, with all that is in it.
create table place_move (
    entry_seq integer not null references entry (seq),
    line integer not null check (line >= 1),
    place_id blob not null references place (id),
    from_parent_id blob references place (id),
    to_parent_id blob references place (id),
    primary key (entry_seq, line),
    check (from_parent_id is not to_parent_id)
) strict, without rowid;

create index place_move_place on place_move (place_id, entry_seq);
create index place_move_from on place_move (from_parent_id, entry_seq);
create index place_move_to on place_move (to_parent_id, entry_seq);

create trigger place_move_belongs before insert on place_move
when new.line > (select place_moves from entry where seq = new.entry_seq)
    or new.entry_seq <> (select max(seq) from entry)
begin
    select raise(abort, 'a move belongs to the entry being recorded');
end;

create trigger place_move_never_changes before update on place_move
begin
    select raise(abort, 'the ledger is never changed');
end;

create trigger place_move_never_goes before delete on place_move
begin
    select raise(abort, 'nothing is deleted from the ledger');
end;

-- The entry says: so many pieces of this part were counted here, in all states together.
create table count_mark (
    entry_seq integer not null references entry (seq),
    line integer not null check (line >= 1),
    part_id blob not null references part (id),
    kit_id blob not null references kit (id),
    place_id blob not null references place (id),
    qty integer not null check (qty >= 0),
    primary key (entry_seq, line)
) strict, without rowid;

create index count_mark_place on count_mark (place_id, part_id, entry_seq);
create index count_mark_kit on count_mark (kit_id, part_id, entry_seq);
create index count_mark_part on count_mark (part_id, entry_seq);

create trigger count_mark_belongs before insert on count_mark
when new.line > (select count_marks from entry where seq = new.entry_seq)
    or new.entry_seq <> (select max(seq) from entry)
begin
    select raise(abort, 'a count mark belongs to the entry being recorded');
end;

create trigger count_mark_never_changes before update on count_mark
begin
    select raise(abort, 'the ledger is never changed');
end;

create trigger count_mark_never_goes before delete on count_mark
begin
    select raise(abort, 'nothing is deleted from the ledger');
end;

-- What somebody wrote about an entry. May be erased; the chain holds only a commitment to it.
create table entry_note (
    entry_seq integer not null primary key references entry (seq),
    salt blob not null check (length(salt) = 16),
    text text not null check (length(text) between 1 and 2000)
) strict;

-- How many pieces are where, now. Kept in the transaction that writes the moves, and always equal to
-- their sum.
create table balance (
    place_id blob not null references place (id),
    part_id blob not null references part (id),
    kit_id blob not null references kit (id),
    state text not null check (state in ('good', 'doubtful', 'practice only', 'broken')),
    -- 1 for the outside places, which may owe.
    outside integer not null check (outside in (0, 1)),
    qty integer not null,
    -- The entry by which somebody last counted these pieces here.
    counted_seq integer references entry (seq),
    primary key (place_id, part_id, kit_id, state),
    check (qty >= 0 or outside = 1)
) strict, without rowid;

create index balance_kit on balance (kit_id, part_id, outside, qty);
create index balance_part on balance (part_id, outside, qty);
