-- A replaced computer starts a new count. The distance at a reading is what its computer shows
-- plus the highest reading of every earlier computer.
-- grain: one live distance reading
-- keys: shop, bike, seq
-- uses: live_events
-- gives: distance_km as shown, computer (0, 1, 2 ...), distance_total_km summed over computers
with readings as (
    select
        shop,
        bike,
        seq,
        id,
        occurred_at,
        outcome as source,
        distance_km,
        sum(case when is_computer_replaced then 1 else 0 end) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as computer
    from live_events
    where kind = 'distance_read' and distance_km is not null
),
computers as (
    select shop, bike, computer, max(distance_km) as highest_km
    from readings
    group by shop, bike, computer
),
earlier as (
    select
        shop,
        bike,
        computer,
        sum(highest_km) over (
            partition by shop, bike
            order by computer
            rows between unbounded preceding and 1 preceding
        ) as before_km
    from computers
)
select
    readings.shop,
    readings.bike,
    readings.seq,
    readings.id,
    readings.occurred_at,
    readings.source,
    readings.distance_km,
    cast(readings.computer as bigint) as computer,
    cast(readings.distance_km + coalesce(earlier.before_km, 0) as decimal(18, 6))
        as distance_total_km
from readings
inner join earlier
    on
        readings.shop = earlier.shop
        and readings.bike = earlier.bike
        and readings.computer = earlier.computer
