"""Values of GRIB2 files by other readers, in a process of their own.

``python -m tests.weather.grids.second_readers eccodes|pygrib FILE LAT LON [LAT LON ...]`` prints
JSON: for each message the value at each place, null where there is none. ecCodes answers by its
own nearest-cell tool; pygrib's arrays are searched by great-circle distance.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np

Places = list[tuple[float, float]]


def by_eccodes(path: str, places: Places) -> list[list[float | None]]:
    import eccodes

    eccodes.codes_grib_multi_support_on()
    answers = []
    with Path(path).open("rb") as file:
        while (handle := eccodes.codes_grib_new_from_file(file)) is not None:
            eccodes.codes_set(handle, "missingValue", 1e30)
            if eccodes.codes_get(handle, "jPointsAreConsecutive"):
                found = by_iterator(handle, places)
            else:
                near = eccodes.codes_grib_find_nearest_multiple(
                    handle, False, [p[0] for p in places], [p[1] for p in places]
                )
                found = [one["value"] for one in near]
            answers.append([None if value == 1e30 else value for value in found])
            eccodes.codes_release(handle)
    return answers


def by_iterator(handle: object, places: Places) -> list[float]:
    """The tool takes column-wise storage for row-wise; the library's iterator does not."""
    import eccodes

    iterator = eccodes.codes_grib_iterator_new(handle, 0)
    points = []
    while point := eccodes.codes_grib_iterator_next(iterator):
        points.append(point)
    eccodes.codes_grib_iterator_delete(iterator)
    return [min(points, key=lambda p: away(p, place))[2] for place in places]


def away(point: tuple[float, ...], place: tuple[float, float]) -> float:
    across = (point[1] - place[1] + 180) % 360 - 180
    return (point[0] - place[0]) ** 2 + (across * np.cos(np.radians(place[0]))) ** 2


def by_pygrib(path: str, places: Places) -> list[list[float | None]]:
    import pygrib

    answers = []
    for message in pygrib.open(path):
        lats, lons = (np.radians(part) for part in message.latlons())
        values = np.ma.asarray(message.values)
        row = []
        for lat, lon in places:
            near = np.sin((lats - np.radians(lat)) / 2) ** 2
            near += (
                np.cos(lats) * np.cos(np.radians(lat)) * np.sin((lons - np.radians(lon)) / 2) ** 2
            )
            at = np.unravel_index(near.argmin(), near.shape)
            row.append(None if np.ma.getmaskarray(values)[at] else float(values[at]))
        answers.append(row)
    return answers


def ask(reader: str, path: Path, places: Places) -> list[list[float | None]]:
    """Run a reader in a child process and return its answers."""
    numbers = [repr(float(part)) for place in places for part in place]
    command = [sys.executable, "-m", __spec__.name, reader, str(path), *numbers]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.stdout, done.stderr
    return json.loads(done.stdout)


if __name__ == "__main__":
    numbers = [float(text) for text in sys.argv[3:]]
    wanted = list(zip(numbers[::2], numbers[1::2], strict=True))
    reader = {"eccodes": by_eccodes, "pygrib": by_pygrib}[sys.argv[1]]
    print(json.dumps(reader(sys.argv[2], wanted)))
