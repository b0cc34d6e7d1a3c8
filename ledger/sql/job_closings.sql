-- grain: one live closing of a job
-- keys: shop, bike, seq
-- uses: live_events
-- gives: job, occurred_at
select
    shop,
    bike,
    seq,
    job,
    occurred_at
from live_events
where kind = 'job_closed'
