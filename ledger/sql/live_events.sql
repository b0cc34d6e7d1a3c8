-- Live: known by $known_seq, occurred by $as_at, no strike itself, and not struck by then.
-- A strike works on knowledge, whatever its own occurred_at.
-- grain: one live event of a bike
-- keys: shop, bike, seq
-- uses: events, strikes
-- gives: the hot columns that any relation folds
with struck as (
    select distinct target_id as id
    from strikes
    where seq <= $known_seq
)
select
    events.shop,
    events.bike,
    events.seq,
    events.id,
    events.kind,
    events.job,
    events.actor,
    events.occurred_at,
    events.recorded_at,
    events.rider,
    events.keeper,
    events.payer,
    events.tier,
    events.position,
    events.part,
    events.make,
    events.model,
    events.riding,
    events.quantity,
    events.point,
    events.value,
    events.value_low,
    events.value_high,
    events.unit,
    events.distance_km,
    events.is_computer_replaced,
    events.fault,
    events.fault_position,
    events.cause,
    events.verdict,
    events.limit_value,
    events.outcome,
    events.target_id,
    events.is_found,
    events.promised_at,
    events.bike_kind,
    events.gauge,
    events.speeds,
    events.task,
    events.minutes,
    events.minutes_kind,
    events.is_preventive,
    events.come_back_of,
    events.is_come_back,
    events.currency,
    events.money_minor,
    events.quote,
    events.replaces_quote,
    events.is_found_later,
    events.is_paused,
    events.first_used_on,
    events.lines
from events
left join struck on events.id = struck.id
where
    struck.id is null
    and events.bike is not null
    and events.kind not in (
        'event_struck', 'bike_linked', 'terms_set', 'mechanic_registered', 'gauge_registered'
    )
    and events.seq <= $known_seq
    and events.occurred_at <= $as_at
