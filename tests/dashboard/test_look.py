"""The palette, the figures as a locale writes them, the markup and the charts' data."""

from __future__ import annotations

import socket
import tomllib
from datetime import UTC, datetime
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from dashboard import charts, launch, markup, theme
from dashboard.chart_theme import config
from dashboard.entries import Point
from dashboard.formats import Formats, find_locale

ROOT = Path(__file__).parents[2]
THEMES = {"light": theme.LIGHT, "dark": theme.DARK}
WEAR = charts.Scale("%", "above")
TEXTS = ("ink", "soft", "accent", "within", "watch", "due", "unsafe", "unchecked")


def formats(locale: str) -> Formats:
    """Give the writing of a book in Lisbon."""
    return Formats(find_locale(locale), ZoneInfo("Europe/Lisbon"))


def test_contrast_is_as_published() -> None:
    """Black on white is 21 to 1, and #767676 on white is the grey that just passes 4.5.

    Source: WCAG 2.2, contrast (minimum), and its note on #767676.
    """
    assert theme.contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=1e-9)
    assert theme.contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("name", THEMES)
def test_every_text_passes_aa(name: str) -> None:
    """Each text colour has at least 4.5 to 1 on each ground it can stand on (WCAG 2.2 AA)."""
    palette = THEMES[name]
    for colour in TEXTS:
        for ground in ("paper", "sheet", "groove"):
            assert theme.contrast(palette[colour], palette[ground]) >= 4.5, (colour, ground)
    assert theme.contrast(palette["on_unsafe"], palette["unsafe"]) >= 4.5
    assert theme.contrast(palette["on_accent"], palette["accent"]) >= 4.5
    assert theme.contrast(palette["edge"], palette["paper"]) >= 3


@pytest.mark.parametrize("name", THEMES)
def test_graver_verdicts_stand_out_more(name: str) -> None:
    """Contrast against the sheet grows with every step, so lightness alone tells the order."""
    palette = THEMES[name]
    steps = [theme.contrast(palette[verdict], palette["sheet"]) for verdict in theme.SEVERITY]
    assert steps == sorted(steps)
    assert all(after / before > 1.15 for before, after in pairwise(steps))


def test_settings_file_and_command_line_are_equal() -> None:
    """What `lockring dashboard` hands the server is what the settings file says."""
    told: dict[str, str] = {}
    for section, options in tomllib.loads((ROOT / ".streamlit/config.toml").read_text()).items():
        for name, value in options.items():
            inner = value.items() if isinstance(value, dict) else [("", value)]
            for below, said in inner:
                shown = str(said).lower() if isinstance(said, bool) else str(said)
                told[f"{section}.{name}{'.' if below else ''}{below}"] = shown
    assert told == launch.options(8501, open_browser=False)


def test_server_listens_here_alone() -> None:
    """The command binds 127.0.0.1 and hands the book over as a whole path."""
    words = launch.command("some book", 8600, open_browser=False)
    assert "--server.address=127.0.0.1" in words
    assert words[-2:] == ["--", str(Path("some book").resolve())]


def test_figures_and_dates_as_the_locale_writes_them() -> None:
    """German decimals and days are German; idle zeros are left out.

    Source of the patterns: Unicode CLDR, locales de and en-GB.
    """
    moment = datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
    german = formats("de_DE")
    assert german.figure(Decimal("1234.560"), "km") == "1.234,56\u00a0km"
    assert german.day(moment) == "01.03.2026"
    assert german.picker_pattern() == "DD.MM.YYYY"
    assert formats("en_GB").day(moment) == "1 Mar 2026"
    assert formats("en_US").picker_pattern() == "MM/DD/YYYY"


def test_times_stand_in_the_books_zone() -> None:
    """Half past eleven at night UTC in summer is half past midnight in Lisbon, a day on."""
    moment = datetime(2026, 7, 1, 23, 30, tzinfo=UTC)
    assert formats("en_GB").moment(moment) == "2 Jul 2026, 00:30"


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        ("0.5", "0.75", "0.5 to 0.75\u00a0%"),
        ("0.75", None, "over 0.75\u00a0%"),
        (None, "0.5", "under 0.5\u00a0%"),
    ],
)
def test_an_interval_is_said(low: str | None, high: str | None, said: str) -> None:
    """A go/no-go reading is an interval, with open ends said as over and under."""
    ends = [None if end is None else Decimal(end) for end in (low, high)]
    assert formats("en").between(*ends, "%") == said


