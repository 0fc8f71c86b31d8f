"""Logger exports as they come: every mess is told, nothing is guessed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from rules.errors import Faults
from scheduler.planning.strength.measured import ProbeTrace
from scheduler.weather.logger_clock import Clock
from scheduler.weather.logger_file import read_logger

ZONE = "America/New_York"


def read(text: str | bytes, **options: object) -> ProbeTrace:
    raw = text.encode() if isinstance(text, str) else text
    return read_logger(raw, "probe.csv", time_zone=ZONE, **options)  # type: ignore[arg-type]


def utc(*parts: int) -> np.datetime64:
    return np.datetime64(datetime(*parts), "h")  # type: ignore[arg-type]  # noqa: DTZ001


def told(trace: ProbeTrace) -> str:
    return " | ".join(finding.what for finding in trace.findings)


def test_two_probes_in_fahrenheit_become_celsius_by_the_hour() -> None:
    trace = read(
        "Time,North core (°F),Corner (°F)\n"
        "2026-11-12 10:00,50,41\n2026-11-12 10:30,52,39\n2026-11-12 11:00,54,37.4\n"
    )
    assert trace.probes == ("North core", "Corner")
    assert trace.start[0] == utc(2026, 11, 12, 15)
    assert trace.mean_c[0] == pytest.approx([10.5556, 12.2222], abs=1e-3)
    assert trace.least_c[1] == pytest.approx([3.8889, 3.0], abs=1e-3)
    assert trace.governing_c == pytest.approx([4.4444, 3.0], abs=1e-3)
    probe, least, at = trace.coldest or ("", 0.0, datetime.now(UTC))
    assert (probe, round(least, 6)) == ("Corner", 3.0)
    assert at == datetime(2026, 11, 12, 16, tzinfo=UTC)


def test_semicolons_decimal_commas_and_dotted_dates() -> None:
    trace = read("Datum;Zeit;Kern [°C]\n12.11.2026;10:00:00;4,5\n12.11.2026;11:00:00;5,25\n")
    assert trace.mean_c[0].tolist() == [4.5, 5.25]
    assert trace.start[0] == utc(2026, 11, 12, 15)


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_any_separator_gives_the_same_trace(separator: str) -> None:
    lines = [["#", "Date Time", "Ch1 (C)"], ["1", "2026-11-12 10:00", "4.5"]]
    trace = read("\n".join(separator.join(line) for line in lines))
    assert trace.mean_c.tolist() == [[4.5]]
    assert trace.probes == ("Ch1",)


def test_lines_before_the_header_are_left_out_and_told() -> None:
    trace = read(
        "Plot Title: wall 3\nSerial number,20553981\n"
        '#,"Date Time, GMT-05:00","Temp, °F (LGR S/N: 1, SEN S/N: 1, LBL: corner)"\n'
        "1,11/12/26 10:00:00 AM,41.0\n2,11/12/26 11:00:00 PM,32.0\n3,11/13/26 12:00:00 AM,31\n"
    )
    assert "2 lines before the header" in told(trace)
    assert trace.start.size == 15
    assert trace.mean_c[0, [0, 13, 14]] == pytest.approx([5.0, 0.0, -0.5556], abs=1e-3)


def test_the_hour_that_comes_twice_is_told_by_the_order_of_the_rows() -> None:
    rows = []
    moment = datetime(2026, 11, 1, 4, tzinfo=UTC)  # midnight on the wall; clocks go back at 06 UTC
    for quarter in range(16):
        local = (moment + timedelta(minutes=15 * quarter)).astimezone(ZoneInfo(ZONE))
        rows.append(f"{local:%Y-%m-%d %H:%M},{quarter}")
    trace = read("time,t (C)\n" + "\n".join(rows))
    assert trace.start[0] == utc(2026, 11, 1, 4)
    assert trace.mean_c[0].tolist() == [1.5, 5.5, 9.5, 13.5]
    assert told(trace) == ""


def test_a_clock_that_ran_on_over_the_change_is_told_with_a_question() -> None:
    rows = [f"2026-11-01 {h:02d}:{m:02d},5" for h in range(4) for m in (0, 30)]
    changed = read("time,t (C)\n" + "\n".join(rows))
    assert "keep standard time?" in told(changed)
    assert "1 hours between two samples were joined" in told(changed)
    standard = read("time,t (C)\n" + "\n".join(rows), clock=Clock.STANDARD)
    assert not np.isnan(standard.mean_c).any()
    assert standard.start[0] == utc(2026, 11, 1, 5)


def test_a_time_that_never_was_is_refused_unless_the_clock_keeps_standard_time() -> None:
    text = "time,t (C)\n2026-03-08 01:30,5\n2026-03-08 02:30,5\n2026-03-08 03:30,5\n"
    with pytest.raises(Faults, match="standard time"):
        read(text)
    assert read(text, clock=Clock.STANDARD).mean_c.tolist() == [[5, 5, 5]]
    assert read(text, clock=Clock.UTC).start[0] == utc(2026, 3, 8, 1)


def test_offsets_in_the_file_outrank_the_zone() -> None:
    trace = read("time,t (C)\n2026-11-12T10:00Z,4\n2026-11-12T12:00+01:00,5\n")
    assert trace.start[0] == utc(2026, 11, 12, 10)
    assert trace.mean_c.tolist() == [[4.0, 5.0]]


def test_equal_times_keep_the_colder_and_are_told() -> None:
    trace = read("time,t (C)\n2026-11-12 10:00,4\n2026-11-12 10:00,2\n2026-11-12 11:00,3\n")
    assert trace.mean_c.tolist() == [[2.0, 3.0]]
    assert "1 rows had a time that was there" in told(trace)


def test_rows_out_of_order_are_sorted_and_told() -> None:
    trace = read("time,t (C)\n2026-11-12 12:00,3\n2026-11-12 10:00,1\n2026-11-12 11:00,2\n")
    assert trace.mean_c.tolist() == [[1.0, 2.0, 3.0]]
    assert "out of order" in told(trace)


def test_gaps_stay_gaps_and_short_ones_are_joined_and_told() -> None:
    trace = read("time,t (C)\n2026-11-12 10:00,4\n2026-11-12 12:00,6\n2026-11-12 18:00,2\n")
    assert trace.mean_c[0, :3] == pytest.approx([4.0, 5.5, 6.0])
    assert np.isnan(trace.mean_c[0, 3:8]).all()
    assert "joined by a line" in told(trace)
    assert "5 hours have no sample" in told(trace)


@pytest.mark.parametrize(
    "bad", ["ERR", "---", "OPEN", "", "NaN", "999.9", "-127", "K6,2", "E6", "<6"]
)
def test_a_broken_sensor_is_a_gap_and_never_a_cold_wall(bad: str) -> None:
    trace = read(
        f"time;a (C);b (C)\n2026-11-12 10:00;4;{bad}\n2026-11-12 11:00;5;6\n2026-11-12 12:00;5;6\n"
    )
    assert np.isnan(trace.mean_c[1, 0])
    assert trace.governing_c[0] == 4.0


def test_units_in_the_cells_count() -> None:
    trace = read("time,t\n2026-11-12 10:00,41.0 °F\n2026-11-12 11:00,50F\n")
    assert trace.mean_c[0] == pytest.approx([5.0, 10.0])


def test_a_unit_nobody_says_is_asked() -> None:
    text = "time,t\n2026-11-12 10:00,41\n"
    with pytest.raises(Faults, match="°F or °C"):
        read(text)
    assert read(text, unit="degF").mean_c[0] == pytest.approx([5.0])


def test_day_and_month_are_told_by_the_rows_or_asked() -> None:
    apart = "time,t (C)\n" + "\n".join(f"{d}/11/2026 10:00,{d}" for d in range(9, 15))
    assert read(apart).start[0] == utc(2026, 11, 9, 15)
    american = "time,t (C)\n" + "\n".join(f"11/{d}/2026 10:00,{d}" for d in range(9, 15))
    assert read(american).start[0] == utc(2026, 11, 9, 15)
    close = "time,t (C)\n" + "\n".join(f"11/{d}/2026 10:00,{d}" for d in (9, 10, 11))
    assert read(close).start[0] == utc(2026, 11, 9, 15)  # else the rows lie months apart
    with pytest.raises(Faults, match="day and month"):
        read("time,t (C)\n10/11/2026 10:00,4\n10/11/2026 11:00,4\n")


def test_humidity_and_battery_are_no_probes() -> None:
    trace = read("time,Temp (°C),Humidity (%),Battery (V)\n2026-11-12 10:00,4,80,3.1\n")
    assert trace.probes == ("Temp",)


def test_other_encodings_are_read() -> None:
    text = "time,Kern (°C)\n2026-11-12 10:00,4\n"
    for raw in (text.encode("utf-16"), text.encode("cp1252"), b"\xef\xbb\xbf" + text.encode()):
        assert read(raw).mean_c.tolist() == [[4.0]]


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"hello\nworld\n",
        b"\x00" * 1000,
        b"time,t (C)\n",
        b"time,t (C)\n2026-13-45 10:00,4\n",
        b"time,t (C)\n1826-11-12 10:00,4\n2026-11-12 10:00,4\n",
        b"a;b;c\n" * 5000,
    ],
)
def test_what_is_no_log_is_refused_with_a_line(raw: bytes) -> None:
    with pytest.raises(Faults) as caught:
        read(raw)
    assert all(line.startswith("probe.csv") for line in caught.value.lines())
