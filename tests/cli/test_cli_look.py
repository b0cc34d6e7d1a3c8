from __future__ import annotations

import pytest
from workbench import TAG, Run

KEYS = (
    "bike", "as_at", "as_known", "rider", "keeper", "distance_km", "fitted", "readings",
    "settings", "faults_open", "advice_open", "jobs_open", "events_used",
)  # fmt: skip
"""What `state --json` gives, whatever else it gives."""


def record(shop: Run, kind: str, at: str, *more: str) -> str:
    done = shop("record", kind, "--bike", TAG, "--at", at, "--json", *more)
    assert done.code == 0, done.err
    return str(done.json["events"][0]["id"])


@pytest.fixture
def serviced(shop: Run) -> Run:
    """A bike with two chains, a reading of each, a torque, a fault and a distance."""
    fit = ("part_fitted", "--position", "chain", "--set", "make=Quay", "--set")
    record(shop, "distance_read", "2026-01-05 09:30", "--value", "100 km")
    record(shop, fit[0], "2026-01-05 10:00", *fit[1:], "part=c1")
    chain = ("--position", "chain", "--quantity", "elongation", "--value")
    record(shop, "measured", "2026-02-01 10:00", *chain, "0.2 %")
    record(shop, "distance_read", "2026-02-01 10:01", "--value", "1350 km")
    squeal = ("--set", "verdict=watch", "--set", "fault=squeal")
    record(shop, "inspected", "2026-02-01 10:02", "--position", "rear_brake", *squeal)
    record(shop, fit[0], "2026-03-01 10:00", *fit[1:], "part=c2", "--set", "replaces=c1")
    torque = ("--position", "stem", "--quantity", "torque", "--value", "5 Nm")
    record(shop, "adjusted", "2026-03-01 10:05", *torque)
    return shop


def test_state_gives_every_key_of_the_contract(serviced: Run) -> None:
    """state --json has every key programs count on, with the units and names agreed."""
    state = serviced("state", TAG, "--json").json
    assert set(KEYS) <= set(state)
    assert state["bike"] == TAG
    assert state["distance_km"] == 1350
    part = state["fitted"][0]
    assert (part["position"], part["part"], part["make"]) == ("chain", "c2", "Quay")
    assert {"model", "fitted_at", "distance_since_fitted_km", "days_since_fitted"} <= set(part)
    setting = state["settings"][0]
    assert (setting["quantity"], setting["value"], setting["unit"]) == ("torque", 5, "N·m")
    assert state["faults_open"][0]["fault"] == "squeal"


def test_state_as_at_an_earlier_day(serviced: Run) -> None:
    """As at the end of a day, the bike is what it was then."""
    state = serviced("state", TAG, "--as-at", "2026-02-01", "--json").json
    assert state["fitted"][0]["part"] == "c1"
    assert state["fitted"][0]["distance_since_fitted_km"] == 1250
    assert state["readings"][0]["value"] == 0.2
    assert state["settings"] == []
    assert state["as_at"] == "2026-02-01T23:59:59.999999Z"


def test_state_before_anything_is_empty(serviced: Run) -> None:
    """As at a day before the bike was known, and as known to event 0, nothing is there."""
    assert serviced("state", TAG, "--as-at", "2025-12-31", "--json").json["events_used"] == 0
    assert serviced("state", TAG, "--as-known", "0", "--json").json["events_used"] == 0


def test_a_tag_may_be_typed_carelessly(serviced: Run) -> None:
    """A tag in small letters and with a dash is the same tag."""
    assert serviced("state", "7k3m-9qxa", "--json").json["bike"] == TAG


def test_people_read_the_benchs_words(serviced: Run) -> None:
    """The page for people says chain wear and rear brake, limits beside, and the caution."""
    record(serviced, "measured", "2026-03-01 11:00", "--position", "rear_brake.pads",
           "--quantity", "thickness", "--value", "1.2 mm")  # fmt: skip
    out = serviced("state", TAG).out
    assert "elongation" not in out
    line = next(line for line in out.splitlines() if "rear brake pads" in line)
    assert [word in line for word in ("thickness", "1.2 mm", "1 mm", "watch")] == [True] * 4
    assert "a qualified mechanic" in out
    assert "squeal" in out
    assert "Distance: 1350 km" in out


