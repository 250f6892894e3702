-- grain: one row per week ahead ($weeks of them): bench minutes, from bench.csv where the day is written, else the stringer's usual
-- minutes for that weekday over the last twelve weeks with rows; null where no bench hours are known at all.
with known as (
    select bench_on, stringer, "minutes" as bench_minutes from facts.bench
),

days as (
    select (select as_of from origin) + day_number::integer as bench_on, (day_number - 1) // 7 + 1 as week
    from (select unnest(generate_series(1, $weeks * 7)) as day_number)
),

usual as (
    select stringer, isodow(bench_on) as weekday, sum(bench_minutes) / 12.0 as usual_minutes
    from known
    where bench_on <= (select as_of from origin) and bench_on > (select as_of from origin) - 84
    group by all
),

stringers as (
    select distinct stringer from known
),

planned as (
    select d.week, coalesce(k.bench_minutes, u.usual_minutes, 0) as bench_minutes
    from days as d
    cross join stringers as s
    left join known as k on k.bench_on = d.bench_on and k.stringer = s.stringer
    left join usual as u on u.stringer = s.stringer and u.weekday = isodow(d.bench_on)
)

select week, sum(bench_minutes) as capacity_minutes
from planned
group by week
