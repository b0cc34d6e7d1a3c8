-- An episode begins at the first mark that is no clearing, at an opening after a repair or
-- clearing, and at a repair after a repair or clearing of another job (no job is never the same).
-- All that clears it therefore comes after all that opens it.
-- grain: one fault at one position of one bike, from found until put right or found gone
-- keys: shop, bike, position, fault, found_seq
-- uses: fault_marks
-- gives: found_ of its first mark, put_right_ of its last repair; cleared_at of its first
-- clearing, only where nothing was put right; ended_at; the last cause given in it; verdict of
-- the last look that opened it; count_jobs_carried; is_found_recorded: not only put right
with followed as (
    select
        *,
        lead({'is_opening': is_opening, 'job': job}) over (
            partition by shop, bike, position, fault
            order by occurred_at desc, seq desc
        ) as mark_before,
        sum(case when is_clearing then 0 else 1 end) over (
            partition by shop, bike, position, fault
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as count_telling
    from fault_marks
),
numbered as (
    select
        *,
        sum(
            case
                when is_clearing then 0
                when count_telling = 1 then 1
                when mark_before.is_opening then 0
                when is_opening then 1
                when job = mark_before.job then 0
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
        min(
            {
                'occurred_at': occurred_at,
                'seq': seq,
                'id': id,
                'job': job,
                'actor': actor,
                'tier': tier,
                'riding': riding,
                'part': part,
                'make': make,
                'model': model,
                'before_at': before_at,
                'before_seq': before_seq,
                'before_km': before_km,
                'after_at': after_at,
                'after_seq': after_seq,
                'after_km': after_km,
                'count_closed': count_closed
            }
        ) as found,
        max(
            case
                when is_repair
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'id': id,
                        'job': job,
                        'actor': actor,
                        'kind': kind,
                        'treatment': treatment,
                        'tier': tier,
                        'riding': riding,
                        'part': part,
                        'make': make,
                        'model': model,
                        'before_at': before_at,
                        'before_seq': before_seq,
                        'before_km': before_km,
                        'after_at': after_at,
                        'after_seq': after_seq,
                        'after_km': after_km,
                        'count_closed': count_closed
                    }
            end
        ) as put_right,
        min(
            case
                when is_clearing
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'count_closed': count_closed
                    }
            end
        ) as cleared,
        max(
            case
                when cause is not null
                    then {'occurred_at': occurred_at, 'seq': seq, 'cause': cause}
            end
        ) as explained,
        max(
            case
                when is_opening and kind = 'inspected'
                    then {'occurred_at': occurred_at, 'seq': seq, 'verdict': verdict}
            end
        ) as judged,
        max(case when is_opening then 1 else 0 end) as opened,
        max(count_closed_in_all) as count_closed_in_all,
        max({'at': latest_at, 'seq': latest_seq, 'km': latest_km}) as latest,
        max(observed_until) as observed_until
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
    found.id as found_id,
    found.job as found_job,
    found.actor as found_actor,
    found.tier as found_tier,
    found.riding as found_riding,
    found.part as found_part,
    found.make as found_make,
    found.model as found_model,
    found.before_at as found_before_at,
    found.before_seq as found_before_seq,
    found.before_km as found_before_km,
    found.after_at as found_after_at,
    found.after_seq as found_after_seq,
    found.after_km as found_after_km,
    opened = 1 as is_found_recorded,
    put_right.occurred_at as put_right_at,
    put_right.seq as put_right_seq,
    put_right.id as put_right_id,
    put_right.job as put_right_job,
    put_right.actor as put_right_actor,
    put_right.kind as put_right_kind,
    put_right.treatment as put_right_treatment,
    put_right.tier as put_right_tier,
    put_right.riding as put_right_riding,
    put_right.part as put_right_part,
    put_right.make as put_right_make,
    put_right.model as put_right_model,
    put_right.before_at as put_right_before_at,
    put_right.before_seq as put_right_before_seq,
    put_right.before_km as put_right_before_km,
    put_right.after_at as put_right_after_at,
    put_right.after_seq as put_right_after_seq,
    put_right.after_km as put_right_after_km,
    case when put_right is null then cleared.occurred_at end as cleared_at,
    coalesce(put_right.occurred_at, cleared.occurred_at) as ended_at,
    explained.cause as cause,
    judged.verdict as verdict,
    coalesce(put_right.count_closed, cleared.count_closed, count_closed_in_all)
    - found.count_closed as count_jobs_carried,
    latest.at as latest_at,
    latest.seq as latest_seq,
    latest.km as latest_km,
    observed_until
from episodes
