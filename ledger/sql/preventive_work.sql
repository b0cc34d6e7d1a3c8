-- grain: one live piece of unbilled preventive work
-- keys: shop, bike, seq
-- uses: live_events
-- gives: job, position, treatment, occurred_at
select
    shop,
    bike,
    seq,
    job,
    position,
    outcome as treatment,
    occurred_at
from live_events
where kind = 'treated' and is_preventive
