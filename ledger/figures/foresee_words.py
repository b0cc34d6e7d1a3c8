"""How forecasts of minutes are worded."""

from __future__ import annotations

from ledger.figures.foresee_shapes import Calibration, FoldScore
from ledger.figures.labour_words import BenchNames
from ledger.figures.written import percent

AS_ASKED, OF_TIER, USUAL = "as asked", "as the tier's terms tell", "what it usually takes here"


def chance_words(chance: float) -> str:
    """Give a chance foreseen, in per cent: however small or great, it is never none or certain."""
    return percent(min(max(chance, 0.001), 0.999))


class ForeseeWords(BenchNames):
    """Words minutes and prices of jobs to come."""

    def minutes(self, minutes: float) -> str:
        """Give minutes, whole."""
        return self.count(round(minutes), "minute")

    def front(self, p50: float, p80: float, risk: float, price_minor: int | None) -> str:
        """Give the forecast in a sentence or two."""
        said = (
            f"Half of such jobs take up to {self.minutes(p50)}, "
            f"four in five up to {self.minutes(p80)}."
        )
        if price_minor is None:
            return f"{said} No labour rate is told, so there is no price."
        price = self.money(price_minor)
        return f"{said} At {price} for labour, {percent(risk)} would take more than is paid for."

    def notes(self, count: int, alike: int, usual: list[str], chance: float | None) -> list[str]:
        """Give what a forecast rests on."""
        said = [
            f"It rests on {self.count(count, 'closed job')}, {self.figure(alike)} of them alike; "
            "where few are alike it leans on the others."
        ]
        if usual:
            named = ", ".join(usual)
            said.append(f"No minutes were planned for {named}: taken as they usually take here.")
        if chance is not None:
            said.append(f"The chance that the price asked is not enough is {chance_words(chance)}.")
        return said

    def bench(self, left: float | None, worked: float, promised: float, p50: float) -> str:
        """Say whether today's bench can take it."""
        if left is None:
            return "No terms tell how many bench hours can be sold: whether it fits is not known."
        taken = f"{self.minutes(worked)} worked, {self.minutes(promised)} promised"
        if left <= 0:
            return f"Today's bench is full: {taken}."
        fits = "half of such jobs would fit" if p50 <= left else "most such jobs would not fit"
        return f"Today's bench has {self.minutes(left)} left ({taken}): {fits}."

    def calibration(self, of: Calibration) -> str:
        """Give how forecasts fared in a sentence."""
        if of.is_too_few or of.share_under_p50 is None or of.share_under_p80 is None:
            return "Too few jobs were closed to say how such forecasts would have fared."
        return (
            f"Of {self.count(of.count_scored, 'job')} foretold from what was known before, "
            f"{percent(of.share_under_p50)} took no more than P50 and "
            f"{percent(of.share_under_p80)} no more than P80."
        )

    def fold(self, fold: FoldScore) -> str:
        """Give the days of a fold."""
        return f"{self.day(fold.fitted_until)} to {self.day(fold.scored_until)}"
