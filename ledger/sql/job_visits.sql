-- grain: one job that was opened
-- keys: shop, bike, job
-- uses: live_events
-- gives: tier, opened_at and promised_at as it was opened last; closed_at: null while it is open
with visits as (
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
        max(case when kind = 'job_closed' then occurred_at end) as closed_at
    from live_events
    where kind in ('job_opened', 'job_closed') and job is not null
    group by shop, bike, job
)
select
    shop,
    bike,
    job,
    opened.tier as tier,
    opened.occurred_at as opened_at,
    opened.promised_at as promised_at,
    closed_at
from visits
where opened is not null
