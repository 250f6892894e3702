-- grain: one row per player, session and racket: what was logged, and what must be assumed where nothing was.
select * from sessions_logged
union all
select * from assumed_play
