-- How long each bike was watched: from the end of its first visit to its last event of any kind.
-- grain: one bike with at least one live event
-- keys: shop, bike
-- uses: live_events
-- gives: riding: the last that was not left empty; bike_kind and speeds as last registered;
-- first_closed_at: null where no job was closed; observed_until: its last event, where
-- observation ends
with said as (
    select
        shop,
        bike,
        max(
            case
                when riding is not null
                    then {'occurred_at': occurred_at, 'seq': seq, 'riding': riding}
            end
        ) as last_riding,
        max(
            case
                when kind = 'bike_registered'
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'bike_kind': bike_kind,
                        'speeds': speeds
                    }
            end
        ) as bicycle,
        min(case when kind = 'job_closed' then occurred_at end) as first_closed_at,
        max(occurred_at) as observed_until
    from live_events
    group by shop, bike
)
select
    shop,
    bike,
    last_riding.riding as riding,
    bicycle.bike_kind as bike_kind,
    bicycle.speeds as speeds,
    first_closed_at,
    observed_until
from said
