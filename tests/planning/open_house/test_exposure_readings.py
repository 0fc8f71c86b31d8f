"""Readings and facts put into the exposure: newest of each place, worst of the places."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from scheduler.planning.model.job import ExposureLimits, WoodLimits
from scheduler.planning.model.log import Entry, EntryKind, Fact, Progress, Reading
from scheduler.planning.open_house.exposure_readings import as_found

AT = datetime(2026, 11, 2, 12, tzinfo=UTC)


def progress(*told: Reading | Fact) -> Progress:
    entries = []
    for seq, one in enumerate(told):
        at = AT + timedelta(hours=seq)
        reading = one if isinstance(one, Reading) else None
        fact = one if isinstance(one, Fact) else None
        kind = EntryKind.READING if reading else EntryKind.FACT
        entries.append(Entry(seq, at, at, kind, reading=reading, fact=fact))
    return Progress(tuple(entries))


def test_the_wettest_plate_and_the_coldest_room_count_as_last_read() -> None:
    found = as_found(
        ExposureLimits(wood=WoodLimits(at_most_pct=19.0)),
        progress(
            Reading("wood_moisture", 30.0, "%", place="plate 1"),
            Reading("wood_moisture", 24.0, "%", place="plate 2"),
            Reading("wood_moisture", 21.0, "%", place="plate 1"),
            Reading("house_air_temperature", 50.0, "degF", place="kitchen"),
            Reading("house_air_temperature", 41.0, "degF", place="hall"),
        ),
    )
    assert found.wood is not None
    assert found.wood.start_pct == 24.0
    assert abs(found.indoor_start_c - 5.0) < 1e-9


def test_lines_hang_while_filled_and_bare() -> None:
    filled = Fact("water_lines", "filled", True)
    bare = as_found(ExposureLimits(), progress(filled))
    wrapped = as_found(ExposureLimits(), progress(filled, Fact("water_lines", "insulated", True)))
    drained = as_found(
        ExposureLimits(water_lines_hang=True),
        progress(filled, Fact("water_lines", "filled", False)),
    )
    assert bare.water_lines_hang
    assert not wrapped.water_lines_hang
    assert not drained.water_lines_hang


def test_nothing_told_changes_nothing() -> None:
    limits = ExposureLimits(water_lines_hang=True)
    assert as_found(limits, progress()) == limits
