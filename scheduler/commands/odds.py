"""``closein odds``: the odds of the season for a job."""

from __future__ import annotations

from scheduler.commands.options import AsJson, Desk, of_a_job, show_or_print


@of_a_job()
def odds(desk: Desk, as_json: AsJson = False) -> None:
    """First freezes, dry days, chance of planned windows, limits broken, workable hours left."""
    from scheduler.output.answer_json import dump
    from scheduler.output.odds_table import odds_document, odds_table
    from scheduler.output.screen import waiting
    from scheduler.runs.desk import keep_answer
    from scheduler.runs.odds import odds as run

    with waiting("Counting"):
        found, gathered = run(desk)
    text = dump(odds_document(found, desk.job), desk.job.site.time_zone)
    keep_answer(desk, gathered, "odds", text)
    show_or_print(as_json, text, lambda: odds_table(found, desk.job))
