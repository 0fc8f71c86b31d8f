"""What the wall model costs: full and coarse path, each beside a plain loop in the same run.

Run ``python -m tests.benchmarks.wall_model``. Bytes touched are what the arrays of each path must
be read and written once at the least; measured memory speed is a triad in the same run.
"""

from __future__ import annotations

import csv
import math
import resource
import sys
import time
from collections.abc import Callable
from itertools import pairwise

import numpy as np

from rules.curing import MARCHED_H, FreshWork, Protection, bounded, full, shared_trace
from rules.elements import block_wall, network_of
from rules.films import FaceWeather, Place, covers, surroundings
from rules.gates import gates
from rules.heat import settled
from rules.hydration import TYPE_I_II
from rules.propagate import steps_of
from scheduler.planning.strength.gates import MEMBERS, Opening, at_confidence, gate_tables
from scheduler.planning.tables.finish import NEVER
from tests.recorded_data import data_folder

PLACE = Place(40.7, -74.2)
BOOK = covers()
BLANKET = Protection("blanket", (BOOK["blanket"], BOOK["bare"]), (48,))
WORK = FreshWork(block_wall(), placed_c=15.0, specified_mpa=13.79)
GATES = ("uniform_load", "concentrated_load", "tighten_anchors", "lower_house")
FULL_TIMES, COARSE_TIMES = 30.0, 50.0  # faster than a plain loop; measured 88 and 130
START = np.datetime64("2026-11-01T05")


def made_weather(scenarios: int, hours: int) -> FaceWeather:
    rng = np.random.default_rng(11)
    swing = 5.0 * np.sin(2 * np.pi * (np.arange(hours) - 9) / 24)
    slow = 0.02 * rng.normal(0, 1, (scenarios, hours)).cumsum(axis=1)
    air = 9.0 - np.arange(hours) * 0.005 + swing + slow
    return FaceWeather(
        start=START + np.arange(hours) * np.timedelta64(1, "h"),
        air_temperature_c=air,
        wind_speed_ms=np.abs(rng.normal(3.5, 2.0, (scenarios, hours))),
        cloud_area_fraction_pct=rng.uniform(0, 100, (scenarios, hours)),
        dew_point_temperature_c=air - 4.0,
        precipitation_amount_mm=np.where(rng.random((scenarios, hours)) < 0.06, 1.0, 0.0),
    )


def needs() -> list[float]:
    return [gates()[name].needed_age_h(WORK.model.curve, WORK.specified_mpa) for name in GATES]


def timed(call: Callable[[], object], repeats: int = 3) -> float:
    best = math.inf
    for _ in range(repeats):
        begin = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - begin)
    return best


def memory_speed() -> float:
    """Bytes a second of ``a = b + 2 c`` over arrays far larger than the caches."""
    b, c = np.ones(20_000_000), np.ones(20_000_000)
    a = np.empty_like(b)

    def triad() -> None:
        np.multiply(c, 2.0, out=a)
        np.add(a, b, out=a)

    return 5 * a.nbytes / timed(triad)


def full_path() -> float:
    """Workable finishes of 10 days, 31 members, 7 nodes, 72 h, 4 gates, against the loop."""
    weather = made_weather(31, 720)
    finishes = np.array([24 * day + hour for day in range(10) for hour in range(11, 21)])

    def run() -> list[np.ndarray]:
        around = surroundings(weather, PLACE, BLANKET.covers, WORK.section)
        before = settled(section=WORK.section, around=around[-1], hours=finishes)
        cured = full(
            WORK,
            around=around,
            schedule=BLANKET.schedule(MARCHED_H),
            finishes=finishes,
            before_c=before,
        )
        shared = shared_trace(WORK, around)
        shared.fate_of(cured)
        return [at_confidence(shared.carried_on(cured, need), 0.9) for need in needs()]

    took = timed(run)
    plain = plain_march(weather, finishes[:1], 1)
    traces = 31 * finishes.size
    nodes = network_of(WORK.section).nodes
    touched = 2 * 2 * traces * (MARCHED_H + 1) * nodes * 8  # element and edge, written and read
    print(f"full path: {finishes.size} finishes x 31 members x {nodes} nodes x {MARCHED_H} h")
    print(
        f"  {took:.3f} s (goal 1 s); plain loop {plain * traces * 2:.0f} s, scaled from one trace"
    )
    print(f"  {touched / 1e6:.0f} MB of temperatures touched, {touched / took / 1e9:.2f} GB/s")
    return plain * traces * 2 / took


