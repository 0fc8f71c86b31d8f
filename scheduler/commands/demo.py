"""``closein demo``: the main job on a made scenario."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import Timings


def demo(
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also draw what is printed, as SVG.")
    ] = None,
    timings: Timings = False,
) -> None:
    """Run the main job on a made scenario, without a network."""
    from scheduler.output.demo_show import DemoSeen, demo_parts, demo_picture
    from scheduler.output.files import write_file
    from scheduler.output.screen import show, waiting
    from scheduler.output.stopwatch import timed
    from scheduler.planning.model.steps import CALLS, OF_A_PLAN
    from scheduler.runs.demo import AGAIN
    from scheduler.runs.demo import demo as run
    from scheduler.startup import demo_desk

    with demo_desk() as desk:
        steps = (*OF_A_PLAN, CALLS, AGAIN)
        with timed(steps, asked=timings) as clock, waiting("Planning", shown=not timings):
            made = run(desk, watch=clock.watch)
        morning, delay = made.morning, made.delay
        seen = DemoSeen(
            job=desk.job,
            at=desk.now,
            subject=morning.brief.subject,
            answers=morning.today.answers,
            forecast=morning.today.gathered.forecast,
            before=morning.planned.answer,
            entries=delay.entries,
            after=made.after.answer,
        )
    show(demo_parts(seen))
    if picture is not None:
        write_file(picture, demo_picture(seen))
