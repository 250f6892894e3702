-- grain: as sessions. Adds what the session costs a bed, in reference hours: abrasion_hours towards breaking and playability_hours
-- towards going dead (one hour of singles, regional level, moderate topspin, hard court = 1 of each).
select
    d.*,
    d.effective_hours * (a.abrasion * i.abrasion * u.abrasion * coalesce(l.abrasion, 1) * coalesce(t.abrasion, 1)) as abrasion_hours,
    d.effective_hours * (a.playability * i.playability * u.playability * coalesce(l.playability, 1) * coalesce(t.playability, 1))
        as playability_hours
from sessions_described as d
left join session_weights as a on a.feature = 'activity' and a.level = d.activity
left join session_weights as i on i.feature = 'intensity' and i.level = d.intensity
left join session_weights as u on u.feature = 'surface' and u.level = d.surface
left join session_weights as l on l.feature = 'level' and l.level = d.level
left join session_weights as t on t.feature = 'spin' and t.level = d.spin
