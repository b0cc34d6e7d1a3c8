-- Causes contradict where both are told and differ: a squeal from a bent rotor is not the squeal
-- of a glazed pad come back. What is found in the job that had put it right was found before the
-- bike left, and answers nothing (no job is never the same).
-- grain: one episode that was found again after the fault was put right before
-- keys: shop, bike, position, fault, found_seq
-- uses: fault_episodes
-- gives: answers_seq: found_seq of the episode with the latest earlier repair whose cause does
-- not contradict; put_right_ of that repair; the cause, of either; is_cause_told: both told, and
-- equal
with repairs as (
    select
        *,
        case
            when put_right_at is not null
                then {
                    'seq': found_seq,
                    'cause': cause,
                    'put_right_at': put_right_at,
                    'put_right_seq': put_right_seq,
                    'put_right_job': put_right_job
                }
        end as repair
    from fault_episodes
),
earlier as (
    select
        *,
        last_value(repair ignore nulls) over (
            partition by shop, bike, position, fault
            order by found_at, found_seq
            rows between unbounded preceding and 1 preceding
        ) as any_before,
        last_value(case when cause is null then repair end ignore nulls) over (
            partition by shop, bike, position, fault
            order by found_at, found_seq
            rows between unbounded preceding and 1 preceding
        ) as untold_before,
        last_value(repair ignore nulls) over (
            partition by shop, bike, position, fault, cause
            order by found_at, found_seq
            rows between unbounded preceding and 1 preceding
        ) as same_before
    from repairs
),
answered as (
    select
        *,
        case
            when cause is null then any_before
            when same_before is null then untold_before
            when untold_before is null then same_before
            when untold_before.put_right_at > same_before.put_right_at then untold_before
            when untold_before.put_right_at < same_before.put_right_at then same_before
            when untold_before.put_right_seq > same_before.put_right_seq then untold_before
            else same_before
        end as first
    from earlier
)
select
    shop,
    bike,
    position,
    fault,
    found_seq,
    found_at,
    found_job,
    coalesce(cause, first.cause) as cause,
    first.seq as answers_seq,
    first.put_right_at as put_right_at,
    first.put_right_seq as put_right_seq,
    first.put_right_job as put_right_job,
    coalesce(cause = first.cause, false) as is_cause_told
from answered
where first is not null and coalesce(found_job <> first.put_right_job, true)
