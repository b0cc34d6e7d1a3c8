-- grain: one visit that has not ended
-- keys: shop, bike, job
-- uses: live_events
-- gives: tier, opened_at, promised_at, waiting_for: what the last hold waits for, null when
-- work went on since
with marks as (
    select
        shop,
        bike,
        job,
        max(
            case
                when kind = 'job_opened'
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'tier': tier,
                        'promised_at': promised_at
                    }
            end
        ) as opened,
        max(
            case
                when kind in ('job_held', 'job_resumed')
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'kind': kind,
                        'waiting_for': outcome
                    }
            end
        ) as paused,
        max(case when kind = 'job_closed' then 1 else 0 end) as is_closed
    from live_events
    where
        kind in ('job_opened', 'job_held', 'job_resumed', 'job_closed')
        and job is not null
    group by shop, bike, job
)
select
    shop,
    bike,
    job,
    opened.tier as tier,
    opened.occurred_at as opened_at,
    opened.promised_at as promised_at,
    case when paused.kind = 'job_held' then paused.waiting_for end as waiting_for
from marks
where opened is not null and is_closed = 0
