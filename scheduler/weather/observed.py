"""What was observed, from a file or a fetch: hours, stations, or the site's own logger."""

from __future__ import annotations

import hashlib
import re
from datetime import UTC
from typing import Final

from rules.errors import Faults, WeatherFileFault
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance
from scheduler.weather.files import parse_weather
from scheduler.weather.logger_file import read_logger
from scheduler.weather.nws_stations import FORMAT, read_stations
from scheduler.weather.screen import screened

AIR: Final = "air_temperature_c"
_TIME_HEAD: Final = re.compile(r"\s*time\s*(?:\[UTC\]|\(UTC\))?\s*,", re.IGNORECASE)
_OUTSIDE: Final = re.compile(r"\b(?:air|outside|outdoors?|ambient|shade)\b", re.IGNORECASE)


def parse_observed(raw: bytes, file: str, site: Site) -> Forecast:
    """Return the hours that were observed.

    Takes what ``--weather`` takes, a kept fetch of stations, and what a thermometer's logger
    exports: then the air is its only probe, or the one that its header calls air or outside.

    Raises
    ------
    CloseinError
        If the bytes hold nothing observed.
    """
    if raw.lstrip()[:1] == b"{":
        if FORMAT.encode() in raw[:200]:
            return read_stations(raw, file, site)
        return parse_weather(raw, file, site)
    if _is_hours(raw):
        return parse_weather(raw, file, site)
    return _from_logger(raw, file, site)


def _is_hours(raw: bytes) -> bool:
    """Tell whether a text has the house's own head rather than a logger's."""
    lines = (line for line in raw[:4000].decode("utf-8-sig", "replace").splitlines() if line)
    head = next((line for line in lines if not line.startswith("#")), "")
    return _TIME_HEAD.match(head) is not None and any(
        word in head for word in ("air_temperature", "wind_speed", "precipitation", "humidity")
    )


def _from_logger(raw: bytes, file: str, site: Site) -> Forecast:
    trace = read_logger(raw, file, time_zone=site.time_zone)
    which = [i for i, name in enumerate(trace.probes) if _OUTSIDE.search(name)]
    if len(trace.probes) == 1:
        which = [0]
    if len(which) != 1:
        names = ", ".join(trace.probes)
        want = "which probe is the air outside? Name one of them air in the header"
        raise Faults([WeatherFileFault(file, "probes", names, want)])
    kept, findings = screened(trace.start, {AIR: trace.mean_c[which[0]]})
    last = trace.start[-1].astype("datetime64[s]").item().replace(tzinfo=UTC)
    return Forecast(
        HourlyTable(trace.start.astype("datetime64[h]"), kept),
        Provenance(
            source=f"thermometer ({file})",
            issued_at=last,
            fetched_at=None,
            place="on site",
            identity=hashlib.sha256(raw).hexdigest(),
            findings=(*trace.findings, *findings),
        ),
    )
