-- Reports to a supplier, from the day they were sent to the day they are closed. The rules are told in
-- src/reports/mod.rs.

-- A report that was sent on: what it said stays as it was said.
create table supplier_report (
    id blob not null primary key check (length(id) = 16),
    kit_id blob not null references kit (id),
    -- As it is said: "report 2" of this kit.
    number integer not null check (number >= 1),
    -- The revision that the kit was checked against then.
    revision_id blob references revision (id),
    sent_on text not null check (sent_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    -- The lines of its heading: an array of arrays of two texts.
    heading text not null check (json_valid(heading)),
    state text not null check (state in ('open', 'closed', 'not sent')),
    -- The ledger's last entry then: what came later from the supplier came after it.
    sent_seq integer not null check (sent_seq >= 0),
    -- The ledger's last entry when it was closed: what comes later answers other reports.
    closed_seq integer,
    unique (kit_id, number),
    check ((state = 'closed') = (closed_seq is not null))
) strict;

create trigger supplier_report_stays before update on supplier_report
when new.id is not old.id
    or new.kit_id is not old.kit_id
    or new.number is not old.number
    or new.revision_id is not old.revision_id
    or new.sent_on is not old.sent_on
    or new.heading is not old.heading
    or new.sent_seq is not old.sent_seq
begin
    select raise(abort, 'what was reported stays as it was said');
end;

create trigger supplier_report_never_goes before delete on supplier_report
begin
    select raise(abort, 'a report is never deleted');
end;

-- One line of it, in the words of that day.
create table supplier_report_line (
    report_id blob not null references supplier_report (id),
    line integer not null check (line >= 1),
    part_id blob not null references part (id),
    number text not null,
    name text not null,
    colour text not null,
    need integer not null check (need >= 0),
    received integer not null check (received >= 0),
    not_good integer not null check (not_good >= 0),
    short integer not null check (short >= 0),
    over integer not null check (over >= 0),
    primary key (report_id, line),
    unique (report_id, part_id),
    check ((short > 0) <> (over > 0))
) strict, without rowid;

create trigger supplier_report_line_never_changes before update on supplier_report_line
begin
    select raise(abort, 'what was reported stays as it was said');
end;

create trigger supplier_report_line_never_goes before delete on supplier_report_line
begin
    select raise(abort, 'what was reported stays as it was said');
end;

-- A picture that somebody chose to go with it.
create table supplier_report_picture (
    report_id blob not null references supplier_report (id),
    position integer not null check (position >= 1),
    picture_id blob not null references picture (id),
    primary key (report_id, position),
    unique (report_id, picture_id)
) strict, without rowid;

-- What happened to it, in order. Never changed: taking a step back is another step.
create table supplier_report_step (
    report_id blob not null references supplier_report (id),
    line integer not null check (line >= 1),
    kind text not null check (kind in ('sent', 'answered', 'arrived', 'closed', 'taken back')),
    -- The day on which it happened, as somebody says.
    day text not null check (day glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    words text not null default '' check (length(words) <= 1000),
    -- Arrived: the entry that brought the pieces.
    entry_seq integer references entry (seq),
    undoes integer check (undoes < line),
    person_id blob not null references person (id),
    done_at integer not null,
    primary key (report_id, line),
    unique (report_id, undoes),
    check ((kind = 'arrived') = (entry_seq is not null)),
    check ((kind = 'taken back') = (undoes is not null))
) strict, without rowid;

create trigger supplier_report_step_never_changes before update on supplier_report_step
begin
    select raise(abort, 'what happened to a report is never changed');
end;

create trigger supplier_report_step_never_goes before delete on supplier_report_step
begin
    select raise(abort, 'what happened to a report is never deleted');
end;

-- What an answer promised of a line. Of several answers about a line the last one holds.
create table supplier_promise (
    report_id blob not null references supplier_report (id),
    -- The line of the report.
    line integer not null,
    -- The answer.
    step integer not null,
    -- None: it will not come.
    qty integer not null check (qty >= 0),
    -- Null: nobody said when.
    by_day text check (by_day glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    primary key (report_id, line, step),
    foreign key (report_id, line) references supplier_report_line (report_id, line),
    foreign key (report_id, step) references supplier_report_step (report_id, line)
) strict, without rowid;

create trigger supplier_promise_never_changes before update on supplier_promise
begin
    select raise(abort, 'what was promised is never changed');
end;

create trigger supplier_promise_never_goes before delete on supplier_promise
begin
    select raise(abort, 'what was promised is never deleted');
end;
