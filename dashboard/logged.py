"""What a fault of the program leaves in the log: its kind and place, and no word of the book."""

from __future__ import annotations

import logging
import traceback
from pathlib import Path
from typing import Any

_MOST_CAUSES = 5


def without_words(error: BaseException) -> str:
    """Give a fault by its kinds and the places it passed, oldest first, in one line.

    Neither its message nor any value is in it: they may hold a rider's words, name or contact.
    """
    told = []
    seen: BaseException | None = error
    while seen is not None and len(told) < _MOST_CAUSES:
        frames = traceback.extract_tb(seen.__traceback__)
        places = [f"{Path(one.filename).name}:{one.lineno} {one.name}" for one in frames]
        told.append(f"{type(seen).__name__} at {' > '.join(places) or 'no place'}")
        seen = seen.__cause__ or (None if seen.__suppress_context__ else seen.__context__)
    return "; after ".join(told)


def keep_words_out() -> None:
    """Let every fault that anything in this process logs from now on be told without words.

    The framework logs faults of its own accord, message and all. Done once, however often asked.
    """
    make = logging.getLogRecordFactory()
    if getattr(make, "keeps_words_out", False):
        return

    def made(*given: Any, **more: Any) -> logging.LogRecord:
        record = make(*given, **more)
        error = record.exc_info[1] if record.exc_info else None
        if error is not None:
            record.msg = f"{record.getMessage()}: {without_words(error)}"
            record.args, record.exc_info, record.exc_text = (), None, None
        return record

    made.keeps_words_out = True  # type: ignore[attr-defined] # a mark, so that it is done once
    logging.setLogRecordFactory(made)
