"""What was: observations of the National Weather Service's stations nearest to the site.

The cell that a site lies in names its stations; the nearest few are asked for their last days.
What is kept is ``closein-nws-stations/1``: of each report the fields that serve, as they came.
Values that the service's own control rejects or questions are left out, and a null is a gap: an
hour without a rain amount is not a dry hour.

References
----------
api.weather.gov, stations and observations. Quality marks: MADIS QC data descriptors (X failed, Q
questioned, B bad by eye), NOAA, from memory.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np

from rules.errors import Faults, OutOfRange, WeatherFileFault, WeatherUnavailable
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.forecast.past_hours import filled
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Finding, Forecast, HourlyTable, Provenance
from scheduler.weather.http import Answer
from scheduler.weather.intervals import HOUR_S, instant
from scheduler.weather.nws_grid import UNITS
from scheduler.weather.nws_service import Service
from scheduler.weather.place import distance_km
from scheduler.weather.screen import screened

FORMAT: Final = "closein-nws-stations/1"
SOURCE: Final = "nws-stations"
BACK_H: Final = 96  # longest look back of a rule is 72 h, and a day before it
HIGHEST_GAP_M: Final = 500.0  # a station further above or below has other weather; no source
LAPSE_RATE_C_PER_KM: Final = 6.5  # ICAO standard atmosphere (ISO 2533:1975), the troposphere
NOT_USED: Final = frozenset("XQB")
AIR, DEW, RAIN = "air_temperature_c", "dew_point_temperature_c", "precipitation_amount_mm"
FIELDS: Final = {  # field: (house column, its unit, how an hour is made of several reports)
    "temperature": (AIR, "degC", "mean"),
    "dewpoint": (DEW, "degC", "mean"),
    "relativeHumidity": ("relative_humidity_pct", "%", "mean"),
    "windSpeed": ("wind_speed_ms", "m/s", "max"),
    "windGust": ("wind_speed_of_gust_ms", "m/s", "max"),
    "precipitationLastHour": (RAIN, "mm", "max"),
}


@dataclass(frozen=True, slots=True)
class Station:
    """A station, and how far it lies from the site."""

    id: str
    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None
    distance_km: float


class NwsStations:
    """Fetches and reads what the stations nearest to a site observed."""

    name = SOURCE

    def __init__(
        self,
        service: Service,
        *,
        count: int = 3,
        within_km: float = 60.0,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        """Take whom to ask, and how many stations within which distance."""
        self._service, self._count, self._within_km, self._now = service, count, within_km, now

    def fetch(self, site: Site) -> bytes:
        """Return the reports of the nearest stations as one text.

        Raises
        ------
        WeatherUnavailable
            If no station could be asked; says why.
        """
        ask = self._service
        listed = ask.get(ask.linked(ask.points(site), "observationStations"))
        near = [s for s in stations_of(_json(listed), site) if s.distance_km <= self._within_km]
        since = self._now().replace(minute=0, second=0, microsecond=0) - timedelta(hours=BACK_H)
        told, missing = [], []
        for station in near[: self._count]:
            path = f"/stations/{station.id}/observations?start={since:%Y-%m-%dT%H:%M:%SZ}"
            try:
                told.append(_kept(station, _json(ask.get(path, once=True))))
            except WeatherUnavailable as error:
                missing.append(f"without station {station.id}: {error}")
        if not told:
            none_near = f"no station within {self._within_km:g} km"
            raise WeatherUnavailable("; ".join(missing) or none_near)
        bundle = {"format": FORMAT, "fetched_at": self._now().isoformat(timespec="seconds")}
        return json.dumps({**bundle, "notes": missing, "stations": told}).encode()


def _json(answer: Answer) -> object:
    try:
        return json.loads(answer.body)
    except (ValueError, RecursionError) as error:
        raise WeatherUnavailable(f"{answer.url}: the answer is no JSON") from error


def stations_of(data: object, site: Site) -> list[Station]:
    """Return the stations of a list, the nearest first; entries that say no place are left out."""
    found = []
    for entry in _rows(data):
        inner, shape = entry.get("properties"), entry.get("geometry")
        place = shape.get("coordinates") if isinstance(shape, dict) else None
        if not isinstance(inner, dict) or not isinstance(place, list) or len(place) != 2:
            continue
        longitude, latitude = (_number(part) for part in place)
        if not (abs(latitude) <= 90.0 and abs(longitude) <= 180.0):
            continue
        away = distance_km((site.latitude_deg, site.longitude_deg), (latitude, longitude))
        height = _value(inner.get("elevation"), "m")
        name, known = str(inner.get("name") or ""), None if math.isnan(height) else height
        identity = str(inner.get("stationIdentifier") or "")
        if identity.isalnum():
            found.append(Station(identity, name, latitude, longitude, known, away))
    return sorted(found, key=lambda station: station.distance_km)


def _rows(data: object) -> list[Mapping[str, object]]:
    rows = data.get("features") if isinstance(data, dict) else None
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def _kept(station: Station, data: object) -> Mapping[str, object]:
    """Return the fields of each report that serve, as they came."""
    reports = [
        {key: inner[key] for key in ("timestamp", *FIELDS) if key in inner}
        for row in _rows(data)
        if isinstance(inner := row.get("properties"), dict)
    ]
    return {
        "id": station.id,
        "name": station.name,
        "place": [station.latitude_deg, station.longitude_deg, station.elevation_m],
        "distance_km": station.distance_km,
        "reports": reports,
    }


def is_stations(data: object) -> bool:
    """Tell whether a JSON value is a kept fetch of stations."""
    return isinstance(data, dict) and data.get("format") == FORMAT


def read_stations(raw: bytes, file: str, site: Site) -> Forecast:
    """Return the observed hours at the site, each from the nearest station that knows it.

    Raises
    ------
    Faults
        If the bytes are no kept fetch, or no report in them can be used.
    """
    try:
        data = json.loads(raw)
        if not is_stations(data):
            raise ValueError(f"want {FORMAT}")
        parts = [part for row in data["stations"] if (part := _observed(row, site)) is not None]
        notes = [Finding("", str(note)) for note in data["notes"]]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise Faults([WeatherFileFault(file, "the file", str(error), f"want {FORMAT}")]) from error
    if not parts:
        raise Faults([WeatherFileFault(file, "reports", 0, "want one report that can be used")])
    whole = filled(parts)
    return Forecast(
        table=whole.table,
        provenance=Provenance(
            source=SOURCE,
            issued_at=max(p.provenance.issued_at for p in parts if p.provenance.issued_at),
            fetched_at=instant(str(data["fetched_at"])),
            place=whole.provenance.place,
            latitude_deg=parts[0].provenance.latitude_deg,
            longitude_deg=parts[0].provenance.longitude_deg,
            elevation_m=parts[0].provenance.elevation_m,
            identity=hashlib.sha256(raw).hexdigest(),
            findings=(*notes, *whole.provenance.findings),
        ),
    )


def _observed(row: Mapping[str, object], site: Site) -> Forecast | None:
    """Return what one station tells of the site; None where it tells nothing that can be used."""
    place: list[float | None] = row["place"]  # type: ignore[assignment]
    latitude, longitude, height = (_number(part) for part in place)
    name, away = f"station {row['id']}", float(row["distance_km"])  # type: ignore[arg-type]
    reports = [r for r in row["reports"] if isinstance(r, dict)]  # type: ignore[attr-defined]
    moments, values = _reports(reports)
    if not moments.size:
        return None
    zero = int(moments.min()) // HOUR_S - 1
    hours = int(moments.max()) // HOUR_S - zero + 1
    table = {
        column: _by_hour(moments - (HOUR_S // 2 if column == RAIN else 0), told, zero, hours, how)
        for (column, _, how), told in zip(FIELDS.values(), values, strict=True)
    }
    findings = _to_height(table, name, height, site)
    start = np.arange(zero, zero + hours).astype("datetime64[h]")
    kept, screening = screened(start, table)
    latest = datetime.fromtimestamp(int(moments.max()), UTC)
    return Forecast(
        HourlyTable(start=start, columns={n: v for n, v in kept.items() if np.isfinite(v).any()}),
        Provenance(
            source=name,
            issued_at=latest,
            fetched_at=None,
            place=f"{row['id']} {row['name']}, {away:.0f} km",
            latitude_deg=latitude,
            longitude_deg=longitude,
            elevation_m=None if math.isnan(height) else height,
            findings=(*findings, *screening),
        ),
    )


def _reports(reports: Sequence[Mapping[str, object]]) -> tuple[np.ndarray, FloatArray]:
    """Return the moments of the reports, seconds since 1970, and (fields, reports) values."""
    told: dict[int, list[float]] = {}
    for report in reports:
        try:
            moment = int(instant(str(report.get("timestamp"))).timestamp())
        except ValueError:
            continue
        told[moment] = [_value(report.get(f), unit) for f, (_, unit, _) in FIELDS.items()]
    moments = np.array(sorted(told), dtype=np.int64)
    moments = moments[moments > moments.max(initial=0) - 2 * BACK_H * HOUR_S]
    values = np.array([told[int(m)] for m in moments], dtype=np.float64)
    return moments, values.reshape(moments.size, len(FIELDS)).T


def _by_hour(
    moments: np.ndarray, values: FloatArray, zero: int, hours: int, how: str
) -> FloatArray:
    """Return the mean or the largest of an hour's reports; an hour without one is a gap."""
    known = np.isfinite(values)
    hour, told = moments[known] // HOUR_S - zero, values[known]
    count = np.bincount(hour, minlength=hours)
    if how == "mean":
        total = np.bincount(hour, told, hours)
    else:
        total = np.full(hours, -np.inf)
        np.maximum.at(total, hour, told)
        count = np.minimum(count, 1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _to_height(
    table: dict[str, FloatArray], name: str, height: float, site: Site
) -> list[Finding]:
    """Correct the air's temperature for height, in place; leave out what lies too far off."""
    if not (math.isfinite(height) and math.isfinite(site.elevation_m)):
        return [Finding(AIR, f"{name}: heights are not known; not corrected for height")]
    rise = site.elevation_m - height
    if abs(rise) > HIGHEST_GAP_M:
        table[AIR], table[DEW] = np.full_like(table[AIR], np.nan), np.full_like(table[DEW], np.nan)
        return [Finding(AIR, f"{name} lies {abs(rise):.0f} m off in height; its air is not used")]
    table[AIR] = table[AIR] - LAPSE_RATE_C_PER_KM * rise / 1000.0
    table[DEW] = np.minimum(table[DEW], table[AIR])
    return [Finding(AIR, f"{name}: corrected by {-LAPSE_RATE_C_PER_KM * rise / 1000.0:+.1f} K")]


def _value(given: object, unit: str) -> float:
    """Return a value with its unit beside it; NaN where there is none that can be used."""
    if not isinstance(given, dict) or str(given.get("qualityControl")) in NOT_USED:
        return math.nan
    known = UNITS.get(str(given.get("unitCode")).rpartition(":")[2])
    try:
        return math.nan if known is None else convert(_number(given.get("value")), known, unit)
    except OutOfRange:
        return math.nan


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return math.nan
    return float(value) if math.isfinite(value) else math.nan
