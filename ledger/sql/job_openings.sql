-- grain: one live opening of a job
-- keys: shop, bike, seq
-- uses: live_events
-- gives: job, tier, opened_at
select
    shop,
    bike,
    seq,
    job,
    tier,
    occurred_at as opened_at
from live_events
where kind = 'job_opened' and job is not null
