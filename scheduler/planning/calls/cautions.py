"""What must not be believed, and how people can be hurt: cautions that no single row can tell.

Each looks at the whole answer: age and reach of the data, several sources, the hour that decides,
clocks, papers, measures that endanger people.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from rules.book import measures as book_measures
from rules.book import sources
from rules.book_rows import Row
from rules.facts import number
from rules.margins import thin
from rules.verdict import Verdict
from scheduler.planning.evidence.ages import COURSES
from scheduler.planning.evidence.deadlines import cut_offs
from scheduler.planning.evidence.facts import By, Fact
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.log_order import told_too_soon
from scheduler.planning.evidence.places import spot
from scheduler.planning.model.answer import (
    CautionLine,
    CheckLine,
    LimitLine,
    MeasureLine,
    NumberLine,
    Outcome,
)
from scheduler.planning.rulings.asks import OUTCOMES, band_of
from scheduler.planning.rulings.chances import error_numbers, extras, share_numbers
from scheduler.planning.rulings.quantities import COLUMNS, reach
from scheduler.planning.rulings.ruling import GRAVITY, Judged, hours_between
from scheduler.planning.tables.hours import ELSEWHERE_KM

SECOND_NIGHT: Final = timedelta(hours=24)  # from here on it is a later night than the first
GUIDES: Final = frozenset({"guide", "practice"})


@dataclass(frozen=True, slots=True)
class Remarks:
    """Lines that go with an answer beside those of its rulings."""

    cautions: tuple[CautionLine, ...] = ()
    checks: tuple[CheckLine, ...] = ()
    numbers: tuple[NumberLine, ...] = ()


def remarks(judged: Judged, rows: Sequence[Row], asked: Sequence[MeasureLine]) -> Remarks:
    """Return what an answer says about itself: its data, its hours, its papers, its dangers."""
    known = judged.trial.known
    found = [
        *_age(judged),
        *_reach(judged),
        *_readings(judged, rows),
        *_log_order(judged),
        *_second_night(judged),
        *_clocks(known, judged, asked),
        *_papers(judged),
        *_shared_wall(judged),
        *_thin(judged, rows),
        *_alerts(known),
        *_practice(judged),
        *_notice(judged),
        *error_numbers(known),
        *share_numbers(known),
        *_dangers(asked),
    ]
    cautions = [line for line in found if isinstance(line, CautionLine)]
    checks = [line for line in found if isinstance(line, CheckLine)]
    numbers = [line for line in found if isinstance(line, NumberLine)]
    return Remarks(tuple(cautions), tuple(checks), tuple(numbers))


Remark = CautionLine | CheckLine | NumberLine


def _looks_at_weather(judged: Judged) -> bool:
    return any(ruling.bears or ruling.moves for ruling in judged.rulings)


def _age(judged: Judged) -> Iterator[Remark]:
    known = judged.trial.known
    if not known.view.stale or not _looks_at_weather(judged):
        return
    issued = known.view.issued_at
    of = None if known.newest is None else known.newest.provenance
    if of is not None and of.is_elsewhere:
        away = (
            f"for a place {of.distance_km:.0f} km from the site, {ELSEWHERE_KM:g} km is the limit"
        )
        yield CautionLine("forecast_elsewhere", away)
        yield CheckLine("second_forecast_source", "the forecast at hand is for another place")
        return
    if issued is None:
        yield CautionLine("stale_forecast", "no forecast, or none that says when it was issued")
    else:
        age = hours_between(issued, known.now)
        limit = 0.0 if known.newest is None else known.newest.provenance.age_limit_h
        yield CautionLine(
            "stale_forecast",
            f"issued {age:.1f} h ago, {limit:g} h is the limit{_status(known)}",
        )
        yield NumberLine("forecast_age", "value", age, "h", at=known.now)
    yield CheckLine("second_forecast_source", "the forecast at hand is too old to say go")
    yield CheckLine("recheck_forecast", "as soon as a new one is out")


def _status(known: Known) -> str:
    told = extras(known, "source_status")
    said = [f"{row.get('source')}: {row.get('status')}" for row in told if row.get("status")]
    return "; " + ", ".join(said) if said else ""


def _reach(judged: Judged) -> Iterator[Remark]:
    """Tell where a window that counts runs past what the forecast gives."""
    known = judged.trial.known
    for limit in _limits(judged):
        if limit.window is None or limit.quantity not in COLUMNS:
            continue
        end = reach(known, limit.quantity)
        if end is not None and end < limit.window.end and limit.window.end > known.now:
            at = end.astimezone(known.zone)
            yield CautionLine("forecast_ends_early", f"it ends {at:%a %-d %b %H:%M}")
            yield CheckLine("recheck_forecast", "when the last hours come into reach")
            return


def _limits(judged: Judged) -> list[LimitLine]:
    return [ruling.limit for ruling in judged.rulings if ruling.limit is not None]


def _log_order(judged: Judged) -> Iterator[Remark]:
    """Tell where the log has work finished before what comes before it."""
    known = judged.trial.known
    for later, earlier in told_too_soon(known.job, judged.trial.task, known.standing):
        yield CheckLine("log_order", f"{later.name} is told finished before {earlier.name}")


def _readings(judged: Judged, rows: Sequence[Row]) -> Iterator[Remark]:
    """Tell where something read on site decides, and where the worst of several places does.

    Two readings of one spot within the hour that fall on two sides of a limit are read again.
    """
    known = judged.trial.known
    by_id = {row.id: row for row in rows}
    for limit in _limits(judged):
        told = known.facts_of(judged.trial.task).facts(limit.quantity)
        read = [fact for fact in told if fact.by is By.READING]
        row = by_id.get(limit.rule)
        if row is not None and _differ(row, read, limit.unit):
            yield CheckLine("read_again", f"{row.says or row.name}: two readings differ")
        if not read or limit.outcome is Outcome.GO:
            continue
        yield CautionLine("reading_outranks_forecast", f"{limit.quantity} was read on site")
        if len({r.value for r in read}) > 1:
            where = f" at {limit.place}" if limit.place else ""
            yield CautionLine("worst_place_governs", f"{limit.quantity}{where} decides")


def _differ(row: Row, read: Sequence[Fact], unit: str) -> bool:
    """Tell whether two readings of one spot lie in bands of different outcomes."""
    told: dict[frozenset[str], set[Verdict]] = {}
    for fact in read:
        value = None if isinstance(fact.value, str) else number((fact.value, fact.unit), unit)
        if value is not None:
            told.setdefault(spot(fact.place), set()).add(band_of(row, value).outcome)
    return any(len(outcomes) > 1 for outcomes in told.values())


def _second_night(judged: Judged) -> Iterator[Remark]:
    for limit in _limits(judged):
        kept = limit.window is not None and limit.taken_as == "min"
        if kept and limit.at is not None and limit.window is not None:
            later = limit.at - limit.window.start >= SECOND_NIGHT
            if later and limit.outcome is not Outcome.GO:
                at = limit.at.astimezone(judged.trial.known.zone)
                yield CautionLine(
                    "second_night_decides", f"coldest {at.strftime('%a %H:%M')}, not tonight"
                )
                return


def _clocks(known: Known, judged: Judged, asked: Sequence[MeasureLine]) -> Iterator[Remark]:
    """Tell where the clocks change inside the hours that count: elapsed hours stay."""
    ends = [m.end for m in asked if m.end is not None]
    ends += [limit.window.end for limit in _limits(judged) if limit.window is not None]
    start = min(known.now, judged.trial.start)
    end = max([judged.trial.end, *ends])
    if _offset(known, start) != _offset(known, end):
        yield CautionLine("clock_change", "the clock moves inside the period; its hours do not")


def _offset(known: Known, moment: datetime) -> timedelta | None:
    return moment.astimezone(known.zone).utcoffset()


def _papers(judged: Judged) -> Iterator[Remark]:
    for paper in judged.trial.known.documents_for(judged.trial.task):
        if paper.kind == "label":
            yield CautionLine("label_governs", paper.id)
        if paper.kind == "engineer":
            yield CautionLine("engineer_decides", paper.id)


def _shared_wall(judged: Judged) -> Iterator[Remark]:
    """Tell where one wall is partly grouted: the stricter rule holds for all of it."""
    known = judged.trial.known
    facts = known.facts_of(judged.trial.task)
    told = [fact for part in COURSES for fact in facts.facts(f"{part}.grouted")]
    said = {f.value for f in told if f.by >= By.LOGGED and isinstance(f.value, bool)}
    own = judged.trial.task.element.get("grouted")
    if isinstance(own, bool):
        said.add(own)
    if said == {True, False}:
        yield CautionLine("stricter_rule_on_shared_wall", "grouted and plain parts in one wall")


def _thin(judged: Judged, rows: Sequence[Row]) -> Iterator[Remark]:
    """Tell where a value lies near a band that is graver, or that asks for more."""
    by_id = {row.id: row for row in rows}
    for ruling in judged.rulings:
        row, limit = by_id.get(ruling.rule), ruling.limit
        if row is None or limit is None or ruling.refuses:
            continue
        graver = next_band(row, limit)
        if graver is not None:
            yield CautionLine("thin_margin", f"{limit.quantity} {limit.value:.1f} {limit.unit}")
            return


def next_band(row: Row, limit: LimitLine) -> Outcome | None:
    """Return the outcome of a graver band within a thin margin of a value, None where none is."""
    width = thin(row.unit) if row.unit else None
    if width is None or limit.value is None or isinstance(limit.value, bool):
        return None
    here = band_of(row, float(limit.value))
    for side in (-width, width):
        there = band_of(row, float(limit.value) + side)
        heavier = there.outcome > here.outcome or (
            there is not here
            and here.outcome is Verdict.GO_WITH_PROTECTION
            and len(there.measures) > len(here.measures)
        )
        if heavier and there.outcome > Verdict.GO:
            return OUTCOMES[there.outcome]
    return None


def _alerts(known: Known) -> Iterator[Remark]:
    if known.newest is None or known.newest.alerts is None:
        return
    if not known.newest.alerts:
        yield CautionLine("no_alert_is_not_safe", "no warning in force proves nothing")


def _practice(judged: Judged) -> Iterator[Remark]:
    """Tell where the limit that decides is a guide or a habit, not a rule."""
    worst = max(judged.rulings, key=lambda r: GRAVITY[r.outcome], default=None)
    if worst is None or worst.limit is None or worst.outcome is Outcome.GO:
        return
    source = sources().get(worst.limit.source)
    if source is not None and source.kind in GUIDES:
        yield CautionLine("guide_not_rule", f"{worst.limit.source}: {worst.limit.clause}")


def _notice(judged: Judged) -> Iterator[Remark]:
    """Tell where a cut-off of the task has passed."""
    known = judged.trial.known
    for paper in known.documents_for(judged.trial.task):
        for at, why, _ in cut_offs(known, paper, judged.trial.start):
            if at < known.now < judged.trial.start:
                yield CautionLine("notice_may_be_late", f"{why} has passed")
                return


def _dangers(asked: Iterable[MeasureLine]) -> Iterator[Remark]:
    """Tell how the measures that an answer asks for can hurt people."""
    known = book_measures()
    for line in asked:
        measure = known.get(line.measure)
        for caution in measure.cautions if measure is not None else ():
            yield CautionLine(caution, line.measure.replace("_", " "))
