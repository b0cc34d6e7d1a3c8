-- grain: one position, quantity and point of one bike with a setting that nothing has voided
-- keys: shop, bike, position, quantity, point
-- nullable: point
-- uses: standing_figures
-- gives: value in unit, set_at
select
    shop,
    bike,
    position,
    quantity,
    point,
    value,
    unit,
    occurred_at as set_at,
    id
from standing_figures
where kind = 'adjusted'
