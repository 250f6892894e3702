-- grain: one row per player, racket and month in which the player held it: how much of the player's play it takes (usage_hours,
-- only its ratios matter). Evidence: sessions written down with the racket, weighed down by half a month away; each restring of it
-- for wear stands for the player's usual hours per bed; before any evidence the racket's role speaks.
with months as (
    select distinct date_trunc('month', played_on)::date as month_on from sessions_described
    union
    select date_trunc('month', as_of)::date from origin
),

held as (
    select s.player_id, s.racket_id, any_value(s.role) as role, m.month_on
    from racket_spans as s
    join months as m
      on m.month_on < s.valid_to and m.month_on + interval 1 month > s.valid_from
    where s.player_id is not null and s.valid_from < s.valid_to
    group by s.player_id, s.racket_id, m.month_on
),

named as (
    select player_id, racket_id, date_trunc('month', played_on)::date as month_on,
           exact_sum(case when source = 'practice' then hours end) as practice_hours,
           exact_sum(case when source = 'match' then hours end) as match_hours
    from sessions_valid
    where racket_id is not null
    group by all
),

player_total as (
    select player_id, exact_sum(case when racket_id is null then hours end) as hours_unnamed
    from sessions_valid
    group by player_id
),

wear_endings as (
    select s.player_id, b.racket_id, date_trunc('month', b.ended_on)::date as month_on, count(*) as endings
    from beds as b
    join racket_spans as s
      on s.racket_id = b.racket_id and b.ended_on >= s.valid_from and b.ended_on < s.valid_to
    where b.cause in ('breaks', 'goes_dead', 'unknown') and s.player_id is not null
    group by all
),

player_endings as (
    select player_id, sum(endings) as endings_all from wear_endings group by player_id
),

evidence as (
    select
        coalesce(n.player_id, e.player_id) as player_id,
        coalesce(n.racket_id, e.racket_id) as racket_id,
        coalesce(n.month_on, e.month_on) as month_on,
        coalesce(n.practice_hours, 0) + (select value from reference_values where name = 'usage_match_weight') * coalesce(n.match_hours, 0)
            as known_hours,
        coalesce(e.endings, 0) as endings
    from named as n
    full join wear_endings as e
      on e.player_id = n.player_id and e.racket_id = n.racket_id and e.month_on = n.month_on
),

smoothed as (
    select
        h.player_id, h.racket_id, h.month_on, any_value(h.role) as role,
        coalesce(exact_sum(v.known_hours * power(0.5, abs(date_diff('month', v.month_on, h.month_on)) / r.half_life)), 0) as known_hours,
        coalesce(exact_sum(v.endings * power(0.5, abs(date_diff('month', v.month_on, h.month_on)) / r.half_life)), 0) as endings
    from held as h
    cross join (select value as half_life from reference_values where name = 'usage_half_life_months') as r
    left join evidence as v on v.player_id = h.player_id and v.racket_id = h.racket_id
    group by h.player_id, h.racket_id, h.month_on
)

select
    s.player_id, s.racket_id, s.month_on, s.role,
    w.value * (select value from reference_values where name = 'usage_prior_hours')
        + s.known_hours
        + (select value from reference_values where name = 'usage_ending_weight')
            * s.endings * coalesce(t.hours_unnamed / nullif(p.endings_all, 0), 0) as usage_hours
from smoothed as s
join reference_values as w on w.name = 'usage_role_' || s.role
left join player_total as t using (player_id)
left join player_endings as p using (player_id)
