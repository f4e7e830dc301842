-- Loans: days that are not free around them, and lending although something else was planned.

-- Days before a kit goes out and after it came back on which it is nobody else's: for the road and for counting.
alter table team add column days_before_loans integer not null default 0 check (days_before_loans between 0 and 60);
alter table team add column days_after_loans integer not null default 1 check (days_after_loans between 0 and 60);

-- Why it was lent or promised although it was not free on these days.
alter table loan add column despite text not null default '' check (length(despite) <= 500);
