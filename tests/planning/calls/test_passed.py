"""What has passed is told as passed; what is not known moves no booking."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.planning.calls.decide import decide
from scheduler.planning.model.answer import Call, Outcome, TaskAnswer
from scheduler.planning.model.job import Appointment, Document, MeasureOffer, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.reports.briefing import brief
from scheduler.planning.reports.difference import difference
from scheduler.service.told import changes
from tests.planning.calls.test_decide import BOOK, NOW, ask, forecast, job, lay
from tests.planning.reports.test_difference import BEFORE, JOB, plan, told

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
BIT = timedelta(microseconds=137_211)
GOES = {Call.GO, Call.GO_WITH_PROTECTION, Call.PREPARE}


def visited(start, **more):  # type: ignore[no-untyped-def]
    visit = Appointment("house_lifter", start, **more)
    return lay(booked=None, until=None, appointment=visit)


def why(answer: TaskAnswer) -> list[str]:
    return [d.why for d in answer.decide_by]


# deadlines


@pytest.mark.parametrize(("notice_h", "says"), [(24.0, "notice"), (72.0, "notice, passed")])
def test_a_notice_that_has_passed_is_told_as_passed(notice_h: float, says: str) -> None:
    answer = ask(visited(NOW + 50 * HOUR, notice_h=notice_h), forecast(50.0))
    assert why(answer) == [says]


def test_of_a_notice_that_has_passed_the_one_who_comes_hears_now() -> None:
    answer = ask(visited(NOW + 30 * HOUR, notice_h=48.0), forecast(50.0))
    (line,) = [t for t in answer.tell if t.whom == "house_lifter"]
    assert line.what == "notice has passed: ask whether it still stands"
    assert line.by == NOW


def test_a_suppliers_last_word_that_has_passed_is_told_as_passed() -> None:
    paper = Document("yard", "supplier", terms={"supplier_of": "block", "notice_h": 48.0})
    made = replace(job(lay(booked=NOW + 26 * HOUR, until=None)), documents=(paper,))
    made = replace(made, documents=(replace(paper, for_tasks=("lay",)),))
    (answer,) = decide(made, forecast(50.0), None, Progress(()), BOOK, NOW)
    assert why(answer) == ["48.0 h notice, passed"]
    assert "has passed" in answer.tell[0].what


def test_a_measure_whose_notice_has_passed_says_so() -> None:
    offer = MeasureOffer("weather_resistive_cover", notice_h=40.0)
    made = replace(job(lay(booked=NOW + 26 * HOUR, until=None)), can_be_had=(offer,))
    (answer,) = decide(made, forecast(36.0), None, Progress(()), BOOK, NOW)
    assert any(line.endswith("40 h notice, passed") for line in why(answer))


def test_what_has_passed_stands_first_in_the_morning_message() -> None:
    answer = ask(visited(NOW + 50 * HOUR, notice_h=72.0), forecast(50.0))
    made = job(visited(NOW + 50 * HOUR))
    found = brief(made, (answer,), at=NOW, forecast=forecast(50.0), stale=False, date=None)
    assert found.decide[0][1].why == "notice, passed"


def test_a_deadline_of_a_visit_that_is_over_is_told_no_more() -> None:
    answer = ask(visited(NOW - DAY, notice_h=24.0), forecast(50.0))
    assert why(answer) == []


# times that are over


@pytest.mark.parametrize(
    "task",
    [
        visited(NOW - DAY - BIT),
        visited(NOW - DAY, slots=(NOW - 12 * HOUR,)),
        lay(booked=NOW - DAY, until=NOW - DAY + 4 * HOUR),
        lay(booked=NOW - 4 * HOUR - BIT, until=None),
        lay(booked=None, until=None, offered=NOW - DAY),
        lay(booked=None, until=None, slots=(NOW - 2 * DAY, NOW - DAY)),
        lay(booked=None, until=None, days=((NOW - DAY).date(), (NOW - 2 * DAY).date())),
    ],
)
@pytest.mark.parametrize("air_f", [50.0, 36.0])
def test_work_whose_time_was_missed_is_never_go_in_the_past(task: Task, air_f: float) -> None:
    answer = ask(task, forecast(air_f))
    assert answer.call is Call.WAIT
    assert answer.outcome is Outcome.NOT_KNOWN
    assert answer.window is None
    assert "has passed; agree on another" in answer.reason
    assert answer.tell[0].what == "the time agreed has passed: agree on another"
    assert answer.next_window is None or answer.next_window.start >= NOW


def test_work_whose_hours_still_run_is_judged_by_them() -> None:
    answer = ask(visited(NOW - 2 * HOUR), forecast(50.0))
    assert answer.window is not None
    assert answer.call in GOES


def test_of_several_offers_those_that_are_over_are_left_out() -> None:
    slots = (NOW - DAY, NOW + 26 * HOUR)
    answer = ask(lay(booked=None, until=None, slots=slots), forecast(50.0))
    assert answer.window is not None
    assert answer.window.start == slots[1]
    assert [option.start for option in answer.options] == [slots[1]]


# bookings that are said to move


@pytest.mark.parametrize("age_h", [1.0, 30.0])
def test_on_an_old_forecast_no_booking_is_said_to_move(age_h: float) -> None:
    task = visited(NOW + 20 * HOUR, notice_h=6.0)
    words = {t.what for t in ask(task, forecast(5.0, age_h, gust=40.0)).tell}
    assert ("the booking moves" in words) is (age_h == 1.0)
    assert ("not sure yet; confirm or let go by then" in words) is (age_h == 30.0)


MOVED = plan({"lay": 0, "grout": 2, "lower": 11, "paint": 1}, kept=False)


@pytest.mark.parametrize(
    "after",
    [
        replace(MOVED, stale=True),
        replace(MOVED, status="infeasible"),
        replace(
            MOVED,
            status="not_found",
            tasks=tuple(replace(line, start=None, finish=None, kept=None) for line in MOVED.tasks),
        ),
    ],
    ids=["old forecast", "infeasible", "no plan"],
)
def test_without_a_plan_that_counts_nobody_hears_that_a_booking_moves(after) -> None:  # type: ignore[no-untyped-def]
    said = told(difference(BEFORE, after, JOB))
    assert said, "who is booked hears that it is not sure"
    assert all("not sure yet whether Lower can be" in text for _, text in said)
    assert not any("cannot be" in text or "moves" in text for _, text in said)
    was, now = {"appointment:lower": "kept"}, {"appointment:lower": "broken"}
    assert changes(JOB, was, now, (), after) == ()
    assert len(changes(JOB, was, now, (), MOVED)) == 1
