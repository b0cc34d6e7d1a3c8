-- Everything that was recorded of a bike, struck or not, as known to $known_seq.
-- grain: one stored event of a bike that occurred by $as_at
-- keys: shop, bike, seq
-- uses: events
-- gives: the short facts of the event, canonical as it is stored (the bytes that were hashed, or
-- their payload alone: `storage/envelope.py`), and struck_by (id of the strike)
with strikes as (
    select
        target_id,
        min({'seq': seq, 'id': id}) as strike
    from events
    where kind = 'event_struck' and seq <= $known_seq
    group by target_id
)
select
    events.shop,
    events.bike,
    events.seq,
    events.id,
    events.kind,
    events.occurred_at,
    events.recorded_at,
    events.actor,
    events.job,
    coalesce(events.position, events.fault_position) as position,
    events.canonical,
    strikes.strike.id as struck_by
from events
left join strikes on events.id = strikes.target_id
where
    events.bike is not null
    and events.seq <= $known_seq
    and events.occurred_at <= $as_at
