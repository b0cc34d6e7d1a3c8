-- grain: one piece of advice that named a price
-- keys: shop, bike, id
-- uses: live_events
-- gives: seq, job, position, advised_at, price: for all of it, net; answer and answered_at: the
-- last one, null where there was none
with answers as (
    select
        shop,
        bike,
        target_id as id,
        max({'occurred_at': occurred_at, 'seq': seq, 'answer': outcome}) as answered
    from live_events
    where kind = 'advice_answered'
    group by shop, bike, target_id
)
select
    advised.shop,
    advised.bike,
    advised.id,
    advised.seq,
    advised.job,
    advised.position,
    advised.occurred_at as advised_at,
    advised.money_minor as price,
    answers.answered.answer as answer,
    answers.answered.occurred_at as answered_at
from live_events as advised
left join answers
    on
        advised.shop = answers.shop
        and advised.bike = answers.bike
        and advised.id = answers.id
where advised.kind = 'advised' and advised.money_minor is not null
