-- grain: one row per whole week up to the origin, newest last: restrings done and minutes played.
with weeks as (
    select unnest(generate_series(0, 51)) as back
),

spans as (
    select (select as_of from origin) - (back * 7 + 6)::integer as starts_on, (select as_of from origin) - (back * 7)::integer as ends_on
    from weeks
),

on_file as (
    select least(
        (select min(strung_on) from restrings_clean), (select min(played_on) from sessions_described where source <> 'assumed')
    ) as first_on
),

jobs as (
    select s.starts_on, count(r.restring_id) as jobs
    from spans as s
    left join restrings_clean as r on r.strung_on between s.starts_on and s.ends_on
    group by s.starts_on
),

-- by day first: a year has few days, however many sessions there are
days as (
    select played_on, exact_sum(session_minutes) as minutes_of_day
    from sessions_described
    where source <> 'assumed' and played_on >= (select min(starts_on) from spans)
    group by played_on
),

play as (
    select s.starts_on, coalesce(sum(p.minutes_of_day), 0) as minutes_played
    from spans as s
    left join days as p on p.played_on between s.starts_on and s.ends_on
    group by s.starts_on
)

select j.starts_on::date as starts_on, j.jobs, p.minutes_played
from jobs as j
join play as p using (starts_on)
cross join on_file as f
where j.starts_on >= f.first_on
order by starts_on
