-- How long each bike was watched: from the end of its first visit to its last event of any kind.
-- grain: one bike with at least one live event
-- keys: shop, bike
-- uses: live_events
-- gives: riding: the last that was not left empty; bike_kind and speeds as last registered;
-- first_closed_at: null where no job was closed; observed_until: its last event, where
-- observation ends
with seen as (
    select
        shop,
        bike,
        min(case when kind = 'job_closed' then occurred_at end) as first_closed_at,
        max(occurred_at) as observed_until
    from live_events
    group by shop, bike
),
told as (
    select
        shop,
        bike,
        max({'occurred_at': occurred_at, 'seq': seq, 'riding': riding}) as last_riding
    from live_events
    where riding is not null
    group by shop, bike
),
registered as (
    select
        shop,
        bike,
        max(
            {
                'occurred_at': occurred_at,
                'seq': seq,
                'bike_kind': bike_kind,
                'speeds': speeds
            }
        ) as bicycle
    from live_events
    where kind = 'bike_registered'
    group by shop, bike
)
select
    seen.shop,
    seen.bike,
    told.last_riding.riding as riding,
    registered.bicycle.bike_kind as bike_kind,
    registered.bicycle.speeds as speeds,
    seen.first_closed_at,
    seen.observed_until
from seen
left join told on seen.shop = told.shop and seen.bike = told.bike
left join registered on seen.shop = registered.shop and seen.bike = registered.bike
