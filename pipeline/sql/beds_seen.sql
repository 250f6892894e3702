-- grain: one row per bed, as the pages show it.
select
    b.bed_id, b.racket_id, l.player_id, b.strung_on, b.ended_on, b.restrung_on, b.reason, b.cause,
    b.mains_string_id, b.crosses_string_id,
    case
        when b.mains_string_id is null then null
        when b.crosses_string_id = b.mains_string_id then coalesce(b.mains_name, b.mains_string_id)
        else coalesce(b.mains_name, b.mains_string_id) || ' / ' || coalesce(b.crosses_name, b.crosses_string_id)
    end as string_label,
    b.mains_kg, b.crosses_kg, b.stringer,
    l.hours_played, l.break_used, l.dead_used, b.teaches_abrasion
from beds as b
join bed_life as l using (bed_id)
