-- grain: one row per restring known at the origin; tensions in kg, an empty reason read as unknown, crosses filled from the mains.
-- Several restrings of one racket on one day: the last line loaded is the bed that stayed in.
with known as (
    select
        *,
        row_number() over (
            partition by racket_id, strung_on, strung_on_at
            order by loaded_at desc, line_number desc
        ) as from_the_last
    from facts.restrings
    where strung_on <= (select as_of from origin)
)

select
    k.restring_id,
    k.racket_id,
    k.strung_on,
    k.strung_on_at,
    k.mains_string_id,
    coalesce(k.crosses_string_id, k.mains_string_id) as crosses_string_id,
    coalesce(k.mains_kg, k.mains_lb * 0.45359237) as mains_kg,
    coalesce(k.crosses_kg, k.crosses_lb * 0.45359237, k.mains_kg, k.mains_lb * 0.45359237) as crosses_kg,
    k.stringer,
    k.minutes as bench_minutes,
    coalesce(k.reason, 'unknown') as reason,
    k.ended_on,
    k.broke_where,
    k.from_the_last = 1 as stayed_in
from known as k
