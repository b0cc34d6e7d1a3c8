-- grain: one bike with at least one live event
-- keys: shop, bike
-- uses: live_events, distances_now
-- gives: who rides, keeps and pays for it, and what it is, as the last event that says so has it
-- (a kind of riding is the last one that was not left empty); distance_km and when it was read;
-- first and last event and counts. The last event is where observation of the bike ends
with said as (
    select
        shop,
        bike,
        max({'occurred_at': occurred_at, 'seq': seq, 'rider': rider, 'keeper': keeper, 'payer': payer})
            filter (where kind = 'rider_changed') as people,
        max({'occurred_at': occurred_at, 'seq': seq, 'riding': riding})
            filter (where riding is not null) as last_riding,
        max(
            {
                'occurred_at': occurred_at,
                'seq': seq,
                'make': make,
                'model': model,
                'bike_kind': bike_kind
            }
        ) filter (where kind = 'bike_registered') as bicycle,
        count(*) as events_used,
        count(distinct job) as count_jobs,
        sum(case when kind = 'part_fitted' then 1 else 0 end) as count_parts_fitted,
        min(occurred_at) as first_seen_at,
        max(occurred_at) as last_seen_at
    from live_events
    group by shop, bike
)
select
    said.shop,
    said.bike,
    people.rider as rider,
    people.keeper as keeper,
    people.payer as payer,
    last_riding.riding as riding,
    bicycle.make as make,
    bicycle.model as model,
    bicycle.bike_kind as bike_kind,
    distances_now.distance_km,
    distances_now.read_at,
    said.first_seen_at,
    said.last_seen_at,
    said.count_jobs,
    cast(said.count_parts_fitted as bigint) as count_parts_fitted,
    said.events_used
from said
left join distances_now
    on said.shop = distances_now.shop and said.bike = distances_now.bike
