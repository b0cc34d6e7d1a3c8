"""The text of a guessed mapping: TOML, section by section, with what has to be asked in it."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import dataclass
from typing import Any

from ledger.exchange.columns import Column, DateForms
from ledger.exchange.figures import CURRENCY_SIGNS
from ledger.exchange.words import plain_form
from ledger.settings import BookSettings

_CURRENCIES = {"€": "EUR", "£": "GBP", "¥": "JPY", "₹": "INR"}
_FIGURES = ("odometer", "price", "minutes", "hours", "chain_wear", "chain_length")
Roles = dict[str, str]
"""What a column holds (`odometer`) -> its name."""


@dataclass(frozen=True, slots=True)
class Guess:
    """A mapping to confirm, and what a person has to say first."""

    toml: str
    questions: tuple[str, ...]
    roles: Roles


class MappingDraft:
    """Writes the TOML of a mapping, section by section, and gathers what has to be asked."""

    def __init__(
        self,
        roles: Roles,
        columns: dict[str, Column],
        dates: DateForms,
        settings: BookSettings,
        actor: str,
        treatments: dict[str, list[str]],
    ) -> None:
        self._roles = roles
        self._columns = columns
        self._dates = dates
        self._settings = settings
        self._actor = actor
        self._treatments = treatments
        self._questions: list[str] = []
        self._lines: list[str] = []

    def guess(self) -> Guess:
        """Give the whole mapping."""
        self._say("# Guessed from the file. Read it through, mend it, then import with it.")
        self._when()
        self._numbers()
        self._money()
        self._bike()
        self._who()
        self._events()
        return Guess("\n".join(self._lines) + "\n", tuple(self._questions), self._roles)

    def _say(self, *lines: str) -> None:
        self._lines += lines

    def _ask(self, question: str) -> None:
        self._questions.append(question)
        self._say(f"# ? {question}")

    def _when(self) -> None:
        self._say("", "[when]")
        if "date" not in self._roles:
            self._ask("Which column holds the date? No head says so.")
            self._say('column = ""')
            return
        self._say(f"column = {quoted(self._roles['date'])}")
        forms = self._dates.chosen()
        if self._dates.is_unsure():
            count = self._dates.count - self._dates.count_iso
            self._ask(f"Day before month, or after it? Both read all {count} rows. Keep one form.")
        if forms:
            self._say(f"formats = [{', '.join(map(quoted, forms))}]")
        if self._is_clock():
            self._say(f"time_column = {quoted(self._roles['time'])}")
        self._say(f"time_zone = {quoted(self._settings.time_zone)}")

    def _is_clock(self) -> bool:
        seen = self._columns.get("time")
        clocks = seen and [c for c in seen.distinct if re.fullmatch(r"\d{1,2}[:.h]\d\d.*", c)]
        return bool(seen and clocks and len(clocks) == len(seen.distinct))

    def _numbers(self) -> None:
        seen = [self._columns[role] for role in _FIGURES if role in self._columns]
        decimal = sum((column.decimal for column in seen), Counter[str]())
        thousands = sum((column.thousands for column in seen), Counter[str]())
        unsure = sum((column.unsure for column in seen), Counter[str]())
        sign = max(".,", key=lambda one: decimal[one] + thousands["." if one == "," else ","])
        other = "." if sign == "," else ","
        self._say("", "[numbers]")
        if decimal["."] and decimal[","]:
            self._ask("Figures have both 1.5 and 1,5. Rows with the other sign will be rejected.")
        if unsure[sign] and not decimal[sign] and not thousands[other]:
            self._ask(f"Is '1{sign}234' one and a bit, or more than a thousand? Mend if need be.")
            sign, other = other, sign
        grouped = other if thousands[other] or unsure[other] else ""
        spaces = [one for one in " '" if thousands[one]]
        self._say(
            f"decimal = {quoted(sign)}", f"thousands = {quoted(grouped or ''.join(spaces[:1]))}"
        )

    def _money(self) -> None:
        if "price" not in self._roles:
            return
        signs = {s for cell in self._columns["price"].distinct for s in CURRENCY_SIGNS if s in cell}
        currencies = {_CURRENCIES[sign] for sign in signs if sign in _CURRENCIES}
        currency = currencies.pop() if len(currencies) == 1 else self._settings.currency
        self._say("", "[money]")
        if currency != self._settings.currency:
            self._ask(f"Prices look like {currency}; the book is in {self._settings.currency}.")
        self._say(f"currency = {quoted(currency)}")
        self._say('tax_rate = "0"        # as a fraction, where the prices include tax: "0.21"')

    def _bike(self) -> None:
        self._say("", "[bike]")
        known = [self._roles[role] for role in ("make", "model", "owner") if role in self._roles]
        if "tag" in self._roles:
            self._say(f"tag = {quoted(self._roles['tag'])}")
        elif known:
            self._say("# These together tell one bike from another:")
            self._say(f"key = [{', '.join(map(quoted, known))}]")
        else:
            self._ask("Which columns tell one bike from another? No head says so.")
            self._say("key = []")
        self._fields("bike.fields", {role: role for role in ("make", "model")})

    def _fields(self, table: str, roles: dict[str, str]) -> None:
        found = {path: self._roles[role] for path, role in roles.items() if role in self._roles}
        if found:
            self._say(
                f"[{table}]", *(f"{_k(path)} = {quoted(name)}" for path, name in found.items())
            )

    def _who(self) -> None:
        self._say("", "[actor]")
        if "mechanic" not in self._roles:
            self._say(f"value = {quoted(self._actor)}")
            return
        names = [name for name, _ in self._columns["mechanic"].distinct.most_common(12)]
        unnamed = [name for name in names if not re.fullmatch(r"m\d+", name)]
        self._say(
            f"column = {quoted(self._roles['mechanic'])}", f"otherwise = {quoted(self._actor)}"
        )
        if unnamed:
            pairs = (f"{_k(name)} = {quoted(f'm{i}')}" for i, name in enumerate(unnamed, start=1))
            self._say(f"words = {{ {', '.join(pairs)} }}    # ids, so that names stay out of it")

    # -- events ------------------------------------------------------------------------

    def _events(self) -> None:
        has_job = bool({"job", "complaint", "minutes", "hours", "price", "work"} & set(self._roles))
        if "job" in self._roles:
            self._say("", "[job]", f"column = {quoted(self._roles['job'])}")
        if has_job:
            self._event(
                "job_opened", None, {"complaint": self._column("complaint")}, "always = true"
            )
            self._tier()
        self._readings()
        self._work()
        if "parts" in self._roles:
            parts = self._roles["parts"]
            fields = {"position": {"column": parts, "find": "positions"}, "model": parts}
            self._event("part_fitted", None, fields, f"each = {quoted(parts)}")
        self._labour()
        if has_job:
            lines = {"lines.net_minor": self._column("price"), "note": self._column("work")}
            self._event("job_closed", None, lines, "always = true")

    def _tier(self) -> None:
        """Show how the tier would be mapped: which tiers there are is the shop's to say."""
        if "tier" in self._roles:
            cells = [cell for cell, _ in self._columns["tier"].distinct.most_common(6)]
            pairs = ", ".join(f"{_k(cell)} = {quoted(_code(cell))}" for cell in cells)
            column = quoted(self._roles["tier"])
            self._say("# Once the shop's terms have these tiers (terms_set), put this in:")
            self._say(f"# tier = {{ column = {column}, words = {{ {pairs} }} }}")

    def _readings(self) -> None:
        if "odometer" in self._roles:
            source = {"column": self._roles["odometer"], "unit": self._distance_unit()}
            self._event("distance_read", "odometer", {"odometer": source})
        for role, quantity, unit in (
            ("chain_wear", "elongation", "%"),
            ("chain_length", "roller_span", "mm"),
        ):
            fields: dict[str, Any] = {
                "position": {"value": "chain"},
                "quantity": {"value": quantity},
            }
            self._event("measured", role, {**fields, "value": self._column(role, unit=unit)})
        for side in ("front", "rear"):
            role = f"{side}_pressure"
            fields = {
                "position": {"value": f"{side}_wheel.tyre"},
                "quantity": {"value": "pressure"},
            }
            after = self._column(role, unit=self._pressure_unit(role))
            self._event("adjusted", role, {**fields, "after": after})

    def _work(self) -> None:
        if "work" not in self._roles:
            return
        work = self._roles["work"]
        for treatment, words in self._treatments.items():
            listed = ", ".join(map(quoted, words))
            fields = {
                "treatment": {"value": treatment},
                "position": {"column": work, "find": "positions", "or_skip": True},
            }
            contains = f"contains = {{ {_k(work)} = [{listed}] }}"
            self._event("treated", None, fields, f"each = {quoted(work)}", contains)

    def _labour(self) -> None:
        role = "minutes" if "minutes" in self._roles else "hours"
        if "time" in self._roles and not self._is_clock() and role not in self._roles:
            self._roles["minutes"], role = self._roles["time"], "minutes"
        hours = {"in_hours": True} if role == "hours" else {}
        fields = {"task": {"value": "other"}, "minutes": self._column(role, **hours)}
        self._event("labour_logged", role, fields)

    def _column(self, role: str, **more: Any) -> Any:
        if role not in self._roles:
            return None
        return {"column": self._roles[role], **more} if more else self._roles[role]

    def _event(self, kind: str, role: str | None, fields: dict[str, Any], *more: str) -> None:
        """Write one event, unless the column of the role it is about is not there."""
        if role is not None and role not in self._roles:
            return
        needs = [f"needs = [{quoted(self._roles[role])}]"] if role else []
        self._say("", "[[event]]", f"kind = {quoted(kind)}", *needs, *more)
        said = {path: source for path, source in fields.items() if source is not None}
        if said:
            self._say("[event.fields]", *(f"{_k(path)} = {_source(s)}" for path, s in said.items()))

    def _distance_unit(self) -> str:
        head = plain_form(self._roles["odometer"])
        cells = " ".join(self._columns["odometer"].distinct)
        return "mi" if re.search(r"\bmi(les?)?\b|mileage", f"{head} {cells.lower()}") else "km"

    def _pressure_unit(self, role: str) -> str:
        if role not in self._roles:
            return "bar"
        seen = f"{self._roles[role]} {' '.join(self._columns[role].distinct)}".lower()
        return "psi" if "psi" in seen else "kPa" if "kpa" in seen else "bar"


def quoted(text: str) -> str:
    """Give TOML's basic string, which JSON's form is too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _k(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else quoted(key)


def _source(source: Any) -> str:
    if isinstance(source, str):
        return quoted(source)
    pairs = (f"{key} = {_value(value)}" for key, value in source.items())
    return f"{{ {', '.join(pairs)} }}"


def _value(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else quoted(value)


def _about(position: str, quantity: str) -> dict[str, Any]:
    return {"position": {"value": position}, "quantity": {"value": quantity}}


def _code(cell: str) -> str:
    """Give a code for what a cell calls something: `Full service` is `full_service`."""
    return re.sub(r"[^a-z0-9]+", "_", plain_form(cell)).strip("_")[:48] or "tier"
