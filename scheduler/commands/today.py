"""``closein today``: the calls for today and the coming days."""

from __future__ import annotations

from typing import Annotated

import typer

from scheduler.commands.options import NOTHING_CAN_GO, AsJson, Desk, of_a_job, show_or_print


@of_a_job()
def today(
    desk: Desk,
    strict: Annotated[bool, typer.Option("--strict", help="Exit 4 where nothing can go.")] = False,
    as_json: AsJson = False,
) -> int:
    """Give the calls for today and the coming days, with reasons."""
    from scheduler.output.answer_json import answer_document, dump
    from scheduler.output.close_in_words import close_in_words
    from scheduler.output.today_table import today_table
    from scheduler.runs.desk import keep_answer
    from scheduler.runs.today import today as run

    found = run(desk)
    forecast = found.gathered.forecast
    date = found.close_in
    document = answer_document(desk.job, found.answers, forecast, at=desk.now, close_in=date)
    text = dump(document, desk.job.site.time_zone)
    keep_answer(desk, found.gathered, "today", text)
    show_or_print(
        as_json,
        text,
        lambda: today_table(
            desk.job,
            found.answers,
            forecast,
            at=desk.now,
            close_in=close_in_words(date, desk.job.site.time_zone),
        ),
    )
    return NOTHING_CAN_GO if strict and found.nothing_can_go else 0
