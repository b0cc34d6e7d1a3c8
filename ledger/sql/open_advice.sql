-- Advice is open until its last answer is yes or no; no reply, or later, is neither.
-- grain: one piece of advice that is open
-- keys: shop, bike, id
-- uses: live_events
-- gives: verdict and urgency as advised, answer: the last one, null where there was none
with advice as (
    select
        shop,
        bike,
        coalesce(target_id, id) as id,
        max(
            case
                when kind = 'advised'
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'position': position,
                        'verdict': verdict,
                        'urgency': outcome
                    }
            end
        ) as given,
        max(
            case
                when kind = 'advice_answered'
                    then {'occurred_at': occurred_at, 'seq': seq, 'answer': outcome}
            end
        ) as answered
    from live_events
    where kind in ('advised', 'advice_answered')
    group by shop, bike, coalesce(target_id, id)
)
select
    shop,
    bike,
    id,
    given.position as position,
    given.verdict as verdict,
    given.urgency as urgency,
    given.occurred_at as advised_at,
    answered.answer as answer
from advice
where given is not null and coalesce(answered.answer, '') not in ('yes', 'no')
