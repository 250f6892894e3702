-- grain: one row per bed: who held the racket on the bed's last day (the player whose habits wore it), and their squad then.
select
    b.bed_id,
    h.player_id,
    p.squad,
    h.role
from beds as b
left join racket_spans as h
  on h.racket_id = b.racket_id
 and b.last_day >= h.valid_from
 and b.last_day - case when b.is_retired then 1 else 0 end < h.valid_to
left join player_spans as p
  on p.player_id = h.player_id
 and b.last_day >= p.valid_from
 and b.last_day < p.valid_to
-- a racket that was retired on the day it passed on has two holders by these rules: the one it had passed to
qualify row_number() over (partition by b.bed_id order by h.valid_from desc nulls last) = 1