def test_the_caution_stands_only_where_it_belongs(shop: Run) -> None:
    """A page that shows chain wear alone carries no caution."""
    record(shop, "measured", "2026-02-01 10:00", "--position", "chain",
           "--quantity", "elongation", "--value", "0.2 %")  # fmt: skip
    for out in (shop("state", TAG).out, shop("history", TAG).out):
        assert "chain wear" in out
        assert "qualified" not in out
    done = shop("record", "adjusted", "--bike", TAG, "--position", "front_wheel.tyre",
                "--quantity", "pressure", "--value", "5 bar")  # fmt: skip
    assert "qualified mechanic" in done.out
    assert "qualified mechanic" in shop("history", TAG).out


def test_history_shows_everything_struck_too(serviced: Run) -> None:
    """History lists every event oldest first, and marks what was struck."""
    wrong = record(serviced, "distance_read", "2026-03-01 12:00", "--value", "9000 km")
    assert serviced("strike", wrong, "--reason", "misread").code == 0
    out = serviced("history", TAG).out
    assert "struck: distance read, 9000 km" in out
    assert "“misread”" in out
    rows = serviced("history", TAG, "--json").json
    assert [row["occurred_at"] for row in rows] == sorted(row["occurred_at"] for row in rows)
    struck = next(row for row in rows if row["id"] == wrong)
    assert struck["struck_by"] in {row["id"] for row in rows if row["kind"] == "event_struck"}


def test_history_of_one_system(serviced: Run) -> None:
    """--system keeps what concerns one system."""
    rows = serviced("history", TAG, "--system", "rear_brake", "--json").json
    assert [row["position"] for row in rows] == ["rear_brake"]
    assert serviced("history", TAG, "--system", "wings").code == 2


def test_history_shows_ids_on_request(serviced: Run) -> None:
    """--ids shows each event's id, as strike needs it."""
    ids = [row["id"] for row in serviced("history", TAG, "--json").json]
    out = serviced("history", TAG, "--ids").out
    assert all(one in out for one in ids)


def test_bikes_are_found_by_tag_make_and_rider(serviced: Run) -> None:
    """bikes finds by a part of the tag, the make, or the rider's name."""
    rider = serviced("riders", "add", "--name", "Inge Marsh", "--json").json["rider"]
    record(serviced, "rider_changed", "2026-03-02 10:00", "--set", f"rider={rider}")
    for search in ("7k3m", "tern", "marsh", rider):
        assert [bike["bike"] for bike in serviced("bikes", search, "--json").json] == [TAG], search
    assert serviced("bikes", "nobody", "--json").json == []
    assert "Inge Marsh" in serviced("bikes").out


def test_a_name_is_shown_from_the_register_and_is_in_no_event(serviced: Run) -> None:
    """The rider's name comes from the register; the state as JSON has only the id."""
    rider = serviced("riders", "add", "--name", "Inge Marsh", "--json").json["rider"]
    record(serviced, "rider_changed", "2026-03-02 10:00", "--set", f"rider={rider}")
    assert f"Rider: Inge Marsh ({rider})" in serviced("state", TAG).out
    assert "Marsh" not in serviced("state", TAG, "--json").out


def test_schema_of_one_kind_and_of_all(lockring: Run) -> None:
    """schema prints the JSON Schema of one kind, or of all thirty."""
    one = lockring("schema", "measured").json
    assert one["properties"]["kind"]["const"] == "measured"
    assert len(lockring("schema").json["oneOf"]) == 31
    assert lockring("schema", "mesured").code == 2


def test_a_narrow_terminal_still_shows_what_is_fitted(
    shop: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In 80 columns the position, make and model of a part stand beside its made-up id."""
    fit = ("record", "part_fitted", "--bike", TAG, "--position", "chain")
    assert shop(*fit, "--set", "make=Tolvane", "--set", "model=Ebb 11").code == 0
    monkeypatch.setenv("COLUMNS", "80")
    line = next(line for line in shop("state", TAG).out.splitlines() if "Tolvane" in line)
    assert "chain" in line and "Ebb 11" in line
