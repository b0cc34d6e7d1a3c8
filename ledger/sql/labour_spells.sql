-- grain: one live stretch of labour: a clock stopped, minutes logged, or goodwill in minutes
-- keys: shop, bike, seq
-- uses: clock_spells, logged_labour
-- gives: job, actor, task, minutes, minutes_kind, occurred_at
with spells as (
    select * from clock_spells
    union all
    select * from logged_labour
)
select * from spells
