"""How wear is worded: rates, what a part would measure now, gauges, and how good forecasts were."""

from __future__ import annotations

from collections.abc import Mapping

from ledger.analysis.backtest import Backtest, Score
from ledger.figures.wear import DueDates, Estimate, GaugeFigure, PartWear, RateFigure, WearReading
from ledger.figures.written import Written, percent
from ledger.settings import BookSettings
from ledger.vocabulary import Vocabulary, Word

PER = {"km": "per 1,000 km", "days": "per year"}
IN_DAYS = "No distance is known, so it is counted in days."
TOO_FAR = "not foretold"
AHEAD = "more than three years from now"
RATES_MEAN = (
    "Of the parts of a row, 80 % wear at a rate between the two figures in brackets. Rates by "
    "riding, model, place and point are each shrunk to the rate of all, the more the fewer parts."
)
GAUGES_MEAN = (
    "Bias: what a gauge shows too much, against the other gauges that read the same sort of part "
    "and against the figure of a new part; where it is the only one, it is not told. No master "
    "gauge stands behind it: what all gauges have in common cannot be seen. Gain: by what share "
    "it shows wear too large. Error: one standard deviation of a single reading."
)
BACKTEST_MEANS = (
    "Each reading was foretold from what the book held before it, and compared as its gauge "
    "showed it.",
    "Inside 80 %: share of the readings inside their 80 % interval; 80 % would be right, more is "
    "too cautious, less too sure.",
    "Bias: reading less forecast, in % of the way from new to the limit; above nought, parts wore "
    "faster than foretold.",
    "Loss: mean pinball loss at 10, 50 and 90 %, in % of that way; less is better. Beside it that "
    "of a line through the last two readings (or from new to the last), and of the fleet's mean "
    "rate, each with intervals from its own errors.",
)
ENOUGH_SCORED = 2000
"""Scored readings below which the figures are called rough."""


def family_words(words: Vocabulary, family: str) -> str:
    """Give what a family is called: `chain wear`, `pads, thickness`."""
    name, _, counted = family.partition(", ")
    if counted:
        return f"{family_words(words, name)}, counted in {counted}"
    sort, _, quantity = family.partition(" ")
    place, measured = words.positions.get(sort), words.quantities.get(quantity)
    label = place.label if place else sort.replace("_", " ")
    said = measured.label if measured else quantity
    return said if label in said else f"{label}, {said}"


def family_unit(words: Vocabulary, family: str) -> str:
    """Give the unit a family is measured in."""
    word = words.quantities.get(family.partition(" ")[2])
    return word.unit if word else ""


