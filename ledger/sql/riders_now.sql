-- Who rides a bike and how, and what it is. The last event that says so decides; a kind of
-- riding is the last one that was not left empty.
-- grain: one bike with a live bike_registered, rider_changed or job_opened
-- keys: shop, bike
-- uses: live_events
-- gives: rider, keeper, payer, riding, make, model, bike_kind; any of them null where nobody said
with said as (
    select
        shop,
        bike,
        max(
            case
                when kind = 'rider_changed'
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'rider': rider,
                        'keeper': keeper,
                        'payer': payer
                    }
            end
        ) as people,
        max(
            case
                when riding is not null
                    then {'occurred_at': occurred_at, 'seq': seq, 'riding': riding}
            end
        ) as last_riding,
        max(
            case
                when kind = 'bike_registered'
                    then {
                        'occurred_at': occurred_at,
                        'seq': seq,
                        'make': make,
                        'model': model,
                        'bike_kind': bike_kind
                    }
            end
        ) as bicycle
    from live_events
    where kind in ('bike_registered', 'rider_changed', 'job_opened')
    group by shop, bike
)
select
    shop,
    bike,
    people.rider as rider,
    people.keeper as keeper,
    people.payer as payer,
    last_riding.riding as riding,
    bicycle.make as make,
    bicycle.model as model,
    bicycle.bike_kind as bike_kind
from said
