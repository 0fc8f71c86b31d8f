"""Protections compared: what each does to freezing, gates, cost and the booked slot."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.errors import OutOfRange
from rules.freeze import Fate
from scheduler.planning.model.job import (
    Appointment,
    Calendar,
    Job,
    Link,
    MeasureOffer,
    Shift,
    Site,
    StrengthGate,
    Task,
)
from scheduler.planning.strength.cure import compare
from scheduler.planning.strength.cure_answer import CureAnswer, CureOption, Slot
from scheduler.planning.tables.hours import HourlyTable

ZERO = datetime(2026, 11, 10, 5, tzinfo=UTC)
FINISH = ZERO + timedelta(hours=15)
WEEK = Calendar((Shift(time(7), time(16)),) * 7)
SITE = Site("Heron Ferry", 44.3, -75.1, 125.0, "America/New_York")


def weather(level: float, *, hours: int = 800, scenarios: int = 0) -> HourlyTable:
    swing = 4.0 * np.sin(2 * np.pi * (np.arange(hours) - 9) / 24)
    air = level + swing
    if scenarios:
        air = air + np.linspace(-2.0, 2.0, scenarios)[:, None]
    return HourlyTable(
        start=np.datetime64("2026-11-10T05") + np.arange(hours) * np.timedelta64(1, "h"),
        columns={
            "air_temperature_c": air,
            "wind_speed_ms": np.full(hours, 3.0),
            "cloud_area_fraction_pct": np.full(hours, 60.0),
            "dew_point_temperature_c": air - 3.0,
            "precipitation_amount_mm": np.zeros(hours),
        },
    )


def job(slot: datetime | None = None, on_hand: tuple[str, ...] = ()) -> Job:
    grout = Task("grout", "Grout", "place_grout", 5.0, element={"placed_c": 18.0})
    gate = StrengthGate(share=0.5, wait_h=72.0, purpose="lower_house")
    lower = Task(
        "lower",
        "Lower",
        "lower_house",
        7.0,
        after=(Link("grout", gate=gate),),
        appointment=None if slot is None else Appointment("house_lifter", slot),
    )
    return Job(
        "north",
        SITE,
        "us",
        "tms602-2016",
        WEEK,
        (grout, lower),
        on_hand=on_hand,
        can_be_had=(MeasureOffer("heated_enclosure", 24.0, 190.0),),
    )


def asked(level: float, **options: object) -> CureAnswer:
    slot = options.pop("slot", None)
    on_hand = options.pop("on_hand", ())
    scenarios = options.pop("scenarios", 0)
    made = job(slot, on_hand)  # type: ignore[arg-type]
    defaults: dict[str, object] = {"finish": FINISH, "now": ZERO - timedelta(hours=48)}
    answer = compare(
        made,
        made.task("grout"),
        weather=weather(level, scenarios=scenarios),  # type: ignore[arg-type]
        **{**defaults, **options},  # type: ignore[arg-type]
    )
    assert answer is not None
    return answer


def by_name(answer: CureAnswer) -> dict[str, CureOption]:
    return {option.name: option for option in answer.options}


def test_the_four_protections_stand_in_order_of_warmth() -> None:
    options = asked(-1.0).options
    assert [option.name for option in options] == ["bare", "membrane", "blanket", "enclosure"]
    frozen = [option.frozen_at for option in options if option.frozen_at is not None]
    assert len(frozen) >= 2
    assert frozen == sorted(frozen)
    assert options[0].fate is Fate.FREEZES
    assert all(at is None for at in options[0].ready.values())  # failure, never delay
    assert options[3].fate is Fate.SURVIVES


def test_a_cover_stays_on_longer_than_the_book_asks_where_the_work_would_freeze() -> None:
    until = FINISH + timedelta(hours=48)
    tent = by_name(asked(-4.0, protect_until=until))["enclosure"]
    assert tent.keep_on_until is not None
    assert tent.cover_until == tent.keep_on_until > until
    assert tent.fate is Fate.SURVIVES
    assert tent.cost == 3 * 190.0
    assert by_name(asked(-4.0))["blanket"].keep_on_until is None


def test_gates_open_in_turn_and_the_fast_model_is_never_later() -> None:
    for option in asked(9.0).options:
        ready, fast = option.ready, option.ready_fast
        assert ready["uniform_load"] is not None
        assert ready["lower_house"] is not None
        assert ready["uniform_load"] <= ready["lower_house"]
        assert ready["lower_house"] >= FINISH + timedelta(hours=72)
        assert all(fast[p] <= ready[p] for p in ready if ready[p] is not None)  # type: ignore[operator]


def test_the_jobs_own_gate_replaces_the_books_share() -> None:
    option = by_name(asked(9.0))["bare"]
    assert option.ready["lower_house"] == option.ready["concentrated_load"]  # both ask for half


def test_heat_that_saves_the_slot_is_told_from_heat_that_does_not() -> None:
    far = FINISH + timedelta(days=25)
    kept = by_name(asked(3.0, slot=far, on_hand=("insulating_blankets",)))
    warm, cold = kept["enclosure"].slots["lower"].ready, kept["blanket"].slots["lower"].ready
    assert warm is not None
    assert cold is not None
    assert warm < cold
    between = warm + (cold - warm) / 2
    saved = by_name(asked(3.0, slot=between, on_hand=("insulating_blankets",)))
    assert saved["enclosure"].slots["lower"].slot is Slot.SAVED
    days = -(-(warm - FINISH) // timedelta(days=1))
    assert saved["enclosure"].slots["lower"].cost == 190.0 * days
    assert saved["blanket"].slots["lower"].slot is Slot.LOST_ANYWAY
    early = by_name(asked(3.0, slot=FINISH + timedelta(hours=80)))
    assert {o.slots["lower"].slot for o in early.values()} == {Slot.LOST_ANYWAY}
    late = by_name(asked(9.0, slot=FINISH + timedelta(days=28)))
    assert {o.slots["lower"].slot for o in late.values()} == {Slot.KEPT_WITHOUT}


def test_cost_counts_days_and_what_is_on_hand_is_free() -> None:
    options = by_name(asked(3.0, on_hand=("insulating_blankets",)))
    assert options["blanket"].cost == 0.0
    tent = options["enclosure"]
    assert tent.cover_until is not None
    assert tent.cost == 190.0 * -(-(tent.cover_until - FINISH) // timedelta(days=1))
    assert options["membrane"].cost is None
    assert not options["membrane"].available
    hurried = by_name(asked(3.0, now=FINISH - timedelta(hours=10)))
    assert not hurried["enclosure"].available


def test_the_books_end_of_protection_is_never_shortened() -> None:
    until = FINISH + timedelta(hours=200)
    answer = asked(9.0, protect_until=until)
    assert answer.protect_until == until
    for option in answer.options[1:]:
        assert option.cover_until == until
        assert option.freeze_safe_at is not None
        assert option.freeze_safe_at < until


def test_scenarios_are_held_to_the_jobs_confidence() -> None:
    one, many = by_name(asked(6.0)), by_name(asked(6.0, scenarios=21))
    assert many["bare"].coldest_c <= one["bare"].coldest_c
    late, sure = many["bare"].ready["uniform_load"], one["bare"].ready["uniform_load"]
    assert late is not None
    assert sure is not None
    assert late >= sure


def test_the_trace_shows_depth_edge_and_strength() -> None:
    trace = by_name(asked(5.0))["blanket"].trace
    assert trace.nodes_c.shape == (7, 337)
    assert trace.depth_m[-1] == pytest.approx(0.194)
    assert trace.nodes_c[3, 1] > trace.nodes_c[0, 1]
    assert (np.diff(trace.share) >= 0).all()
    assert (trace.share_fast >= trace.share).all()


def test_work_that_the_model_does_not_judge_has_no_answer() -> None:
    made = job()
    told = compare(made, made.task("lower"), weather=weather(5.0), finish=FINISH, now=ZERO)
    assert told is None


def test_a_finish_outside_the_weather_is_refused() -> None:
    with pytest.raises(OutOfRange, match="does not reach"):
        asked(5.0, finish=ZERO + timedelta(days=60))


def test_unknown_weather_gives_no_hours() -> None:
    made = job()
    table = weather(8.0, hours=40)
    answer = compare(made, made.task("grout"), weather=table, finish=FINISH, now=ZERO)
    assert answer is not None
    for option in answer.options[:3]:
        assert option.fate is Fate.NOT_KNOWN
        assert option.ready["lower_house"] is None
        assert option.freeze_safe_at is None
