-- Where a fault was found, put right or found gone, each with what was known of the bike then.
-- How far it had gone is worked out outside, between the distance readings before and after.
-- The part is the one fitted at the fault's position then; work that fits a part names that one.
-- grain: one live mark of a fault
-- keys: shop, bike, seq
-- uses: live_events, distance_readings
-- gives: position and fault; is_opening, is_repair or is_clearing; treatment; tier of its job,
-- riding of the bike then, part, make, model; before_, after_ (at, seq, km summed over
-- computers) of the distance readings around it, latest_ of the last of all; observed_until of
-- the bike's last event; count_closed: its jobs closed before, count_closed_in_all
with marked as (
    select
        *,
        case
            when kind = 'diagnosed' then true
            when kind = 'inspected' and verdict in ('watch', 'due', 'unsafe') then true
            else false
        end as is_opening,
        kind in ('part_fitted', 'part_removed', 'adjusted', 'treated') as is_repair,
        kind = 'inspected' and verdict = 'within limit' as is_clearing
    from live_events
    where fault is not null and fault_position is not null
),
marks as (
    select
        shop,
        bike,
        seq,
        id,
        kind,
        occurred_at,
        job,
        actor,
        fault_position as position,
        fault,
        cause,
        verdict,
        part,
        make,
        model,
        case when kind = 'treated' then outcome end as treatment,
        is_opening,
        is_repair,
        is_clearing
    from marked
    where is_opening or is_repair or is_clearing
),
told as (
    select
        live_events.shop,
        live_events.bike,
        live_events.seq,
        live_events.occurred_at,
        live_events.riding,
        case
            when distance_readings.seq is not null
                then {
                    'at': live_events.occurred_at,
                    'seq': live_events.seq,
                    'km': distance_readings.distance_total_km
                }
        end as distance,
        case when live_events.kind = 'job_closed' then 1 else 0 end as closed
    from live_events
    left join distance_readings
        on
            live_events.shop = distance_readings.shop
            and live_events.bike = distance_readings.bike
            and live_events.seq = distance_readings.seq
    where
        live_events.kind in ('distance_read', 'job_closed')
        or live_events.riding is not null
        or live_events.fault is not null
),
known as (
    select
        shop,
        bike,
        seq,
        last_value(riding ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as riding,
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
        sum(closed) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as count_closed
    from told
),
ends as (
    select
        shop,
        bike,
        max(distance) as latest,
        sum(closed) as count_closed
    from told
    group by shop, bike
),
seen as (
    select
        shop,
        bike,
        max(occurred_at) as observed_until
    from live_events
    group by shop, bike
),
opened as (
    select
        shop,
        bike,
        job,
        max({'occurred_at': occurred_at, 'seq': seq, 'tier': tier}) as opened
    from live_events
    where kind = 'job_opened' and job is not null
    group by shop, bike, job
),
placed as (
    select
        shop,
        bike,
        seq,
        occurred_at,
        position,
        true as is_mark,
        case
            when false then {'kind': kind, 'part': part, 'make': make, 'model': model}
        end as move
    from marks
    union all
    select
        shop,
        bike,
        seq,
        occurred_at,
        position,
        false as is_mark,
        {'kind': kind, 'part': part, 'make': make, 'model': model} as move
    from live_events
    where kind in ('part_fitted', 'part_removed')
),
left_there as (
    select
        shop,
        bike,
        seq,
        is_mark,
        last_value(move ignore nulls) over (
            partition by shop, bike, position
            order by occurred_at, seq, is_mark
            rows between unbounded preceding and current row
        ) as there
    from placed
),
fitted as (
    select
        marks.shop,
        marks.bike,
        marks.seq,
        case
            when marks.kind = 'part_fitted'
                then {'part': marks.part, 'make': marks.make, 'model': marks.model}
            when left_there.there.kind = 'part_fitted'
                then {
                    'part': left_there.there.part,
                    'make': left_there.there.make,
                    'model': left_there.there.model
                }
        end as bit
    from marks
    inner join left_there
        on
            marks.shop = left_there.shop
            and marks.bike = left_there.bike
            and marks.seq = left_there.seq
            and left_there.is_mark
)
select
    marks.shop,
    marks.bike,
    marks.seq,
    marks.id,
    marks.kind,
    marks.occurred_at,
    marks.job,
    marks.actor,
    marks.position,
    marks.fault,
    marks.cause,
    marks.verdict,
    marks.treatment,
    marks.is_opening,
    marks.is_repair,
    marks.is_clearing,
    opened.opened.tier as tier,
    known.riding,
    fitted.bit.part as part,
    fitted.bit.make as make,
    fitted.bit.model as model,
    known.before.at as before_at,
    known.before.seq as before_seq,
    known.before.km as before_km,
    known.after.at as after_at,
    known.after.seq as after_seq,
    known.after.km as after_km,
    ends.latest.at as latest_at,
    ends.latest.seq as latest_seq,
    ends.latest.km as latest_km,
    seen.observed_until,
    cast(known.count_closed as bigint) as count_closed,
    cast(ends.count_closed as bigint) as count_closed_in_all
from marks
inner join known
    on marks.shop = known.shop and marks.bike = known.bike and marks.seq = known.seq
inner join fitted
    on marks.shop = fitted.shop and marks.bike = fitted.bike and marks.seq = fitted.seq
inner join ends on marks.shop = ends.shop and marks.bike = ends.bike
inner join seen on marks.shop = seen.shop and marks.bike = seen.bike
left join opened
    on marks.shop = opened.shop and marks.bike = opened.bike and marks.job = opened.job