def test_text_of_a_book_is_never_markup() -> None:
    """Angle brackets and quotes that somebody typed show as themselves."""
    assert markup.text('<b class="x">') == "&lt;b class=&quot;x&quot;&gt;"
    assert "<script>" not in markup.blank("<script>", "<script>")


def test_a_verdict_is_word_and_shape() -> None:
    """Each verdict has its own shape beside its word, and none at all is said to be none."""
    words = ["within limit", "watch", "due", "unsafe", "not checked"]
    shapes = {markup.shape(word) for word in words}
    assert len(shapes) == len(words)
    assert all(word in markup.verdict(word) for word in words)
    assert "no limit known" in markup.verdict(None)


def point(day: str, value: str | None, **more: object) -> Point:
    """Give one chain reading held to a limit of 0.75 %."""
    moment = datetime.fromisoformat(f"{day}T12:00:00+00:00")
    figure = None if value is None else Decimal(value)
    known = {"low": None, "high": None, "limit": Decimal("0.75"), "verdict": "watch"} | more
    return Point("chain", "elongation", None, moment, figure, **known)  # type: ignore[arg-type]  # any of its fields


def frame() -> charts.Frame:
    """Give two years in Copenhagen, in German."""
    span = (datetime(2023, 1, 1, tzinfo=UTC), datetime(2025, 1, 1, tzinfo=UTC))
    return charts.Frame(span, ZoneInfo("Europe/Copenhagen"), find_locale("de"))


def test_chart_rows_hold_every_reading_with_its_limit() -> None:
    """A reading keeps the limit it was held to; a new part starts a new line."""
    points = [point("2023-06-01", "0.5"), point("2024-06-01", "0.1", limit=Decimal("0.5"))]
    fitted = [datetime(2024, 1, 1, tzinfo=UTC)]
    rows = charts.chart_rows(points, fitted, frame())
    assert rows["figure"].tolist() == [0.5, 0.1]
    assert rows["limit"].tolist() == [0.75, 0.5]
    assert rows["life"].tolist() == [0, 1]
    assert rows["when"].iloc[0] == datetime(2023, 6, 1, 14)


def test_an_interval_stands_at_its_known_end() -> None:
    """A chart draws 'over 0.75 %' at 0.75 and keeps both ends beside it."""
    rows = charts.chart_rows([point("2023-06-01", None, low=Decimal("0.75"))], [], frame())
    assert rows["figure"].tolist() == [0.75]
    assert rows["low"].tolist() == [0.75]


def test_an_open_interval_reaches_the_edge() -> None:
    """'Over 0.75 %' is drawn from there up, 'under 0.5 %' from there down, a figure not at all."""
    readings = [
        point("2023-06-01", None, low=Decimal("0.75")),
        point("2023-09-01", None, high=Decimal("0.5")),
        point("2024-01-01", "0.6"),
    ]
    rows = charts.chart_rows(readings, [], frame())
    low, high = charts.figure_range(rows)
    ends = charts.interval_ends(rows)
    assert ends[["low", "high"]].to_numpy().tolist() == [[0.75, high], [low, 0.5]]


def test_the_limit_runs_over_the_whole_width() -> None:
    """The limit line starts and ends with the picture, and steps where the limit changed."""
    points = [point("2023-06-01", "0.5"), point("2024-06-01", "0.1", limit=Decimal("0.5"))]
    rows = charts.chart_rows(points, [], frame())
    start, end = datetime(2023, 1, 1), datetime(2025, 1, 1)
    steps = charts.limit_steps(rows, start, end)
    assert steps["when"].tolist()[0] == start
    assert steps["when"].tolist()[-1] == end
    assert steps["limit"].tolist() == [0.75, 0.75, 0.5, 0.5]


def test_the_limit_is_always_in_the_picture() -> None:
    """The figures' range takes in the limit, however far the readings are from it."""
    low, high = charts.figure_range(charts.chart_rows([point("2023-06-01", "0.1")], [], frame()))
    assert low < 0.1
    assert high > 0.75


def test_chart_speaks_the_books_language() -> None:
    """A chart of a German book writes decimal commas and German months (CLDR, de)."""
    drawn = charts.reading_chart([point("2023-06-01", "0.5")], WEAR, [], frame()).to_dict()
    assert drawn["config"]["locale"]["number"]["decimal"] == ","
    assert drawn["config"]["locale"]["time"]["months"][2] == "März"


