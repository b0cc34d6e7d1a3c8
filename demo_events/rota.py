"""Who works on what, when: a queue of jobs, mechanics at the bench, waits that end."""

from __future__ import annotations

import heapq
from random import Random

from demo_events.days import (
    COUNT_DAYS,
    MIDNIGHTS,
    WEEKDAYS,
    capacity_minutes,
    open_day,
    windows,
)
from demo_events.visit import Slot, Steps

OVERTIME = 15 * 60
BOOKED_SHARE = 0.9
"""How full a day is booked ahead; the rest is left for who rolls in."""


class Rota:
    """Drives the jobs' coroutines through the bench days."""

    def __init__(self, mechanics: tuple[str, ...]) -> None:
        self.mechanics = mechanics
        self.booked = [0] * (COUNT_DAYS + 400)
        self.waiting: list[tuple[int, int, Steps]] = []
        """Jobs that wait until an instant: an answer, a part, a pick-up, their day."""
        self.queue: list[tuple[int, int, int, int, Steps]] = []
        """(0 under way, 1 urgent, 2 booked; order; ready from; minutes needed; job)."""
        self._count = 0

    def find_slot(self, day: int, minutes: int, is_urgent: bool) -> int:
        """Book minutes on the first day with room for them; gives the day."""
        fill = 1.1 if is_urgent else BOOKED_SHARE
        while True:
            day = open_day(day)
            room = capacity_minutes(day)
            is_first = self.booked[day] == 0 and minutes <= room
            if is_first or self.booked[day] + minutes <= fill * room:
                self.booked[day] += minutes
                return day
            day += 1

    def desk_moment(self, rng: Random, day: int) -> int:
        """Give a moment of an open day when somebody calls or rolls in."""
        if WEEKDAYS[day] == 5:
            return MIDNIGHTS[day] + 9 * 3600 + 600 + int(rng.random() * 5 * 3600)
        return MIDNIGHTS[day] + 8 * 3600 + 2400 + int(rng.random() ** 1.5 * 7 * 3600)

    def drop_off(self, rng: Random, day: int) -> int:
        """Give when a booked bike is brought on its day."""
        hour = 9 if WEEKDAYS[day] == 5 else 8
        return MIDNIGHTS[day] + hour * 3600 + 600 + int(rng.random() * 3000)

    def later(self, rng: Random, instant: int) -> int:
        """Give the instant itself if the desk is open then, else soon after it opens again."""
        day = day_of(instant)
        second = instant - MIDNIGHTS[day]
        if open_day(day) == day and 9 * 3600 <= second <= 16 * 3600:
            return instant
        day = open_day(day + 1 if second > 9 * 3600 else day)
        return MIDNIGHTS[day] + 9 * 3600 + int(rng.random() * 5400)

    def start(self, steps: Steps, ready: int, is_urgent: bool) -> None:
        """Take a job on, from the moment it is booked in."""
        self._take(steps, next(steps), ready, 1 if is_urgent else 2)

    def _take(self, steps: Steps, asked: tuple[str, int], ready: int, priority: int) -> None:
        self._count += 1
        what, figure = asked
        if what == "wait":
            heapq.heappush(self.waiting, (figure, self._count, steps))
        else:
            self.queue.append((priority, self._count, ready, figure, steps))
            self.queue.sort()

    def work_day(self, day: int) -> None:
        """Work one open day through."""
        benches = [(windows(bench, day)[0][0], bench) for bench in range(3) if windows(bench, day)]
        heapq.heapify(benches)
        while benches:
            clock, bench = heapq.heappop(benches)
            self._resume(clock)
            free_at = self._work(clock, bench, day)
            if free_at:
                heapq.heappush(benches, (free_at, bench))
        self._resume(MIDNIGHTS[day + 1] - 1)

    def _resume(self, until: int) -> None:
        while self.waiting and self.waiting[0][0] <= until:
            moment, _, steps = heapq.heappop(self.waiting)
            self._send(steps, None, moment)

    def _send(self, steps: Steps, slot: Slot | None, moment: int) -> None:
        try:
            asked = steps.send(slot)
        except StopIteration:
            return
        self._take(steps, asked, moment, 0)

    def _work(self, clock: int, bench: int, day: int) -> int:
        """Do one piece of work, or idle; gives when the mechanic is free again, 0 for tomorrow."""
        for place, (_, _, ready, minutes, steps) in enumerate(self.queue):
            if ready > clock:
                continue
            slot = self._slot(clock, bench, day, minutes)
            if slot is not None:
                del self.queue[place]
                self._send(steps, slot, slot.end)
                return slot.end
        return self._idle(clock, bench, day)

    def _slot(self, clock: int, bench: int, day: int, minutes: int) -> Slot | None:
        morning, afternoon = windows(bench, day)
        start = clock if clock < morning[1] else max(clock, afternoon[0])
        end = start + minutes * 60
        has_break = start < morning[1] < end
        if has_break:
            end += afternoon[0] - morning[1]
        if end > afternoon[1] + OVERTIME:
            return None
        return Slot(self.mechanics[bench], start, end, minutes, has_break)

    def _idle(self, clock: int, bench: int, day: int) -> int:
        close = windows(bench, day)[1][1]
        coming = [ready for _, _, ready, _, _ in self.queue if ready > clock]
        if self.waiting:
            coming.append(max(clock + 60, self.waiting[0][0]))
        moment = min(coming, default=close)
        return moment if moment < close else 0


def day_of(instant: int) -> int:
    """Give the day an instant falls on in the shop's time zone."""
    day = (instant - MIDNIGHTS[0]) // 86_400
    return (
        day + 1 if instant >= MIDNIGHTS[day + 1] else day if instant >= MIDNIGHTS[day] else day - 1
    )
