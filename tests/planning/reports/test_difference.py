"""What a new plan changes, in words that can be sent; nothing where nothing changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

from scheduler.planning.model.job import (
    Appointment,
    Calendar,
    Crew,
    Document,
    Job,
    Link,
    Shift,
    Site,
    Task,
)
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.planning.plan.plan_answer import Basis, PlanAnswer, PlanLine
from scheduler.planning.reports.difference import Difference, difference

NOW = datetime(2026, 11, 9, 11, tzinfo=UTC)  # 06:00 at the site
DAY = timedelta(days=1)
VISIT = Appointment("house_lifter", NOW + 10 * DAY, notice_h=48.0, free_until=NOW + 7 * DAY)
TASKS = (
    Task("lay", "Lay", "lay_block", 8.0, crew=("masons",)),
    Task("grout", "Grout", "place_grout", 5.0, crew=("masons",), after=(Link("lay"),)),
    Task("lower", "Lower", "lower_house", 7.0, after=(Link("grout"),), appointment=VISIT),
    Task("paint", "Paint", "framing", 4.0),
)
JOB = Job(
    "north",
    Site("Heron Ferry", 44.3, -75.1, 125.0, "America/New_York"),
    "us",
    "tms602-2016",
    Calendar((Shift(time(7), time(16)),) * 7),
    TASKS,
    crews=(Crew("masons", "Block crew"),),
    documents=(
        Document("plant", "supplier", terms={"supplier_of": "grout"}, for_tasks=("grout",)),
    ),
)
LOST = Entry(1, NOW, NOW, EntryKind.LOST, hours=8.0, cause="rain")


def plan(days: dict[str, float], *, kept: bool = True) -> PlanAnswer:
    lines = tuple(
        PlanLine(
            task.id, task.name, task.work_type,
            start=NOW + days[task.id] * DAY, finish=NOW + days[task.id] * DAY + timedelta(hours=5),
            basis=Basis.FORECAST, crew=task.crew,
            appointment=task.appointment.start if task.appointment else None,
            who=task.appointment.who if task.appointment else "",
            kept=kept if task.appointment else None,
        )
        for task in TASKS
    )  # fmt: skip
    return PlanAnswer(JOB.name, NOW, "proven", "", lines, NOW + 12 * DAY, Basis.CLIMATE, None)


BEFORE = plan({"lay": 0, "grout": 2, "lower": 10, "paint": 1})


def told(found: Difference) -> list[tuple[str, str]]:
    return [(call.who, call.text) for call in found.calls]


def test_equal_plans_differ_in_nothing_and_nobody_is_called() -> None:
    found = difference(BEFORE, BEFORE, JOB, (LOST,))
    assert found.nothing
    assert found.calls == ()
    assert found.stays == ("Lay", "Grout", "Lower", "Paint")


def test_a_lost_day_says_its_cause_and_what_follows_says_after_what() -> None:
    found = difference(BEFORE, plan({"lay": 1, "grout": 3, "lower": 10, "paint": 1}), JOB, (LOST,))
    assert [(row.task, row.why) for row in found.moved] == [
        ("lay", "rain"),
        ("grout", "after Lay"),
    ]
    assert found.stays == ("Lower", "Paint")
    assert ("Block crew", "north: Lay moves from Mon 9 Nov 06:00 to Tue 10 Nov 06:00.") in told(
        found
    )
    assert any(who == "grout_supplier" for who, _ in told(found))
    assert all(call.by is not None and call.by >= NOW for call in found.calls)


def test_who_is_booked_is_asked_for_another_day_by_the_last_free_move() -> None:
    after = plan({"lay": 0, "grout": 2, "lower": 14, "paint": 1}, kept=False)
    (call,) = difference(BEFORE, after, JOB).calls
    assert (call.who, call.by) == ("house_lifter", NOW + 7 * DAY)
    assert call.text == (
        "north: Lower cannot be Thu 19 Nov 06:00; can you come Mon 23 Nov 06:00? "
        "Please answer by Mon 16 Nov 06:00."
    )


def test_a_past_deadline_is_now_and_no_new_day_is_said() -> None:
    later = replace(BEFORE, at=NOW + 9 * DAY)
    lines = tuple(
        replace(line, start=None, finish=None, kept=False) if line.id == "lower" else line
        for line in later.tasks
    )
    (call,) = difference(later, replace(later, tasks=lines), JOB).calls
    assert call.by == NOW + 9 * DAY
    assert "we call again with a day" in call.text


def test_the_calls_come_soonest_first_and_each_once() -> None:
    after = plan({"lay": 1, "grout": 3, "lower": 14, "paint": 2}, kept=False)
    found = difference(BEFORE, after, JOB, (LOST,))
    moments = [call.by for call in found.calls if call.by is not None]
    assert moments == sorted(moments)
    assert len(set(told(found))) == len(found.calls)
