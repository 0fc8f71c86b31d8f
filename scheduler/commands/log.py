"""``closein log``: what happened on site, and what it moves."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Desk, of_a_job, show_or_print
from scheduler.commands.repeats import in_turn

Several = Annotated[list[str] | None, typer.Option(metavar="TASK")]


@of_a_job(weather="kept")
def log(  # noqa: PLR0913, PLR0917 - one option for each thing that can be told
    desk: Desk,
    started: Several = None,
    finished: Several = None,
    hours_left: Annotated[
        list[str] | None, typer.Option(metavar="TASK HOURS", help="Hours still to do.")
    ] = None,
    lost: Annotated[float | None, typer.Option(metavar="HOURS", help="Hours lost.")] = None,
    cause: Annotated[str | None, typer.Option(help="Why: rain, wind, cold, ...")] = None,
    task: Annotated[str | None, typer.Option(metavar="TASK", help="Whose hours.")] = None,
    reading: Annotated[list[str] | None, typer.Option(metavar="QUANTITY VALUE UNIT")] = None,
    fact: Annotated[list[str] | None, typer.Option(metavar="ELEMENT CONDITION VALUE")] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of a fact's number.")] = None,
    place: Annotated[str | None, typer.Option(help="Where on site.")] = None,
    release: Annotated[
        list[str] | None, typer.Option(metavar="TASK ROLE", help="A hold; needs --who.")
    ] = None,
    row: Annotated[
        str | None, typer.Option(metavar="ROW", help="Of the book, whose hold is released.")
    ] = None,
    note: Annotated[list[str] | None, typer.Option(metavar="TEXT")] = None,
    undo: Annotated[list[int] | None, typer.Option(metavar="NUMBER", help="Of an entry.")] = None,
    entries: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A list of entries, JSON or YAML.")
    ] = None,
    temps: Annotated[
        Path | None,
        typer.Option("--temps", metavar="FILE", help="A logger's export, CSV; needs --task."),
    ] = None,
    logger_clock: Annotated[
        str, typer.Option("--logger-clock", metavar="local|standard|utc", help="Its clock.")
    ] = "local",
    who: Annotated[str | None, typer.Option(metavar="NAME", help="Who says so.")] = None,
    when: Annotated[str | None, typer.Option(metavar="TIME", help="When it happened.")] = None,
    no_plan: Annotated[bool, typer.Option("--no-plan", help="Only write it down.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write down what happened on site, replan, and say what moved.

    What can happen to several (started, finished, hours left, reading, fact, release, note, undo)
    may be given several times; all is written down, or nothing.
    """
    from scheduler.output.answer_json import dump
    from scheduler.output.log_table import log_document, log_table
    from scheduler.runs.desk import keep_answer
    from scheduler.runs.log import entries_given, logger_given
    from scheduler.runs.log import log as run
    from scheduler.startup import logger_trace, text_of

    told: dict[str, Sequence[object]] = {
        "started": started or (),
        "finished": finished or (),
        "hours_left": in_turn(hours_left, 2),
        "lost": () if lost is None else (lost,),
        "reading": in_turn(reading, 3),
        "fact": in_turn(fact, 3),
        "release": in_turn(release, 2),
        "note": note or (),
        "undo": undo or (),
    }
    given = entries_given(
        [(kind, value) for kind, values in told.items() for value in values],
        {"cause": cause, "task": task, "unit": unit, "place": place, "row": row}
        | {"who": who, "when": when},
        entries is not None or temps is not None,
    )
    if temps is not None:
        trace = logger_trace(temps, desk.job, logger_clock)
        given = logger_given(desk.job, trace, task=task, place=place)
    done = run(desk, text_of(entries) if entries else given, replan=not no_plan)
    before = done.before.answer if done.before else None
    after = done.after.answer if done.after else None
    document = log_document(done.entries, before, after, done.why_not, desk.job)
    text = dump(document, desk.job.site.time_zone)
    if done.gathered is not None:
        keep_answer(desk, done.gathered, "log", text)
    show_or_print(
        as_json, text, lambda: log_table(done.entries, before, after, done.why_not, desk.job)
    )
