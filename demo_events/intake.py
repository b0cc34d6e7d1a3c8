"""Booking in, the first look, the readings: what is wrong and what is worn."""

from __future__ import annotations

from typing import Any

from demo_events.bikes import Bike, Part
from demo_events.faults import SKIPPING, FaultMode
from demo_events.gauges import Shown, read_chain, read_part
from demo_events.names import CURRENCY
from demo_events.opening import WINDOWS
from demo_events.parameters import WEAR
from demo_events.visit import Visit

COMPLAINTS = {
    "quick_check": ("Just a look over, please.", "Is it all right for the week?"),
    "full_service": ("Time for its yearly service.", "Make it run quietly again."),
    "overhaul": ("Big tour coming up; go through all of it.", "It stood in the shed for years."),
}
CAME_WITH = ("lock and key", "panniers", "charger", "child seat", "lights, both", "a note")

LOOKS: dict[str, tuple[tuple[str, tuple[str, ...]], ...]] = {
    "quick_check": (("rear_brake", ("front_brake",)),),
    "full_service": (("steering", ("headset", "stem", "seatpost")),),
    "overhaul": (
        ("frame", ("saddle", "seatpost", "pedals", "stem", "handlebar")),
        ("rear_wheel", ("rear_wheel.hub", "rear_wheel.rim", "rear_wheel.spokes")),
    ),
}
"""Tier -> the systems looked over and judged, with what each look takes in."""

MEASURED: dict[str, tuple[str, ...]] = {
    "quick_check": ("chain", "rear_brake.pads"),
    "full_service": ("chain", "front_brake.pads", "rear_brake.pads", "rear_wheel.tyre"),
    "overhaul": (
        "chain", "chainring.outer", "front_brake.pads", "rear_brake.pads", "rear_wheel.tyre",
        "rear_brake.rotor", "front_wheel.rim", "battery",
    ),
}  # fmt: skip


TEETH = ("13T", "15T", "17T", "19T", "21T")
"""The sprocket a rider lives in, where a cassette is measured."""


def open_job(visit: Visit, at: int, promised: str) -> None:
    """Book the bike in: on its first visit it and its rider enter the book too."""
    bike, rng = visit.bike, visit.shop.rng
    visit.clock = at
    job = visit.job
    # What comes before the booking in belongs to no job.
    visit.job = None  # type: ignore[assignment]  # the bike is entered before its visit
    if bike.visits == 0 or bike.known_as:
        register(visit)
    elif visit.shop.new_rider(bike):
        _rider(visit, "sold on" if bike.fleet is None else "new courier on the round")
    visit.job = job
    visit.add("job_opened", _opening(visit, promised))
    if rng.random() < 0.03:
        text = "Keys are on the hook by the window." if rng.random() < 0.5 else "Call before noon."
        visit.add("noted", {"position": "frame", "text": text})
    visit.save()


def register(visit: Visit) -> None:
    """Enter the bike and its rider."""
    bike = visit.bike
    data: dict[str, Any] = {"make": bike.make, "model": bike.model, "bike_kind": bike.kind}
    data["speeds"] = bike.speeds
    if "electric" in bike.sorts:
        data["is_e_bike"] = True
    data["riding"] = bike.rider.riding
    if not bike.is_old:
        data["first_used_on"] = visit.shop.date_text
    if visit.shop.rng.random() < 0.2:
        data["frame_number"] = f"SM{visit.shop.rng.randrange(10**6):06d}"
    visit.add("bike_registered", data)
    _rider(visit, None)


def _rider(visit: Visit, note: str | None) -> None:
    rider = visit.bike.rider
    data = {"rider": rider.code, "keeper": rider.keeper, "payer": rider.keeper}
    data["riding"] = rider.riding
    if note is not None:
        data["note"] = note
    visit.add("rider_changed", data)


def _opening(visit: Visit, promised: str) -> dict[str, Any]:
    rng, bike = visit.shop.rng, visit.bike
    data: dict[str, Any] = {"promised_at": promised}
    if visit.tier is not None:
        data["tier"] = visit.tier
    if visit.mode is not None and visit.mode.complaint:
        data["complaint"] = visit.mode.complaint
    elif visit.tier is not None and rng.random() < 0.6:
        data["complaint"] = rng.choice(COMPLAINTS[visit.tier])
    if rng.random() < 0.25:
        data["riding"] = bike.rider.riding
    if rng.random() < 0.15:
        agreed = visit.shop.tier_price(visit.tier) if visit.tier else 2000
        ceiling = round(agreed * 1.21 / 1000) + rng.randrange(10, 25)
        data.update(ceiling_minor=ceiling * 1000, currency=CURRENCY)
    if bike.rider.keeper != bike.rider.code:
        data["may_approve"] = [bike.rider.keeper]
    if rng.random() < 0.2:
        data["came_with"] = rng.choice(CAME_WITH)
    if visit.come_back_of is not None:
        data["come_back_of"] = visit.come_back_of
    return data


