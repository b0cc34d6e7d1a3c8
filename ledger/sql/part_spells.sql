-- A part rotated on and off, or moved between bikes, has one spell for every time it sat
-- somewhere; each spell knows the bike's distance at both ends. A spell ends when a part is
-- removed at that position or another comes to sit there.
-- grain: one spell of one part at one position of one bike
-- keys: shop, bike, fitted_seq
-- uses: live_events, distance_readings
-- gives: started_at and ended_at (null while fitted), start_km and end_km (null where no
-- distance was read by then), distance_km; for is_found only since it was found
with marks as (
    select
        live_events.shop,
        live_events.bike,
        live_events.seq,
        live_events.id,
        live_events.kind,
        live_events.occurred_at,
        live_events.position,
        live_events.part,
        live_events.make,
        live_events.model,
        live_events.outcome,
        live_events.is_found,
        distance_readings.distance_total_km
    from live_events
    left join distance_readings
        on
            live_events.shop = distance_readings.shop
            and live_events.bike = distance_readings.bike
            and live_events.seq = distance_readings.seq
    where live_events.kind in ('distance_read', 'part_fitted', 'part_removed')
),
placed as (
    select
        *,
        last_value(distance_total_km ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as at_km,
        last_value(distance_total_km ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and unbounded following
        ) as now_km
    from marks
),
followed as (
    select
        *,
        lead({'kind': kind, 'occurred_at': occurred_at, 'outcome': outcome, 'at_km': at_km}) over (
            partition by shop, bike, position
            order by occurred_at, seq
        ) as next_move
    from placed
    where kind in ('part_fitted', 'part_removed')
),
spells as (
    select
        *,
        case when next_move is null then now_km else next_move.at_km end as end_km
    from followed
    where kind = 'part_fitted'
)
select
    shop,
    bike,
    position,
    part,
    make,
    model,
    outcome as origin,
    coalesce(is_found, false) as is_found,
    seq as fitted_seq,
    id as fitted_id,
    occurred_at as started_at,
    next_move.occurred_at as ended_at,
    case
        when next_move.kind = 'part_removed' then next_move.outcome
        when next_move.kind = 'part_fitted' then 'replaced'
    end as end_reason,
    at_km as start_km,
    end_km,
    cast(end_km - at_km as decimal(18, 6)) as distance_km
from spells
