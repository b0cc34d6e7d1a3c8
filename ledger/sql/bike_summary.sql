-- grain: one bike with at least one live event
-- keys: shop, bike
-- uses: live_events, riders_now, distances_now
-- gives: who and what, distance_km and when it was read, first and last event, counts; the last
-- event is where observation of the bike ends
with counted as (
    select
        shop,
        bike,
        count(*) as events_used,
        count(distinct job) as count_jobs,
        sum(case when kind = 'part_fitted' then 1 else 0 end) as count_parts_fitted,
        min(occurred_at) as first_seen_at,
        max(occurred_at) as last_seen_at
    from live_events
    group by shop, bike
)
select
    counted.shop,
    counted.bike,
    riders_now.rider,
    riders_now.keeper,
    riders_now.payer,
    riders_now.riding,
    riders_now.make,
    riders_now.model,
    riders_now.bike_kind,
    distances_now.distance_km,
    distances_now.read_at,
    counted.first_seen_at,
    counted.last_seen_at,
    counted.count_jobs,
    cast(counted.count_parts_fitted as bigint) as count_parts_fitted,
    counted.events_used
from counted
left join riders_now
    on counted.shop = riders_now.shop and counted.bike = riders_now.bike
left join distances_now
    on counted.shop = distances_now.shop and counted.bike = distances_now.bike
