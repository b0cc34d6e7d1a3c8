"""Whether faults come more often: bikes by hand, and bikes whose visits are drawn at random."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from fault_given import BIKES, DAY_0, DISTANCES, EPISODES, JOBS, given, table

from ledger.analysis.trends import trend
from ledger.figures.fault_trends import trend_of_bikes, trends


def closed(name, *days):
    """Give a bike's jobs by the days they were closed."""
    return [{"bike": name, "job": f"{name}{day}", "closed_at": day} for day in days]


def found(name, day, job=None):
    """Give a fault found on a bike, in the job closed on a day."""
    return {"bike": name, "found_at": day, "found_job": None if job is None else f"{name}{job}"}


def of_one(jobs, episodes, distances=None):
    """Give the trends of bike b, watched from its first job's closing."""
    bikes = [{"bike": "b", "first_closed_at": min(job["closed_at"] for job in jobs),
              "observed_until": 2000}]  # fmt: skip
    read = None if distances is None else table(DISTANCES, distances)
    return trend_of_bikes(
        table(EPISODES, episodes), table(BIKES, bikes), table(JOBS, jobs), read, "b"
    )


def test_a_fault_counts_in_the_middle_of_the_gap_it_arose_in():
    """Closed on days 0, 100 and 200, found on 100 and 200: at 50 and 150 of 200, which is even."""
    jobs = closed("b", 0, 100, 200)
    (by_days,) = of_one(jobs, [found("b", 100, 100), found("b", 200, 200)])
    assert by_days.length == pytest.approx(200)
    assert by_days.count_events == 2
    assert by_days.tests[0].statistic == pytest.approx(0, abs=1e-12)


def test_one_look_is_one_event_however_much_it_found():
    """Three faults of one job are one look; a fault of no job a day later is another."""
    jobs = closed("b", 0, 100, 200)
    episodes = [found("b", 99.9, 100), found("b", 100, 100), found("b", 99.95, 100)]
    episodes += [found("b", 150), found("b", 150.5), found("b", 152)]
    (by_days,) = of_one(jobs, episodes)
    assert by_days.count_events == 3


def test_faults_of_the_first_job_are_no_events():
    """Time starts when it was closed."""
    (by_days,) = of_one(closed("b", 10, 50), [found("b", 9, 10), found("b", 49, 50)])
    assert by_days.count_events == 1
    assert by_days.length == pytest.approx(40)


def test_watching_ends_with_the_last_look_and_not_with_a_letter():
    """A distance told months after the last job adds no time in which nothing was found."""
    (by_days,) = of_one(closed("b", 0, 100), [found("b", 100, 100)])
    assert by_days.length == pytest.approx(100)


def test_ever_shorter_gaps_are_getting_worse():
    """Twelve visits, ever sooner, each with something new."""
    days = np.cumsum(np.append(0, 200 * 0.72 ** np.arange(12))).tolist()
    (by_days,) = of_one(closed("b", *days), [found("b", day, day) for day in days[1:]])
    assert by_days.judgement == "getting worse"
    assert by_days.power_law.shape.low > 1
    assert by_days.power_law.rate_now > 12 / by_days.length * 365


def test_few_looks_are_too_few_to_judge():
    """Four looks cannot show a trend at 5 %, and the words say how many would."""
    days = [0, 100, 150, 170, 175]
    (by_days,) = of_one(closed("b", *days), [found("b", day, day) for day in days[1:]])
    assert by_days.judgement == "too few to judge"
    assert by_days.words == (
        "too few to judge: 4 finds since the first job was closed, what was found in one job "
        "counted once, and at least 5 are needed"
    )


def test_a_bike_without_a_closed_job_has_nothing_to_judge():
    """No time was watched, and no test fails over it."""
    bikes = table(BIKES, [{"bike": "b", "observed_until": 9}])
    episodes, jobs = table(EPISODES, [found("b", 5)]), table(JOBS, [])
    (by_days,) = trend_of_bikes(episodes, bikes, jobs)
    assert by_days.length == 0 and by_days.judgement == "too few to judge"


def test_distances_count_where_they_are_known():
    """By km the same two looks lie where the bike was ridden: at 150 and 350 of 400 km.

    It was read at 1,000 km on day 0, 1,300 on day 100 and 1,400 on day 200.
    """
    distances = [
        {"bike": "b", "seq": seq, "occurred_at": day, "distance_total_km": km}
        for seq, (day, km) in enumerate([(0, 1000), (100, 1300), (200, 1400)])
    ]
    jobs = closed("b", 0, 100, 200)
    days, km = of_one(jobs, [found("b", 100, 100), found("b", 200, 200)], distances)
    assert (days.clock, km.clock) == ("days", "km")
    assert km.length == pytest.approx(400)
    late = (150 - 200) + (350 - 200)
    assert km.tests[0].statistic == pytest.approx(late / np.sqrt(2 * 400**2 / 12))


