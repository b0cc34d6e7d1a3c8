-- Where a fault was found, put right or found gone. What was known of the bike then, and how far
-- it had gone, is worked out outside, so that this reads no more than the marks. Only looks,
-- searches for a cause and work name a fault; a look that did not check tells nothing of it.
-- grain: one live mark of a fault
-- keys: shop, bike, seq
-- uses: live_events
-- gives: kind, verdict and outcome (the treatment of what was treated); job, actor, occurred_at;
-- position, fault, cause
select
    shop,
    bike,
    seq,
    kind,
    occurred_at,
    job,
    actor,
    fault_position as position,
    fault,
    cause,
    verdict,
    outcome
from live_events
where
    fault is not null
    and fault_position is not null
    and coalesce(verdict, '') <> 'not checked'
