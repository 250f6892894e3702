-- grain: one row per inspection known at the origin, with the bed that was in that day.
select
    i.racket_id, b.bed_id, i.inspected_on, i.fraying, i.notching, i.misalignment, i.lost_feel, i.pitch_hz, i.broken, i.frame, i.note
from (select * from facts.inspections where inspected_on <= (select as_of from origin)) as i
asof left join beds as b
  on i.racket_id = b.racket_id and i.inspected_on >= b.strung_on