def test_no_distance_gives_no_trend_by_distance():
    """A bike never read is not in the group by km."""
    tables = given(
        [{"bike": "b", "first_closed_at": 0, "observed_until": 100}],
        [found("b", 100, 100)],
        closed("b", 0, 100),
    )
    assert [(one.key, one.clock) for one in trends(tables)] == [(None, "days")]


def visited(rng, gaps, rate, rise):
    """Give when a bike was looked at and in which gaps anything arose, `rise` more often late."""
    days = np.append(0, np.cumsum(gaps))
    arose = rng.uniform(0, days[-1], rng.poisson(rate * days[-1]))
    arose = arose[(arose > days[-1] / 2) | (rng.random(len(arose)) < 1 / rise)]
    return days, np.unique(np.searchsorted(days, arose))


def shop(rng, count, visits=(8, 30), rate=0.01, rise=1.0):
    """Give tables of bikes with so many visits at uneven times."""
    jobs, episodes = [], []
    for number in range(count):
        gaps = rng.gamma(0.7, 100, rng.integers(*visits)) + 1
        days, seen = visited(rng, gaps, rate, rise)
        jobs += closed(f"b{number}", *days.tolist())
        episodes += [found(f"b{number}", days[k], days[k]) for k in seen.tolist()]
    bikes = [{"bike": f"b{n}", "riding": "tour", "first_closed_at": 0, "observed_until": 9000}
             for n in range(count)]  # fmt: skip
    return table(EPISODES, episodes), table(BIKES, bikes), table(JOBS, jobs)


def test_bikes_without_a_trend_are_seldom_said_to_have_one():
    """Of 300 bikes with a constant rate at most 5 % are (seed 8)."""
    episodes, bikes, jobs = shop(np.random.default_rng(8), 300)
    judged = []
    for name in bikes["bike"].to_pylist():
        own = [each.filter(pc.equal(each["bike"], name)) for each in (episodes, bikes, jobs)]
        judged.append(trend_of_bikes(*own)[0].judgement)
    assert judged.count("no trend shown") > 200
    assert np.mean([one in ("getting worse", "getting better") for one in judged]) <= 0.05


def test_finds_at_the_end_of_long_gaps_do_not_pass_for_late_ones():
    """400 bikes of a constant rate, seen two to four times (seed 12): no trend shown.

    With the days of the looks taken for those of the faults they would be getting worse.
    """
    episodes, bikes, jobs = shop(np.random.default_rng(12), 400, visits=(2, 5), rate=0.004)
    assert trend_of_bikes(episodes, bikes, jobs)[0].judgement == "no trend shown"
    end = jobs.group_by("bike", use_threads=False).aggregate([("closed_at", "max")])
    last = [(one - DAY_0).total_seconds() / 86400 for one in end["closed_at_max"].to_pylist()]
    when = [(one - DAY_0).total_seconds() / 86400 for one in episodes["found_at"].to_pylist()]
    is_inside = pc.less(
        pa.array(when), pa.array(last).take(pc.index_in(episodes["bike"], end["bike"]))
    )
    inside = [when[k] for k in np.flatnonzero(is_inside)]
    of = episodes["bike"].filter(is_inside)
    naive = trend(inside, last, unit_of_event=of, unit=end["bike"])
    assert naive.judgement == "getting worse"


def test_a_rate_that_grows_threefold_is_noticed_in_a_group():
    """Sixty bikes three times as often in trouble in the second half (seed 9): both tests agree."""
    (group,) = trend_of_bikes(*shop(np.random.default_rng(9), 60, rise=3.0))
    assert group.judgement == "getting worse"
    assert group.power_law.shape.low > 1.1
    (alike,) = trend_of_bikes(*shop(np.random.default_rng(10), 60))
    assert alike.judgement == "no trend shown"
    assert alike.power_law.shape.low < 1 < alike.power_law.shape.high


def test_trends_of_a_book_are_those_of_its_bikes_and_of_each_riding():
    """The group of all and of the only riding are one and the same, but for the name."""
    episodes, bikes, jobs = shop(np.random.default_rng(11), 30)
    tables = given()
    tables.matching.episodes, tables.given["job_facts"] = episodes, jobs
    tables.__dict__["bikes"] = bikes
    everyone, riding = trends(tables)
    (alone,) = trend_of_bikes(episodes, bikes, jobs)
    assert everyone == alone
    assert riding.key == "tour" and riding.tests == everyone.tests
