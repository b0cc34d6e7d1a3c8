"""The plan: a tier or tasks with their minutes, the bike, the risk taken, a price to try."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import streamlit as st

from dashboard import filters
from dashboard.fault_address import NO_KEY
from dashboard.labour_worked import Plan
from dashboard.markup import as_words, capital, text
from dashboard.quote_address import (
    LEAST_RISK,
    LONGEST_MINUTES,
    MOST_RISK,
    OLD,
    OLDEST_YEARS,
    QuoteAsked,
    tasks_of,
    tasks_text,
)
from dashboard.views.time_shown import Shown

NOT_TOLD = "not told"


def plan_view(shown: Shown[QuoteAsked], plan: Plan) -> None:
    """Draw what can be planned; whatever is changed moves the address."""
    with st.container(key="plan"):
        st.html("<h2>The job</h2>")
        with st.container(key="plan_job"):
            _tier(shown, plan)
            _tasks(shown)
            _minutes(shown)
        st.html("<h2>The bike</h2>")
        with st.container(key="plan_bike"):
            _tag(shown)
            if not shown.asked.tag:
                _kind(shown)
                _age(shown)
        st.html("<h2>The price</h2>")
        with st.container(key="plan_price"):
            _risk(shown)
            _price(shown)


def _kept(key: str, value: Any, moved: Callable[[Any], None]) -> dict[str, Any]:
    """Give what ties a widget to the address: its key, its value, and what moves the address."""
    st.session_state[key] = value
    return {"key": key, "on_change": lambda: moved(st.session_state[key])}


def _planned() -> dict[str, float | None]:
    """Give the tasks that stand in the address by now."""
    return tasks_of(st.query_params.get("tasks", ""))


def _tier(shown: Shown[QuoteAsked], plan: Plan) -> None:
    tiers = [NO_KEY, *shown.words.vocabulary.tiers]
    st.selectbox(
        "Tier",
        tiers,
        format_func=lambda tier: "no tier" if tier == NO_KEY else capital(shown.say.tier(tier)),
        **_kept("plan-tier", plan.tier or NO_KEY, lambda tier: shown.go(tier=tier)),
    )


def _tasks(shown: Shown[QuoteAsked]) -> None:
    def moved(tasks: list[str]) -> None:
        kept = {task: _planned().get(task) for task in tasks}
        # an address with tasks alone means those alone: the tier shown is said with them
        tier = st.session_state["plan-tier"]
        shown.go(tasks=tasks_text(kept), tier=tier)

    st.multiselect(
        "Tasks on top",
        list(shown.words.vocabulary.tasks),
        format_func=lambda task: capital(shown.say.task(task)),
        placeholder="None",
        **_kept("plan-tasks", list(shown.asked.planned), moved),
    )


def _minutes(shown: Shown[QuoteAsked]) -> None:
    for task, told in shown.asked.planned.items():
        st.number_input(
            as_words(f"Minutes of {shown.say.task(task)}"),
            min_value=1,
            max_value=LONGEST_MINUTES,
            step=5,
            placeholder="the usual",
            **_kept(
                f"plan-minutes-{task}",
                None if told is None else int(told),
                lambda minutes, task=task: shown.go(tasks=tasks_text(_planned() | {task: minutes})),
            ),
        )


def _tag(shown: Shown[QuoteAsked]) -> None:
    st.text_input(
        "Tag of a bike that is known",
        placeholder="None",
        **_kept("plan-tag", shown.asked.tag,
                lambda tag: shown.go(tag=filters.fold_tag(tag), position="")),
    )  # fmt: skip


def _kind(shown: Shown[QuoteAsked]) -> None:
    st.selectbox(
        "Kind of bike",
        ["", *shown.words.vocabulary.bike_kinds],
        format_func=lambda kind: capital(shown.say.kind(kind)) if kind else capital(NOT_TOLD),
        **_kept("plan-kind", shown.asked.kind, lambda kind: shown.go(kind=kind)),
    )


def _age(shown: Shown[QuoteAsked]) -> None:
    """Offer the bike's age in years, or that nobody knows what it went through before."""
    years = ["", OLD, *(str(year) for year in range(OLDEST_YEARS + 1))]
    names = {"": capital(NOT_TOLD), OLD: "Came with an unknown history", "1": "1 year"}
    st.selectbox(
        "Known for",
        years,
        format_func=lambda age: names.get(age, f"{age} years"),
        **_kept("plan-age", shown.asked.age, lambda age: shown.go(age=age)),
    )


def _risk(shown: Shown[QuoteAsked]) -> None:
    st.slider(
        "Chance you take that it is not enough",
        LEAST_RISK,
        MOST_RISK,
        step=5,
        format="%d %%",
        **_kept("plan-risk", shown.asked.risk, lambda risk: shown.go(risk=risk)),
    )


def _price(shown: Shown[QuoteAsked]) -> None:
    digits = shown.say.settings.minor_digits
    value = float(shown.asked.price) if shown.asked.price else None
    st.number_input(
        f"A price for the labour to try, {text(shown.say.currency)}, net of tax",
        min_value=0.0,
        max_value=1e6,
        step=5.0,
        format=f"%.{digits}f",
        placeholder="None",
        **_kept("plan-price", value, lambda price: shown.go(price=_told(price, digits))),
    )


def _told(price: float | None, digits: int) -> str:
    return f"{Decimal(f'{price:.{digits}f}').normalize():f}" if price else ""
