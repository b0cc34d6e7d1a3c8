-- The stored bytes of registrations, for what has no column: what a bike looks like, its frame
-- number, its wheels.
-- grain: one live registration
-- keys: shop, bike, seq
-- uses: live_events, events
-- gives: occurred_at; canonical, JSON with the payload under `data`, its text sealed
select
    live_events.shop,
    live_events.bike,
    live_events.seq,
    live_events.occurred_at,
    events.canonical
from live_events
inner join events on live_events.shop = events.shop and live_events.seq = events.seq
where live_events.kind = 'bike_registered' and events.kind = 'bike_registered'
