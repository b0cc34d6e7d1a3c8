-- grain: one live distance reading
-- keys: shop, bike, seq
-- uses: distance_marks
-- gives: distance_km as shown, computer (0, 1, 2 ...), distance_total_km summed over computers
select
    shop,
    bike,
    seq,
    id,
    occurred_at,
    outcome as source,
    distance_km,
    computer,
    distance_total_km
from distance_marks
where kind = 'distance_read'
