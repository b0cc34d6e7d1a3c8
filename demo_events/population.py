"""Who lives in the town: riders, families, fleets, and the bikes they bring."""

from __future__ import annotations

import math
from collections.abc import Iterator
from random import Random
from typing import Any

from demo_events.bikes import Bike, Part, Rider
from demo_events.catalogue import PARTS, PartModel
from demo_events.names import BIKE_MAKES, BIKE_MODELS, FIRST_NAMES, FLEETS, LAST_NAMES
from demo_events.parameters import (
    LATE_SHARE,
    LAY_UP_SHARE,
    ONCE_SHARE,
    PART_SPREAD,
    RIDER_SPREAD,
    WEAR,
    WEEKLY_KM,
    WEEKLY_SPREAD,
)

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
COURIER_BIKES = 42
"""A workshop's own fleet customers, for every 1,600 bikes."""
MAKE_UP: dict[str, tuple[tuple[str, float, tuple[int, ...], float], ...]] = {
    "courier": (
        ("road", 0.45, (10, 11), 0.6),
        ("cargo", 0.8, (8, 9), 0.9),
        ("e_cargo", 1, (1, 10), 1),
    ),
    "commute": (
        ("city", 0.5, (1, 1, 8), 0.3),
        ("e_bike", 0.75, (1, 9, 10), 0.9),
        ("road", 1, (10, 11), 0.6),
    ),
    "touring": (("tourer", 0.6, (9, 10), 0.7), ("gravel", 1, (11, 12), 1)),
    "family": (
        ("child", 0.5, (1, 6), 0.15),
        ("city", 0.75, (1, 8), 0.3),
        ("e_cargo", 1, (1, 10), 1),
    ),
}  # fmt: skip
"""Riding -> (kind of bike, running share, sprockets to choose from, share with disc brakes)."""


def tag_of(number: int, seed: int) -> str:
    """Give a tag for a bike's number: no two numbers share one, and none looks counted."""
    mixed = ((number + 1) * 0x9E3779B97 + seed * 0x632BE5AB + 0x5851F42D4) % (1 << 40)
    return "".join(ALPHABET[mixed >> shift & 31] for shift in range(35, -1, -5))


class Register:
    """The people of one workshop's worth of benches, as the shop's register has them."""

    def __init__(self, rng: Random, unit: int) -> None:
        self.rng = rng
        self.unit = unit
        self.rows: list[dict[str, Any]] = []

    def add(self, code_letter: str, name: str | None = None) -> str:
        """Enter somebody, made up unless a name is given; gives the opaque id."""
        rng = self.rng
        code = f"{code_letter}{self.unit * 10_000 + len(self.rows):06d}"
        person = f"{rng.choice(FIRST_NAMES)} {rng.choice(LAST_NAMES)}"
        self.rows.append(
            {
                "rider": code,
                "name": name or person,
                "contact": f"{code.lower()}@saltmarrow.invalid",
                "weight_kg": None if name else 18 + int(rng.random() * 82),
                "may_contact": rng.random() < 0.8,
            }
        )
        return code


def make_rider(rng: Random, code: str, keeper: str, riding: str) -> Rider:
    """Give a rider with habits drawn for a kind of riding."""
    weekly = WEEKLY_KM[riding] * math.exp(rng.gauss(0, WEEKLY_SPREAD))
    factor = math.exp(rng.gauss(0, RIDER_SPREAD))
    is_late = rng.random() < LATE_SHARE[riding]
    return Rider(code, keeper, riding, weekly, factor, is_late, rng.random() < LAY_UP_SHARE[riding])


def sort_of_part(bike: Bike, position: str) -> str:
    """Give which sort of part of the catalogue sits at a position of this bike."""
    tail = position.rpartition(".")[2]
    if tail in ("chain", "cassette"):
        if bike.speeds == 1:
            return "chain single"
        return f"{tail} {11 if bike.speeds >= 11 else 10}"
    if tail == "pads":
        return "pads disc" if "disc" in bike.sorts else "pads rim"
    return {"outer": "ring", "shift_cables": "cables"}.get(tail, tail)


SOMETIMES = ("front_brake.pads", "rear_wheel.tyre", "battery", "front_wheel.rim")
"""What is measured on some bikes and never on others."""
LAW_OF = {
    "chain": "chain", "cassette": "cassette", "outer": "ring", "pads": "pads",
    "rotor": "rotor", "rim": "rim", "tyre": "tyre", "battery": "battery",
}  # fmt: skip
REAR_LIGHTER = {"front_wheel.tyre": 0.6, "rear_brake.pads": 0.8}
"""True factor of positions that carry less."""


