"""How long each repair was followed for a come-back, and whether it came back meanwhile."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from ledger.figures.fault_arrays import Flags, Floats, flags, floats


def followed_days(repairs: pa.Table) -> tuple[Floats, Flags]:
    """Give the days each of REPAIRS was followed within its window, and whether it came back.

    Followed until it came back, its window had run out, or observation ended. Where distance is
    known, the window runs out after its days or its kilometres, whichever is later, at the pace
    the bike was ridden. A come-back that was only said or judged counts at the end.
    """
    days, km = floats(repairs["days_followed"]), floats(repairs["km_followed"])
    is_come_back = flags(repairs["is_come_back"])
    window = window_days(repairs, days, km)
    is_timed = is_come_back & flags(repairs["is_found_again"])
    return np.where(is_timed, days, np.minimum(days, window)), is_come_back


def window_days(repairs: pa.Table, days: Floats, km: Floats) -> Floats:
    """Give how many days after each repair its window runs out."""
    least = floats(repairs["window_days"])
    is_ridden = (km > 0) & (days > 0)
    pace = np.where(is_ridden, km, 1.0) / np.where(is_ridden, days, 1.0)
    by_distance = np.where(is_ridden, floats(repairs["window_km"]) / pace, 0.0)
    return np.asarray(np.maximum(least, by_distance))


def expected_come_backs(group: np.ndarray, time: Floats, is_event: Flags) -> Floats:
    """Give how many come-backs each repair could expect while it was followed.

    That is its group's cumulative hazard (Nelson and Aalen) at its whole days; over a group these
    add up to its come-backs.
    """
    day = np.floor(time).astype(np.int64)
    width = int(day.max(initial=0)) + 1
    key = group * width + day
    count = (int(group.max(initial=0)) + 1) * width
    left = np.bincount(key, minlength=count).reshape(-1, width)
    events = np.bincount(key, weights=is_event, minlength=count).reshape(-1, width)
    at_risk = np.cumsum(left[:, ::-1], axis=1)[:, ::-1]
    hazard = np.cumsum(events / np.maximum(at_risk, 1), axis=1)
    return np.asarray(hazard.ravel()[key])
