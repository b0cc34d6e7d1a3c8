-- When what was measured or set at a position was last replaced, and when its torque was last
-- voided besides. Replacing: a part fitted (not found) or removed there, or at a position whose
-- code is a dotted prefix of it. Voiding torque: an adjustment of anything but torque there, or
-- fitting (not found), removing or adjusting at a position it hides.
-- grain: one position of one bike that such work reached
-- keys: shop, bike, position
-- uses: live_events, position_effects
-- gives: replaced and torque_voided, each the order {occurred_at, seq} of the last such work,
-- null where there was none
with work as (
    select
        shop,
        bike,
        position,
        kind,
        case when kind = 'adjusted' then coalesce(quantity, '') end as adjusted_quantity,
        {'occurred_at': occurred_at, 'seq': seq} as place
    from live_events
    where
        kind in ('part_removed', 'adjusted')
        or (kind = 'part_fitted' and not coalesce(is_found, false))
)
select
    work.shop,
    work.bike,
    position_effects.reached as position,
    max(
        case
            when position_effects.effect = 'within' and work.kind <> 'adjusted' then work.place
        end
    ) as replaced,
    max(
        case
            when position_effects.effect = 'hidden by' then work.place
            when position_effects.reached = work.position and work.adjusted_quantity <> 'torque'
                then work.place
        end
    ) as torque_voided
from work
inner join position_effects on work.position = position_effects.position
group by work.shop, work.bike, position_effects.reached
