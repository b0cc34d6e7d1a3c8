"""The physical state of one bike: what is fitted, how far it went, how worn it truly is."""

from __future__ import annotations

from demo_events.catalogue import PartModel
from demo_events.exposure import RIDDEN, WEATHERED
from demo_events.faults import FaultMode
from demo_events.parameters import CASCADE, CHAIN_DUE, RIDINGS, WEAR

RIDING_RATES = {law: {riding: WEAR[law].rates[riding] for riding in RIDINGS} for law in WEAR}

WORST_BELOW = {law: WEAR[law].worst for law in WEAR if WEAR[law].direction < 0}


class Part:
    """One part at one position; `wear` is its true figure in the unit of its law."""

    __slots__ = (
        "batch", "code", "fitted_on", "is_known", "km", "law", "model", "rate", "wear",
        "weather_km",
    )  # fmt: skip

    def __init__(self, code: str, law: str, model: PartModel, rate: float, wear: float) -> None:
        self.code = code
        self.law = law
        self.model = model
        self.rate = rate
        """True rate relative to the riding's median: model, batch and this part's own luck."""
        self.wear = wear
        self.km = 0.0
        self.weather_km = 0.0
        self.batch = ""
        self.is_known = False
        """Whether the book has an event that put it there."""
        self.fitted_on: int | None = None


class Rider:
    """Somebody who rides: their habits, and who answers and pays for the bike."""

    __slots__ = ("code", "factor", "is_late", "keeper", "lays_up", "riding", "weekly_km")

    def __init__(
        self, code: str, keeper: str, riding: str, weekly_km: float, factor: float,
        is_late: bool, lays_up: bool,
    ) -> None:  # fmt: skip
        self.code = code
        self.keeper = keeper
        self.riding = riding
        self.weekly_km = weekly_km
        self.factor = factor
        self.is_late = is_late
        self.lays_up = lays_up


class Bike:
    """One bike: its make-up, its rider, its parts and what is known of it."""

    __slots__ = (
        "advised", "computer_km", "count_parts", "day", "day_of_last_visit", "day_of_tag", "fleet",
        "has_computer", "in_shop", "is_old", "is_once", "kind", "km", "km_at_last_visit",
        "known_as", "left_out", "make", "model", "parts", "prevented", "repaired", "reported_km",
        "returning", "rider", "sorts", "speeds", "tag", "unit", "visits",
    )  # fmt: skip

    def __init__(self, tag: str, rider: Rider) -> None:
        self.tag = tag
        self.rider = rider
        self.kind = self.make = self.model = ""
        self.speeds = 1
        self.sorts: frozenset[str] = frozenset()
        self.parts: dict[str, Part] = {}
        self.count_parts = 0
        self.day = 0
        self.km = 0.0
        """True distance since the book began, whatever any computer shows."""
        self.computer_km = 0.0
        """What the present computer shows less `km`."""
        self.has_computer = False
        self.reported_km = 0.0
        """The last distance told or estimated, where there is no computer."""
        self.unit = "km"
        self.is_once = False
        self.is_old = True
        self.fleet: int | None = None
        self.visits = 0
        self.left_out: frozenset[str] = frozenset()
        """Positions never measured on this bike."""
        self.day_of_last_visit = 0
        self.day_of_tag = 0
        """When the tag it has now was stuck on."""
        self.km_at_last_visit = 0.0
        self.in_shop = False
        self.returning: list[Returning] = []
        """Faults that will come back."""
        self.known_as = ""
        """The tag it had before that one washed off."""
        self.advised: dict[str, str] = {}
        """Position -> the advice still declined there."""
        self.repaired: dict[tuple[str, str], tuple[int, float]] = {}
        """(position, fault) -> the day it was last put right, and `km` then."""
        self.prevented: dict[str, int] = {}
        """Position -> the day until which preventive work protects it."""

    def chain_due(self) -> float:
        """Give the elongation in % at which this bike's chain is due."""
        return next(due for least, due in CHAIN_DUE if self.speeds >= least)

    def advance(self, day: int) -> None:
        """Ride and wear the bike up to the start of a day."""
        if day <= self.day:
            return
        rider = self.rider
        key = (rider.riding, rider.lays_up)
        ridden, weathered = RIDDEN[key], WEATHERED[key]
        km = rider.weekly_km / 7 * (ridden[day] - ridden[self.day])
        weather_km = rider.weekly_km / 7 * (weathered[day] - weathered[self.day])
        self.day = day
        self.km += km
        self._wear(km, weather_km, rider.factor * weather_km / 1000)

    def _wear(self, km: float, weather_km: float, load: float) -> None:
        riding = self.rider.riding
        cascade = self._cascade(load)
        for part in self.parts.values():
            part.km += km
            part.weather_km += weather_km
            law = part.law
            if not law:
                continue
            step = part.rate * RIDING_RATES[law][riding] * load
            if law == "cassette" or law == "ring":
                step *= cascade
            if law in WORST_BELOW:
                part.wear = max(WORST_BELOW[law], part.wear - step)
            else:
                part.wear = min(WEAR[law].worst, part.wear + step)

    def _cascade(self, load: float) -> float:
        """Give how much faster cassette and ring wear under the chain's mean excess."""
        chain = self.parts.get("chain")
        if chain is None:
            return 1.0
        step = chain.rate * RIDING_RATES["chain"][self.rider.riding] * load
        due = self.chain_due()
        excess = (chain.wear + step / 2 - due) / due
        return 1.0 + CASCADE * min(2.0, excess) if excess > 0 else 1.0


class Returning:
    """A fault that will come back: on what day, after which job."""

    __slots__ = ("day", "job", "mode")

    def __init__(self, mode: FaultMode, day: int, job: str) -> None:
        self.mode = mode
        self.day = day
        self.job = job
