"""The parts the shop sells: invented makes and models, prices, and how they truly differ."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PartModel:
    """One model: price and cost in cents before tax, its true wear and return factors."""

    make: str
    model: str
    price_minor: int
    cost_minor: int
    wear_factor: float = 1.0
    return_factor: float = 1.0


def _pair(*models: PartModel) -> tuple[PartModel, ...]:
    return models


PARTS: dict[str, tuple[PartModel, ...]] = {
    "chain single": _pair(PartModel("Linkva", "Linkva One", 1450, 720)),
    "chain 10": _pair(
        PartModel("Linkva", "Linkva 8-10", 2200, 1150),
        PartModel("Drovane", "Drovane 9", 2600, 1380, 0.85),
    ),
    "chain 11": _pair(
        PartModel("Linkva", "Linkva 11", 3200, 1750),
        PartModel("Drovane", "Drovane X12", 4300, 2450, 0.82),
    ),
    "cassette 10": _pair(PartModel("Tandwick", "Tandwick 9", 3600, 1950)),
    "cassette 11": _pair(PartModel("Tandwick", "Tandwick 12", 7400, 4200)),
    "ring": _pair(PartModel("Tandwick", "Tandwick Ring", 3100, 1700)),
    "pads disc": _pair(
        PartModel("Brinewell", "Brinewell S", 1750, 820, 0.8, 1.8),
        PartModel("Brinewell", "Brinewell O", 1500, 680, 1.1),
    ),
    "pads rim": _pair(PartModel("Brinewell", "Brinewell Rim", 1050, 460)),
    "rotor": _pair(PartModel("Wheystone", "Wheystone 160", 2700, 1400)),
    "rim": _pair(PartModel("Orrel", "Orrel 24", 4900, 2700)),
    "tyre": _pair(
        PartModel("Rollmark", "Rollmark Harbour 40", 3100, 1650, 0.85),
        PartModel("Rollmark", "Rollmark Breeze 35", 2600, 1320, 1.1),
    ),
    "battery": _pair(PartModel("Voltmere", "Voltmere 500", 54_000, 39_000)),
    "tube": _pair(PartModel("Rollmark", "Rollmark Tube", 720, 280)),
    "cables": _pair(PartModel("Slipway", "Slipway Cable Set", 2100, 900)),
    "bottom_bracket": _pair(PartModel("Wheystone", "Wheystone BB 68", 3300, 1800)),
    "pedals": _pair(PartModel("Orrel", "Orrel Flat", 2400, 1250)),
}  # fmt: skip
"""Sort of part -> the models sold of it."""


def price_at(model: PartModel, factor: float) -> int:
    """Give the price in cents under a price factor, in whole tens of cents."""
    return round(model.price_minor * factor / 10) * 10
