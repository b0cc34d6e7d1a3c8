"""Which model a part is of, beside what others: pads beside pads, chains beside chains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Integers, coded, codes_in, pairs


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
    sort = coded(sorts_of(table["position"]))
    make, model = coded(table["make"]), coded(table["model"])
    # A part whose make was never recorded is of no make, and a model of its own.
    named = pairs(sort.code, make.code + 1)
    key = pairs(named, model.code)
    used, first, place = np.unique(key, return_index=True, return_inverse=True)
    is_none = len(used) > 0 and used[0] == NONE
    first = first[1:] if is_none else first
    sort_of = sort.code[first]
    makes = [None if code == NONE else make.names[code] for code in make.code[first].tolist()]
    return ModelsOf(
        code=place - 1 if is_none else place,
        sort=np.unique(sort_of, return_inverse=True)[1],
        sorts=tuple(sort.names[code] for code in sort_of.tolist()),
        makes=tuple(makes),
        models=tuple(model.names[code] for code in model.code[first].tolist()),
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


def sorts_of(position: pa.ChunkedArray) -> pa.ChunkedArray:
    """Give what sits at each position, by its last word: `pads` of `rear_brake.pads`."""
    names = pc.dictionary_encode(position).combine_chunks()
    last = pc.replace_substring_regex(names.dictionary, r"^.*\.", "")
    return pa.chunked_array([pa.DictionaryArray.from_arrays(names.indices, last).cast(pa.string())])
