-- Counts are of lists without repeats, and who rides comes from what names a rider: a great book is
-- so counted in little memory.
-- grain: the whole of the events
-- keys: none
-- uses: events, live_events, open_jobs, open_faults
-- gives: exactly one row of counts; events counts every stored event, struck or of no bike
with stored as (
    select count(*) as events
    from events
    where seq <= $known_seq and occurred_at <= $as_at
),
seen as (
    select
        min(occurred_at) as first_seen_at,
        max(occurred_at) as last_seen_at
    from live_events
),
bikes_named as (
    select distinct bike
    from live_events
),
bikes as (
    select count(*) as bikes
    from bikes_named
),
visits_named as (
    select distinct job
    from live_events
    where job is not null
),
visits as (
    select count(*) as jobs
    from visits_named
),
people as (
    select
        shop,
        bike,
        max({'occurred_at': occurred_at, 'seq': seq, 'rider': rider}) as last_said
    from live_events
    where kind = 'rider_changed'
    group by shop, bike
),
ridden as (
    select count(distinct last_said.rider) as riders
    from people
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
    bikes.bikes,
    ridden.riders,
    visits.jobs,
    jobs.jobs_open,
    faults.faults_open,
    seen.first_seen_at,
    seen.last_seen_at
from stored
cross join seen
cross join bikes
cross join visits
cross join ridden
cross join jobs
cross join faults
