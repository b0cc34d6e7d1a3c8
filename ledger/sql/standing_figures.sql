-- Readings and settings that still stand: the last of each, unless what it was of was replaced,
-- or, for a torque, other work voided it. Replacing: a part fitted (not found) or removed there,
-- or at a position whose code is a dotted prefix of it. Voiding torque besides: an adjustment of
-- anything but torque there, or fitting (not found), removing or adjusting at a position it hides.
-- grain: one position, quantity and point of one bike, by kind: measured or adjusted
-- keys: shop, bike, kind, position, quantity, point
-- nullable: point
-- uses: live_events, position_effects
-- gives: value, or value_low and value_high for an interval, in unit; limit_value and verdict of
-- a reading as they were stored with it
with figures as (
    select
        shop,
        bike,
        kind,
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
        occurred_at,
        seq,
        0 as count_replacing,
        0 as count_disturbing
    from live_events
    where kind = 'measured' or (kind = 'adjusted' and quantity is not null and value is not null)
),
work as (
    select
        live_events.shop,
        live_events.bike,
        cast(null as varchar) as kind,
        position_effects.reached as position,
        cast(null as varchar) as quantity,
        cast(null as varchar) as point,
        cast(null as decimal(18, 6)) as value,
        cast(null as decimal(18, 6)) as value_low,
        cast(null as decimal(18, 6)) as value_high,
        cast(null as varchar) as unit,
        cast(null as decimal(18, 6)) as limit_value,
        cast(null as varchar) as verdict,
        live_events.id,
        live_events.occurred_at,
        live_events.seq,
        case
            when live_events.kind <> 'adjusted' and position_effects.effect = 'within' then 1
            else 0
        end as count_replacing,
        1 as count_disturbing
    from live_events
    inner join position_effects on live_events.position = position_effects.position
    where
        (
            live_events.kind = 'part_removed'
            or live_events.kind = 'adjusted'
            or (live_events.kind = 'part_fitted' and not coalesce(live_events.is_found, false))
        )
        and (
            live_events.kind <> 'adjusted'
            or position_effects.effect = 'hidden by'
            or (
                position_effects.reached = live_events.position
                and coalesce(live_events.quantity, '') <> 'torque'
            )
        )
),
marked as (
    select * from figures
    union all
    select * from work
),
ranked as (
    select
        *,
        row_number() over (
            partition by shop, bike, position, kind, quantity, point
            order by occurred_at desc, seq desc
        ) as newest,
        sum(count_replacing) over (
            partition by shop, bike, position
            order by occurred_at desc, seq desc
            rows between unbounded preceding and 1 preceding
        ) as replaced_later,
        sum(count_disturbing) over (
            partition by shop, bike, position
            order by occurred_at desc, seq desc
            rows between unbounded preceding and 1 preceding
        ) as disturbed_later
    from marked
)
select
    shop,
    bike,
    kind,
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
    occurred_at
from ranked
where
    kind is not null
    and newest = 1
    and coalesce(replaced_later, 0) = 0
    and (kind = 'measured' or quantity <> 'torque' or coalesce(disturbed_later, 0) = 0)