def plain_march(weather: FaceWeather, finishes: np.ndarray, scenarios: int) -> float:
    """Seconds of the same march by the plainest loops, for one finish of one member."""
    network = network_of(WORK.section)
    (around,) = surroundings(weather, PLACE, (BOOK["blanket"],), WORK.section)
    steps = steps_of(network, around.face_w_m2k, step_h=0.5)
    kept, begun, ended, heated = (
        part.tolist() for part in (steps.kept, steps.begun, steps.ended, steps.heated)
    )
    kg, size = network.fresh_kg_m2.tolist(), network.nodes
    face, kind = around.face_c.tolist(), around.kind.tolist()

    def aged(t: float) -> float:
        energy = 33_500.0 + 1470.0 * max(20.0 - t, 0.0)
        liquid = min(max(t + 1.0, 0.0), 1.0)
        return liquid * math.exp(-energy / 8.314 * (1 / (t + 273.15) - 1 / 293.15))

    def given(age: float) -> float:
        if age <= 0.0:
            return 0.0
        return 440e3 * 0.72 * math.exp(-((16.0 / age) ** 0.85))

    begin = time.perf_counter()
    for scenario in range(scenarios):
        for finish in finishes.tolist():
            state, age = [WORK.placed_c] * size, [0.0] * size
            for step in range(2 * MARCHED_H):
                hour, part = finish + step // 2, step % 2
                k = kind[scenario][hour]
                now, nxt = face[scenario][hour], face[scenario][hour + 1]
                mid = [(now[i] + nxt[i]) / 2 for i in range(2)]
                felt = (now, mid) if part == 0 else (mid, nxt)
                heat, new = [0.0] * size, state
                for _ in range(2):
                    middle = [(state[n] + new[n]) / 2 for n in range(size)]
                    older = [age[n] + 0.5 * aged(middle[n]) for n in range(size)]
                    heat = [kg[n] * (given(older[n]) - given(age[n])) for n in range(size)]
                    new = [
                        sum(kept[k][n][m] * state[m] for m in range(size))
                        + sum(begun[k][n][f] * felt[0][f] for f in range(2))
                        + sum(ended[k][n][f] * felt[1][f] for f in range(2))
                        + sum(heated[k][n][m] * heat[m] for m in range(size))
                        for n in range(size)
                    ]
                state, age = new, older
    return time.perf_counter() - begin


def coarse_path() -> float:
    """All 2160 finishes of 600 scenarios: fates and one gate, against the loop."""
    whole = made_weather(600, 2160)
    for title, weather in (
        ("air temperature and rain alone, as daily records give", daily_only(whole)),
        ("all columns", whole),
    ):
        parts = min((parts_of(weather) for _ in range(3)), key=sum)
        air = whole.air_temperature_c.nbytes
        print(f"coarse path, 600 scenarios x 2160 finishes, {title}")
        print(
            f"  surroundings {parts[0]:.3f} s, traces, floor and fates {parts[1]:.3f} s, "
            f"one gate {parts[2]:.3f} s: {sum(parts):.3f} s (goal 0.5 s)"
        )
        print(f"  air alone {air / 1e6:.0f} MB; at least {12 * air / 1e6:.0f} MB touched")
    plain = plain_coarse(whole, 1)
    print(f"  plain loop {plain * 600:.0f} s, scaled from one scenario, traces and one gate")
    return plain * 600 / sum(parts)


def parts_of(weather: FaceWeather) -> list[float]:
    """Seconds of surroundings, of traces with floor and fates, and of one gate."""
    clock = [time.perf_counter()]
    around = surroundings(weather, PLACE, BLANKET.covers, WORK.section)
    clock.append(time.perf_counter())
    found = bounded(WORK, around=around, protection=BLANKET, place=PLACE)
    clock.append(time.perf_counter())
    found.hours_to_age(needs()[0])
    clock.append(time.perf_counter())
    return [after - before for before, after in pairwise(clock)]


def daily_only(weather: FaceWeather) -> FaceWeather:
    return FaceWeather(
        start=weather.start,
        air_temperature_c=weather.air_temperature_c,
        precipitation_amount_mm=weather.precipitation_amount_mm,
    )


def plain_coarse(weather: FaceWeather, scenarios: int) -> float:
    """Seconds of two traces, element and edge, and one gate of every start, by plain loops."""
    around = surroundings(weather, PLACE, BLANKET.covers, WORK.section)[-1]
    network = network_of(WORK.section)
    steps = steps_of(network, around.face_w_m2k[-1:])
    kept, begun, ended = (p[0].tolist() for p in (steps.kept, steps.begun, steps.ended))
    face, size = around.face_c.tolist(), network.nodes
    need = needs()[0]
    begin = time.perf_counter()
    for scenario in range(scenarios):
        felt, state, coldest = face[scenario], [5.0] * size, []
        for hour in range(len(felt) - 1):
            state = [
                sum(kept[n][m] * state[m] for m in range(size))
                + sum(begun[n][f] * felt[hour][f] for f in range(2))
                + sum(ended[n][f] * felt[hour + 1][f] for f in range(2))
                for n in range(size)
            ]
            coldest.append(min(state))
        rate = [max(t, 0.0) / 20.0 for t in coldest]
        for start in range(len(rate)):
            age, hour = 0.0, start
            while hour < len(rate) and age < need:
                age += rate[hour]
                hour += 1
    return 2 * (time.perf_counter() - begin)


