-- grain: one row per restring known at the origin and part of the bed (mains, crosses): its string, the metres written down, who had
-- the racket then, and whether the club's own string was taken at the club's own bench (the only jobs that take from the shelf).
with known as (
    select
        restring_id, racket_id, strung_on, strung_on_at, mains_string_id,
        coalesce(crosses_string_id, mains_string_id) as crosses_string_id,
        mains_m, crosses_m,
        coalesce(string_from, 'club') = 'club' and coalesce(strung_at, 'here') = 'here' as takes_stock
    from facts.restrings
    where strung_on <= (select as_of from origin)
),

parts as (
    select k.* exclude (mains_string_id, crosses_string_id, mains_m, crosses_m),
           'mains' as part, mains_string_id as string_id, mains_m as written_m
    from known as k
    union all
    select k.* exclude (mains_string_id, crosses_string_id, mains_m, crosses_m),
           'crosses' as part, crosses_string_id as string_id, crosses_m as written_m
    from known as k
)

select
    p.*,
    coalesce(b.player_id, r.player_id) as player_id,
    coalesce(b.squad, l.squad) as squad
from parts as p
join facts.rackets as r using (racket_id)
left join bed_players as b on b.bed_id = p.restring_id
left join player_spans as l on l.player_id = r.player_id and l.is_latest
order by p.strung_on, p.restring_id, p.part
