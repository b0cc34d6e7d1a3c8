"""The choice at the bench in one line, and what it assumes in another."""

from __future__ import annotations

from ledger.analysis.bench_choice import Option
from ledger.figures.bench import BikeChoice, NoChoice
from ledger.figures.written import Written, percent
from ledger.money import words


class BenchWords(Written):
    """Words the choice over a worn chain in the locale, money and time zone of one book."""

    def line(self, found: BikeChoice | NoChoice) -> str:
        """Give what to do about the chain, each way priced, or why nothing is."""
        if isinstance(found, NoChoice):
            return f"Worn chain: what to do about it is not priced, {found.why}."
        ways = "; ".join(self._option(one) for one in found.choice.options)
        return f"Worn chain: {ways}. Least per km: {found.choice.cheapest}."

    def assumes(self, found: BikeChoice | NoChoice) -> str:
        """Give what the prices rest on; nothing where there are none."""
        if isinstance(found, NoChoice):
            return ""
        chain, teeth = self.day(found.chain_read_at), self.day(found.teeth_read_at)
        said = "; ".join(found.choice.assumptions)
        return f"Assumes the chain as read on {chain} and its sprockets on {teeth}; {said}."

    def _option(self, one: Option) -> str:
        prices = [
            f"{self.money(price)} {when}"
            for price, when in ((one.price_now, "now"), (one.price_later, "later"))
            if round(price)
        ]
        if one.chance_of_skipping is None:
            prices.append("chance of skipping not known")
        elif one.chance_of_skipping > 0:
            prices.append(f"{percent(one.chance_of_skipping)} chance of skipping")
        return f"{one.name} {', '.join(prices)}"

    def money(self, minor: float) -> str:
        """Give an amount in minor units as the book's people write money."""
        return words(round(minor), self.settings)
