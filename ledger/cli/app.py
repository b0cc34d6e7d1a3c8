"""The commands of `lockring`, in the order a newcomer meets them."""

from __future__ import annotations

from collections.abc import Callable

import typer

from ledger.cli import access, clock, quote, riders
from ledger.cli.backup import backup, restore
from ledger.cli.chains import chains
from ledger.cli.compact import compact
from ledger.cli.compare import compare, shops
from ledger.cli.dashboard import dashboard
from ledger.cli.demo import demo
from ledger.cli.due import due
from ledger.cli.faults import faults
from ledger.cli.fitted_where import fitted_where
from ledger.cli.foresee import foresee
from ledger.cli.forget import forget
from ledger.cli.guard import Guarded
from ledger.cli.labour import labour
from ledger.cli.look import bikes, history, state
from ledger.cli.margin import margin
from ledger.cli.receipt_of import receipt
from ledger.cli.record import record, strike
from ledger.cli.report import report
from ledger.cli.schema import schema
from ledger.cli.start import init
from ledger.cli.states import states
from ledger.cli.tags import tags
from ledger.cli.transfer import export, import_file
from ledger.cli.verify import verify
from ledger.cli.wear import wear

app = typer.Typer(
    name="lockring",
    cls=Guarded,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
    help="The service-history ledger of a bicycle workshop.",
)

GROUPS: dict[str, tuple[Callable[..., None], ...]] = {
    "Start": (init, demo),
    "At the bench": (record, strike),
    "Look": (state, history, bikes, states, fitted_where, shops, dashboard),
    "Hand over": (report, tags),
    "Figures": (wear, due, chains, faults, labour, margin, foresee, compare),
    "Check": (verify, compact, receipt, backup, restore, forget),
    "Other programs": (import_file, export, schema),
}

NAMES = {"import_file": "import", "fitted_where": "fitted-where"}
"""Commands whose name is not that of their function."""

for panel, commands in GROUPS.items():
    for command in commands:
        app.command(NAMES.get(command.__name__), rich_help_panel=panel)(command)
app.add_typer(clock.app, name="clock", rich_help_panel="At the bench")
app.add_typer(quote.app, name="quote", rich_help_panel="At the bench")
app.add_typer(riders.app, name="riders", rich_help_panel="At the bench")
app.add_typer(access.app, name="people", rich_help_panel="Look")
