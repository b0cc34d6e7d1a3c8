"""`schema`: the JSON Schema of events, for whoever writes a program that makes them."""

from __future__ import annotations

from typing import Annotated

import typer

from ledger.cli.output import say_json


def schema(
    kind: Annotated[
        str | None, typer.Argument(help="A kind of event; all of them if not given.")
    ] = None,
) -> None:
    """Print the JSON Schema of every kind of event, or of one.

    Examples:
    $ lockring schema
    $ lockring schema measured
    """
    from ledger.cli.drafts import kind_named
    from ledger.events import EVENTS, event_classes

    if kind is None:
        say_json(EVENTS.json_schema())
    else:
        say_json(event_classes()[kind_named(kind)].model_json_schema())
