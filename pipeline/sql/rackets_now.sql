-- grain: one row per racket in service at the origin: holder, state, the bed that is in, and its share of the player's play.
with in_service as (
    select s.racket_id, s.player_id, s.role
    from racket_spans as s
    where (select as_of from origin) >= s.valid_from and (select as_of from origin) < s.valid_to
),

latest_bed as (
    select *, row_number() over (partition by racket_id order by strung_on desc, starts_at desc, bed_id desc) as newest
    from beds
),

at_bench as (
    select racket_id, min(handed_in_on) as handed_in_on, arg_min(reason, handed_in_on) as hand_in_reason, min(due_on) as due_on
    from shop_visits
    where back_on is null or back_on > (select as_of from origin)
    group by racket_id
),

states as (
    select
        r.racket_id, r.player_id, r.role, p.player_name, p.squad, p.level, p.spin,
        p.left_on is not null and p.left_on <= (select as_of from origin) as has_left,
        b.bed_id, b.strung_on, b.ended_on,
        a.handed_in_on, a.hand_in_reason, a.due_on as ticket_due_on,
        case
            when b.bed_id is null then 'no_bed'
            when b.ended_on is not null and b.cause in ('breaks', 'mishit') then 'broken'
            when b.ended_on is not null or a.racket_id is not null then 'in_shop'
            else 'in_play'
        end as status
    from in_service as r
    left join player_spans as p on p.player_id = r.player_id and p.is_latest
    left join latest_bed as b on b.racket_id = r.racket_id and b.newest = 1
    left join at_bench as a on a.racket_id = r.racket_id
),

last_looks as (
    select
        bed_id,
        last(fraying order by day) filter (where fraying is not null) as fraying,
        last(notching order by day) filter (where notching is not null) as notching,
        last(misalignment order by day) filter (where misalignment is not null) as misalignment,
        last(lost_feel order by day) filter (where lost_feel is not null) as lost_feel,
        max(day) as looked_on
    from bed_looks
    group by bed_id
),

used as (
    select s.*, coalesce(u.usage_hours, 0.01) as usage_hours
    from states as s
    left join usage_months as u
      on u.racket_id = s.racket_id and u.player_id = s.player_id
     and u.month_on = date_trunc('month', (select as_of from origin))::date
)

select
    u.* exclude (usage_hours),
    l.fraying, l.notching, l.misalignment, l.lost_feel, l.looked_on,
    -- the rackets in play carry all of the player's play: while one is at the bench the others take its part. A racket that is
    -- away counts as it will once it is back.
    case
        when player_id is null then 0.0
        else usage_hours / greatest(
            exact_sum(case when status in ('in_play', 'no_bed') then usage_hours else 0 end) over (partition by player_id)
                + case when status in ('in_play', 'no_bed') then 0 else usage_hours end,
            0.0001)
    end as share
from used as u
left join last_looks as l using (bed_id)
