"""The gauges and torque tools to choose from."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from ledger.bench.shapes import GaugeShown

if TYPE_CHECKING:
    from ledger.bench.scene import Scene


def gauges_for(
    scene: Scene, quantity: str, last: str | None, now: datetime
) -> tuple[GaugeShown, ...]:
    """Give the active gauges registered for a quantity, the one last used here first."""
    day = now.astimezone(scene.facts.time_zone).date().isoformat()
    found = [
        GaugeShown(
            gauge=gauge.gauge,
            label=gauge.label,
            calibration_due_on=gauge.calibration_due_on,
            is_overdue=gauge.calibration_due_on is not None and day > gauge.calibration_due_on,
            is_last_used=gauge.gauge == last,
        )
        for gauge in scene.facts.gauges.values()
        if gauge.is_active and quantity in gauge.quantities
    ]
    return tuple(sorted(found, key=lambda one: (not one.is_last_used, one.label, one.gauge)))
