"""Which model a part is of, beside what others: pads beside pads, chains beside chains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Coded, Integers, coded, codes_in


@dataclass(frozen=True, slots=True, eq=False)
class ModelsOf:
    """The models of a table's parts, numbered."""

    code: Integers
    """Of each row; NONE where no model is known."""
    sort: Integers
    """Of each model: the number of its sort."""
    sorts: tuple[str, ...]
    """Of each model: what such a part is, the last word of its position."""
    makes: tuple[str | None, ...]
    models: tuple[str, ...]

    @property
    def labels(self) -> tuple[str, ...]:
        """Give each model's name with its make, unless it begins with it, and what it is."""
        return tuple(
            f"{made_by(make, model)}, {sort}"
            for make, model, sort in zip(self.makes, self.models, self.sorts, strict=True)
        )


def made_by(make: str | None, model: str) -> str:
    """Give a model's name with its make, where it does not begin with it."""
    return model if not make or model.startswith(make) else f"{make} {model}"


def models_of(table: pa.Table) -> ModelsOf:
    """Number the models in a table with `position`, `make` and `model`, by sort, make and model."""
    sort, make, model = sorts_of(table["position"]), coded(table["make"]), coded(table["model"])
    # A part whose make was never recorded is of no make, and a model of its own.
    shape = (len(sort.names), len(make.names) + 1, len(model.names))
    key = (sort.code * shape[1] + make.code + 1) * shape[2] + model.code
    is_named = (sort.code != NONE) & (model.code != NONE)
    is_there = np.zeros(int(np.prod(shape)) + 1, dtype=np.bool_)
    is_there[np.where(is_named, key, -1)] = True
    used = np.flatnonzero(is_there[:-1])
    number = np.full(len(is_there), NONE, dtype=np.int64)
    number[used] = np.arange(len(used))
    of_sort, of_make, of_model = np.unravel_index(used, shape) if len(used) else (used,) * 3
    makes = [None if code == 0 else make.names[code - 1] for code in of_make.tolist()]
    return ModelsOf(
        code=number[np.where(is_named, key, -1)],
        sort=np.unique(of_sort, return_inverse=True)[1],
        sorts=tuple(sort.names[code] for code in of_sort.tolist()),
        makes=tuple(makes),
        models=tuple(model.names[code] for code in of_model.tolist()),
    )


def models_by_name(models: ModelsOf, table: pa.Table) -> Integers:
    """Give which of some models each row's `make` and `model` name; NONE where none.

    Of one name in several sorts it is the first.
    """
    names = [
        f"{make or ''}\n{model}" for make, model in zip(models.makes, models.models, strict=True)
    ]
    asked = pc.binary_join_element_wise(pc.fill_null(table["make"], ""), table["model"], "\n")
    return codes_in(asked, names)


def sorts_of(position: pa.ChunkedArray) -> Coded:
    """Give what sits at each position, by its last word: `pads` of `rear_brake.pads`."""
    place = coded(position)
    last = [name.rpartition(".")[2] for name in place.names]
    names, number = np.unique(np.array(last, dtype=object), return_inverse=True)
    code = np.where(place.code == NONE, NONE, number[place.code]) if len(last) else place.code
    return Coded(tuple(names.tolist()), code)
