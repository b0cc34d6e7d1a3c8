-- Who rides a bike now.
-- grain: one bike with a live event
-- keys: shop, bike
-- uses: bike_summary
-- gives: rider, keeper, payer, riding; any of them null where nobody said
select shop, bike, rider, keeper, payer, riding
from bike_summary
