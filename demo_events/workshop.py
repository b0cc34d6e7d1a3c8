"""One workshop's worth of benches, day by day: who comes, who works on what, what is saved."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from demo_events.bikes import Bike, Part, Returning
from demo_events.catalogue import PartModel
from demo_events.days import (
    COUNT_DAYS,
    DATES,
    MIDNIGHTS,
    capacity_minutes,
    moment_text,
    open_day,
)
from demo_events.desk import Commit, Desk
from demo_events.faults import SKIPPING, FaultMode, modes_for
from demo_events.fleets import lists_of_fleets, save_lists, swap_tyres
from demo_events.fortune import (
    draw_complaint,
    due_returns,
    found_faults,
    gap_days,
    next_stop,
    return_chance,
    seasonal,
    skips_soon,
)
from demo_events.intake import open_job
from demo_events.job import run
from demo_events.parameters import (
    BAD_BATCH,
    BAD_BATCH_FACTOR,
    LABOUR_RATE,
    PRICE_CHANGE,
    PRICE_FACTOR,
    RETURN_DAYS,
    TIER_MIX,
    TIER_PLAN,
    TIER_PRICES,
    TIERS,
)
from demo_events.population import Register, make_bikes, make_rider, new_part, tag_of
from demo_events.rota import Rota
from demo_events.truth import Truth
from demo_events.visit import Visit

HOUR = 3600
COUNT_LINKED = 3
"""Bikes of a workshop that get a second tag after the first washed off."""
TORQUES = {
    "cassette": (40, 35, 45), "chainring.outer": (10, 9, 11), "bottom_bracket": (40, 35, 50),
    "crank": (42, 38, 45), "stem": (5, 4, 6), "rear_wheel": (30, 25, 40),
    "front_wheel": (22, 18, 25), "saddle": (12, 10, 14), "seatpost": (6, 5, 7),
    "pedals": (35, 30, 40), "rear_brake.rotor": (40, 36, 42), "front_brake.rotor": (40, 36, 42),
}  # fmt: skip
"""Invented maker's figures in N·m: aim, low, high."""


