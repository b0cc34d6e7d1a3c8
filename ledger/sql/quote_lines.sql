-- A quote stands until a live quote of the same job replaces it. The last live answer to a line
-- counts; null where nobody answered. Files of before `is_found_later` do not tell it: none is.
-- grain: one line of a live quote
-- keys: shop, bike, seq, line
-- uses: live_events
-- gives: job, quote, occurred_at, form, is_found_later, is_standing; line_type, code, position,
-- minutes, net, tax and cost of the line; answer and answered_at
with quoted as (
    select
        shop,
        bike,
        seq,
        job,
        quote,
        occurred_at,
        outcome as form,
        is_found_later,
        unnest(lines) as line
    from live_events
    where kind = 'quote_given' and quote is not null
),
replaced as (
    select distinct
        shop,
        bike,
        job,
        replaces_quote as quote
    from live_events
    where replaces_quote is not null
),
told as (
    select
        shop,
        bike,
        seq,
        quote,
        occurred_at,
        unnest(lines) as line
    from live_events
    where kind = 'quote_answered' and quote is not null
),
answers as (
    select
        shop,
        bike,
        quote,
        line.line_id as line,
        max({'occurred_at': occurred_at, 'seq': seq, 'answer': line.answer}) as answered
    from told
    group by shop, bike, quote, line.line_id
)
select
    quoted.shop,
    quoted.bike,
    quoted.seq,
    quoted.line.line_id as line,
    quoted.job,
    quoted.quote,
    quoted.occurred_at,
    quoted.form,
    coalesce(quoted.is_found_later, false) as is_found_later,
    replaced.quote is null as is_standing,
    quoted.line.line_type as line_type,
    quoted.line.code as code,
    quoted.line.position as position,
    quoted.line.minutes as minutes,
    quoted.line.net as net,
    quoted.line.tax as tax,
    quoted.line.cost as cost,
    answers.answered.answer as answer,
    answers.answered.occurred_at as answered_at
from quoted
left join replaced
    on
        quoted.shop = replaced.shop
        and quoted.bike = replaced.bike
        and quoted.job = replaced.job
        and quoted.quote = replaced.quote
left join answers
    on
        quoted.shop = answers.shop
        and quoted.bike = answers.bike
        and quoted.quote = answers.quote
        and quoted.line.line_id = answers.line
