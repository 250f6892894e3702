-- grain: one row per bed and kind of clock (is_timed: the session's time of day was written down): the instant from which sessions
-- belong to the bed. A session without a time is placed at noon.
select bed_id, bed_row, racket_id, ended_on, last_day, false as is_timed, starts_at_undated as starts_at
from beds
where starts_at_undated is not null
union all
select bed_id, bed_row, racket_id, ended_on, last_day, true as is_timed, starts_at
from beds
where starts_at is not null