def test_chart_draws_without_a_limit() -> None:
    """A quantity with no limit known is drawn, with no limit line at all."""
    drawn = charts.reading_chart(
        [point("2023-06-01", "0.5", limit=None, verdict=None)], WEAR, [], frame()
    ).to_dict()
    dashed = [layer for layer in drawn["layer"] if "strokeDash" in layer["mark"]]
    assert dashed == []


def test_the_date_looked_at_moves_without_drawing_anew() -> None:
    """Only the parameter differs between two dates, in the book's wall time."""
    drawn = charts.reading_chart([point("2023-06-01", "0.5")], WEAR, [], frame()).to_dict()
    moment = datetime(2024, 6, 1, 21, 59, 59, tzinfo=UTC)
    moved = charts.looked_at(drawn, moment, frame())
    assert moved["params"] == [{"name": "as_at", "value": "2024-06-01T23:59:59"}]
    assert {**moved, "params": drawn["params"]} == drawn


def test_the_figures_range_ends_at_nought() -> None:
    """No thickness is shown under nought, while a negative reading keeps its place."""
    readings = [point("2023-06-01", "0.1"), point("2024-06-01", "4.0")]
    assert charts.figure_range(charts.chart_rows(readings, [], frame()))[0] == 0
    below = charts.chart_rows([point("2023-06-01", "-0.04")], [], frame())
    assert charts.figure_range(below)[0] < -0.04


@pytest.mark.parametrize("side", ["above", "below"])
def test_the_side_past_a_limit_is_shaded_to_the_edge(side: str) -> None:
    """Past a highest figure lies everything above the line, past a lowest all below it."""
    readings = [point("2023-06-01", "0.5"), point("2024-06-01", "1.5")]
    low, high = charts.figure_range(charts.chart_rows(readings, [], frame()))
    drawn = charts.reading_chart(readings, charts.Scale("mm", side), [], frame()).to_dict()
    shades = [layer for layer in drawn["layer"] if layer["mark"]["type"] == "area"]
    assert [one["encoding"]["y2"]["datum"] for one in shades] == [high if side == "above" else low]


def test_where_no_side_is_known_nothing_is_shaded() -> None:
    """A limit of a quantity nobody knows the worn side of is a line alone."""
    drawn = charts.reading_chart(
        [point("2023-06-01", "0.5")], charts.Scale("mm", None), [], frame()
    )
    assert [one for one in drawn.to_dict()["layer"] if one["mark"]["type"] == "area"] == []


def test_the_limit_that_holds_now_is_named_beside_its_line() -> None:
    """The word and the last limit's figure stand at the right of the picture."""
    points = [point("2023-06-01", "0.5"), point("2024-06-01", "0.1", limit=Decimal("0.5"))]
    drawn = charts.reading_chart(points, WEAR, [], frame()).to_dict()
    named = [layer for layer in drawn["layer"] if layer["mark"]["type"] == "text"]
    assert [layer["encoding"]["x"] for layer in named] == [{"value": "width"}] * 2
    texts = [layer["encoding"]["text"] for layer in named]
    assert texts[0] == {"value": "limit"}
    assert texts[1]["field"] == "limit"
    rows = drawn["datasets"][named[1]["data"]["name"]]
    assert [row["limit"] for row in rows] == [0.5]


@pytest.mark.parametrize(
    ("locale", "date", "time"),
    [
        ("en_GB", "%-d %b %Y", "%H:%M"),
        ("de", "%d.%m.%Y", "%H:%M"),
        ("en_US", "%b %-d, %Y", "%-I:%M\u202f%p"),
        ("pt", "%-d de %b de %Y", "%H:%M"),
    ],
)
def test_a_chart_writes_dates_as_the_page_does(locale: str, date: str, time: str) -> None:
    """Date and time of a tooltip follow the locale's own patterns (Unicode CLDR)."""
    times = config(find_locale(locale))["locale"]["time"]
    assert (times["date"], times["time"]) == (date, time)


def test_a_taken_port_is_said_with_what_to_do(capsys: pytest.CaptureFixture[str]) -> None:
    """Where something listens already, the pages do not start, and another port is named."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(SystemExit) as stopped:
            launch.start("book", port=port, open_browser=False)
    assert stopped.value.code == 1
    said = capsys.readouterr()
    assert f"Port {port} is taken" in said.err
    assert "--port" in said.err
    assert said.out == ""
