-- grain: one line charged, or given away, at a live closing of a job
-- keys: shop, bike, seq, line
-- uses: live_events
-- gives: job, occurred_at; line_type, code, position, minutes, net, tax, cost, is_goodwill and
-- quote_line of the line
with charged as (
    select
        shop,
        bike,
        seq,
        job,
        occurred_at,
        unnest(lines) as line
    from live_events
    where kind = 'job_closed'
)
select
    shop,
    bike,
    seq,
    line.line_id as line,
    job,
    occurred_at,
    line.line_type as line_type,
    line.code as code,
    line.position as position,
    line.minutes as minutes,
    line.net as net,
    line.tax as tax,
    line.cost as cost,
    line.is_goodwill as is_goodwill,
    line.quote_line as quote_line
from charged
