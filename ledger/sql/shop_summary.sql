-- grain: the whole of the events
-- keys: none
-- uses: events, live_events, riders_now, open_jobs, open_faults
-- gives: exactly one row of counts; events counts every stored event, struck or of no bike
with stored as (
    select count(*) as events
    from events
    where seq <= $known_seq and occurred_at <= $as_at
),
seen as (
    select
        count(distinct bike) as bikes,
        count(distinct job) as jobs,
        min(occurred_at) as first_seen_at,
        max(occurred_at) as last_seen_at
    from live_events
),
ridden as (
    select count(distinct rider) as riders
    from riders_now
),
jobs as (
    select count(*) as jobs_open
    from open_jobs
),
faults as (
    select count(*) as faults_open
    from open_faults
)
select
    stored.events,
    seen.bikes,
    ridden.riders,
    seen.jobs,
    jobs.jobs_open,
    faults.faults_open,
    seen.first_seen_at,
    seen.last_seen_at
from stored
cross join seen
cross join ridden
cross join jobs
cross join faults
