-- A clock's minutes are of the task and kind it was started with: that of the same mechanic's
-- last start or stop on the bike before, where that is a start.
-- grain: one live stop of a clock
-- keys: shop, bike, seq
-- uses: live_events
-- gives: job, actor, task, minutes, minutes_kind, occurred_at
with clocks as (
    select
        *,
        lead({'kind': kind, 'task': task, 'minutes_kind': minutes_kind}) over (
            partition by shop, bike, actor
            order by occurred_at desc, seq desc
        ) as clock_before
    from live_events
    where kind in ('labour_started', 'labour_stopped')
)
select
    shop,
    bike,
    seq,
    job,
    actor,
    case when clock_before.kind = 'labour_started' then clock_before.task end as task,
    minutes,
    case when clock_before.kind = 'labour_started' then clock_before.minutes_kind end
        as minutes_kind,
    occurred_at
from clocks
where kind = 'labour_stopped' and minutes is not null
