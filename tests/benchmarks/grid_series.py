"""Site series from national grids: 1597 x 2345 cells, 72 hours of made fields.

Run ``python -m tests.benchmarks.grid_series``. Aims: series of 1,000 sites x 72 hours x 4 columns
from a decoded cube under one second; series straight from 72 files in at most 1.2 times what
ecCodes takes to decode their messages; the cube itself from the files is told beside them.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from scheduler.weather.grids.cells import Method
from scheduler.weather.grids.cube import Cube, decode_cube, series_of_files
from scheduler.weather.grids.decode import Decoder
from scheduler.weather.grids.grid import grid_of
from tests.weather.grids import making

ROWS, COLUMNS, HOURS, SITES = 1597, 2345, 72, 1000
AIM_S, AIM_RATIO = 1.0, 1.2
NAMES = (
    "air_temperature_c",
    "dew_point_temperature_c",
    "wind_speed_ms",
    "precipitation_amount_mm",
)
RUN = datetime(2026, 11, 20, 6, tzinfo=UTC)
GRID = making.lambert(
    ROWS, COLUMNS, 19.229, -126.2766, 2539.703, centre_lon=-95.0, parallels=(25.0, 25.0)
)
# what decoding alone takes: the same messages, read and decoded by the library and thrown away
DECODING = """
import sys, time, eccodes
paths = sys.argv[1:]
began = time.perf_counter()
for path in paths:
    with open(path, "rb") as file:
        handle = eccodes.codes_grib_new_from_file(file)
        eccodes.codes_get_array(handle, "values")
        eccodes.codes_release(handle)
print(time.perf_counter() - began)
"""

REPACKING = """
import sys, eccodes
handle = eccodes.codes_new_from_message(sys.stdin.buffer.read())
eccodes.codes_set(handle, "packingType", "grid_complex_spatial_differencing")
sys.stdout.buffer.write(eccodes.codes_get_message(handle))
"""


def seconds(work: Callable[[], object], rounds: int = 3) -> float:
    """Return the best time of some rounds."""
    best = float("inf")
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - began)
    return best


def sites() -> tuple[np.ndarray, np.ndarray]:
    """Return places spread over the country."""
    rng = np.random.default_rng(1)
    return rng.uniform(27.0, 48.0, SITES), rng.uniform(-118.0, -72.0, SITES)


def made_cube() -> Cube:
    """Return a cube of as many distinct arrays as the memory holds, four columns in all."""
    one = 4 * ROWS * COLUMNS * HOURS
    free = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_AVPHYS_PAGES")
    count = max(1, min(len(NAMES), int(0.6 * free / one)))
    rng = np.random.default_rng(2)
    arrays = [rng.random((ROWS, COLUMNS, HOURS), dtype=np.float32) for _ in range(count)]
    print(f"decoded cube: {count} arrays of {one / 1e9:.2f} GB stand for {len(NAMES)} columns")
    start = np.arange(HOURS).astype("datetime64[h]")
    named = {name: arrays[n % count] for n, name in enumerate(NAMES)}
    return Cube(grid=grid_of(GRID), start=start, columns=named)


def from_a_decoded_cube() -> bool:
    """Print what series from memory take; True where the aim is missed."""
    cube = made_cube()
    lat, lon = sites()
    nearest = seconds(lambda: cube.series(lat, lon))
    four = seconds(lambda: cube.series(lat, lon, Method.BILINEAR))
    told = f"{SITES} sites x {HOURS} h x {len(NAMES)} columns"
    print(f"{told}: nearest {1e3 * nearest:.1f} ms, bilinear {1e3 * four:.1f} ms")
    return max(nearest, four) > AIM_S


def write_files(folder: Path) -> list[Path]:
    """Write 72 hourly files of one national temperature field, packed as public models pack."""
    rows, columns = np.mgrid[0:ROWS, 0:COLUMNS]
    waves = 60 + 50 * np.sin(rows / 90.0) * np.cos(columns / 130.0)
    steps = (waves + np.random.default_rng(3).integers(0, 8, waves.shape)).astype(np.uint8)
    sections = making.packed_octets(270.0, steps.ravel(), decimals=1)
    product = making.product(RUN, (0, 0, 0), (103, 2), lead=1)
    content = making.message(making.identification(RUN), GRID, product, *sections)
    command = [sys.executable, "-c", REPACKING]
    packed = subprocess.run(command, input=content, capture_output=True, check=True).stdout
    at = packed.index(product[:18]) + 18  # octets 19 to 22 of section 4: the lead
    paths = []
    for lead in range(HOURS):
        paths.append(folder / f"f{lead:03d}.grib2")
        paths[-1].write_bytes(packed[:at] + lead.to_bytes(4, "big") + packed[at + 4 :])
    print(f"national field of {len(packed) / 1e6:.1f} MB, complex packing, spatial differences")
    return paths


def from_files() -> bool:
    """Print what series and a cube from files take beside decoding; True where too long."""
    lat, lon = sites()
    with tempfile.TemporaryDirectory() as folder, Decoder() as decoder:
        paths = write_files(Path(folder))
        series_of_files(paths[:1], lat, lon, decoder)  # starts the decoder
        command = [sys.executable, "-c", DECODING, *map(str, paths)]
        alone = float("inf")
        direct = float("inf")
        for _ in range(3):  # in turn, so that a busy moment meets both
            done = subprocess.run(command, capture_output=True, text=True, check=True)
            alone = min(alone, float(done.stdout))
            direct = min(direct, seconds(lambda: series_of_files(paths, lat, lon, decoder), 1))
        cube = seconds(lambda: decode_cube(paths, decoder), 1)
    print(f"{HOURS} messages: decoding alone {alone:.2f} s")
    print(f"series of {SITES} sites from the files {direct:.2f} s, ratio {direct / alone:.2f}")
    print(f"whole cube as (y, x, time) {cube:.2f} s, ratio {cube / alone:.2f}")
    return direct / alone > AIM_RATIO


def main() -> int:
    """Print all figures; 1 where an aim is missed."""
    missed = [from_a_decoded_cube(), from_files()]
    return int(any(missed))


if __name__ == "__main__":
    sys.exit(main())
