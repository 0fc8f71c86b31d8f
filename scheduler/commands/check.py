"""``closein check``: read the job file and say its faults."""

from __future__ import annotations

from scheduler.commands.options import AsJson, JobFile, show_or_dump


def check(job: JobFile, as_json: AsJson = False) -> None:
    """Read the job file and say every fault with its line."""
    import scheduler.jobfile
    from scheduler.output.job_table import job_document, job_table

    read = scheduler.jobfile.read(job)
    show_or_dump(as_json, job_document(read), lambda: job_table(read), read.site.time_zone)
