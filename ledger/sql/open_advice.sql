-- Advice is open until its last answer is yes or no; no reply, or later, is neither.
-- grain: one piece of advice that is open
-- keys: shop, bike, id
-- uses: live_events
-- gives: verdict and urgency as advised, answer: the last one, null where there was none
with advice as (
    select shop, bike, id, seq, position, verdict, outcome as urgency, occurred_at
    from live_events
    where kind = 'advised'
),
ranked as (
    select
        shop,
        bike,
        target_id,
        outcome as answer,
        row_number() over (
            partition by shop, bike, target_id
            order by occurred_at desc, seq desc
        ) as place
    from live_events
    where kind = 'advice_answered'
),
answers as (
    select shop, bike, target_id, answer
    from ranked
    where place = 1
)
select
    advice.shop,
    advice.bike,
    advice.id,
    advice.seq,
    advice.position,
    advice.verdict,
    advice.urgency,
    advice.occurred_at as advised_at,
    answers.answer
from advice
left join answers
    on
        advice.shop = answers.shop
        and advice.bike = answers.bike
        and advice.id = answers.target_id
where coalesce(answers.answer, '') not in ('yes', 'no')
