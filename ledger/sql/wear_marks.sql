-- Where wear was read, and where parts came and went, each with what was known of the bike
-- then. How far it had gone is worked out outside, between the readings before and after. What
-- there is at a position is what the last fitting or removal there left, or, at a position whose
-- code is a dotted prefix of it, the last removal or fitting that was no finding.
-- grain: one live measurement, distance reading, fitting or removal
-- keys: shop, bike, seq
-- uses: live_events, distance_readings, position_effects
-- gives: rider, riding, speeds of the bike then; of a distance reading distance_km as shown,
-- distance_total_km and its computer; before_ and after_ (at, seq, km summed over computers) of
-- the distance readings around it, latest_ of the last of all; observed_until of the bike's last
-- event; there_kind, there_seq, there_part: what the last move left where it was measured
with observed as (
    select
        shop,
        bike,
        max(occurred_at) as observed_until
    from live_events
    group by shop, bike
),
marked as (
    select
        live_events.shop,
        live_events.bike,
        live_events.seq,
        live_events.id,
        live_events.kind,
        live_events.occurred_at,
        live_events.recorded_at,
        live_events.position,
        live_events.part,
        live_events.make,
        live_events.model,
        live_events.riding,
        live_events.speeds,
        live_events.quantity,
        live_events.point,
        live_events.gauge,
        live_events.value,
        live_events.value_low,
        live_events.value_high,
        live_events.unit,
        live_events.limit_value,
        live_events.outcome,
        live_events.distance_km,
        distance_readings.distance_total_km,
        distance_readings.computer,
        coalesce(live_events.is_found, false) as is_found,
        case when live_events.kind = 'rider_changed' then {'rider': live_events.rider} end
            as people,
        case
            when distance_readings.distance_total_km is not null
                then {
                    'at': live_events.occurred_at,
                    'seq': live_events.seq,
                    'km': distance_readings.distance_total_km
                }
        end as distance
    from live_events
    left join distance_readings
        on
            live_events.shop = distance_readings.shop
            and live_events.bike = distance_readings.bike
            and live_events.seq = distance_readings.seq
    where
        live_events.kind in ('measured', 'part_fitted', 'part_removed', 'rider_changed')
        or distance_readings.distance_total_km is not null
        or live_events.riding is not null
        or live_events.speeds is not null
),
known as (
    select
        *,
        last_value(people ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as people_then,
        last_value(riding ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as riding_then,
        last_value(speeds ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as speeds_then,
        last_value(distance ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as before,
        last_value(distance ignore nulls) over (
            partition by shop, bike
            order by occurred_at desc, seq desc
            rows between unbounded preceding and current row
        ) as after,
        last_value(distance ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and unbounded following
        ) as latest
    from marked
),
marks as (
    select
        shop,
        bike,
        seq,
        id,
        kind,
        occurred_at,
        recorded_at,
        position,
        part,
        make,
        model,
        people_then.rider as rider,
        riding_then as riding,
        speeds_then as speeds,
        quantity,
        point,
        gauge,
        value,
        value_low,
        value_high,
        unit,
        limit_value,
        outcome,
        is_found,
        distance_km,
        distance_total_km,
        computer,
        before.at as before_at,
        before.seq as before_seq,
        before.km as before_km,
        after.at as after_at,
        after.seq as after_seq,
        after.km as after_km,
        latest.at as latest_at,
        latest.seq as latest_seq,
        latest.km as latest_km
    from known
    where
        kind in ('measured', 'part_fitted', 'part_removed')
        or distance_total_km is not null
),
reaching as (
    select
        marks.shop,
        marks.bike,
        marks.seq,
        marks.occurred_at,
        position_effects.reached as position,
        false as is_own,
        {'kind': marks.kind, 'seq': marks.seq, 'part': marks.part} as move
    from marks
    inner join position_effects on marks.position = position_effects.position
    where
        position_effects.effect = 'within'
        and position_effects.reached <> marks.position
        and marks.kind in ('part_fitted', 'part_removed')
        and not marks.is_found
),
own as (
    select
        shop,
        bike,
        seq,
        occurred_at,
        position,
        true as is_own,
        case
            when kind in ('part_fitted', 'part_removed')
                then {'kind': kind, 'seq': seq, 'part': part}
        end as move
    from marks
),
placed as (
    select * from own
    union all
    select * from reaching
),
left_there as (
    select
        *,
        last_value(move ignore nulls) over (
            partition by shop, bike, position
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as there
    from placed
)
select
    marks.*,
    observed.observed_until,
    left_there.there.kind as there_kind,
    left_there.there.seq as there_seq,
    left_there.there.part as there_part
from marks
inner join observed
    on
        marks.shop = observed.shop
        and marks.bike = observed.bike
inner join left_there
    on
        marks.shop = left_there.shop
        and marks.bike = left_there.bike
        and marks.seq = left_there.seq
        and left_there.is_own
