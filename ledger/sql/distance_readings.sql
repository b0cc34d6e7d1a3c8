-- A replaced computer starts a new count. The distance at a reading is what its computer shows
-- plus the highest reading of every earlier computer. Most bikes keep their computer: theirs is
-- what it shows, and needs no order.
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
        is_computer_replaced
    from live_events
    where kind = 'distance_read' and distance_km is not null
),
changed as (
    select distinct
        shop,
        bike
    from readings
    where is_computer_replaced
),
counted as (
    select
        readings.*,
        sum(case when readings.is_computer_replaced then 1 else 0 end) over (
            partition by readings.shop, readings.bike
            order by readings.occurred_at, readings.seq
            rows between unbounded preceding and current row
        ) as computer
    from readings
    inner join changed on readings.shop = changed.shop and readings.bike = changed.bike
),
grouped as (
    select
        *,
        max(distance_km) over (partition by shop, bike, computer) as highest_km,
        lead(seq) over (
            partition by shop, bike, computer
            order by occurred_at, seq
        ) as next_seq
    from counted
),
summed as (
    select
        shop,
        bike,
        seq,
        id,
        occurred_at,
        source,
        distance_km,
        cast(computer as bigint) as computer,
        distance_km + coalesce(
            sum(case when next_seq is null then highest_km end) over (
                partition by shop, bike
                order by occurred_at, seq
                rows between unbounded preceding and 1 preceding
            ),
            0
        ) as distance_total_km
    from grouped
),
kept as (
    select
        readings.shop,
        readings.bike,
        readings.seq,
        readings.id,
        readings.occurred_at,
        readings.source,
        readings.distance_km,
        cast(0 as bigint) as computer,
        readings.distance_km as distance_total_km
    from readings
    left join changed on readings.shop = changed.shop and readings.bike = changed.bike
    where changed.bike is null
),
every as (
    select * from kept
    union all
    select * from summed
)
select
    shop,
    bike,
    seq,
    id,
    occurred_at,
    source,
    distance_km,
    computer,
    cast(distance_total_km as decimal(18, 6)) as distance_total_km
from every
