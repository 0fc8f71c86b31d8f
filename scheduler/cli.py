"""The ``closein`` command: the list of its commands, and what a fault prints."""

from __future__ import annotations

import sys

import typer

from rules.errors import CloseinError
from scheduler.commands.account import account
from scheduler.commands.amounts import amounts
from scheduler.commands.brief import brief
from scheduler.commands.check import check
from scheduler.commands.copies import backup, export, restore
from scheduler.commands.cure import cure
from scheduler.commands.demo import demo
from scheduler.commands.doctor import doctor
from scheduler.commands.hindcast import hindcast
from scheduler.commands.kept import kept
from scheduler.commands.levers import levers
from scheduler.commands.link import link
from scheduler.commands.log import log
from scheduler.commands.messages import messages
from scheduler.commands.new import new
from scheduler.commands.odds import odds
from scheduler.commands.orders import orders
from scheduler.commands.plan import plan
from scheduler.commands.repeats import NothingLost
from scheduler.commands.rules import rules
from scheduler.commands.season import season
from scheduler.commands.serve import serve
from scheduler.commands.sheets import sheets
from scheduler.commands.tasks import tasks
from scheduler.commands.today import today
from scheduler.commands.tonight import tonight
from scheduler.commands.verify import verify
from scheduler.commands.weather import weather
from scheduler.commands.weather_days import weather_days

# What typer raises for every wrong option or command; it gives this class no public name.
WrongUse: type[Exception] = typer.BadParameter.__bases__[0]

app = typer.Typer(
    name="closein",
    help="Which hours are fit, what to protect, and by which date the house must be closed in.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
# In the order of a day's use; the help lists them so.
for command in (
    new,
    amounts,
    tasks,
    check,
    today,
    tonight,
    plan,
    season,
    levers,
    odds,
    hindcast,
    orders,
    cure,
    log,
    brief,
    sheets,
    weather,
    rules,
    weather_days,
    kept,
    serve,
    link,
    account,
    messages,
    doctor,
    verify,
    backup,
    restore,
    export,
    demo,
):
    app.command(command.__name__.replace("_", "-"), cls=NothingLost)(command)


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return its exit code; faults are printed one a line."""
    try:
        code: object = app(args=arguments, prog_name="closein", standalone_mode=False)
    except CloseinError as error:
        for line in error.lines():
            sys.stderr.write(f"closein: {line}\n")
        return error.exit_code
    except WrongUse as error:
        sys.stderr.write(f"closein: {error}\n")
        return 2
    except (typer.Abort, KeyboardInterrupt):
        sys.stderr.write("closein: stopped\n")
        return 130
    except BrokenPipeError:  # the reader of a pipe has seen enough
        return 0
    return code if isinstance(code, int) else 0
