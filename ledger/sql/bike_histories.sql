-- grain: one bike with at least one live event
-- keys: shop, bike
-- uses: live_events
-- gives: bike_kind as last registered; first_seen_at; first_closed_at: of its first visit, null
-- where none has ended; first_found_at: when a part was first found fitted on it
with seen as (
    select
        shop,
        bike,
        min(occurred_at) as first_seen_at,
        min(case when kind = 'job_closed' then occurred_at end) as first_closed_at,
        min(case when kind = 'part_fitted' and is_found then occurred_at end) as first_found_at,
        max(
            case
                when kind = 'bike_registered'
                    then {'occurred_at': occurred_at, 'seq': seq, 'bike_kind': bike_kind}
            end
        ) as registered
    from live_events
    group by shop, bike
)
select
    shop,
    bike,
    registered.bike_kind as bike_kind,
    first_seen_at,
    first_closed_at,
    first_found_at
from seen
