-- Damage: what pieces are worth and who agreed that they are written off, what is ordered instead, what strangers
-- are shown of a crate, and counting with a helper pass.

-- A team's currency, and the value above which a second person agrees before pieces are written off. The last
-- row of a team holds; the others tell what held before.
create table team_money (
    n integer primary key,
    team_id blob not null references team (id),
    currency text not null check (currency glob '[A-Z][A-Z][A-Z]'),
    -- In the currency's smallest unit. Null: nobody is asked.
    above_minor integer check (above_minor >= 0),
    set_by blob not null references person (id),
    set_at integer not null
) strict;

create index team_money_team on team_money (team_id, n);

create trigger team_money_never_changes before update on team_money
begin
    select raise(abort, 'what a team decided is never changed, it decides anew');
end;

create trigger team_money_never_goes before delete on team_money
begin
    select raise(abort, 'what a team decided is never deleted');
end;

-- What so many pieces of a part cost a team to buy again. The last row of a team and a part holds.
create table part_price (
    n integer primary key,
    team_id blob not null references team (id),
    part_id blob not null references part (id),
    -- In the currency's smallest unit. Null: nobody knows any more.
    minor integer check (minor >= 0),
    currency text not null check (currency glob '[A-Z][A-Z][A-Z]'),
    for_pieces integer not null check (for_pieces between 1 and 1000000),
    set_by blob not null references person (id),
    set_at integer not null
) strict;

create index part_price_part on part_price (team_id, part_id, n);

create trigger part_price_never_changes before update on part_price
begin
    select raise(abort, 'a price is said anew, never changed');
end;

create trigger part_price_never_goes before delete on part_price
begin
    select raise(abort, 'a price is never deleted');
end;

-- What the pieces of a write-off were worth by the price of that day, and who else agreed. The name may be
-- blanked, so nothing forbids a change.
create table damage_worth (
    report_id blob not null,
    line integer not null,
    minor integer not null check (minor >= 0),
    currency text not null check (currency glob '[A-Z][A-Z][A-Z]'),
    -- The value above which a second name was needed then; null where none was.
    above_minor integer check (above_minor >= 0),
    second text not null default '' check (length(second) <= 80),
    primary key (report_id, line),
    foreign key (report_id, line) references damage_step (report_id, line)
) strict, without rowid;

create trigger damage_worth_never_goes before delete on damage_worth
begin
    select raise(abort, 'who agreed to a write-off is never deleted');
end;

-- What people without an account are shown of a team's crates. The last row of a team holds; without one they see
-- pictures.
create table public_page (
    n integer primary key,
    team_id blob not null references team (id),
    shows text not null check (shows in ('pictures', 'names', 'off')),
    set_by blob not null references person (id),
    set_at integer not null
) strict;

create index public_page_team on public_page (team_id, n);

create trigger public_page_never_changes before update on public_page
begin
    select raise(abort, 'what a team decided is never changed, it decides anew');
end;

create trigger public_page_never_goes before delete on public_page
begin
    select raise(abort, 'what a team decided is never deleted');
end;

-- Under whom a helper counts: a person with a first name and no account. Null until they count something.
alter table helper add column person_id blob references person (id);

create unique index helper_person on helper (person_id) where person_id is not null;

-- So many pieces of a part that a kit wants bought. What became of them is told by its steps.
create table order_line (
    id blob not null primary key check (length(id) = 16),
    kit_id blob not null references kit (id),
    -- As it is said: "order line 2" of this kit.
    number integer not null check (number >= 1),
    part_id blob not null references part (id),
    qty integer not null check (qty between 1 and 1000000),
    -- The report whose pieces it replaces, and the step that decided it; null where somebody just wants some.
    report_id blob references damage_report (id),
    report_line integer,
    -- Null: no day is set.
    needed_on text check (needed_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    why text not null default '' check (length(why) <= 500),
    state text not null check (state in ('waiting', 'ordered', 'called off')),
    wanted_by blob not null references person (id),
    wanted_at integer not null,
    unique (kit_id, number),
    check ((report_id is null) = (report_line is null))
) strict;

create index order_line_state on order_line (state, kit_id);
create index order_line_report on order_line (report_id) where report_id is not null;

create trigger order_line_stays before update on order_line
when new.id is not old.id
    or new.kit_id is not old.kit_id
    or new.number is not old.number
    or new.part_id is not old.part_id
    or new.qty is not old.qty
    or new.report_id is not old.report_id
    or new.report_line is not old.report_line
    or new.wanted_by is not old.wanted_by
    or new.wanted_at is not old.wanted_at
begin
    select raise(abort, 'what was wanted stays as it was said');
end;

create trigger order_line_never_goes before delete on order_line
begin
    select raise(abort, 'an order line is called off, never deleted');
end;

-- What happened to an order line, in order. Never changed: taking a step back is another step.
create table order_step (
    order_id blob not null references order_line (id),
    line integer not null check (line >= 1),
    kind text not null check (kind in ('ordered', 'arrived', 'called off', 'taken back')),
    -- The day on which it happened, as somebody says.
    day text not null check (day glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    -- Ordered: from whom. Called off: why.
    words text not null default '' check (length(words) <= 500),
    -- Ordered: expected by the end of this day; null where nobody said.
    by_day text check (by_day glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    -- Arrived: so many, and the entry that brought them in.
    qty integer not null default 0 check (qty >= 0),
    entry_seq integer references entry (seq),
    undoes integer check (undoes < line),
    person_id blob not null references person (id),
    done_at integer not null,
    primary key (order_id, line),
    unique (order_id, undoes),
    check ((kind = 'arrived') = (entry_seq is not null)),
    check ((kind = 'arrived') = (qty > 0)),
    check ((kind = 'taken back') = (undoes is not null))
) strict, without rowid;

create index order_step_entry on order_step (entry_seq) where entry_seq is not null;

create trigger order_step_never_changes before update on order_step
begin
    select raise(abort, 'what happened to an order line is never changed');
end;

create trigger order_step_never_goes before delete on order_step
begin
    select raise(abort, 'what happened to an order line is never deleted');
end;

-- What was put on the list for the next order before there were lines.
insert into order_line (
    id, kit_id, number, part_id, qty, report_id, report_line, state, wanted_by, wanted_at
)
select
    randomblob(16),
    report.kit_id,
    row_number() over (partition by report.kit_id order by step.done_at, step.report_id, step.line),
    report.part_id,
    step.qty,
    step.report_id,
    step.line,
    'waiting',
    step.person_id,
    step.done_at
from damage_step step
join damage_report report on report.id = step.report_id
where step.kind = 'to order'
    and step.qty > 0
    and report.kit_id is not null
    and report.part_id is not null
    and not exists (
        select 1 from damage_step back
        where back.report_id = step.report_id and back.undoes = step.line
    );
