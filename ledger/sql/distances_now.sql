-- grain: one bike with at least one distance reading
-- keys: shop, bike
-- uses: distance_readings
-- gives: distance_km of the last reading, summed over computers, and when it was read
with ranked as (
    select
        shop,
        bike,
        distance_total_km,
        occurred_at,
        row_number() over (partition by shop, bike order by occurred_at desc, seq desc) as place
    from distance_readings
)
select shop, bike, distance_total_km as distance_km, occurred_at as read_at
from ranked
where place = 1
