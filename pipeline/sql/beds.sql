-- grain: one row per bed: one stringing of one racket, from strung_on until it is cut out. ended_on is null while it is in.
-- cause: what ended it: breaks, goes_dead, mishit (broke at the edge or a grommet), other, unknown, or none (still in). A bed ends on the earliest of: the day the next
-- restring says it broke, the hand-in of a ticket marked broke, an inspection that found it broken, the next restring.
-- starts_at says from which instant sessions belong to the bed when the clock was not written down: the rest of a day on which
-- the old bed broke or was complained of belonged to the old bed; after a planned restring the day belongs to the new one.
with ordered as (
    select
        r.*,
        lead(r.strung_on) over racket as next_strung_on,
        lead(r.strung_on_at) over racket as next_strung_at,
        lead(r.reason) over racket as next_reason,
        lead(r.ended_on) over racket as next_ended_on,
        lead(r.broke_where) over racket as next_broke_where,
        lead(r.restring_id) over racket as next_restring_id,
        row_number() over racket as bed_number
    from restrings_clean as r
    where r.stayed_in
    window racket as (partition by r.racket_id order by r.strung_on, coalesce(r.strung_on_at, r.strung_on), r.restring_id)
),

broken_seen as (
    select o.restring_id, min(i.inspected_on) as seen_broken_on
    from ordered as o
    join facts.inspections as i
      on i.racket_id = o.racket_id
     and i.broken
     and i.inspected_on <= (select as_of from origin)
     and i.inspected_on <= coalesce(o.next_strung_on, date '9999-12-31')
     -- on the day of a restring a look speaks of the old bed, unless there was none or the clock says otherwise
     and (
         i.inspected_on > o.strung_on
         or (i.inspected_on = o.strung_on and o.bed_number = 1)
         or i.inspected_on_at >= o.strung_on_at
     )
     and (i.inspected_on_at is null or o.next_strung_at is null or i.inspected_on_at < o.next_strung_at)
    group by o.restring_id
),

handed_in as (
    select
        o.restring_id,
        min(v.handed_in_on) filter (where v.reason = 'broke') as handed_in_broken_on,
        min(v.handed_in_on) as first_handed_in_on,
        arg_min(v.reason, v.handed_in_on) as hand_in_reason
    from ordered as o
    join shop_visits as v
      on v.racket_id = o.racket_id
     and v.handed_in_on >= o.strung_on
     and v.handed_in_on <= coalesce(o.next_strung_on, date '9999-12-31')
     and v.closing_restring_on is not distinct from o.next_strung_on
    group by o.restring_id
),

ended as (
    select
        o.*,
        b.seen_broken_on,
        h.handed_in_broken_on,
        h.first_handed_in_on,
        h.hand_in_reason,
        case
            when o.next_strung_on is not null then
                greatest(o.strung_on, least(
                    o.next_strung_on,
                    coalesce(case when o.next_reason in ('broke', 'unknown') then o.next_ended_on end, o.next_strung_on),
                    coalesce(b.seen_broken_on, o.next_strung_on),
                    coalesce(h.first_handed_in_on, o.next_strung_on)
                ))
            when b.seen_broken_on is not null or h.handed_in_broken_on is not null then
                least(coalesce(b.seen_broken_on, date '9999-12-31'), coalesce(h.handed_in_broken_on, date '9999-12-31'))
            when h.first_handed_in_on is not null and h.hand_in_reason = 'lost_feel' then h.first_handed_in_on
        end as ended_on_known,
        case
            when o.next_strung_on is null then
                case
                    when b.seen_broken_on is not null or h.handed_in_broken_on is not null then 'broke'
                    when h.hand_in_reason = 'lost_feel' then 'lost_feel'
                end
            when o.next_reason = 'unknown' and b.seen_broken_on is not null then 'broke'
            when o.next_reason = 'unknown' and h.hand_in_reason is not null then h.hand_in_reason
            else o.next_reason
        end as end_reason
    from ordered as o
    left join broken_seen as b using (restring_id)
    left join handed_in as h using (restring_id)
),

started as (
    select
        *,
        -- the rest of a restring's day belongs to the old bed if it ended that day by breaking or a complaint
        case
            -- strung again the same day: only the last bed of a day takes play without a clock
            when next_strung_on = strung_on then null
            when bed_number > 1
             and reason in ('broke', 'lost_feel', 'unknown')
             and coalesce(lag(ended_on_known) over (partition by racket_id order by bed_number), strung_on) >= strung_on
            then strung_on + interval 1 day
            else strung_on::timestamp
        end as starts_at_undated
    from ended
)

select
    e.restring_id as bed_id,
    e.racket_id,
    e.strung_on,
    e.ended_on_known as ended_on,
    e.first_handed_in_on as handed_in_on,
    e.next_strung_on as restrung_on,
    e.end_reason as reason,
    case
        when e.end_reason is null then 'none'
        when e.end_reason = 'broke' and e.next_broke_where in ('edge', 'grommet') then 'mishit'
        when e.end_reason = 'broke' then 'breaks'
        when e.end_reason = 'lost_feel' then 'goes_dead'
        when e.end_reason = 'unknown' then 'unknown'
        else 'other'
    end as cause,
    e.mains_string_id,
    e.crosses_string_id,
    e.mains_kg,
    e.crosses_kg,
    e.stringer,
    e.bench_minutes,
    s.* exclude (restring_id),
    -- the last day on which this bed could end: it ended, the racket was retired or lies at the bench, or the origin
    greatest(e.strung_on, least(
        coalesce(e.ended_on_known, (select as_of from origin)),
        coalesce(f.retired_on, date '9999-12-31'),
        coalesce(e.first_handed_in_on, date '9999-12-31')
    )) as last_day,
    f.retired_on is not null and f.retired_on <= (select as_of from origin) as is_retired,
    -- the instant from which sessions belong to this bed
    coalesce(e.strung_on_at, e.starts_at_undated) as starts_at,
    e.starts_at_undated,
    e.bed_number,
    -- a number for every bed, by racket and time
    row_number() over (order by e.racket_id, e.strung_on, e.restring_id) as bed_row,
    s.is_string_known
        and coalesce(e.next_broke_where, 'centre') not in ('edge', 'grommet')
        and coalesce(e.end_reason, 'none') not in ('frame_fault', 'broke_on_machine') as teaches_abrasion
from started as e
join string_beds as s on s.restring_id = e.restring_id
join facts.rackets as f on f.racket_id = e.racket_id
