-- The stored bytes of fittings, for the few facts of a part that have no column.
-- grain: one live fitting
-- keys: shop, bike, seq
-- uses: live_events, events
-- gives: part, position; origin: shop, warranty, second hand ...; occurred_at; canonical,
-- JSON with the payload under `data`
select
    live_events.shop,
    live_events.bike,
    live_events.seq,
    live_events.part,
    live_events.position,
    live_events.outcome as origin,
    live_events.occurred_at,
    events.canonical
from live_events
inner join events on live_events.shop = events.shop and live_events.seq = events.seq
where live_events.kind = 'part_fitted' and events.kind = 'part_fitted'
