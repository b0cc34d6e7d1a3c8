-- The distance one part has gone, over every spell on every bike.
-- grain: one part
-- keys: shop, part
-- uses: part_spells
-- gives: distance_km over the spells whose distance is known (null if none is); is_complete is
-- false where a spell's distance is not known or the part was found, so that it has gone further
with summed as (
    select
        shop,
        part,
        max({'started_at': started_at, 'seq': fitted_seq, 'bike': bike, 'position': position})
            as latest,
        max({'started_at': started_at, 'seq': fitted_seq, 'make': make, 'model': model})
            as named,
        count(*) as count_spells,
        count(distinct bike) as count_bikes,
        sum(distance_km) as distance_km,
        sum(case when is_found or distance_km is null then 1 else 0 end) as count_unknown,
        sum(case when ended_at is null then 1 else 0 end) as count_fitted,
        min(started_at) as first_seen_at
    from part_spells
    group by shop, part
)
select
    shop,
    part,
    latest.bike as bike,
    latest.position as position,
    named.make as make,
    named.model as model,
    count_spells,
    count_bikes,
    cast(distance_km as decimal(18, 6)) as distance_km,
    count_unknown = 0 as is_complete,
    count_fitted > 0 as is_fitted,
    first_seen_at
from summed
