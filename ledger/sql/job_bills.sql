-- What was charged when a job was closed, for figures that are worked out line by line.
-- grain: one live closing of a job
-- keys: shop, bike, seq
-- uses: live_events, events
-- gives: job, occurred_at, currency, and lines: the typed list of what was charged
select
    live_events.shop,
    live_events.bike,
    live_events.seq,
    live_events.job,
    live_events.occurred_at,
    events.currency,
    events.lines
from live_events
inner join events on live_events.shop = events.shop and live_events.seq = events.seq
where live_events.kind = 'job_closed' and events.kind = 'job_closed'
