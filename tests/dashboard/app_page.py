"""What the pages' tests read off a page."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from streamlit.dataframe_util import convert_arrow_bytes_to_pandas_df
from streamlit.testing.v1 import AppTest

from dashboard import newest

BROKEN = "This page could not be drawn"
Opener = Callable[..., AppTest]
"""(book, **what the address asks for) -> the app, run once."""


def shown(app: AppTest) -> str:
    """Give everything a page shows as HTML, one element a line; a page that broke fails.

    The fixed script that looks for newer entries is left out.
    """
    assert not app.exception, app.exception
    bodies = [element.proto.body for element in app.get("html")]
    page = "\n".join(body for body in bodies if not body.startswith("<style>"))
    assert BROKEN not in page, "see the log"
    return page.replace(newest.SCRIPT, "")


def chart_data(app: AppTest) -> Iterator[list[dict[str, Any]]]:
    """Give the rows of every data set of every chart."""
    for chart in app.get("vega_lite_chart"):
        for one in chart.proto.datasets:
            yield convert_arrow_bytes_to_pandas_df(one.data.data).to_dict("records")
