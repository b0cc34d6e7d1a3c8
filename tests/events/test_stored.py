"""Stored events made without validating again are the ones validation gives."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from ledger.events import canonical_bytes, event_classes, parse_event, stored
from ledger.events.stored import stored_event
from tests.strategies import Life, lives


def same(one: BaseModel, other: BaseModel) -> bool:
    return one == other and one.model_fields_set == other.model_fields_set


@settings(max_examples=20, deadline=None)
@given(lives(most_events=30))
def test_what_was_stored_is_made_as_validation_makes_it(life: Life) -> None:
    """Every field, default and type; and it is written as the same bytes again."""
    for event in life.events:
        content = canonical_bytes(event)
        made = stored_event(json.loads(content))
        assert same(made, parse_event(json.loads(content)))
        assert type(made.occurred_at) is type(event.occurred_at)
        assert canonical_bytes(made) == content


@pytest.mark.parametrize("kind", sorted(event_classes()))
def test_every_kind_can_be_made(kind: str) -> None:
    """None falls back to validation for a type that is not known here."""
    shape = event_classes()[kind]
    stored._plan(shape)
    payload = shape.model_fields["data"].annotation
    assert isinstance(payload, type)
    stored._plan(payload)


@settings(max_examples=40, deadline=None)
@given(lives(most_events=8), st.data())
def test_another_shape_is_told_as_validation_tells_it(life: Life, data: Any) -> None:
    """A field too many, one missing, or no object where one belongs: the same error."""
    raw = json.loads(canonical_bytes(data.draw(st.sampled_from(life.events))))
    harmed = copy.deepcopy(raw)
    place = harmed if data.draw(st.booleans()) else harmed["data"]
    name = data.draw(st.sampled_from(sorted(place)))
    harm = data.draw(st.sampled_from(["gone", "more", "text"]))
    if harm == "gone":
        del place[name]
    elif harm == "more":
        place["unheard_of"] = 1
    else:
        place = harmed
        harmed["data"] = "text"
    try:
        expected = parse_event(copy.deepcopy(harmed))
    except ValidationError as error:
        with pytest.raises(ValidationError) as told:
            stored_event(harmed)
        assert told.value.errors() == error.errors()
    else:
        assert same(stored_event(harmed), expected)
