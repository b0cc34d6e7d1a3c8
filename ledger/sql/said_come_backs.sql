-- What was said at booking-in, and what somebody judged at any time to be a come-back. What was
-- judged to be none is in `judged_come_backs`, each read by one column that is nearly always null.
-- grain: one live opening of a job, or judgement, that names the job it answers
-- keys: shop, bike, seq
-- uses: live_events
-- gives: kind, job, occurred_at, answers: the job it answers
select
    shop,
    bike,
    seq,
    kind,
    job,
    occurred_at,
    come_back_of as answers
from live_events
where come_back_of is not null and job is not null