def new_part(rng: Random, bike: Bike, position: str, model: PartModel | None = None) -> Part:
    """Give a fresh part of a model (drawn from the catalogue unless given) for a position."""
    chosen = model or rng.choice(PARTS[sort_of_part(bike, position)])
    law = LAW_OF.get(position.rpartition(".")[2], "")
    if law == "rim" and "disc" in bike.sorts:
        law = ""
    bike.count_parts += 1
    luck = math.exp(rng.gauss(0, PART_SPREAD)) if law else 1.0
    rate = chosen.wear_factor * REAR_LIGHTER.get(position, 1.0) * luck
    wear = WEAR[law].start + rng.gauss(0, 1) * WEAR[law].start_error if law else 0.0
    return Part(f"{bike.tag}-{bike.count_parts}", law, chosen, rate, wear)


def _age(rng: Random, bike: Bike, part: Part) -> None:
    """Make a part as worn as one that came on a used bike may be."""
    law = WEAR[part.law]
    due = bike.chain_due() if part.law == "chain" else law.due
    share = rng.random() ** 1.3 * 1.15
    if part.law == "chain":
        share = rng.uniform(0.3, 1.8) if bike.rider.is_late else rng.uniform(0, 1.1)
    elif part.law in ("rotor", "rim", "battery"):
        share *= 0.6
    part.wear += (due - law.start) * share


def _equip(rng: Random, bike: Bike) -> None:
    positions = ["chain", "chainring.outer", "front_brake.pads", "rear_brake.pads"]
    positions += ["front_wheel.tyre", "rear_wheel.tyre"]
    positions += ["cassette"] if bike.speeds > 1 else []
    is_disc = "disc" in bike.sorts
    positions += (
        ["front_brake.rotor", "rear_brake.rotor"]
        if is_disc
        else ["front_wheel.rim", "rear_wheel.rim"]
    )
    positions += ["battery"] if "electric" in bike.sorts else []
    for position in positions:
        part = bike.parts[position] = new_part(rng, bike, position)
        if bike.is_old:
            _age(rng, bike, part)


def make_bike(rng: Random, tag: str, rider: Rider) -> Bike:
    """Give a bike of the kind this riding asks for, with its parts on it."""
    bike = Bike(tag, rider)
    draw = rng.random()
    for kind, share, speeds, disc_share in MAKE_UP[rider.riding]:
        if draw <= share:
            bike.kind, bike.speeds = kind, rng.choice(speeds)
            is_disc = rng.random() < disc_share
            break
    bike.make = rng.choice(BIKE_MAKES)
    bike.model = rng.choice(BIKE_MODELS[bike.kind])
    is_electric = bike.kind in ("e_bike", "e_cargo")
    sorts = ["any", "disc" if is_disc else "rim", "gears" if bike.speeds > 1 else "hub"]
    bike.sorts = frozenset([*sorts, "electric"] if is_electric else sorts)
    bike.is_old = rng.random() < 0.9
    computers = {"courier": 0.75, "commute": 0.6, "touring": 0.85, "family": 0.2}
    bike.has_computer = is_electric or rng.random() < computers[rider.riding]
    bike.computer_km = float(int(rng.random() * 6000)) if bike.is_old else 0.0
    bike.reported_km = bike.computer_km
    bike.unit = "mi" if rng.random() < 0.04 else "km"
    _equip(rng, bike)
    bike.left_out = frozenset(position for position in SOMETIMES if rng.random() < 0.6)
    return bike


def _household(rng: Random, register: Register) -> Iterator[Rider]:
    """One parent's own bike and up to three children's, all kept and paid for by the parent."""
    parent = register.add("r")
    yield make_rider(rng, parent, parent, "family" if rng.random() < 0.5 else "commute")
    for _ in range(rng.randint(1, 3)):
        yield make_rider(rng, register.add("r"), parent, "family")


def riders_for(rng: Random, register: Register, count: int) -> Iterator[tuple[Rider, int | None]]:
    """Give riders for so many bikes, each with their fleet's number where they ride in one."""
    count_couriers = round(COURIER_BIKES * count / 1600)
    fleets = [register.add("f", name) for name in FLEETS] if count_couriers else []
    for number in range(count_couriers):
        fleet = number % len(fleets)
        yield make_rider(rng, register.add("r"), fleets[fleet], "courier"), fleet
    made = count_couriers
    while made < count:
        draw = rng.random()
        if draw < 0.2:
            household = list(_household(rng, register))
        else:
            code = register.add("r")
            household = [make_rider(rng, code, code, "commute" if draw < 0.65 else "touring")]
        for rider in household[: count - made]:
            yield rider, None
            made += 1


def make_bikes(rng: Random, register: Register, count: int, seed: int) -> list[Bike]:
    """Give the bikes of one workshop's worth of benches; a share of them is seen only once."""
    bikes = []
    for number, (rider, fleet) in enumerate(riders_for(rng, register, count)):
        bike = make_bike(rng, tag_of(register.unit * 16_384 + number, seed), rider)
        bike.fleet = fleet
        bike.is_once = fleet is None and rng.random() < ONCE_SHARE * count / (
            count - round(COURIER_BIKES * count / 1600) or 1
        )
        bikes.append(bike)
    return bikes
