"""``closein orders``: by which day to order what."""

from __future__ import annotations

from scheduler.commands.options import AsJson, Csv, Desk, of_a_job, show_or_dump


@of_a_job()
def orders(desk: Desk, csv: Csv = None, as_json: AsJson = False) -> None:
    """Say by which day each thing is ordered, against the plan and its odds."""
    from scheduler.output.files import write_file
    from scheduler.output.orders_table import orders_csv, orders_document, orders_table
    from scheduler.output.screen import waiting
    from scheduler.runs.orders import orders as run

    with waiting("Planning"):
        found = run(desk)
    if csv is not None:
        write_file(csv, orders_csv(found, desk.job))
    show_or_dump(
        as_json,
        orders_document(found),
        lambda: orders_table(found, desk.job),
        desk.job.site.time_zone,
    )
