"""How fast the book judges: a week of 25 tasks, and the same tasks in 1000 scenarios of a season.

Aims: 50 ms for the week after imports, 2 s for the scenarios, and there at least 4 times as fast
as rolling windows in pandas, which judge the same rows to the same verdicts. The rolling windows
are shared between tasks as far as the rows allow, as ours are.
Run ``python -m tests.benchmarks.verdict_table``.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import pandas as pd

from rules.book import Book, Row, load_book
from rules.conditions import fixed_conditions, is_hourly
from rules.facts import Asked, edges
from rules.grading import TABLE_ANCHORS, codes, is_by_hour, is_by_start
from rules.judge import start_and_work_verdicts
from rules.quantities import si_unit, weather_columns
from rules.units import convert
from rules.weather import Weather, meets
from tests.benchmarks._timing import fastest

WEEK_H, SEASON_H, SCENARIOS = 168, 2160, 1000
WEEK_AIM_MS, SEASON_AIM_S, RATIO_AIM = 50.0, 2.0, 4.0
ON_HAND = frozenset({"heat_sand", "heat_mixing_water", "insulating_blankets", "wind_watch"})
WORK = (
    "open_ground", "place_footing", "protect_concrete", "place_slab", "raise_house",
    "house_on_cribs", "demolish_openings", "set_dowels", "lay_block", "lay_block", "place_grout",
    "place_grout", "fill_top_course", "set_sill", "lower_house", "infill_pockets", "backfill",
    "dampproof", "framing", "sheathe", "set_windows", "flash_openings", "seal_joints",
    "material_handling", "temporary_closing",
)  # fmt: skip
TASKS = [
    (Asked(work, {"task.grouted": n % 3 == 0, "task.id": str(n)}, ON_HAND), 3 + n % 8)
    for n, work in enumerate(WORK)
]


COLUMNS = (
    "air_temperature_c", "wind_speed_ms", "wind_speed_of_gust_ms", "relative_humidity_pct",
    "precipitation_amount_mm", "precipitation_probability_pct",
)  # fmt: skip


def table(shape: tuple[int, ...], seed: int = 5) -> dict[str, np.ndarray]:
    """Return a made season: every column whole, so that both ways judge the same."""
    rng = np.random.default_rng(seed)
    hours = np.arange(shape[-1])
    air = 4 - hours / 250 + 5 * np.sin((hours - 9) / 24 * 2 * np.pi) + rng.normal(0, 3, shape)
    wind = rng.gamma(3, 1.3, shape)
    return {
        "air_temperature_c": air,
        "wind_speed_ms": wind,
        "wind_speed_of_gust_ms": wind * 1.5,
        "relative_humidity_pct": rng.uniform(40, 100, shape),
        "precipitation_amount_mm": np.where(rng.random(shape) < 0.08, rng.gamma(1, 1, shape), 0.0),
        "precipitation_probability_pct": rng.uniform(0, 60, shape),
    }


def is_plain(row: Row) -> bool:
    """Tell whether a row looks at a column alone, in ways that rolling windows have."""
    rolls = {"value", "min", "max", "mean", "sum"}
    return (
        (is_by_hour(row) or is_by_start(row))
        and row.quantity in weather_columns()
        and weather_columns()[row.quantity][0] in COLUMNS
        and row.taken_as in rolls
        and not (row.also_taken_as or row.only_advises)
        and row.if_no_record == "not_known"
        and not any(c.taken_as for c in (*row.when, *row.unless) if is_hourly(c))
        and not (is_by_start(row) and any(is_hourly(c) for c in (*row.when, *row.unless)))
    )


def ours(book: Book, columns: dict[str, np.ndarray], hours: int) -> list[np.ndarray]:
    weather = Weather(columns, hours)
    return [start_and_work_verdicts(book, asked, weather, length) for asked, length in TASKS]


class Rolling:
    """The same rows with rolling windows of pandas, one column a scenario."""

    def __init__(self, columns: dict[str, np.ndarray], hours: int) -> None:
        self.frames = {name: pd.DataFrame(values.T) for name, values in columns.items()}
        self.hours = hours
        self.looked: dict[object, pd.DataFrame] = {}

    def ahead(self, name: str, way: str, low: int, high: int) -> pd.DataFrame:
        """Return an aggregate over hours ``low`` up to ``high`` from each hour on."""
        key = (name, way, low, high)
        if key not in self.looked:
            window = self.frames[name][::-1].rolling(max(high - low, 1), min_periods=1)
            self.looked[key] = getattr(window, way)()[::-1].shift(-low)
        return self.looked[key]

    def graded(self, row: Row, asked: Asked, values: np.ndarray) -> np.ndarray:
        si = si_unit(row.unit)
        tops = [convert(edge, row.unit, si) for edge in edges(row.bands)]
        out = codes(row, asked)[np.searchsorted(tops, values)]
        return np.where(np.isnan(values), np.int8(2), out)

    def row(self, row: Row, asked: Asked, length: int) -> np.ndarray:
        column = weather_columns()[row.quantity][0]
        if is_by_hour(row):
            graded = self.graded(row, asked, self.frames[column].to_numpy())
            for conditions, wanted in ((row.when, True), (row.unless, False)):
                for condition in (c for c in conditions if is_hourly(c)):
                    other = self.frames[weather_columns()[condition.what][0]].to_numpy()
                    graded = np.where(meets(other, condition) == wanted, graded, 0)
            by_hour = pd.DataFrame(graded)[::-1].rolling(length, min_periods=1).max()[::-1]
            return by_hour.to_numpy()
        assert row.hours is not None
        low, high = (
            int(m.offset_h) + (length if TABLE_ANCHORS[m.anchor] == "end" else 0)
            for m in (row.hours.from_, row.hours.until)
        )
        values = self.ahead(column, row.taken_as, low, high).to_numpy()
        if row.taken_as == "mean":
            values = np.where(np.arange(self.hours)[:, None] + high > self.hours, np.nan, values)
        return self.graded(row, asked, values)

    def table(self, book: Book) -> list[np.ndarray]:
        out = []
        for asked, length in TASKS:
            worst = np.zeros((self.hours, next(iter(self.frames.values())).shape[1]))
            for row in book.rows_for(asked.work_type):
                if fixed_conditions(row, asked) is not False:
                    worst = np.maximum(worst, self.row(row, asked, length))
            worst[self.hours - length + 1 :] = np.maximum(worst[self.hours - length + 1 :], 2)
            out.append(worst.T.astype(np.int8))
        return out


def main() -> int:
    book = load_book()
    week = table((WEEK_H,))
    ours(book, week, WEEK_H)
    week_ms = 1e3 * fastest(lambda: ours(book, week, WEEK_H))
    rows = sum(len(book.rows_for(asked.work_type)) for asked, _ in TASKS)
    print(f"week: {len(TASKS)} tasks, {rows} rows, {WEEK_H} h: {week_ms:.1f} ms (aim 50)")

    season = table((SCENARIOS, SEASON_H))
    season_s = fastest(lambda: ours(book, season, SEASON_H), 3)
    print(f"season: the same, {SCENARIOS} x {SEASON_H} h: {season_s:.2f} s (aim 2)")

    plain = Book(book.edition, book.name, tuple(row for row in book.rows if is_plain(row)))
    mine = ours(plain, season, SEASON_H)
    mine_s = fastest(lambda: ours(plain, season, SEASON_H), 3)
    began = time.process_time()
    theirs = Rolling(season, SEASON_H).table(plain)
    theirs_s = time.process_time() - began
    differ = sum(int((a != b).sum()) for a, b in zip(mine, theirs, strict=True))
    ratio = theirs_s / mine_s
    print(
        f"rolling windows, {len(plain.rows)} plain rows: pandas {theirs_s:.2f} s, "
        f"ours {mine_s:.2f} s, ratio {ratio:.1f} (aim 4), {differ} verdicts differ"
    )
    met = week_ms < WEEK_AIM_MS and season_s < SEASON_AIM_S and ratio >= RATIO_AIM
    return 0 if met and differ == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
