-- A hold lasts until work goes on, the next hold, or the closing of the job.
-- grain: one live hold of a job
-- keys: shop, bike, seq
-- uses: live_events
-- gives: job, waiting_for, held_at, ended_at: null while it goes on
with turns as (
    select
        shop,
        bike,
        seq,
        job,
        kind,
        outcome as waiting_for,
        occurred_at as held_at,
        lead(occurred_at) over (
            partition by shop, bike, job
            order by occurred_at, seq
        ) as ended_at
    from live_events
    where kind in ('job_held', 'job_resumed', 'job_closed') and job is not null
)
select
    shop,
    bike,
    seq,
    job,
    waiting_for,
    held_at,
    ended_at
from turns
where kind = 'job_held'
