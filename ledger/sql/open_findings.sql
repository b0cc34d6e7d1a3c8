-- A look that named no fault and judged due or unsafe. It is settled by a later look there that
-- names none, unless that was not checked, and by a part fitted (not found) or removed there, or
-- at a position whose code is a dotted prefix of it.
-- grain: one position of one bike whose last look that named no fault judged it due or unsafe
-- keys: shop, bike, position
-- uses: live_events, position_effects
-- gives: found_at, verdict and id of that look
with looks as (
    select
        shop,
        bike,
        position,
        verdict,
        id,
        occurred_at,
        seq
    from live_events
    where kind = 'inspected' and fault is null and verdict <> 'not checked'
),
replaced as (
    select
        live_events.shop,
        live_events.bike,
        position_effects.reached as position,
        cast(null as varchar) as verdict,
        live_events.id,
        live_events.occurred_at,
        live_events.seq
    from live_events
    inner join position_effects on live_events.position = position_effects.position
    where
        position_effects.effect = 'within'
        and (
            live_events.kind = 'part_removed'
            or (live_events.kind = 'part_fitted' and not coalesce(live_events.is_found, false))
        )
),
marked as (
    select * from looks
    union all
    select * from replaced
),
ranked as (
    select
        *,
        row_number() over (
            partition by shop, bike, position
            order by occurred_at desc, seq desc
        ) as newest
    from marked
)
select
    shop,
    bike,
    position,
    verdict,
    occurred_at as found_at,
    id
from ranked
where newest = 1 and verdict in ('due', 'unsafe')
