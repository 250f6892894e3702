-- grain: one row per racket and period with one holder. valid_to is exclusive; player_id is null while the club holds it.
with starts as (
    select racket_id, player_id, in_service_on as from_on, 0 as precedence
    from facts.rackets
    where in_service_on <= (select as_of from origin)
    union all
    select racket_id, player_id, from_on, 1 as precedence
    from facts.holders
    where from_on <= (select as_of from origin)
),

one_a_day as (
    select racket_id, from_on, arg_max(struct_pack(holder := player_id), precedence).holder as player_id
    from starts
    group by racket_id, from_on
)

select
    o.racket_id,
    o.player_id,
    r.role,
    greatest(o.from_on, r.in_service_on) as valid_from,
    least(
        coalesce(lead(o.from_on) over (partition by o.racket_id order by o.from_on), date '9999-12-31'),
        coalesce(r.retired_on, date '9999-12-31')
    ) as valid_to
from one_a_day as o
join facts.rackets as r using (racket_id)
