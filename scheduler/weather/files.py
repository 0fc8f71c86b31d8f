"""A forecast from a file: what kind it is shows in its first bytes, not in its name."""

from __future__ import annotations

from pathlib import Path

from rules.errors import BadInput, Faults, WeatherFileFault, WeatherUnavailable
from scheduler.planning.model.job import Site, SourceChoice
from scheduler.planning.tables.hours import Forecast
from scheduler.weather.hourly_csv import read_hourly_csv
from scheduler.weather.house_json import is_house_json, read_house_json
from scheduler.weather.json_text import JsonDocument
from scheduler.weather.nws_answers import answered_body, kind_of, problem_of, reason
from scheduler.weather.nws_bundle import is_bundle, read_bundle
from scheduler.weather.nws_grid import looks_like_gridpoint, read_gridpoint
from scheduler.weather.place import at_site

LARGEST_FILE = 32_000_000  # decades of a station's hours; kinds of text have lower bounds
GRID_MARKS = (b"GRIB", b"CDF\x01", b"CDF\x02", b"CDF\x05", b"\x89HDF")
NO_FORECAST = {  # answers of the service that are weather, but no forecast by hours
    "period forecast": "it has no rain amounts and no gusts and only serves as a cross-check; "
    "give the gridpoint answer (forecastGridData)",
    "points answer": "it only says which cell the site lies in; give the gridpoint answer",
    "list of alerts": "it holds warnings, no hours; give the gridpoint answer",
}


def read_weather(path: Path, site: Site | None = None) -> Forecast:
    """Read a forecast from a gridpoint answer, a house file, an hourly CSV or a grid file.

    Parameters
    ----------
    path
        The file.
    site
        Where the job stands; needed for grids, and for the distance in the provenance.

    Raises
    ------
    Faults
        If the file cannot be used; one fault for each thing wrong.
    WeatherUnavailable
        If the file is a recorded refusal of the service.
    """
    forecast = parse_weather(bytes_of(path), path.name, site)
    return forecast if site is None else at_site(forecast, site)


def is_grid(raw: bytes) -> bool:
    """Tell whether bytes are GRIB or NetCDF; a GRIB message may follow a short heading."""
    head = raw[:256]
    return head.startswith(GRID_MARKS) or (b"GRIB" in head and b"\0" in head)


def is_kept_grid(data: object) -> bool:
    """Tell whether a JSON value is the cut of a grid as it was fetched."""
    return isinstance(data, dict) and str(data.get("format", "")).startswith("closein-grid/")


def parse_weather(
    raw: bytes, file: str, site: Site | None = None, how: SourceChoice | None = None
) -> Forecast:
    """Return the forecast that bytes hold; takes and raises what :func:`read_weather` does.

    ``how`` says which cells of a grid speak for the site, and its correction for height.
    """
    if is_grid(raw):
        from scheduler.weather.grid_file import parse_grid  # projections, only where needed

        return parse_grid(raw, file, site, how)
    if raw[:100].lstrip()[:1] not in (b"{", b"["):
        return read_hourly_csv(raw, file)
    document = JsonDocument(raw, file)
    body = answered_body(document.data)
    if body is not None:
        return parse_weather(body.encode(), file, site, how)
    if is_kept_grid(document.data):
        from scheduler.weather.grid_file import parse_kept_grid

        return parse_kept_grid(raw, file, how)
    if is_bundle(document.data):
        return read_bundle(document, raw)
    if is_house_json(document.data):
        forecast = read_house_json(document)
    elif looks_like_gridpoint(document.data):
        forecast = read_gridpoint(document)
    else:
        raise _no_forecast(document)
    document.refuse_faulty()
    return forecast


def _no_forecast(document: JsonDocument) -> BadInput | WeatherUnavailable:
    data = document.data
    kind = kind_of(data)
    if kind == "problem report" and isinstance(data, dict):
        return WeatherUnavailable(f"{document.file}: {reason(int(data['status']), data)}")
    if kind == "recorded exchange" and isinstance(data, list):
        answer = data[-1]["response"]
        status, body = int(answer.get("status", 0)), str(answer.get("body", ""))
        told = reason(status, problem_of(body), html="<html" in body.lower())
        return WeatherUnavailable(f"{document.file}: {told}")
    want = NO_FORECAST.get(kind, "want a gridpoint answer, closein-weather/1 or an hourly CSV")
    return Faults([WeatherFileFault(document.file, "the file", kind or "unknown JSON", want)])


def bytes_of(path: Path, most: int = LARGEST_FILE) -> bytes:
    """Return the bytes of a file that is not larger than a file of weather can be.

    Raises
    ------
    Faults
        If it cannot be read or is too large; its size is looked at first.
    """
    try:
        size = path.stat().st_size
        if size > most:
            want = f"a weather file is smaller than {most / 1e6:.0f} MB"
            raise Faults([WeatherFileFault(path.name, "size", f"{size / 1e6:.0f} MB", want)])
        return path.read_bytes()
    except OSError as error:
        told = error.strerror or str(error)
        raise Faults([WeatherFileFault(str(path), "the file", told, "want a file")]) from error
