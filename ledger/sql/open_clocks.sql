-- A clock runs if its mechanic's last start or stop on that job is a start; it is paused if that
-- is a stop which says so. Nothing of a job that is closed is open.
-- grain: one mechanic's clock on one job, running or paused
-- keys: shop, bike, job, actor
-- uses: live_events, labour_spells
-- gives: task, minutes_kind, is_paused, since: when it was started or paused, minutes_before: what
-- that mechanic has on that job, task and kind already
with clocks as (
    select
        *,
        row_number() over (
            partition by shop, bike, job, actor
            order by occurred_at desc, seq desc
        ) as place,
        lead({'kind': kind, 'task': task, 'minutes_kind': minutes_kind}) over (
            partition by shop, bike, job, actor
            order by occurred_at desc, seq desc
        ) as clock_before
    from live_events
    where kind in ('labour_started', 'labour_stopped')
),
closed as (
    select distinct
        shop,
        bike,
        job
    from live_events
    where kind = 'job_closed'
),
open_now as (
    select
        clocks.shop,
        clocks.bike,
        clocks.job,
        clocks.actor,
        coalesce(clocks.task, clocks.clock_before.task) as task,
        coalesce(clocks.minutes_kind, clocks.clock_before.minutes_kind) as minutes_kind,
        clocks.kind = 'labour_stopped' as is_paused,
        clocks.occurred_at as since
    from clocks
    left join closed
        on
            clocks.shop = closed.shop
            and clocks.bike = closed.bike
            and clocks.job = closed.job
    where
        clocks.place = 1
        and closed.job is null
        and (clocks.kind = 'labour_started' or clocks.is_paused)
)
select
    open_now.shop,
    open_now.bike,
    open_now.job,
    open_now.actor,
    open_now.task,
    open_now.minutes_kind,
    open_now.is_paused,
    open_now.since,
    cast(sum(coalesce(spells.minutes, 0)) as bigint) as minutes_before
from open_now
left join labour_spells as spells
    on
        open_now.shop = spells.shop
        and open_now.bike = spells.bike
        and open_now.job = spells.job
        and open_now.actor = spells.actor
        and open_now.task = spells.task
        and open_now.minutes_kind = spells.minutes_kind
group by
    open_now.shop,
    open_now.bike,
    open_now.job,
    open_now.actor,
    open_now.task,
    open_now.minutes_kind,
    open_now.is_paused,
    open_now.since
