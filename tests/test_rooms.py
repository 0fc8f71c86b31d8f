"""Upper rooms import lower ones, never the reverse; no room of planning outgrows a shelf."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
LARGEST = 15  # modules in a room
LINT = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports())"


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    copy = tmp_path_factory.mktemp("tree")
    ignore = shutil.ignore_patterns("__pycache__", "templates", "files")
    for name in ("scheduler", "rules"):
        shutil.copytree(ROOT / name, copy / name, ignore=ignore)
    shutil.copy(ROOT / "pyproject.toml", copy)
    return copy


def linted(tree: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", LINT],
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    ("lower", "upper"),
    [
        ("scheduler/planning/model/job.py", "scheduler.planning.calls.decide"),
        ("scheduler/planning/tables/hours.py", "scheduler.weather.nws"),
        ("rules/units.py", "scheduler.planning.model.job"),
    ],
)
def test_a_lower_room_that_imports_an_upper_one_is_refused(
    copied: Path, lower: str, upper: str
) -> None:
    path = copied / lower
    before = path.read_text(encoding="utf-8")
    path.write_text(f"{before}\nimport {upper}\n", encoding="utf-8")
    refused = linted(copied)
    path.write_text(before, encoding="utf-8")
    assert refused.returncode == 1
    assert "BROKEN" in refused.stdout
    assert upper.rpartition(".")[2] in refused.stdout


def test_the_tree_as_it_stands_is_kept(copied: Path) -> None:
    kept = linted(copied)
    assert kept.returncode == 0, kept.stdout


def test_no_room_of_planning_holds_more_than_fifteen_modules() -> None:
    rooms = [path for path in (ROOT / "scheduler/planning").rglob("*") if path.is_dir()]
    held = {
        room.name: sum(path.name != "__init__.py" for path in room.glob("*.py")) for room in rooms
    }
    assert {name: count for name, count in held.items() if count > LARGEST} == {}
