"""``closein amounts``: what a job takes, counted from the numbers it was made of."""

from __future__ import annotations

from scheduler.commands.options import AsJson, Csv, JobFile, show_or_dump


def amounts(
    job: JobFile,
    csv: Csv = None,
    as_json: AsJson = False,
) -> None:
    """Count blocks, grout, bars, cribbing and covers, each with its source."""
    import scheduler.jobfile
    from scheduler.output.amounts_table import amounts_csv, amounts_document, amounts_table
    from scheduler.output.files import write_file
    from scheduler.runs.new import amounts as run

    read = scheduler.jobfile.read(job)
    counted = run(read)
    if csv is not None:
        write_file(csv, amounts_csv(counted))
    show_or_dump(
        as_json,
        amounts_document(counted),
        lambda: amounts_table(counted),
        read.site.time_zone,
    )
