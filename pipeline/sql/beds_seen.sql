-- grain: one row per bed, as the pages show it. said_by: the player whose word ended a bed that lost its feel, the holder that day.
select
    b.bed_id, b.racket_id, l.player_id, b.strung_on, b.ended_on, b.restrung_on, b.reason, b.cause,
    b.mains_string_id, b.crosses_string_id,
    case
        when b.mains_string_id is null then null
        when b.crosses_string_id = b.mains_string_id then coalesce(b.mains_name, b.mains_string_id)
        else coalesce(b.mains_name, b.mains_string_id) || ' / ' || coalesce(b.crosses_name, b.crosses_string_id)
    end as string_label,
    b.mains_kg, b.crosses_kg, b.stringer,
    l.hours_played, l.break_used, l.dead_used, b.teaches_abrasion,
    case when b.reason = 'lost_feel' then l.player_id end as said_by, p.player_name as said_by_name
from beds as b
join bed_life as l using (bed_id)
left join player_spans as p on b.reason = 'lost_feel' and p.player_id = l.player_id and p.is_latest
