-- What visits tell of the bike: which tier, which kind of riding.
-- grain: one live opening of a job, registration or change of rider
-- keys: shop, bike, seq
-- uses: live_events
-- gives: kind, job, occurred_at, tier, riding where it was told
select
    shop,
    bike,
    seq,
    kind,
    job,
    occurred_at,
    tier,
    riding
from live_events
where kind in ('job_opened', 'bike_registered', 'rider_changed')
