"""Protections compared for the made job, from its own files, as a command would ask."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from rules.errors import BadInput, WeatherUnavailable
from rules.freeze import Fate
from scheduler.output.answer_json import dump
from scheduler.output.cure_table import cure_document
from scheduler.planning.strength.cure_answer import CureAnswer
from scheduler.runs.brief import brief
from scheduler.runs.cure import Unfollowed, cure, cures
from scheduler.runs.desk import Desk
from scheduler.service.page_parts import _wall
from scheduler.startup import Options, open_desk

DEMO = Path(__file__).resolve().parents[1] / "fixtures" / "demo"
ZONE = "America/New_York"
FINISH = datetime(2026, 11, 12, 20, tzinfo=UTC)


def asked(
    folder: Path, task: str, *, finish: datetime | None = FINISH, climate: bool = True
) -> CureAnswer:
    desk = open_desk(
        Options(
            DEMO / "job.yaml",
            str(DEMO / "forecast.json"),
            None,
            DEMO / "climate.csv" if climate else None,
            "2026-11-09T05:00",
            f"sqlite:///{folder}/closein.db",
        )
    )
    return cure(desk, task, finish=finish)[0]


def test_the_made_jobs_grout_is_compared_with_its_lifters_slot(tmp_path: Path) -> None:
    answer = asked(tmp_path, "grout")
    assert answer.finish == FINISH
    assert answer.scenarios == 24
    assert [slot.task for slot in answer.booked] == ["lower"]
    by_name = {option.name: option for option in answer.options}
    assert by_name["enclosure"].coldest_c > by_name["bare"].coldest_c
    assert all(
        option.ready["lower_house"] is None
        or option.ready["lower_house"] >= FINISH + timedelta(hours=72)
        for option in answer.options
    )


def test_the_document_is_json_with_the_sites_offset(tmp_path: Path) -> None:
    document = json.loads(dump(cure_document(asked(tmp_path, "grout")), ZONE))
    assert document["version"] == "closein-cure/1"
    assert document["answer"]["finish"] == "2026-11-12T15:00-05:00"
    assert set(document["fates"]) == {"bare", "membrane", "blanket", "enclosure"}


def test_without_past_years_what_lies_past_the_forecast_is_not_known(tmp_path: Path) -> None:
    answer = asked(tmp_path, "grout", climate=False)
    assert answer.scenarios == 1
    for option in answer.options:
        assert option.ready["backfill"] is None
        assert option.fate is not Fate.SURVIVES or option.freeze_safe_at is not None


def test_work_that_is_just_finished_is_followed_from_now(tmp_path: Path) -> None:
    answer = asked(tmp_path, "grout", finish=datetime(2026, 11, 9, 10, tzinfo=UTC))
    assert answer.options[0].trace.start == datetime(2026, 11, 9, 10, tzinfo=UTC)


@pytest.mark.parametrize(
    ("task", "words"), [("nothing", "no task"), ("windows", "places no grout or concrete")]
)
def test_a_task_that_cannot_be_compared_is_refused(tmp_path: Path, task: str, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        asked(tmp_path, task)


# A pour that was over before the weather begins


DONE = (
    "{id: old-pour, work_type: place_grout, duration_h: 4, grouted: true, state: done, "
    "started: 2026-11-07T08:00, finished: 2026-11-07T12:00}"
)


def desk_of(folder: Path) -> Desk:
    text = (DEMO / "job.yaml").read_text(encoding="utf-8")
    path = folder / "job.yaml"
    path.write_text(text.replace("\ntasks:\n", f"\ntasks:\n  - {DONE}\n"), encoding="utf-8")
    return open_desk(
        Options(
            path, str(DEMO / "forecast.json"), None, DEMO / "climate.csv", "2026-11-09T05:00",
            f"sqlite:///{folder}/closein.db",
        )
    )  # fmt: skip


def test_a_pour_that_nobody_watched_is_told_as_not_known(tmp_path: Path) -> None:
    with pytest.raises(WeatherUnavailable, match="old-pour: not known: no observed hours"):
        cure(desk_of(tmp_path), "old-pour")


def test_a_morning_with_such_a_pour_is_made_and_its_page_says_so(tmp_path: Path) -> None:
    made = brief(desk_of(tmp_path))
    found = [one for one in cures(made.today, made.planned) if isinstance(one, Unfollowed)]
    assert [one.task.id for one in found] == ["old-pour"]
    told = _wall(found[0], made.today.gathered.job)
    assert "not known" in told["says"]
    assert not told["titles"]
