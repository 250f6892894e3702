-- grain: one row per player, session and racket (racket_id null where it was not written down). minutes are this row's own.
-- Match minutes come from the file, else from the games of the score (minutes_per_game of the reference values; a deciding
-- tie-break to ten counts as half a set), shared evenly over the rackets the player used. A squad practice becomes one row per
-- player of the squad that day who is not in `absent` and has no row of their own in that practice.
with match_rows as (
    select
        m.*,
        list_filter(
            list_transform(
                regexp_extract_all(
                    -- the points of a tie-break in round brackets go; a match tie-break in square ones counts as five games
                    regexp_replace(
                        regexp_replace(coalesce(m.score, ''), '\([^)]*\)', '', 'g'), '\[[^\]]*\]', ' 5-0 ', 'g'
                    ),
                    '[0-9]+ *[-:/] *[0-9]+'
                ),
                lambda s: list_transform(regexp_extract_all(s, '[0-9]+'), lambda n: n::integer)
            ),
            lambda s: len(s) = 2
        ) as sets
    from facts.matches as m
    where m.played_on <= (select as_of from origin)
),

matches_timed as (
    select
        match_id as session_id,
        'match' as source,
        player_id,
        racket_id,
        played_on,
        played_on_at,
        coalesce(
            minutes,
            (select value from reference_values where name = 'minutes_per_game')
                * nullif(list_sum(list_transform(sets, lambda s, i: case when greatest(s[1], s[2]) >= 10 and (least(s[1], s[2]) <= 8 or i > 2)
                                                                   then 5 else s[1] + s[2] end)), 0)
                / count(*) over (partition by match_id, player_id),
            (select value from reference_values where name = 'minutes_match_unwritten')
                / count(*) over (partition by match_id, player_id)
        ) as session_minutes,
        format as activity,
        'match' as intensity,
        surface,
        event,
        null::double as balls_hit
    from match_rows
),

practice_rows as not materialized (
    select * from facts.practices where played_on <= (select as_of from origin)
),

named as (
    select
        practice_id as session_id, 'practice' as source, player_id, racket_id, played_on, played_on_at,
        minutes as session_minutes, activity, coalesce(intensity, 'normal') as intensity, surface,
        null::varchar as event, balls_hit::double as balls_hit
    from practice_rows
    where player_id is not null
),

squad_expanded as (
    select
        q.practice_id as session_id, 'practice' as source, p.player_id, null::varchar as racket_id, q.played_on, q.played_on_at,
        q.minutes as session_minutes, q.activity, coalesce(q.intensity, 'normal') as intensity, q.surface,
        null::varchar as event, null::double as balls_hit
    from practice_rows as q
    join player_spans as p
      on p.squad = q.squad
     and q.played_on >= p.valid_from
     and q.played_on < p.valid_to
     and (p.left_on is null or q.played_on <= p.left_on)
    where q.player_id is null
      and not list_contains(regexp_split_to_array(coalesce(q.absent, ''), '[ ,;|]+'), p.player_id)
      and not exists (
          select 1 from practice_rows as own
          where own.practice_id = q.practice_id and own.player_id = p.player_id
      )
)

select * from matches_timed
union all
select * from named
union all
select * from squad_expanded
