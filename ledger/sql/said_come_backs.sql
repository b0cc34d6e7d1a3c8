-- What was said at booking-in, and what somebody judged at any time: the last live judgement
-- counts.
-- grain: one job that was said to answer an earlier one, or judged to or not to
-- keys: shop, bike, job
-- uses: live_events
-- gives: said_answers: the job named at booking-in; judged_is_come_back and judged_answers, null
-- where nobody judged
with told as (
    select
        shop,
        bike,
        job,
        max(
            case
                when kind = 'job_opened'
                    then {'occurred_at': occurred_at, 'seq': seq, 'answers': come_back_of}
            end
        ) as said,
        max(
            case
                when kind = 'come_back_judged'
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'is_come_back': is_come_back,
                        'answers': come_back_of
                    }
            end
        ) as judged
    from live_events
    where
        job is not null
        and (kind = 'come_back_judged' or (kind = 'job_opened' and come_back_of is not null))
    group by shop, bike, job
)
select
    shop,
    bike,
    job,
    said.answers as said_answers,
    judged.is_come_back as judged_is_come_back,
    judged.answers as judged_answers
from told
