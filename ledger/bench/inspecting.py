"""The systems of a bike as they were looked at, and what "the rest of this system" covers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Literal

from ledger.bench.on_bike import EVERY_BIKE
from ledger.bench.shapes import Look, Rest, SystemLook, Uncovered

if TYPE_CHECKING:
    from ledger.bench.scene import Scene
    from ledger.events import kinds
    from ledger.vocabulary import Vocabulary

Why = Literal["looked at in this job", "open fault", "unsafe", "past its limit", "not on this bike"]
PAST = ("due", "unsafe")
FOUND = ("watch", *PAST)


def systems_of(scene: Scene, job: str | None) -> tuple[SystemLook, ...]:
    """Give every system to inspect, in the vocabulary's order."""
    looks, against = _looks(scene, job), _against(scene, job)
    of_job = [event for event in scene.of_job(job) if event.kind == "inspected"] if job else []
    return tuple(
        _system(scene, system, of_job, looks, against)
        for system in scene.words.systems
        if system in scene.words.positions
    )


def _system(
    scene: Scene,
    system: str,
    of_job: Sequence[kinds.Inspected],
    looks: Mapping[str, Look],
    against: Mapping[str, Why],
) -> SystemLook:
    positions = positions_of(scene.words, system)
    here = [event for event in of_job if event.data.position in positions]
    whole = [event for event in here if event.data.position == system or event.data.covers]
    return SystemLook(
        system=system,
        positions=positions,
        last=looks.get(system),
        looks=tuple(looks[position] for position in positions if position in looks),
        is_done=bool(whole),
        count_found=sum(event.data.verdict in FOUND for event in here),
        rest=_rest(scene, system, against),
    )


def positions_of(words: Vocabulary, system: str) -> tuple[str, ...]:
    """Give every position of a system, its own first, the others as the vocabulary has them."""
    of_system = [word.code for word in words.positions.values() if word.system == system]
    return tuple(sorted(of_system, key=lambda code: code != system))


def rest_of(scene: Scene, system: str, job: str | None) -> Rest:
    """Give what "the rest of this system within limit" would cover, and what not, and why.

    Covered is what exists on the bike, was not looked at in this job, and holds no open fault,
    no unsafe finding and no reading that is due or unsafe. The look is entered at the system
    itself unless that holds one of these, for there it would say that it is within its limit.
    """
    return _rest(scene, system, _against(scene, job))


def _rest(scene: Scene, system: str, against: Mapping[str, Why]) -> Rest:
    covers: list[str] = []
    uncovered: list[Uncovered] = []
    for position in positions_of(scene.words, system):
        why = against.get(position)
        if why is not None:
            uncovered.append(Uncovered(position, why))
        elif position == system and position not in EVERY_BIKE:
            continue
        elif position in scene.on_bike:
            covers.append(position)
        else:
            uncovered.append(Uncovered(position, "not on this bike"))
    at = system if system not in against else next(iter(covers), system)
    return Rest(system, at, tuple(covers), tuple(uncovered))


def _against(scene: Scene, job: str | None) -> dict[str, Why]:
    """Give the positions that nobody may say are within their limit by the rest, and why."""
    state = scene.state
    found: dict[str, Why] = {}
    for reading in state.readings.values():
        if reading.verdict in PAST:
            found[reading.position] = "past its limit"
    found |= dict.fromkeys(state.findings, "past its limit")
    found |= {unsafe.position: "unsafe" for unsafe in state.unsafe.values()}
    found |= {position: "open fault" for position, _ in state.faults}
    for event in scene.of_job(job) if job else ():
        if event.kind == "inspected":
            looked = (event.data.position, *event.data.covers)
            found |= dict.fromkeys(looked, "looked at in this job")
    return found


def _looks(scene: Scene, job: str | None) -> dict[str, Look]:
    """Give the last verdict on each position that ever had one."""
    found: dict[str, Look] = {}
    for event in scene.counted:
        if event.kind != "inspected":
            continue
        for position in dict.fromkeys((event.data.position, *event.data.covers)):
            is_covered = position != event.data.position
            found[position] = Look(
                position=position,
                verdict=event.data.verdict,
                fault=None if is_covered else event.data.fault,
                looked_at=event.occurred_at,
                actor=event.actor,
                event=event.id,
                is_of_this_job=job is not None and event.job == job,
                is_covered=is_covered,
            )
    return found
