-- A part rotated on and off, or moved between bikes, has one spell for every time it sat
-- somewhere; each spell knows the bike's distance at both ends. A spell ends when a part is
-- removed at that position or another comes to sit there.
-- grain: one spell of one part at one position of one bike
-- keys: shop, bike, fitted_seq
-- uses: distance_marks
-- gives: started_at and ended_at (null while fitted), start_km and end_km (null where no
-- distance was read by then), distance_km; for is_found only since it was found
with followed as (
    select
        *,
        lead({'kind': kind, 'occurred_at': occurred_at, 'outcome': outcome, 'at_km': at_km}) over (
            partition by shop, bike, position
            order by occurred_at, seq
        ) as next_move
    from distance_marks
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
