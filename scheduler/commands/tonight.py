"""``closein tonight``: what is done before everybody goes home."""

from __future__ import annotations

from scheduler.commands.options import AsJson, Desk, of_a_job, show_or_print


@of_a_job(without=("climate",))
def tonight(desk: Desk, as_json: AsJson = False) -> None:
    """List what to cover, brace, drain, heat and tie down before tonight and the days off."""
    from scheduler.output.answer_json import dump
    from scheduler.output.leave_table import leave_document, leave_table
    from scheduler.runs.desk import keep_answer
    from scheduler.runs.tonight import tonight as run

    found = run(desk)
    forecast = found.gathered.forecast
    document = leave_document(found.leaves, desk.job, forecast, at=desk.now)
    text = dump(document, desk.job.site.time_zone)
    keep_answer(desk, found.gathered, "tonight", text)
    show_or_print(
        as_json, text, lambda: leave_table(found.leaves, desk.job, forecast, at=desk.now)
    )
