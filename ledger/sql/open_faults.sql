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
since as (
    select
        *,
        sum(case when is_closing then 1 else 0 end) over (
            partition by shop, bike, position, fault
            order by occurred_at desc, seq desc
            rows between unbounded preceding and 1 preceding
        ) as closed_later
    from marks
),
openings as (
    select
        shop,
        bike,
        position,
        fault,
        min({'occurred_at': occurred_at, 'seq': seq, 'id': id}) as found,
        max(
            case
                when kind = 'inspected'
                    then {'occurred_at': occurred_at, 'seq': seq, 'verdict': verdict}
            end
        ) as judged,
        max(
            case
                when cause is not null
                    then {'occurred_at': occurred_at, 'seq': seq, 'cause': cause}
            end
        ) as explained
    from since
    where is_opening and coalesce(closed_later, 0) = 0
    group by shop, bike, position, fault
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
