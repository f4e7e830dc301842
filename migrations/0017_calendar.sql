-- Links to a team's calendar, for calendar programs that ask for it again and again by themselves. The link
-- holds 256 random bits, this table their SHA-256. It shows what the person who made it may see, and nothing
-- any more once they left the team or the link was withdrawn.
create table calendar_link (
    id blob not null primary key check (length(id) = 16),
    token_hash blob not null unique check (length(token_hash) = 32),
    team_id blob not null references team (id),
    person_id blob not null references person (id),
    -- Where it is used, as its owner calls it.
    name text not null check (length(name) between 1 and 80),
    made_at integer not null,
    -- The last time it was asked for, to the day.
    asked_at integer,
    withdrawn_at integer
) strict;

create index calendar_link_person on calendar_link (person_id, made_at);
