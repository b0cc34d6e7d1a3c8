-- grain: one position, quantity and point of one bike with a setting that nothing has voided
-- keys: shop, bike, position, quantity, point
-- nullable: point
-- uses: live_events, position_voids
-- gives: value in unit, set_at
with ranked as (
    select
        shop,
        bike,
        position,
        quantity,
        point,
        value,
        unit,
        id,
        seq,
        occurred_at,
        row_number() over (
            partition by shop, bike, position, quantity, point
            order by occurred_at desc, seq desc
        ) as place
    from live_events
    where kind = 'adjusted' and quantity is not null and value is not null
)
select
    ranked.shop,
    ranked.bike,
    ranked.position,
    ranked.quantity,
    ranked.point,
    ranked.value,
    ranked.unit,
    ranked.occurred_at as set_at,
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
    and (
        ranked.quantity <> 'torque'
        or position_voids.torque_voided is null
        or position_voids.torque_voided < {'occurred_at': ranked.occurred_at, 'seq': ranked.seq}
    )