def look(visit: Visit) -> None:
    """Read the distance, look the bike over, search for what is wrong, measure what wears."""
    read_distance(visit)
    _told_of_home_work(visit)
    _judge_systems(visit)
    for position in MEASURED.get(visit.tier or "", ()):
        is_skipped = position in visit.bike.left_out
        if visit.tier == "quick_check" and position != "chain":
            is_skipped = visit.shop.rng.random() < 0.4
        if position in visit.bike.parts and not is_skipped:
            measure(visit, position)
    _measure_cassette(visit)
    for mode in visit.shop.present_faults(visit):
        find(visit, mode)


def shown_km(bike: Bike) -> int:
    """Give what the bike's computer shows now, in its own unit, whole."""
    km = bike.km + bike.computer_km
    return int(km / 1.609344) if bike.unit == "mi" else int(km)


def read_distance(visit: Visit) -> None:
    """Record a distance: read off the computer, or told or estimated where there is none."""
    bike, rng = visit.bike, visit.shop.rng
    if not bike.has_computer:
        _estimate(visit)
    elif rng.random() < 0.03 and bike.visits:
        bike.computer_km = -bike.km
        odometer = {"value": "0", "unit": bike.unit}
        visit.add("distance_read", {"odometer": odometer, "computer_replaced": True})
    elif rng.random() < 0.93:
        odometer = {"value": str(shown_km(bike)), "unit": bike.unit}
        visit.add("distance_read", {"odometer": odometer})


def _estimate(visit: Visit) -> None:
    bike, rng = visit.bike, visit.shop.rng
    if rng.random() > 0.55:
        return
    true = bike.km + bike.computer_km
    guess = round(true * rng.lognormvariate(0, 0.12) / 50) * 50
    bike.reported_km = max(bike.reported_km, float(guess))
    source = "told" if rng.random() < 0.7 else "estimated"
    odometer = {"value": str(int(bike.reported_km)), "unit": "km"}
    visit.add("distance_read", {"odometer": odometer, "source": source})


def _told_of_home_work(visit: Visit) -> None:
    """Now and then a rider has changed a tube at home some days before."""
    bike, shop = visit.bike, visit.shop
    reach = shop.day - max(bike.day_of_last_visit, bike.day_of_tag)
    if not bike.visits or reach < 12 or shop.rng.random() > 0.03:
        return
    back = 2 + int(shop.rng.random() * min(40, reach - 4))
    part = shop.new_part(bike, "rear_wheel.tube")
    data = shop.fitting(bike, "rear_wheel.tube", part)
    data["origin"] = "riders own"
    # The rider fitted it at home, between visits: it belongs to no job.
    job, visit.job = visit.job, None  # type: ignore[assignment]  # of no visit for a moment
    visit.add("part_fitted", data, at=visit.clock - back * 86_400, now=visit.clock)
    visit.job = job
    bike.parts["rear_wheel.tube"] = part


def _judge_systems(visit: Visit) -> None:
    rng = visit.shop.rng
    for position, covers in LOOKS.get(visit.tier or "", ()):
        if visit.tier == "full_service" and rng.random() < 0.4:
            continue
        data: dict[str, Any] = {"position": position, "verdict": "within limit"}
        if rng.random() < 0.05:
            data["verdict"] = "not checked"
            data["why_not_checked"] = rng.choice(("loaded, not stripped", "no time today"))
        else:
            data["covers"] = list(covers)
        visit.add("inspected", data)


def find(visit: Visit, mode: FaultMode) -> None:
    """Record a fault: by a search step by step, or by a plain look."""
    rng = visit.shop.rng
    visit.faults.append(mode)
    _note_coincidence(visit, mode)
    if mode is SKIPPING and "overlong" in visit.combined:
        visit.combined.add("consequences")
    if mode.steps and rng.random() < 0.7 and visit.may("search"):
        steps = [{"tried": tried, "result": result} for tried, result in mode.steps]
        data: dict[str, Any] = {"position": mode.position, "symptom": mode.fault}
        data.update(steps=steps, cause=mode.cause, why_stopped="cause found")
        visit.add("diagnosed", data)
        return
    data = {"position": mode.position, "verdict": mode.verdict, "fault": mode.fault}
    data["cause"] = mode.cause
    visit.add("inspected", data)
    if mode.verdict == "unsafe":
        visit.unsafe.append(mode.position)


