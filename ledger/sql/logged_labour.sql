-- grain: one live entry of minutes: labour logged afterwards, or goodwill
-- keys: shop, bike, seq
-- uses: live_events
-- gives: job, actor, task, minutes, minutes_kind, occurred_at
select
    shop,
    bike,
    seq,
    job,
    actor,
    task,
    minutes,
    minutes_kind,
    occurred_at
from live_events
where kind in ('labour_logged', 'goodwill_given') and minutes is not null
