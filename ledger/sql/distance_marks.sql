-- A replaced computer starts a new count. The distance at a reading is what its computer shows
-- plus the highest reading of every earlier computer. Fittings and removals stand among the
-- readings, each with the distance of the last reading before it.
-- grain: one live distance reading, fitting or removal
-- keys: shop, bike, seq
-- uses: live_events
-- gives: computer (0, 1, 2 ...); distance_total_km of a reading, summed over computers; at_km:
-- that of the last reading until then, now_km: that of the last reading of all
with counted as (
    select
        shop,
        bike,
        seq,
        id,
        kind,
        occurred_at,
        position,
        part,
        make,
        model,
        outcome,
        is_found,
        distance_km,
        sum(case when is_computer_replaced then 1 else 0 end) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as computer
    from live_events
    where
        kind in ('part_fitted', 'part_removed')
        or (kind = 'distance_read' and distance_km is not null)
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
        *,
        distance_km + coalesce(
            sum(case when next_seq is null then highest_km end) over (
                partition by shop, bike
                order by occurred_at, seq
                rows between unbounded preceding and 1 preceding
            ),
            0
        ) as distance_total_km
    from grouped
)
select
    shop,
    bike,
    seq,
    id,
    kind,
    occurred_at,
    position,
    part,
    make,
    model,
    outcome,
    is_found,
    distance_km,
    cast(computer as bigint) as computer,
    cast(distance_total_km as decimal(18, 6)) as distance_total_km,
    cast(
        last_value(distance_total_km ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as decimal(18, 6)
    ) as at_km,
    cast(
        last_value(distance_total_km ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and unbounded following
        ) as decimal(18, 6)
    ) as now_km
from summed
