"""``closein new``: a whole job file from a few numbers."""

from __future__ import annotations

import inspect
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from scheduler.commands.options import option, take
from scheduler.newjob.questions import Question, questions


def new(
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", help="The job file to write.")
    ] = Path("job.yaml"),
    defaults: Annotated[
        bool, typer.Option("--defaults", help="Ask nothing; what is not given takes its default.")
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Write over a file.")] = False,
    **answers: str | None,
) -> None:
    """Make a whole job file from a few numbers: ask, or take them as options."""
    import scheduler.jobfile
    from rules.errors import BadInput
    from scheduler.newjob.questions import Kind, asked
    from scheduler.output.files import write_file
    from scheduler.runs.new import new as run
    from scheduler.startup import local_today

    if out.exists() and not force:
        raise BadInput(f"{out} is there already; give another --out, or --force")
    given = {key: text for key, text in answers.items() if text is not None}
    if not defaults:
        given = _ask(given)
    text = run(given, today=local_today())
    job = scheduler.jobfile.parse(text, file=str(out))
    write_file(out, text)
    kind = Kind(given.get("kind", Kind.RAISED_HOUSE))
    missing = {"latitude", "longitude", "place"} & {q.key for q in asked(kind)} - set(given)
    if missing:
        sys.stderr.write("closein: the place is a made one; set site in the file to yours\n")
    sys.stdout.write(
        f"wrote {out}: {len(job.tasks)} tasks. Next: closein check {out}; closein plan {out}\n"
    )


def _ask(given: dict[str, str]) -> dict[str, str]:
    """Return the answers with those that were not given asked for, each checked as it comes."""
    from scheduler.newjob.answers import AnswerFault, read
    from scheduler.newjob.questions import Kind, asked

    told = dict(given)
    pending = list(questions())
    while pending:
        question = pending.pop(0)
        kind = Kind(told.get("kind", Kind.RAISED_HOUSE))
        if question.key in told or question not in asked(kind):
            continue
        units = told.get("units", "us")
        try:
            read(question, text := _prompt(question, units), units)
        except AnswerFault as fault:
            sys.stderr.write(f"closein: {fault}\n")
            pending.insert(0, question)
            continue
        if text:
            told[question.key] = text
    return told


def _prompt(question: Question, units: str) -> str:
    choices = f" ({', '.join(question.choices)})" if question.choices else ""
    default = question.default_in(units)
    asked = f"{question.ask}{choices}"
    return str(typer.prompt(asked, default=default, show_default=bool(default))).strip()


def _asked_as_options() -> list[inspect.Parameter]:
    """Return one option for each question, so that any answer can be given without asking."""
    return [option(question.key, _kind(question), None) for question in questions()]


def _kind(question: Question) -> Any:
    told = typer.Option(
        f"--{question.key.replace('_', '-')}",
        metavar=question.form.value.upper(),
        help=question.ask + (f" [{question.default}]" if question.default else ""),
    )
    return Annotated[str | None, told]


*_own, _answers = inspect.signature(new, eval_str=True).parameters.values()
take(new, [*_own, *_asked_as_options()])
