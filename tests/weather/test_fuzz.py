"""A short run of the mutants; the long one is ``python -m tests.weather_fuzz --mutants 20000``."""

from __future__ import annotations

import os

import pytest

from tests.weather_fuzz import fuzz


def test_no_mutant_breaks_or_tells_what_was_lost() -> None:
    ends, complaints = fuzz(200, seed=7)
    assert complaints == []
    assert ends["refused"] > 50
    assert ends["read"] > 20


@pytest.mark.soak
@pytest.mark.skipif("CLOSEIN_SOAK" not in os.environ, reason="long; set CLOSEIN_SOAK to run it")
def test_twenty_thousand_mutants() -> None:
    assert fuzz(20_000, seed=8)[1] == []
