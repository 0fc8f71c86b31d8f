"""The winter stop in words: why, by which last day what is made safe, for which night."""

from __future__ import annotations

from collections.abc import Mapping

from rules.shown import prose
from scheduler.output.words import clock, day, told, words
from scheduler.planning.model.job import Job
from scheduler.planning.open_house.winter_stop import StopLine, WinterStop

VERBS: Mapping[str, str] = {"do_not": "do not", "keep_out": "keep out", "tie_down": "tie down"}


def stop_lines(stop: WinterStop | None, job: Job, *, always: bool = False) -> list[str]:
    """Return the plan to stop; nothing where it does not apply and nobody asked for it."""
    if stop is None or not (stop.applies or always):
        return []
    return [
        _head(stop),
        *(_line(line, stop, job) for line in stop.lines),
        *([f"  not begun any more: {', '.join(stop.not_begun)}"] if stop.not_begun else []),
        f"  cautions: {_cautions(stop)}",
    ]


def _head(stop: WinterStop) -> str:
    chance = "not known" if stop.chance is None else f"{stop.chance:.0%}"
    if stop.applies and stop.stop_under is not None:
        return (
            f"STOP FOR THE WINTER: the chance of closing in is {chance}, under the "
            f"{stop.stop_under:.0%} that the job set. Made safe, soonest first:"
        )
    told_at = (
        "the job sets no stop_under"
        if stop.stop_under is None
        else f"advised under {stop.stop_under:.0%}"
    )
    return f"If work stops for the winter (chance {chance}; {told_at}), soonest first:"


def _line(line: StopLine, stop: WinterStop, job: Job) -> str:
    zone = job.site.time_zone
    what = " or ".join(told("measure", name, job.units) for name in line.measures)
    of = f"{line.of}: " if line.of else ""
    own = prose(line.says, job.units)
    says = f"{own} ({what})" if what else own
    night = f"; the forecast needs it {clock(line.night, zone)}" if line.night else ""
    limit = f"; {line.limit}" if line.limit else ""
    who = f"; {', '.join(words(one) for one in line.who)}" if line.who else ""
    verb = VERBS.get(line.do, words(line.do))
    return f"  {_by(line, stop, zone)}: {verb}: {of}{says}{limit}{night}{who} [{line.source}]"


def _by(line: StopLine, stop: WinterStop, zone: str) -> str:
    if line.now:
        return "at the stop"
    if line.by is not None:
        return f"by {day(line.by, zone)}"
    return f"by season's end, {day(stop.season_end, zone)}"


def _cautions(stop: WinterStop) -> str:
    names = dict.fromkeys(told("caution", name) for line in stop.lines for name in line.cautions)
    return "; ".join(names)
