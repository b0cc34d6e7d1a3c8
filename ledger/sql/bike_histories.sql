-- grain: one bike that was registered
-- keys: shop, bike
-- uses: live_events
-- gives: bike_kind as last registered; registered_at: first; first_closed_at: of its first visit,
-- null where none has ended; first_found_at: when a part was first found fitted on it
with seen as (
    select
        shop,
        bike,
        min(case when kind = 'bike_registered' then occurred_at end) as registered_at,
        min(case when kind = 'job_closed' then occurred_at end) as first_closed_at,
        min(case when kind = 'part_fitted' then occurred_at end) as first_found_at,
        max(
            case
                when kind = 'bike_registered'
                    then {'occurred_at': occurred_at, 'seq': seq, 'bike_kind': bike_kind}
            end
        ) as registered
    from live_events
    where
        kind in ('bike_registered', 'job_closed')
        or (kind = 'part_fitted' and is_found)
    group by shop, bike
)
select
    shop,
    bike,
    registered.bike_kind as bike_kind,
    registered_at,
    first_closed_at,
    first_found_at
from seen
where registered_at is not null
