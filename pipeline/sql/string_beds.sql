-- grain: one row per restring with what is in the frame: materials, gauge, openness of the pattern, and the frame itself.
-- string_area_mm2 is the nominal cross-section of a main; density_per_cm2 the crossings per square centimetre of head.
select
    r.restring_id,
    coalesce(m.material, 'unknown') as mains_material,
    coalesce(c.material, 'unknown') as crosses_material,
    coalesce(m.material, 'unknown') || '/' || coalesce(c.material, 'unknown') as family,
    m.gauge_mm as mains_gauge_mm,
    coalesce(c.gauge_mm, m.gauge_mm) as crosses_gauge_mm,
    coalesce(m.profile, 'round') as mains_profile,
    coalesce(c.profile, 'round') as crosses_profile,
    m.string_name as mains_name,
    c.string_name as crosses_name,
    f.mains as count_mains,
    f.crosses as count_crosses,
    coalesce(f.head_cm2, 632.0) as head_cm2,
    f.mains * f.crosses / coalesce(f.head_cm2, 632.0) as density_per_cm2,
    m.string_id is not null as is_string_known
from restrings_clean as r
left join facts.strings as m on m.string_id = r.mains_string_id
left join facts.strings as c on c.string_id = r.crosses_string_id
left join facts.rackets as f on f.racket_id = r.racket_id
