-- A fault is opened by a look that judged it watch, due or unsafe, or by a search for its cause;
-- it is closed by work that puts it right, or by a look that found it within limit.
-- grain: one fault at one position of one bike that is open
-- keys: shop, bike, position, fault
-- uses: live_events
-- gives: found_at and id of the first opening since the last closing; verdict of the last look
-- and the last cause given since then
with marks as (
    select
        shop,
        bike,
        fault_position as position,
        fault,
        kind,
        seq,
        id,
        occurred_at,
        cause,
        verdict,
        case
            when kind in ('part_fitted', 'part_removed', 'adjusted', 'treated') then true
            when kind = 'inspected' and verdict = 'within limit' then true
            else false
        end as is_closing,
        case
            when kind = 'diagnosed' then true
            when kind = 'inspected' and verdict in ('watch', 'due', 'unsafe') then true
            else false
        end as is_opening
    from live_events
    where fault is not null and fault_position is not null
),
closings as (
    select
        shop,
        bike,
        position,
        fault,
        max({'occurred_at': occurred_at, 'seq': seq}) as closing
    from marks
    where is_closing
    group by shop, bike, position, fault
),
openings as (
    select
        marks.shop,
        marks.bike,
        marks.position,
        marks.fault,
        min({'occurred_at': marks.occurred_at, 'seq': marks.seq, 'id': marks.id}) as found,
        max(
            case
                when marks.kind = 'inspected'
                    then {
                        'occurred_at': marks.occurred_at,
                        'seq': marks.seq,
                        'verdict': marks.verdict
                    }
            end
        ) as judged,
        max(
            case
                when marks.cause is not null
                    then {
                        'occurred_at': marks.occurred_at,
                        'seq': marks.seq,
                        'cause': marks.cause
                    }
            end
        ) as explained
    from marks
    left join closings
        on
            marks.shop = closings.shop
            and marks.bike = closings.bike
            and marks.position = closings.position
            and marks.fault = closings.fault
    where
        marks.is_opening
        and (
            closings.closing is null
            or closings.closing.occurred_at < marks.occurred_at
            or (
                closings.closing.occurred_at = marks.occurred_at
                and closings.closing.seq < marks.seq
            )
        )
    group by marks.shop, marks.bike, marks.position, marks.fault
)
select
    shop,
    bike,
    position,
    fault,
    explained.cause as cause,
    judged.verdict as verdict,
    found.occurred_at as found_at,
    found.id as id
from openings
