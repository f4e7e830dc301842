-- Who uses Fieldstow, for which team, and how they prove it.

-- Facts about the whole league, one a row: its name, and the like.
create table setting (
    key text not null primary key,
    value text not null
) strict;

-- A club or school that owns or borrows kits. The league itself may be one.
create table team (
    id blob not null primary key check (length(id) = 16),
    name text not null unique check (length(name) between 1 and 120),
    -- IANA name of the time zone in which this team's days begin and end.
    zone text not null check (length(zone) between 1 and 64),
    version integer not null default 1
) strict;

-- One human being. Never deleted, because ledger entries point here; name, e-mail and password
-- can be blanked.
create table person (
    id blob not null primary key check (length(id) = 16),
    name text not null check (length(name) <= 120),
    -- Lower case. Null once the person was erased, or when they never had an account.
    email text unique check (length(email) between 3 and 254),
    -- Argon2id in PHC string form. Null: cannot sign in with a password.
    password_hash text,
    -- Answers for the whole league.
    coordinator integer not null default 0 check (coordinator in (0, 1)),
    made_at integer not null,
    erased_at integer
) strict;

-- What a person is to a team.
create table membership (
    person_id blob not null references person (id),
    team_id blob not null references team (id),
    role text not null check (role in ('keeper', 'deputy', 'crew')),
    since integer not null,
    primary key (person_id, team_id)
) strict, without rowid;

create index membership_team on membership (team_id, role);

-- One browser in which a person is signed in. The cookie holds 256 random bits, this table their
-- SHA-256.
create table session (
    token_hash blob not null primary key check (length(token_hash) = 32),
    id blob not null unique check (length(id) = 16),
    person_id blob not null references person (id),
    began_at integer not null,
    -- Written now and then, not at every request.
    seen_at integer not null,
    ends_at integer not null,
    device text not null check (length(device) <= 200)
) strict, without rowid;

create index session_person on session (person_id);

-- A link that works once: to join a team, to choose a new password, to begin.
create table token (
    token_hash blob not null primary key check (length(token_hash) = 32),
    id blob not null unique check (length(id) = 16),
    purpose text not null check (purpose in ('start', 'invite', 'reset')),
    -- Whose password; null for an invite.
    person_id blob references person (id),
    -- What an invite makes of the one who accepts it.
    team_id blob references team (id),
    role text check (role in ('keeper', 'deputy', 'crew')),
    coordinator integer not null default 0 check (coordinator in (0, 1)),
    -- Who made the link; null when it was made on the machine itself.
    made_by blob references person (id),
    made_at integer not null,
    ends_at integer not null,
    used_at integer,
    check ((purpose = 'reset') = (person_id is not null)),
    check ((team_id is null) = (role is null))
) strict, without rowid;

create index token_person on token (person_id);
create index token_team on token (team_id);

-- Failed sign-ins of one e-mail address, known or not, under the SHA-256 of the address.
create table sign_in_failure (
    account_hash blob not null primary key check (length(account_hash) = 32),
    -- Failures since the last success.
    consecutive integer not null check (consecutive >= 0),
    -- The quarter of an hour being watched.
    window_began_at integer not null,
    in_window integer not null check (in_window >= 0),
    blocked_until integer not null
) strict, without rowid;

-- Every form sent, so that a form sent twice is recorded once.
create table receipt (
    form_id blob not null primary key check (length(form_id) = 16),
    -- SHA-256 of what was sent: the same id with other content is refused.
    content_hash blob not null check (length(content_hash) = 32),
    person_id blob references person (id),
    recorded_at integer not null,
    -- The page that shows the result.
    location text not null
) strict, without rowid;
