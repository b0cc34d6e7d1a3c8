-- grain: one position of one bike with a part there
-- keys: shop, bike, position
-- uses: part_spells
-- gives: part, make, model; fitted_at and distance_since_fitted_km are null for a part that was
-- found there: never day zero
with sitting as (
    select
        shop,
        bike,
        position,
        part,
        make,
        model,
        is_found,
        started_at,
        distance_km
    from part_spells
    where ended_at is null
)
select
    shop,
    bike,
    position,
    part,
    make,
    model,
    case when not is_found then started_at end as fitted_at,
    case when not is_found then distance_km end as distance_since_fitted_km
from sitting
