"""No limit stands in code: what is allowed, and from which value on, is the book's to say.

The syntax tree of the core is read for comparisons with a number (also with a named constant that
is a number). A comparison may stand where its function gives the formula it belongs to under
``References``; else it needs a line in ``ALLOWED`` that says why it is no limit of the trade.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("rules", "scheduler/planning", "scheduler/newjob")
CORE = sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))
# Where a number is compared outside a formula's own function, and why it is no limit of the trade.
ALLOWED = {
    ("rules/air.py", "_regression"): "ranges of the heat index regression, see heat_index",
    ("rules/amounts/blocks.py", "run_units"): "a length that joints take up, see the module",
    ("rules/breaks.py", "_nonsense"): "break results that cannot be true",
    ("rules/errors.py", "_short"): "length of a printed value",
    ("rules/evaporation.py", "_share"): "humidity in per cent",
    ("rules/films.py", "outdoors"): "cloud in per cent; wind from which a cover insulates less",
    ("rules/films.py", "_wet"): "how long and from what rain a cover insulates less, heat model",
    ("rules/mould.py", "critical_humidity"): "range of the growth formula, see the module",
    ("rules/mould.py", "growth_rate"): "range of the growth formula, see the module",
    ("rules/mould.py", "_decline"): "pieces of the decline formula, see the module",
    ("rules/propagate.py", "_responses"): "where a response has died away, numerical",
    ("rules/wetting.py", "wet_hours"): "least rain a gauge tells, 0.01 in.",
    ("scheduler/newjob/answers.py", "_text"): "length of a name, control signs",
    ("scheduler/newjob/job_text.py", "_keyed"): "width of a line",
    ("scheduler/planning/contract/critical_tasks.py", "critical_tasks"): "binary noise",
    ("scheduler/planning/model/daylight.py", "sun_at"): "upper rim of the sun on the horizon",
    ("scheduler/planning/model/daylight.py", "sun"): "upper rim of the sun on the horizon",
    ("scheduler/planning/calls/task_answer.py", "trimmed"): "how many numbers an answer holds",
    ("scheduler/planning/rulings/numbers.py", "_above_freezing"): "freezing point of water",
    ("scheduler/planning/rulings/numbers.py", "_freezing_time"): "freezing point of water",
    ("scheduler/planning/rulings/numbers.py", "_first_freezing"): "freezing point of water",
    (
        "scheduler/planning/forecast/forecast_rain.py",
        "rain",
    ): "least rain that a stated chance is about",
    ("scheduler/planning/strength/fresh_work.py", "_nominal"): "nearest nominal size of a unit",
    (
        "scheduler/planning/strength/gates.py",
        "asked_finishes",
    ): "how far the full path is followed",
    (
        "scheduler/planning/strength/gates.py",
        "_between",
    ): "how far apart finishes are filled in between",
    ("scheduler/planning/strength/gates.py", "_hours_within"): "binary noise",
    (
        "scheduler/planning/strength/measured.py",
        "with_measured",
    ): "how long a log of readings is carried on",
    ("scheduler/planning/reports/skill.py", "_climate"): "which days of a record stand for a day",
    ("scheduler/planning/levers/results.py", "_buys"): "a gain within the draw of scenarios",
    ("scheduler/planning/levers/prices.py", "saturdays"): "the sixth day of a week",
    ("scheduler/planning/levers/prices.py", "saved"): "less money than a cent",
    (
        "scheduler/planning/forecast/scenarios.py",
        "_bridged",
    ): "gaps of past years, said when bridged",
    ("scheduler/planning/forecast/several_sources.py", "_worse"): "which of two sources is worse",
    ("rules/shown.py", "_figure"): "how many digits are shown",
    ("scheduler/planning/calls/brought.py", "_rain"): "when a caution is told; refuses nothing",
    ("scheduler/planning/evidence/read_weather.py", "_at"): "how near in hours a reading speaks",
    ("scheduler/planning/forecast/past_hours.py", "_short"): "how long a lag is filled",
    ("scheduler/planning/forecast/scenarios.py", "carries_shares"): "past years behind a share",
    (
        "scheduler/planning/rulings/papers.py",
        "_dry_by_chance",
    ): "which chance of rain a label's dry hours stand, where no amount is told; common practice",
    ("scheduler/planning/rulings/unknown.py", "_is_due"): "after which weather people look first",
    ("scheduler/planning/tables/hours.py", "is_elsewhere"): "how far a forecast speaks for a site",
    ("scheduler/planning/tables/hours.py", "is_stale"): "how far two clocks differ",
}
HARMLESS = {-1.0, 0.0, 0.5, 1.0, 2.0}  # sides, emptiness, halves, pairs


def number(node: ast.expr, named: dict[str, float]) -> float | None:
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        inner = number(node.operand, named)
        return None if inner is None else -inner
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        return float(node.value)
    return named.get(node.id) if isinstance(node, ast.Name) else None


def constants(tree: ast.Module) -> dict[str, float]:
    out: dict[str, float] = {}
    for node in tree.body:
        if isinstance(node, ast.AnnAssign | ast.Assign) and node.value is not None:
            value = number(node.value, {})
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            for target in targets:
                if value is not None and isinstance(target, ast.Name):
                    out[target.id] = value
    return out


def compared(path: Path) -> list[tuple[str, float, str]]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    named = constants(tree)
    found = []
    functions = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]
    for function in functions:
        if "References" in (ast.get_docstring(function) or ""):
            continue
        for node in ast.walk(function):
            if isinstance(node, ast.Compare):
                for side in (node.left, *node.comparators):
                    value = number(side, named)
                    if value is not None and value not in HARMLESS:
                        found.append((function.name, value, ast.unparse(node)))
    return found


@pytest.mark.parametrize("path", CORE, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_no_limit_stands_in_code(path: Path) -> None:
    name = path.relative_to(ROOT).as_posix()
    found = [place for place in compared(path) if (name, place[0]) not in ALLOWED]
    assert found == [], "put the limit into rules/book/, or say in ALLOWED why it is none"


def test_every_allowance_is_still_needed() -> None:
    needed = {
        (path.relative_to(ROOT).as_posix(), function)
        for path in CORE
        for function, *_ in compared(path)
    }
    assert set(ALLOWED) <= needed


def test_a_limit_in_code_would_be_seen(tmp_path: Path) -> None:
    file = tmp_path / "trial.py"
    file.write_text("COLD = 4.4\n\ndef cold(air_c):\n    return air_c < COLD or air_c > 31\n")
    assert [(f, v) for f, v, _ in compared(file)] == [("cold", 4.4), ("cold", 31.0)]
