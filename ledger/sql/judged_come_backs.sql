-- Of a job the last counts.
-- grain: one live judgement whether a job answers an earlier one
-- keys: shop, bike, seq
-- uses: live_events
-- gives: job, occurred_at, is_come_back, answers: the job it answers, null where it is none
select
    shop,
    bike,
    seq,
    job,
    occurred_at,
    is_come_back,
    come_back_of as answers
from live_events
where is_come_back is not null and job is not null
