-- Without distances and in no order, for figures that put them in order themselves.
-- grain: one live fitting or removal of a part
-- keys: shop, bike, seq
-- uses: live_events
-- gives: kind, occurred_at, position; part, make and model; outcome: a fitted part's origin, a
-- removal's reason; is_found: the part was found there, not fitted
select
    shop,
    bike,
    seq,
    kind,
    occurred_at,
    position,
    part,
    make,
    model,
    outcome,
    is_found
from live_events
where kind in ('part_fitted', 'part_removed')
