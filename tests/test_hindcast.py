"""The hindcast itself: it refuses short records, and a real long one holds what it states."""

from __future__ import annotations

import pytest

from tests.hindcast import main, place, replay, sampling_interval, season_of
from tests.recorded_data import recorded

BOSTON = "daily-boston-usw00014739-1936-2019-tmax-tmin.csv"


def test_sampling_interval_is_the_binomial_one() -> None:
    # R: qbinom(c(.025, .975), 100, .9) is 84 and 95; qbinom(c(.025, .975), 20, .5) is 6 and 14
    assert sampling_interval(100, 0.9) == (0.84, 0.95)
    assert sampling_interval(20, 0.5) == (0.30, 0.70)


@pytest.mark.parametrize("kind", ["climate only", "noisy forecast"])
def test_the_stated_date_holds_as_often_as_stated(kind: str) -> None:
    record, first = season_of(recorded("obs", BOSTON), (11, 1), "", "")
    found = replay(place(record), record, kind, first, count=60)
    low, high = found.allowed(0.9)
    assert found.years >= 80
    assert low <= found.share <= high
    assert found.later_than_worst() < 10.0


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("daily-seattle-2012-2015.csv", "90% needs 10 or more: refused"),
        ("ghcnd-usc00411885.dly", "refused"),
        ("monthly-boston-to-2022.csv", "want daily highs"),
        ("era5-daily-canadiancities-1990-1993.nc", "4 whole autumns"),
    ],
)
def test_a_record_too_short_or_of_another_kind_is_refused(
    name: str, why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(recorded("obs", name))]) == 2
    assert why in capsys.readouterr().err


def test_no_confidence_states_a_share_from_under_nine_years(
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = str(recorded("obs", "daily-seattle-2012-2015.csv"))
    assert main([file, "--confidence", "0.6"]) == 2
    assert "4 whole autumns" in (said := capsys.readouterr().err)
    assert "60% needs 10 or more" in said  # nine, and one that is left out
