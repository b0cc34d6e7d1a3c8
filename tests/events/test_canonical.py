import json

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from ledger import events

WHAT_EVENTS_HOLD = st.recursive(
    st.text(st.characters(exclude_categories=["Cs"]))
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1),
    lambda inner: (
        st.lists(inner) | st.dictionaries(st.from_regex(r"[a-z_]{1,8}", fullmatch=True), inner)
    ),
)


@given(WHAT_EVENTS_HOLD)
def test_the_writer_of_canonical_bytes_agrees_with_a_library_of_rfc_8785(value):
    """Text, truth values and whole numbers come out as the rfc8785 package writes them."""
    assert events._CANONICAL.encode(value).encode() == rfc8785.dumps(value)


@pytest.mark.parametrize("kind", sorted(events.event_classes()))
def test_no_event_has_a_float_or_names_of_its_own(kind):
    """No payload has a number with a fraction or a free-form object: there RFC 8785 is subtle."""
    text = json.dumps(events.event_classes()[kind].model_json_schema())
    assert '"type": "number"' not in text
    assert '"additionalProperties": true' not in text
    assert '"additionalProperties": {' not in text
