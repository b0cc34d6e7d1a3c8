-- grain: one position, quantity and point of one bike with a reading of what is there now
-- keys: shop, bike, position, quantity, point
-- nullable: point
-- uses: standing_figures
-- gives: value, or value_low and value_high for an interval; limit_value and verdict as they
-- were stored with the reading
select
    shop,
    bike,
    position,
    quantity,
    point,
    value,
    value_low,
    value_high,
    unit,
    occurred_at as measured_at,
    limit_value,
    verdict,
    id
from standing_figures
where kind = 'measured'