def _note_coincidence(visit: Visit, mode: FaultMode) -> None:
    """Remember a fault that arose anew, past its window, where the same was put right before."""
    bike = visit.bike
    day, km = bike.repaired.get((mode.position, mode.fault), (visit.shop.day, bike.km))
    windows = {fault: (days, window_km) for fault, days, window_km in WINDOWS}
    days, window_km = windows.get(mode.fault, (90, 1000))
    is_past = visit.shop.day - day > days and bike.km - km > 1.2 * window_km
    if is_past and visit.come_back_of is None and visit.returned is None:
        visit.seems_returned = True


def make_known(visit: Visit, position: str) -> Part:
    """Record the part that is found at a position, unless the book knows it already."""
    bike = visit.bike
    part = bike.parts[position]
    if not part.is_known:
        part.is_known = True
        data: dict[str, Any] = {"position": position, "part": part.code, "is_found": True}
        data.update(make=part.model.make, model=part.model.model, origin="unknown")
        visit.add("part_fitted", data)
    return part


def measure(visit: Visit, position: str) -> Shown:
    """Take one reading and judge by it."""
    bike, shop = visit.bike, visit.shop
    part = make_known(visit, position)
    if part.law == "chain":
        shown = read_chain(shop.rng, part.wear, bike.speeds)
    else:
        shown = read_part(shop.rng, part.law, part.wear)
    data: dict[str, Any] = {"position": position, "quantity": WEAR[part.law].quantity}
    data.update(part=part.code, **shown.fields, gauge=shown.gauge)
    if part.law == "cassette":
        data["point"] = TEETH[int(bike.rider.weekly_km * 10) % len(TEETH)]
    if part.law == "pads":
        data["with_backing_plate"] = False
    if part.law == "chain" and visit.slip is None and shop.rng.random() < 0.012:
        _slip(visit, data)
    else:
        event = visit.add("measured", data)
        truth_of_reading(visit, event, position, part, shown.gauge)
    _judge(visit, position, part, shown.figure)
    return shown


def _slip(visit: Visit, data: dict[str, Any]) -> None:
    """Write a chain down wrong; it is struck and written again at the end of the job."""
    wrong = {**data, "value": {"value": "1.9", "unit": "%"}, "gauge": "G-dial"}
    for name in ("low", "high", "over_pitches"):
        wrong.pop(name, None)
    event = visit.add("measured", wrong)
    visit.slip = (event, data, visit.clock)


def truth_of_reading(visit: Visit, event: str, position: str, part: Part, gauge: str) -> None:
    """Keep what a reading's true figure was, beside the part's true distance and rate."""
    rider = visit.bike.rider
    law = WEAR[part.law]
    rate = part.rate * rider.factor * law.rates[rider.riding]
    due = visit.bike.chain_due() if part.law == "chain" else law.due
    row = (event, visit.bike.tag, part.code, position, law.quantity, gauge, rider.riding)
    visit.shop.truth.add(
        "truth_readings",
        (*row, part.wear, part.km, part.weather_km, rate, due, rider.is_late),
    )


def _judge(visit: Visit, position: str, part: Part, figure: float) -> None:
    law = WEAR[part.law]
    due = visit.bike.chain_due() if part.law == "chain" else law.due
    is_due = figure >= due - 1e-9 if law.direction > 0 else figure <= due
    if law.unsafe is not None and figure <= law.unsafe:
        visit.unsafe.append(position)
    if is_due and part.law != "battery":
        visit.wanted.append(position)
        if part.law == "chain":
            visit.combined.add("overlong")
        elif part.law in ("cassette", "ring") and "overlong" in visit.combined:
            visit.combined.add("consequences")


def _measure_cassette(visit: Visit) -> None:
    """A cassette is measured where its chain is due; both go together if both are worn."""
    if "cassette" not in visit.bike.parts:
        return
    if "chain" in visit.wanted or visit.tier == "overhaul":
        measure(visit, "cassette")
    if visit.mode is SKIPPING and "cassette" in visit.wanted:
        visit.wanted.remove("cassette")
