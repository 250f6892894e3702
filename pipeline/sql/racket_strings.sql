-- grain: one row per racket in service: what it will be strung with next (the set-up in force, else what is in) and the metres that
-- takes: as this club cut them for that frame, else from head size and pattern (mains and crosses over an ellipse, with knots and waste).
with own as (
    select racket_id, mains_string_id, crosses_string_id,
           row_number() over (partition by racket_id order by from_on desc) as newest
    from facts.setups
    where racket_id is not null and from_on <= (select as_of from origin)
),

players as (
    select player_id, mains_string_id, crosses_string_id,
           row_number() over (partition by player_id order by from_on desc) as newest
    from facts.setups
    where player_id is not null and racket_id is null and from_on <= (select as_of from origin)
),

cut as (
    select racket_id, avg(mains_m) as mains_m, avg(crosses_m) as crosses_m
    from facts.restrings
    where strung_on <= (select as_of from origin) and mains_m is not null
    group by racket_id
),

geometry as (
    select racket_id,
           -- the head as an ellipse 1.3 times as long as wide, in metres; the numbers are those of fleet/reels/metres.py
           2 * sqrt(coalesce(head_cm2, 645) / (pi() * 1.3)) / 100 as width_m,
           2 * sqrt(coalesce(head_cm2, 645) * 1.3 / pi()) / 100 as length_m,
           mains as count_mains, crosses as count_crosses,
           list_sum(list_transform(range(mains), lambda i: sqrt(1 - power(0.86 * (2 * i / (mains - 1) - 1), 2)))) as mains_chords,
           list_sum(list_transform(range(crosses), lambda i: sqrt(1 - power(0.86 * (2 * i / (crosses - 1) - 1), 2)))) as crosses_chords
    from facts.rackets
)

select
    r.racket_id,
    coalesce(o.mains_string_id, p.mains_string_id, b.mains_string_id) as mains_string_id,
    coalesce(o.crosses_string_id, o.mains_string_id, p.crosses_string_id, p.mains_string_id, b.crosses_string_id) as crosses_string_id,
    -- chords of the ellipse; turns at the frame add 3.5 cm a string, ends and knots 0.70 m a piece
    coalesce(c.mains_m, g.length_m * g.mains_chords + g.count_mains * 0.035 + 0.70) as mains_metres,
    coalesce(c.crosses_m, g.width_m * g.crosses_chords + g.count_crosses * 0.035 + 0.70) as crosses_metres
from rackets_now as r
join geometry as g using (racket_id)
left join beds as b on b.bed_id = r.bed_id
left join own as o on o.racket_id = r.racket_id and o.newest = 1
left join players as p on p.player_id = r.player_id and p.newest = 1
left join cut as c on c.racket_id = r.racket_id