def recorded_autumn() -> FaceWeather | None:
    """Newark, 1 October to 30 December 2013, as recorded; None without the recorded data."""
    folder = data_folder()
    path = None if folder is None else folder / "obs" / "hourly-nyc3airports-2013.csv"
    if path is None or not path.exists():
        return None
    first, hours = np.datetime64("2013-10-01T05"), 2160
    columns = {name: np.full(hours, np.nan) for name in ("temp", "dewp", "wind_speed", "precip")}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            at = int((np.datetime64(row["time_hour"][:13]) - first).astype(int))
            if row["origin"] == "EWR" and 0 <= at < hours:
                for name, values in columns.items():
                    values[at] = float(row[name]) if row[name] != "NA" else np.nan
    air = (columns["temp"] - 32.0) / 1.8
    known = ~np.isnan(air)  # a handful of hours are absent: joined by a line, for the comparison
    air = np.interp(np.arange(hours), np.flatnonzero(known), air[known])
    return FaceWeather(
        start=first + np.arange(hours) * np.timedelta64(1, "h"),
        air_temperature_c=air[None],
        wind_speed_ms=columns["wind_speed"] * 0.44704,
        dew_point_temperature_c=(columns["dewp"] - 32.0) / 1.8,
        precipitation_amount_mm=columns["precip"] * 25.4,
    )


def signed_error(protection: Protection) -> dict[str, np.ndarray]:
    """Hours by which the coarse path opens a gate later than the full one, by purpose."""
    weather = recorded_autumn()
    if weather is None:
        return {}
    around = surroundings(weather, PLACE, protection.covers, WORK.section)
    finishes = np.array([h for h in range(24, 1700) if 11 <= (h + 5) % 24 <= 21])
    cured = full(
        WORK,
        around=around,
        schedule=protection.schedule(MARCHED_H),
        finishes=finishes,
        before_c=settled(section=WORK.section, around=around[-1], hours=finishes),
    )
    found = bounded(WORK, around=around, protection=protection, place=PLACE)
    out = {}
    for name, need in zip(GATES, needs(), strict=True):
        sure = found.shared.carried_on(cured, need)[0]
        quick = found.hours_to_age(need)[0, finishes]
        seen = (sure <= 2160) & (quick <= 2160)
        out[name] = (quick - sure)[seen].astype(np.float64)
    fate, _ = found.shared.fate_of(cured)
    out["survives, full"] = (fate[0] == 0).astype(np.float64)
    out["survives, coarse"] = (found.fate[0, finishes] == 0).astype(np.float64)
    return out


def own_gate_error(protection: Protection) -> None:
    """Print how far the gate of a scenario that is not followed is from following it."""
    finishes = np.array([24 * day + hour for day in range(10) for hour in (12, 16, 20)])
    openings = {"a quarter": Opening("", 0.25, 0.0), "half": Opening("", 0.5, 0.0)}
    some, every = (
        gate_tables(
            WORK,
            weather=made_weather(4 * MEMBERS, 1200),
            place=PLACE,
            protection=protection,
            openings=openings,
            finishes=finishes,
            confidence=0.9,
            members=members,
        )
        for members in (MEMBERS, 4 * MEMBERS)
    )
    for name in openings:
        told, sure = (one.each[name][MEMBERS:, finishes].astype(float) for one in (some, every))
        seen = (told < NEVER) & (sure < NEVER)
        off, stated = (told - sure)[seen], (some.ready[name][finishes] - sure)[seen]
        low, mid, high = np.percentile(off, [5, 50, 95])
        print(
            f"made season, {protection.name}, {name} of the strength: gate of a scenario not "
            f"followed off by {np.abs(off).mean():.1f} h on average ({low:.0f}, {mid:.0f}, "
            f"{high:.0f} h in 5, 50, 95 %); the hour at the confidence by "
            f"{np.abs(stated).mean():.1f} h"
        )


def main() -> int:
    """Print every figure; 1 where a path is no longer far faster than its loop, or too early."""
    print(f"memory speed {memory_speed() / 1e9:.1f} GB/s (triad)")
    print(f"hydration {TYPE_I_II.name}, {WORK.section.name}")
    missed = (full_path() < FULL_TIMES) + (coarse_path() < COARSE_TIMES)
    kinds = (BLANKET, Protection("bare", (BOOK["bare"],)))
    for kind in kinds:
        own_gate_error(kind)
        for name, error in signed_error(kind).items():
            if name.startswith("survives"):
                print(f"recorded autumn, {kind.name}: {name} {error.mean():.0%} of finishes")
            elif error.size:
                low, mid, high = np.percentile(error, [0, 50, 90])
                missed += low < 0
                print(
                    f"recorded autumn, {kind.name}, {name}: coarse later by median {mid:.0f} h, "
                    f"90th percentile {high:.0f} h, least {low:.0f} h ({error.size} finishes)"
                )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"peak memory {peak:.2f} GB (goal 2 GB)")
    return 1 if missed or peak > 2.0 else 0


if __name__ == "__main__":
    sys.exit(main())