class Workshop:
    """Two full-timers, a Saturday mechanic and their customers, for three years.

    `unit` tells workshops of one book apart; everything made here names it. A unit's events
    depend on the seed, the unit and the number of bikes, and on nothing else.
    """

    def __init__(
        self, seed: int, unit: int, count_bikes: int, truth: Truth, doubled: str | None = None
    ) -> None:
        self.rng = Random(f"{seed}/{unit}")
        self.seed, self.unit, self.truth = seed, unit, truth
        self.doubled = doubled
        """The mechanic whose repairs come back twice as often, if any."""
        self.desk = Desk(self.rng)
        self.extra = Desk(Random(f"{seed}/{unit}/extra"))
        """Ids and draws of what came into the demo later, so that nothing else is drawn anew."""
        self.mechanics = tuple(f"m{unit * 3 + bench + 1}" for bench in range(3))
        self.rota = Rota(self.mechanics)
        self.register = Register(self.rng, unit)
        self.bikes = make_bikes(self.rng, self.register, count_bikes, seed)
        self.day = self.count_jobs = self.count_linked = 0
        self.date_text = ""
        self.price_factor = 1.0
        self.labour_rate = LABOUR_RATE
        self.asked: list[list[tuple[Bike, FaultMode | None, str | None]]] = [
            [] for _ in range(COUNT_DAYS)
        ]
        """Day -> who gets in touch: bike, the fault it is about, the job it comes back from."""
        self.clocks_stopped: dict[str, int] = {}
        """Mechanic -> when the last stop of their clock was recorded."""
        self.fleet_lists: list[tuple[int, list[tuple[Bike, int]]]] = []
        self._first_visits()

    def days(self) -> Iterator[list[Commit]]:
        """Give each day's commits in order of recording."""
        for day in range(COUNT_DAYS):
            self.day, self.date_text = day, DATES[day].isoformat()
            if self.date_text == PRICE_CHANGE:
                self.price_factor = PRICE_FACTOR
                self.labour_rate = round(LABOUR_RATE * PRICE_FACTOR / 10) * 10
            if capacity_minutes(day):
                save_lists(self)
                for bike, mode, come_back_of in self.asked[day]:
                    self._book(bike, mode, come_back_of)
                self.asked[day] = []
                self.rota.work_day(day)
            lists_of_fleets(self)
            yield self.desk.take_day()
        self._end()

    # Who comes, and when.

    def _first_visits(self) -> None:
        rng = self.rng
        for bike in self.bikes:
            day = bike.day = self._first_day(bike)
            is_complaint = rng.random() < 0.3
            self._ask(bike, day, draw_complaint(rng, bike) if is_complaint else None, None)

    def _first_day(self, bike: Bike) -> int:
        rng = self.rng
        if bike.fleet is not None:
            return int(rng.random() ** 2 * 300)
        reach = COUNT_DAYS - 10 if bike.is_once else COUNT_DAYS * 0.75
        return seasonal(rng, lambda: int(rng.random() ** 1.3 * reach))

    def _ask(self, bike: Bike, day: int, mode: FaultMode | None, come_back_of: str | None) -> None:
        if day < COUNT_DAYS and (day := open_day(day)) < COUNT_DAYS:
            self.asked[day].append((bike, mode, come_back_of))

    def _book(self, bike: Bike, mode: FaultMode | None, come_back_of: str | None) -> None:
        rng = self.rng
        tier = None if come_back_of else self._tier(bike, mode)
        visit = Visit(self, bike, tier, mode, come_back_of)
        is_urgent = mode is not None
        quoted = sum(minutes for _, minutes in TIER_PLAN[tier]) * 1.25 + 15 if tier else 40
        slot = self.rota.find_slot(self.day, round(quoted), is_urgent)
        at = self.rota.desk_moment(rng, self.day)
        promised = self._promised(slot, tier)
        self._wash_off(bike)
        open_job(visit, at, moment_text(promised))
        drop_off = 0 if slot == self.day else self.rota.drop_off(rng, slot)
        self.rota.start(run(visit, drop_off), visit.recorded, is_urgent)

    def _promised(self, slot: int, tier: str | None) -> int:
        """Give when a bike is to be ready; some of those still to be worked on, on the last day."""
        ready = slot if tier != "overhaul" else open_day(slot + 1)
        if COUNT_DAYS <= slot < COUNT_DAYS + 7 and self.extra.rng.random() < 0.6:
            ready = COUNT_DAYS - 1
        return MIDNIGHTS[ready] + 17 * HOUR

    def _tier(self, bike: Bike, mode: FaultMode | None) -> str:
        draw = self.rng.random()
        if mode is not None:
            draw *= 0.8
        small, large, _ = TIER_MIX[bike.rider.riding]
        return TIERS[0 if draw < small else 1 if draw < small + large else 2]

    def _wash_off(self, bike: Bike) -> None:
        if not bike.visits or self.count_linked == COUNT_LINKED or self.rng.random() > 0.02:
            return
        if bike.fleet is not None:
            return
        self.count_linked += 1
        bike.known_as, bike.day_of_tag = bike.tag, self.day
        bike.tag = tag_of(self.unit * 16_384 + 16_384 - self.count_linked, self.seed)

    def done(self, visit: Visit) -> None:
        """End a visit: the bike leaves, and its fate until the next visit is drawn."""
        bike, day = visit.bike, self.day
        bike.visits += 1
        bike.in_shop = False
        bike.day = max(bike.day, day)
        bike.day_of_last_visit, bike.km_at_last_visit = day, bike.km
        if bike.is_once:
            return
        if skips_soon(bike, day) or skips_soon(bike, bike.parts["chain"].fitted_on or -1):
            bike.returning.append(Returning(SKIPPING, day + 2 + int(self.rng.random() * 15), ""))
        self._plan_next(bike, day)

    def _plan_next(self, bike: Bike, day: int) -> None:
        rng = self.rng
        last = day + gap_days(rng, bike, day)
        if bike.visits == 1 and last > COUNT_DAYS - 20 > day + 20:
            last = day + 15 + int(rng.random() * (COUNT_DAYS - 35 - day))
        stop = next_stop(rng, bike, day, last)
        fate = min(bike.returning, key=lambda item: item.day, default=None)
        if fate is not None and fate.day < (stop[0] if stop else last):
            bike.returning.remove(fate)
            self._ask(bike, max(fate.day, day + 1), fate.mode, fate.job or None)
        elif stop is not None:
            self._ask(bike, max(stop[0], day + 1), stop[1], None)
        else:
            self._ask(bike, last, None, None)

    # What the steps of a job ask of the shop.

    def new_job(self) -> str:
        """Give a job's code."""
        self.count_jobs += 1
        return f"j{self.unit}-{self.count_jobs:05d}"

    def new_rider(self, bike: Bike) -> bool:
        """Now and then a bike has changed hands since its last visit."""
        if self.rng.random() > (0.05 if bike.fleet is not None else 0.025):
            return False
        bike.advance(self.day)
        code = self.register.add("r")
        keeper = code if bike.fleet is None else bike.rider.keeper
        bike.rider = make_rider(self.rng, code, keeper, bike.rider.riding)
        return True

    def present_faults(self, visit: Visit) -> list[FaultMode]:
        """Give what is wrong with the bike today: the complaint, what came back, what arose."""
        bike = visit.bike
        present = [visit.mode] if visit.mode is not None else []
        due = due_returns(bike, self.day)
        present += [fate.mode for fate in due]
        visit.returned = next((fate.job for fate in due if fate.job), None)
        if visit.tier is not None:
            present += found_faults(self.rng, bike, self.day)
        return list({mode.position: mode for mode in reversed(present)}.values())[::-1]

    def hidden_fault(self, visit: Visit) -> FaultMode | None:
        """Give a fault that only shows with the bike half apart."""
        taken = {mode.position for mode in visit.faults} | {mode.work_at for mode in visit.faults}
        taken.update(visit.wanted)
        free = [
            mode
            for mode in modes_for(visit.bike.sorts)
            if mode.position not in taken and mode.work_at not in taken
        ]
        return self.rng.choice(free) if free else None

    def fate(self, visit: Visit, event: str, mode: FaultMode, model: str) -> None:
        """Draw whether a repair holds, and keep the draw in the truth."""
        is_doubled = visit.actor == self.doubled
        visit.bike.repaired[mode.position, mode.fault] = (self.day, visit.bike.km)
        chance = return_chance(visit.tier, model, is_doubled)
        after = None
        if self.rng.random() < chance:
            after = 3 + int(self.rng.expovariate(1 / RETURN_DAYS))
            visit.bike.returning.append(Returning(mode, self.day + after, visit.job))
        row = (event, visit.bike.tag, visit.job, visit.tier, visit.actor)
        fault = (mode.position, mode.fault, mode.cause, model, chance, after)
        self.truth.add("truth_repairs", (*row, *fault))

    def new_part(self, bike: Bike, position: str, model: PartModel | None = None) -> Part:
        """Give a part out of the shop's drawer, with its batch."""
        part = new_part(self.rng, bike, position, model)
        quarter = (DATES[self.day].month - 1) // 3 * 3 + 1
        part.batch = f"B{DATES[self.day].year}-{quarter:02d}"
        if (part.model.model, part.batch) == BAD_BATCH:
            part.rate *= BAD_BATCH_FACTOR
        part.fitted_on = self.day
        part.is_known = True
        return part

    def fitting(self, bike: Bike, position: str, part: Part) -> dict[str, object]:
        """Give the payload that fits a part in place of what the book knows to sit there."""
        data: dict[str, object] = {"position": position, "part": part.code}
        data.update(make=part.model.make, model=part.model.model)
        old = bike.parts.get(position)
        if old is not None:
            self.truth.part(bike, position, old, is_removed=True)
            if old.is_known:
                data["replaces"] = old.code
        return data

    def torque(self, position: str) -> dict[str, object]:
        """Give the figures of a bolt torqued: what it reads, with what, the maker's range."""
        aim, low, high = TORQUES[position]
        tool = "G-torque-s" if aim < 20 else "G-torque-l"
        step = 0.5 if aim < 20 else 1.0
        value = aim + step * self.rng.randint(-1, 1)
        data: dict[str, object] = {"quantity": "torque", "tool": tool}
        data["after"] = {"value": f"{value:g}", "unit": "N·m"}
        if self.rng.random() < 0.25:
            data["maker_low"] = {"value": str(low), "unit": "N·m"}
            data["maker_high"] = {"value": str(high), "unit": "N·m"}
        return data

    def has(self, bike: Bike, position: str) -> bool:
        """Tell whether a bike has what preventive work at a position needs."""
        needs = {"shift_cables": "gears", "front_brake.pads": "disc", "wiring": "electric"}
        return needs.get(position, "any") in bike.sorts

    def tier_price(self, tier: str) -> int:
        """Give a tier's price today, in cents before tax."""
        return round(TIER_PRICES[tier] * self.price_factor / 10) * 10

    def swap_tyres(self, visit: Visit) -> None:
        """Now and then tyres change places, on one bike or between two of a fleet."""
        swap_tyres(self, visit)

    def later(self, instant: int, seconds: int) -> int:
        """Give a moment so much later when the desk is open."""
        return self.rota.later(self.rng, instant + seconds)

    def pick_up(self, ready: int) -> int:
        """Give when the keeper comes for a bike that is ready."""
        draw = self.rng.random()
        wait = 900 + int(draw * 7200) if draw < 0.6 else int(draw * 2 * 86_400)
        return self.rota.later(self.rng, ready + wait)

    def _end(self) -> None:
        for bike in self.bikes:
            if bike.visits:
                for position, part in bike.parts.items():
                    self.truth.part(bike, position, part, is_removed=False)
