-- grain: one bike with at least one distance reading
-- keys: shop, bike
-- uses: distance_marks
-- gives: distance_km of the last reading, summed over computers, and when it was read
select
    shop,
    bike,
    max(now_km) as distance_km,
    max(occurred_at) as read_at
from distance_marks
where kind = 'distance_read'
group by shop, bike
