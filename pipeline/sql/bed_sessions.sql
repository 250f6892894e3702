-- grain: one row per session on a bed that is in: what was played, how sure it is that it was on this racket, what it cost.
select
    r.racket_id, x.bed_id, s.played_on, s.source, s.activity, s.session_minutes * x.share as "minutes", x.share, x.is_shared,
    s.abrasion_hours * x.share as abrasion_hours, s.playability_hours * x.share as playability_hours,
    s.surface, s.intensity, s.event
from session_beds as x
join session_hours as s using (session_row)
join rackets_now as r on r.bed_id = x.bed_id
