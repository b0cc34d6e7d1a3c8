-- What a visit answers for is what was said at booking-in, unless somebody judged it: the last
-- live judgement counts, null where there is none.
-- grain: one job that was opened
-- keys: shop, bike, job
-- uses: live_events, labour_spells
-- gives: tier, opened_at, opened_by; riding of the bike then; closed_at; come_back_of as said;
-- judged_is_come_back, judged_answers; minutes worked by their kind
with told as (
    select
        shop,
        bike,
        seq,
        kind,
        job,
        actor,
        occurred_at,
        tier,
        come_back_of,
        is_come_back,
        last_value(riding ignore nulls) over (
            partition by shop, bike
            order by occurred_at, seq
            rows between unbounded preceding and current row
        ) as riding
    from live_events
    where
        kind in ('job_opened', 'job_closed', 'come_back_judged')
        or riding is not null
),
visits as (
    select
        shop,
        bike,
        job,
        max(
            case
                when kind = 'job_opened'
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'tier': tier,
                        'actor': actor,
                        'come_back_of': come_back_of,
                        'riding': riding
                    }
            end
        ) as opened,
        max(
            case
                when kind = 'come_back_judged'
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'is_come_back': is_come_back,
                        'answers': come_back_of
                    }
            end
        ) as judged,
        max(case when kind = 'job_closed' then occurred_at end) as closed_at
    from told
    where kind in ('job_opened', 'job_closed', 'come_back_judged') and job is not null
    group by shop, bike, job
),
worked as (
    select
        shop,
        bike,
        job,
        sum(case when minutes_kind = 'quoted' then minutes else 0 end) as minutes_quoted,
        sum(case when minutes_kind = 'found later' then minutes else 0 end)
            as minutes_found_later,
        sum(case when minutes_kind = 'come-back' then minutes else 0 end) as minutes_come_back,
        sum(case when minutes_kind = 'goodwill' then minutes else 0 end) as minutes_goodwill
    from labour_spells
    where job is not null
    group by shop, bike, job
)
select
    visits.shop,
    visits.bike,
    visits.job,
    visits.opened.tier as tier,
    visits.opened.occurred_at as opened_at,
    visits.opened.actor as opened_by,
    visits.opened.riding as riding,
    visits.closed_at,
    visits.opened.come_back_of as come_back_of,
    visits.judged.is_come_back as judged_is_come_back,
    visits.judged.answers as judged_answers,
    cast(coalesce(worked.minutes_quoted, 0) as bigint) as minutes_quoted,
    cast(coalesce(worked.minutes_found_later, 0) as bigint) as minutes_found_later,
    cast(coalesce(worked.minutes_come_back, 0) as bigint) as minutes_come_back,
    cast(coalesce(worked.minutes_goodwill, 0) as bigint) as minutes_goodwill
from visits
left join worked
    on
        visits.shop = worked.shop
        and visits.bike = worked.bike
        and visits.job = worked.job
where visits.opened is not null
