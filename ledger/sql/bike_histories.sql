-- grain: one bike that was registered
-- keys: shop, bike
-- uses: live_events
-- gives: bike_kind and first_used_on (a day as text) as last registered; first_used_on is null
-- where nobody knows: the bike came with an unknown history
with registered as (
    select
        shop,
        bike,
        max(
            {
                'occurred_at': occurred_at,
                'seq': seq,
                'bike_kind': bike_kind,
                'first_used_on': first_used_on
            }
        ) as bicycle
    from live_events
    where kind = 'bike_registered'
    group by shop, bike
)
select
    shop,
    bike,
    bicycle.bike_kind as bike_kind,
    bicycle.first_used_on as first_used_on
from registered
