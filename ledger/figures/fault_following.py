"""How long each repair was followed for a come-back, and whether it came back meanwhile."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from ledger.figures.fault_arrays import Flags, Floats, days, flags, floats, micros


def followed_days(repairs: pa.Table) -> tuple[Floats, Flags]:
    """Give the days each of REPAIRS was followed within its window, and whether it came back.

    Followed until it came back, its window had run out, or observation ended. Where distance is
    known, the window runs out after its days or its kilometres, whichever is later, at the pace
    the bike was ridden. A come-back that was only said or judged counts at the end.
    """
    gone, km = floats(repairs["days_followed"]), floats(repairs["km_followed"])
    is_come_back = flags(repairs["is_come_back"])
    window = window_days(repairs, gone, km)
    is_timed = is_come_back & flags(repairs["is_found_again"])
    return np.where(is_timed, gone, np.minimum(gone, window)), is_come_back


def followed_to_the_end(repairs: pa.Table) -> tuple[Floats, Flags]:
    """Give the same with every repair followed to the last event of all its bikes.

    What nobody came in for until then has not come back to anybody's knowledge. A come-back is
    itself a contact: where some riders return less often than others, following each bike to its
    own last contact would count nearly only what came back of theirs.
    """
    time, is_come_back = followed_days(repairs)
    is_timed = is_come_back & flags(repairs["is_found_again"])
    end = micros(repairs["observed_until"]).max(initial=0)
    watched = days(end - micros(repairs["put_right_at"]))
    window = window_days(repairs, floats(repairs["days_followed"]), floats(repairs["km_followed"]))
    return np.where(is_timed, time, np.minimum(watched, window)), is_come_back


def window_days(repairs: pa.Table, gone: Floats, km: Floats) -> Floats:
    """Give how many days after each repair its window runs out, after `gone` days and `km`."""
    least = floats(repairs["window_days"])
    is_ridden = (km > 0) & (gone > 0)
    pace = np.where(is_ridden, km, 1.0) / np.where(is_ridden, gone, 1.0)
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
