-- grain: one row per string the club uses.
select string_id, string_name, material, gauge_mm, coalesce(profile, 'round') as profile, reel_m, reel_price from facts.strings