class WearWords(Written):
    """Words wear in the vocabulary, locale and time zone of one book."""

    def __init__(self, settings: BookSettings, words: Vocabulary) -> None:
        super().__init__(settings)
        self.words = words

    def around(self, value: Estimate | None, unit: str = "") -> str:
        """Give a figure with its 80 % interval in brackets."""
        if value is None or value.middle is None:
            return TOO_FAR
        ends = (TOO_FAR if end is None else self.rough(end) for end in (value.low, value.high))
        return f"{self.rough(value.middle, unit)} ({' to '.join(ends)})"

    # -- one part -----------------------------------------------------------------------------

    def title(self, part: PartWear) -> str:
        """Give what a part is: its place, what is measured, make and model."""
        position, quantity = self.words.positions.get(part.position), part.quantity
        place = position.label if position else part.position
        place = f"{place} ({part.point})" if part.point else place
        measured = self.words.quantities.get(quantity)
        return f"{place}, {measured.label if measured else quantity}"

    def reading(self, part: PartWear, read: WearReading) -> str:
        """Give one reading."""
        return self.span(read.value, read.low, read.high, part.unit)

    def gone(self, part: PartWear, read: WearReading) -> str:
        """Give how far the part had gone by a reading, and how sure that is."""
        unsure = f" ± {self.rough(read.exposure_error)}" if read.exposure_error >= 0.5 else ""
        return f"{self.figure(round(read.exposure))}{unsure} {part.exposure_unit}"

    def rate(self, part: PartWear) -> str:
        """Give how fast a part wears, and that it is counted in days where it is."""
        said = "Nothing tells yet how fast it wears."
        if part.rate is not None:
            said = f"Wears {self.around(part.rate, part.unit)} {PER[part.exposure_unit]}."
        return said if part.exposure_unit == "km" else f"{said} {IN_DAYS}"

    def now(self, part: PartWear) -> str:
        """Give what a part would measure now; nothing for one that is no longer fitted."""
        if part.now is None or part.exposure_now is None:
            return ""
        at = f"after about {self.rough(part.exposure_now)} {part.exposure_unit}"
        if part.direction < 0 and part.now.middle == 0:
            upper = self.rough(part.now.high or 0.0, part.unit)
            left = f"at most {upper} is left (9 in 10)" if part.now.high else "nothing is left"
            when = "By now" if part.is_fitted else "When it came off"
            return f"{when} worn through, by the line: {left}, {at}."
        when = "Would measure now" if part.is_fitted else "Measured when it came off, by the line,"
        return f"{when} {self.around(part.now, part.unit)}, {at}."

    def limit(self, part: PartWear) -> str:
        """Give the limit of a part and the chance that it is past it."""
        if part.limit is None:
            return "No limit is known."
        said = f"Limit {self.figure(part.limit, part.unit)}"
        if part.chance_past is None:
            return f"{said}."
        return f"{said}: {percent(part.chance_past)} chance of being past it."

    def due(self, part: PartWear) -> str:
        """Give when a part reaches its limit; nothing where that is not asked of it."""
        if part.due_in is None or part.due_on is None:
            return ""
        if part.due_in.middle == 0:
            return f"Due by now, more likely than not: {self.dates(part.due_on)}."
        if part.due_in.middle is None:
            return f"Due {self.dates(part.due_on)}."
        how_far = self.around(part.due_in, part.exposure_unit)
        return f"Due in {how_far}: {self.dates(part.due_on)}."

    def dates(self, on: DueDates) -> str:
        """Give the day of a limit with its 80 % interval, as far as any is foretold."""
        if on.early is None:
            return AHEAD
        if on.middle is None:
            return f"{AHEAD} (80 %: from {self.day(on.early)} on)"
        early, middle, late = (self.day(day) if day else AHEAD for day in
                               (on.early, on.middle, on.late))  # fmt: skip
        return f"{middle} (80 %: {early} to {late})"

    # -- the fleet ----------------------------------------------------------------------------

    def level(self, rate: RateFigure) -> str:
        """Give what a rate is of: all, a kind of riding, a model, a place or a point."""
        if rate.factor == "all":
            return "all"
        lists = {"riding": self.words.ridings, "position": self.words.positions}
        known: Mapping[str, Word] = lists.get(rate.factor, {})
        word = known.get(rate.level)
        return f"{rate.factor}: {word.label if word else rate.level}"

    def rate_of(self, rate: RateFigure) -> str:
        """Give a usual rate."""
        unit = family_unit(self.words, rate.family)
        return f"{self.around(rate.rate, unit)} {PER[rate.exposure_unit]}"

    def bias(self, gauge: GaugeFigure, *, is_alone: bool) -> str:
        """Give what a gauge adds, with its standard error where that is known."""
        if is_alone:
            return "not told: no other gauge"
        unsure = f" ± {self.rough(gauge.bias_error)}" if gauge.bias_error > 0 else ""
        return f"{self.signed(gauge.bias)}{unsure} {family_unit(self.words, gauge.family)}"

    def signed(self, value: float) -> str:
        """Give a figure with its sign."""
        said = self.rough(value)
        return said if said.startswith("-") or said == "0" else f"+{said}"

    # -- the backtest -------------------------------------------------------------------------

    def verdict(self, found: Backtest) -> str:
        """Say in a sentence how good the forecasts were."""
        total = found.total
        if total is None:
            return "The book holds too few readings of one part after another to score a forecast."
        said = (
            f"{self.figure(total.count)} readings scored: {percent(total.coverage)} lay inside "
            f"their 80 % interval; {self._against(total)}."
        )
        rough = f" Fewer than {self.figure(ENOUGH_SCORED)}: take these figures as rough."
        return said + (rough if total.count < ENOUGH_SCORED else "")

    def _against(self, score: Score) -> str:
        beaten = [
            f"{self._less(score.loss, loss)} than {name}"
            for loss, name in ((score.loss_line, "the line through the last two readings"),
                               (score.loss_fleet, "the fleet's mean rate"))
        ]  # fmt: skip
        return "the loss is " + " and ".join(beaten)

    def _less(self, loss: float, other: float) -> str:
        if other <= 0:
            return "no less"
        share = loss / other - 1
        return f"{abs(100 * share):.0f} % {'less' if share < 0 else 'more'}"
