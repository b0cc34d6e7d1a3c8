-- The stored bytes of measurements, for the few facts of a reading that have no column.
-- grain: one live measurement
-- keys: shop, bike, seq
-- uses: live_events, events
-- gives: quantity and canonical, JSON with the payload under `data`
select
    live_events.shop,
    live_events.bike,
    live_events.seq,
    live_events.quantity,
    events.canonical
from live_events
inner join events on live_events.shop = events.shop and live_events.seq = events.seq
where live_events.kind = 'measured' and events.kind = 'measured'
