-- Crates that were handed on to another team of the league: that team sees what is with it, and says of it. What a
-- team of the league tells of a crate it has on loan bears that team's name.

-- In whose stretch somebody spoke who belongs to neither side: the number of what was handed on to their team.
alter table loan_note add column held_n integer check (held_n is null or (held_n >= 1 and of_borrower = 1));

-- Who has each crate that was handed on, or had it last.
create view loan_hand as
select
    loan_onward_place.loan_id,
    loan_onward_place.place_id,
    loan_onward.n,
    loan_onward.team_id,
    coalesce(team.name, loan_onward.outsider) as name
from loan_onward_place
join loan_onward using (loan_id, n)
left join team on team.id = loan_onward.team_id
where loan_onward.state = 'done'
    and not exists (
        select 1
        from loan_onward_place as later_place
        join loan_onward as later using (loan_id, n)
        where later.loan_id = loan_onward.loan_id
            and later_place.place_id = loan_onward_place.place_id
            and later.state = 'done'
            and later.n > loan_onward.n
    );

-- The teams that something of a loan was handed on to: what access rules ask besides the two sides.
create view subject_hands as
select distinct loan_id as id, team_id
from loan_onward
where state = 'done' and team_id is not null;

-- The team that has the crate on loan whose member told it. Their name is not kept: each side of a loan is told of its
-- own people only.
alter table damage_report add column from_team_id blob references team (id);

-- Something borrowed elsewhere goes back on another day than was said: from which day to which, and why.
create table borrowed_later (
    borrowed_id blob not null references borrowed (id),
    line integer not null check (line >= 1),
    was_on text not null check (was_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    due_on text not null check (due_on glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    why text not null check (length(why) between 1 and 500),
    person_id blob not null references person (id),
    done_at integer not null,
    primary key (borrowed_id, line),
    check (due_on <> was_on)
) strict, without rowid;

create trigger borrowed_later_never_changes before update on borrowed_later
begin
    select raise(abort, 'what was said about a day is never changed');
end;

create trigger borrowed_later_never_goes before delete on borrowed_later
begin
    select raise(abort, 'what was said about a day is never deleted');
end;
