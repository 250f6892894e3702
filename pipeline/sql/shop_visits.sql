-- grain: one row per ticket known at the origin: the days a racket was out of play at the bench.
-- A state later than the origin was not known then: such a ticket is still open. back_on is exclusive and null while open.
with known as (
    select
        j.job_id,
        j.racket_id,
        j.handed_in_on,
        coalesce(j.reason, 'unknown') as reason,
        j.due_on,
        case when j.state_on <= (select as_of from origin) then j.state else 'booked' end as state,
        case when j.state_on <= (select as_of from origin) then j.state_on end as state_on,
        r.strung_on
    from facts.jobs as j
    left join restrings_clean as r on r.restring_id = j.restring_id
    where j.handed_in_on <= (select as_of from origin)
),

closed as (
    select
        k.*,
        -- a ticket without a link is closed by the first restring of that racket on or after the hand-in
        coalesce(k.strung_on, (
            select min(r.strung_on) from restrings_clean as r
            where r.racket_id = k.racket_id and r.strung_on >= k.handed_in_on
        )) as closing_restring_on
    from known as k
)

select
    job_id,
    racket_id,
    handed_in_on,
    reason,
    due_on,
    state,
    closing_restring_on,
    case
        when closing_restring_on is not null then closing_restring_on
        when state in ('strung', 'handed_back') then state_on
    end as back_on
from closed
where state <> 'due'
