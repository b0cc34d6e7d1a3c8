-- What was charged when a job was closed, for figures that are worked out line by line.
-- grain: one live closing of a job
-- keys: shop, bike, seq
-- uses: live_events
-- gives: job, occurred_at, currency, and lines: the typed list of what was charged
select
    shop,
    bike,
    seq,
    job,
    occurred_at,
    currency,
    lines
from live_events
where kind = 'job_closed'
