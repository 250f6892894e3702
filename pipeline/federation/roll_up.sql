-- grain: one row per club, season and material of the mains: how much was strung, and what ended the strings.
-- In: the lake's views restrings, rackets and strings (with club, and season where a row has a day). Standard SQL: it runs on DuckDB as
-- it is, and on Spark SQL. A bed is the time between two restrings of one racket; its ending is told by the later one's reason.
with ordered as (
    select
        r.club,
        r.season,
        r.racket_id,
        r.strung_on,
        r.mains_string_id,
        coalesce(r.mains_m, 0) + coalesce(r.crosses_m, 0) as metres_written,
        lead(r.strung_on) over (partition by r.club, r.racket_id order by r.strung_on, r.restring_id) as next_strung_on,
        lead(r.reason) over (partition by r.club, r.racket_id order by r.strung_on, r.restring_id) as next_reason
    from restrings as r
),

beds as (
    select
        o.club,
        o.season,
        o.racket_id,
        coalesce(s.material, 'unknown') as material,
        o.metres_written,
        date_diff('day', o.strung_on, o.next_strung_on) as days_in,
        case when o.next_reason = 'broke' then 1 else 0 end as is_broken,
        case when o.next_reason = 'lost_feel' then 1 else 0 end as is_dead,
        case when o.next_strung_on is null then 0 else 1 end as is_ended
    from ordered as o
    left join strings as s
        on s.club = o.club and s.string_id = o.mains_string_id
)

select
    club,
    season,
    material,
    count(*) as count_restrings,
    count(distinct racket_id) as count_rackets,
    sum(metres_written) as metres_written,
    sum(is_ended) as count_ended,
    cast(sum(is_broken) as double) / nullif(sum(is_ended), 0) as share_broken,
    cast(sum(is_dead) as double) / nullif(sum(is_ended), 0) as share_dead,
    avg(days_in) as mean_days_in
from beds
group by club, season, material
order by club, season, material
