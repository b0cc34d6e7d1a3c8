-- Looks at a whole system name what they took in only in their document: those positions are
-- not here, the system's own is.
-- grain: one live look or reading that found a position within limit
-- keys: shop, bike, seq
-- uses: live_events
-- gives: job, position, kind (inspected or measured), occurred_at
select
    shop,
    bike,
    seq,
    job,
    position,
    kind,
    occurred_at
from live_events
where kind in ('inspected', 'measured') and verdict = 'within limit'
