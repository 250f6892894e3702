-- grain: one row per inspection known at the origin, with the bed that was in that day. said_by: lost feel is the word of the
-- player who held the racket that day; null where no feel was graded or the club held it.
select
    i.racket_id, b.bed_id, i.inspected_on, i.fraying, i.notching, i.misalignment, i.lost_feel, i.pitch_hz, i.broken, i.frame, i.note,
    h.player_id as said_by, p.player_name as said_by_name
from (select * from facts.inspections where inspected_on <= (select as_of from origin)) as i
asof left join (
    select *, case when bed_number = 1 then strung_on::timestamp when strung_on = starts_at::date and starts_at > strung_on then starts_at
                   else strung_on + interval 1 day end as looks_from
    from beds
) as b
  on i.racket_id = b.racket_id
 -- on the day of a restring a look speaks of the old bed, unless there was none or the clock says otherwise
 and coalesce(i.inspected_on_at, i.inspected_on::timestamp) >= b.looks_from
left join racket_spans as h
  on h.racket_id = i.racket_id
 and i.inspected_on >= h.valid_from
 and i.inspected_on < h.valid_to
 and i.lost_feel is not null
left join player_spans as p on p.player_id = h.player_id and p.is_latest
