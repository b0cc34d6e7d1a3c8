-- grain: one position, quantity and point of one bike with a reading of what is there now
-- keys: shop, bike, position, quantity, point
-- nullable: point
-- uses: live_events, position_voids
-- gives: value, or value_low and value_high for an interval; limit_value and verdict as they
-- were stored with the reading
with ranked as (
    select
        shop,
        bike,
        position,
        quantity,
        point,
        value,
        value_low,
        value_high,
        unit,
        limit_value,
        verdict,
        id,
        seq,
        occurred_at,
        row_number() over (
            partition by shop, bike, position, quantity, point
            order by occurred_at desc, seq desc
        ) as place
    from live_events
    where kind = 'measured'
)
select
    ranked.shop,
    ranked.bike,
    ranked.position,
    ranked.quantity,
    ranked.point,
    ranked.value,
    ranked.value_low,
    ranked.value_high,
    ranked.unit,
    ranked.occurred_at as measured_at,
    ranked.limit_value,
    ranked.verdict,
    ranked.id,
    ranked.seq
from ranked
left join position_voids
    on
        ranked.shop = position_voids.shop
        and ranked.bike = position_voids.bike
        and ranked.position = position_voids.position
where
    ranked.place = 1
    and (
        position_voids.replaced is null
        or position_voids.replaced < {'occurred_at': ranked.occurred_at, 'seq': ranked.seq}
    )
