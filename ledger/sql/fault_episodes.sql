-- An episode begins at the first mark that is no clearing, at an opening after a repair or
-- clearing, and at a repair after a repair or clearing of another job (no job is never the same).
-- All that clears it therefore comes after all that opens it. `ledger.analysis.episodes` says the
-- same over arrays.
-- grain: one fault at one position of one bike, from found until put right or found gone
-- keys: shop, bike, position, fault, found_seq
-- uses: fault_marks
-- gives: found_ of its first mark, put_right_ of its last repair; cleared_at of its first
-- clearing, only where nothing was put right; ended_at; the last cause told in it; verdict of
-- the last look that opened it; is_found_recorded: not only put right
with roles as (
    select
        *,
        case
            when kind = 'diagnosed' then 'opening'
            when kind <> 'inspected' then 'repair'
            when verdict = 'within limit' then 'clearing'
            else 'opening'
        end as role
    from fault_marks
),
followed as (
    select
        *,
        last_value(role) over (
            partition by shop, bike, position, fault
            order by occurred_at, seq
            rows between 1 preceding and 1 preceding
        ) as role_before,
        last_value(job) over (
            partition by shop, bike, position, fault
            order by occurred_at, seq
            rows between 1 preceding and 1 preceding
        ) as job_before,
        sum(case when role = 'clearing' then 0 else 1 end) over (
            partition by shop, bike, position, fault
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as count_telling
    from roles
),
numbered as (
    select
        *,
        sum(
            case
                when role = 'clearing' then 0
                when count_telling = 1 then 1
                when role_before = 'opening' then 0
                when role = 'opening' then 1
                when job = job_before then 0
                else 1
            end
        ) over (
            partition by shop, bike, position, fault
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as episode
    from followed
),
episodes as (
    select
        shop,
        bike,
        position,
        fault,
        episode,
        min({'occurred_at': occurred_at, 'seq': seq, 'job': job, 'actor': actor}) as found,
        max(
            case
                when role = 'repair'
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'job': job,
                        'actor': actor,
                        'kind': kind,
                        'treatment': case when kind = 'treated' then outcome end
                    }
            end
        ) as put_right,
        min(case when role = 'clearing' then occurred_at end) as cleared_at,
        max(
            case
                when cause is not null
                    then {'occurred_at': occurred_at, 'seq': seq, 'cause': cause}
            end
        ) as explained,
        max(
            case
                when role = 'opening' and kind = 'inspected'
                    then {'occurred_at': occurred_at, 'seq': seq, 'verdict': verdict}
            end
        ) as judged,
        max(case when role = 'opening' then 1 else 0 end) as opened
    from numbered
    where episode > 0
    group by shop, bike, position, fault, episode
)
select
    shop,
    bike,
    position,
    fault,
    found.occurred_at as found_at,
    found.seq as found_seq,
    found.job as found_job,
    found.actor as found_actor,
    opened = 1 as is_found_recorded,
    put_right.occurred_at as put_right_at,
    put_right.seq as put_right_seq,
    put_right.job as put_right_job,
    put_right.actor as put_right_actor,
    put_right.kind as put_right_kind,
    put_right.treatment as put_right_treatment,
    case when put_right is null then cleared_at end as cleared_at,
    coalesce(put_right.occurred_at, cleared_at) as ended_at,
    explained.cause as cause,
    judged.verdict as verdict
from episodes
