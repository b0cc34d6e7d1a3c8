"""Every bike's state from its live events, in arrays: the relations of a view, all bikes at once.

Each fold gives the rows of one relation in `ledger/sql/`, worked out by sorts of whole numbers in
place of joins and windows over texts; tests hold both equal, and both to the fold in plain Python.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pyarrow as pa

from ledger.engines.every.columns import (
    Choice,
    Numbers,
    codes_of,
    figures,
    found_in,
    is_one_of,
    is_true,
    key_of,
    later,
    told,
    whole,
)
from ledger.engines.every.rows import Answer, Distances, Effects, Happened, Reached, Rows
from ledger.storage.schema import FIGURE

States = Mapping[str, pa.Table]
"""By name of `ledger.engines.views.RELATIONS`: rows of some bikes, by bike; all are of one shop."""
LONGEST_FIRST = ("standing_figures", "fitted_parts", "open_jobs", "bike_summary", "open_faults",
                 "open_findings", "open_advice")  # fmt: skip
"""The relations, the one that takes longest first: two at a time, they end together."""


class Fold:
    """The parts of some bikes' live events, and what is folded of them."""

    def __init__(self, rows: Mapping[str, Rows], counts: pa.Table, effects: Effects) -> None:
        """`rows` are by name of a part; `counts` has bike, sorted, and events_used of each."""
        self._counts = counts
        self.bikes = whole(counts["bike"])
        self._rows = rows
        positions = [self._rows[name]["position"] for name in ("moves", "figures", "looks")]
        self._reached = Reached(effects, *positions)
        self._distances = Distances(self._rows["readings"])
        self._worked = self._work()
        self._replaced = self._worked.reaching(self._reached, "within")

    def _work(self) -> Happened:
        """Give where parts were last fitted (not found) or removed."""
        rows = self._rows["moves"]
        is_work = rows.kinds("part_removed") | ~is_true(rows["is_found"])
        position = self._reached.codes(rows["position"])
        columns = rows.bike, position, rows.at, rows.seq
        return Happened(*(one[is_work] for one in columns))

    def bike_summary(self) -> pa.Table:
        """Give who rides each bike and how, how far it has gone, and how many events it has."""
        rows, every = self._rows["told"], np.arange(len(self.bikes))
        people = rows.last(rows.bike, rows.kinds("rider_changed"))
        riding = rows.last(rows.bike, told(rows["riding"]))
        place, is_read = self._distances.last(every)
        told_of = {
            **rows.looked_up(rows.bike, people, every, "rider", "keeper"),
            **rows.looked_up(rows.bike, riding, every, "riding"),
        }
        km = figures(self._distances.km_at(place), is_read, FIGURE)
        counts = whole(self._counts["events_used"])
        return Answer(self.bikes, every, **told_of, distance_km=km, events_used=counts).table

    def fitted_parts(self) -> pa.Table:
        """Give the part at each position, since when, and how far it has gone since."""
        rows = self._rows["moves"]
        last = rows.last(key_of(rows.bike, rows.codes("position")))
        last = last[rows.kinds("part_fitted")[last]]
        bike, is_known = rows.bike[last], ~is_true(rows["is_found"])[last]
        before, was_read = self._distances.before(bike, rows.at[last], rows.seq[last])
        now, _ = self._distances.last(bike)
        gone = self._distances.km_at(now) - self._distances.km_at(before)
        columns = rows.taken(last, position="position", part="part", make="make", model="model")
        fitted_at = _where(rows["occurred_at"].take(pa.array(last)), is_known)
        km = figures(gone, is_known & was_read, FIGURE)
        return Answer(
            self.bikes, bike, **columns, fitted_at=fitted_at, distance_since_fitted_km=km
        ).table

    def standing_figures(self) -> pa.Table:
        """Give readings and settings that nothing has replaced or voided since."""
        rows = self._rows["figures"]
        kind, position = rows.codes("kind"), self._reached.codes(rows["position"])
        quantity, is_adjusted = rows.codes("quantity"), rows.kinds("adjusted")
        is_figure = ~is_adjusted | (told(rows["quantity"]) & told(rows["value"]))
        key = key_of(rows.bike, kind, position, quantity, rows.codes("point"))
        last = rows.last(key, is_figure)
        places = (rows.bike[last], position[last], rows.at[last], rows.seq[last])
        is_torque = is_one_of(rows["quantity"], ["torque"])
        is_void = (is_adjusted & is_torque)[last] & self._disturbed(
            rows, position, is_adjusted, is_torque
        ).after(*places)
        stands = ~self._replaced.after(*places) & ~is_void
        last = last[stands]
        names = ("kind", "position", "quantity", "point", "value", "value_low", "value_high",
                 "unit", "limit_value", "verdict", "id", "occurred_at")  # fmt: skip
        columns = rows.taken(last, **{name: name for name in names})
        return Answer(self.bikes, rows.bike[last], **columns).table

    def _disturbed(
        self, rows: Rows, position: Numbers, is_adjusted: Choice, is_torque: Choice
    ) -> Happened:
        """Give where work last voided a torque without replacing what it was of."""
        columns = rows.bike, position, rows.at, rows.seq
        turned, other = (
            Happened(*(one[choice] for one in columns))
            for choice in (is_adjusted, is_adjusted & ~is_torque)
        )
        hidden = self._worked.joined(turned).reaching(self._reached, "hidden by")
        return hidden.joined(other)

    def open_faults(self) -> pa.Table:
        """Give the faults that were found and not put right since."""
        rows = self._rows["marks"]
        key = key_of(rows.bike, rows.codes("fault_position"), rows.codes("fault"))
        is_look = rows.kinds("inspected")
        is_closing = rows.kinds("part_fitted", "part_removed", "adjusted", "treated") | (
            is_look & is_one_of(rows["verdict"], ["within limit"])
        )
        is_opening = rows.kinds("diagnosed") | (
            is_look & is_one_of(rows["verdict"], ["watch", "due", "unsafe"])
        )
        closed = rows.last(key, is_closing)
        place, was_closed = found_in(key[closed], key)
        if len(closed):
            ended = closed[place]
            is_opening &= ~was_closed | later(rows.at, rows.seq, rows.at[ended], rows.seq[ended])
        last = rows.last(key, is_opening)
        first = rows.first(key, is_opening)
        judged = rows.last(key, is_opening & is_look)
        explained = rows.last(key, is_opening & told(rows["cause"]))
        columns = {
            **rows.taken(first, position="fault_position", fault="fault"),
            **rows.looked_up(key, explained, key[last], "cause"),
            **rows.looked_up(key, judged, key[last], "verdict"),
            **rows.taken(first, found_at="occurred_at", id="id"),
        }
        return Answer(self.bikes, rows.bike[first], **columns).table

    def open_findings(self) -> pa.Table:
        """Give the positions whose last look named no fault and judged due or unsafe."""
        rows = self._rows["looks"]
        position = self._reached.codes(rows["position"])
        last = rows.last(key_of(rows.bike, position))
        last = last[is_one_of(rows["verdict"], ["due", "unsafe"])[last]]
        replaced = self._replaced.after(
            rows.bike[last], position[last], rows.at[last], rows.seq[last]
        )
        last = last[~replaced]
        columns = rows.taken(
            last, position="position", verdict="verdict", found_at="occurred_at", id="id"
        )
        return Answer(self.bikes, rows.bike[last], **columns).table

    def open_advice(self) -> pa.Table:
        """Give advice whose last answer is not yes or no."""
        rows = self._rows["advice"]
        named = pa.compute.coalesce(rows["target_id"], rows["id"]).dictionary_encode()
        key = key_of(rows.bike, codes_of(named))
        given = rows.last(key, rows.kinds("advised"))
        answered = rows.last(key, rows.kinds("advice_answered"))
        answer = rows.looked_up(key, answered, key[given], "outcome")["outcome"]
        columns = {
            "id": named.take(pa.array(given)).cast(named.type.value_type),
            **rows.taken(given, position="position", verdict="verdict", urgency="outcome",
                         advised_at="occurred_at"),
            "answer": answer,
        }  # fmt: skip
        rest = Answer(self.bikes, rows.bike[given], **columns)
        return rest.where(~is_one_of(answer, ["yes", "no"]))

    def open_jobs(self) -> pa.Table:
        """Give the visits that have not ended, and what each waits for."""
        rows = self._rows["jobs"]
        key = key_of(rows.bike, rows.codes("job"))
        opened = rows.last(key, rows.kinds("job_opened"))
        _, is_closed = found_in(np.unique(key[rows.kinds("job_closed")]), key[opened])
        opened = opened[~is_closed]
        paused = rows.last(key, rows.kinds("job_held", "job_resumed"))
        held = paused[rows.kinds("job_held")[paused]]
        columns = {
            **rows.taken(opened, job="job", tier="tier", opened_at="occurred_at",
                         promised_at="promised_at"),
            "waiting_for": rows.looked_up(key, held, key[opened], "outcome")["outcome"],
        }  # fmt: skip
        return Answer(self.bikes, rows.bike[opened], **columns).table


def _where(column: pa.Array, choice: Choice) -> pa.Array:
    return pa.compute.if_else(pa.array(choice), column, pa.scalar(None, column.type))
