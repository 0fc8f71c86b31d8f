"""Made mild weather, so that a plan is about the job and not about the sky."""

from __future__ import annotations

import json
import math
from datetime import date, timedelta
from pathlib import Path

HOURS = 168
YEARS = range(2010, 2022)


def mild_forecast(folder: Path, start: str) -> Path:
    """Write a week of mild dry hours from a local midnight, offset in the text."""
    columns = {
        "air_temperature": {"unit": "degC", "values": 16.0},
        "dew_point_temperature": {"unit": "degC", "values": 8.0},
        "relative_humidity": {"unit": "%", "values": 60.0},
        "wind_speed": {"unit": "m s-1", "values": 2.0},
        "wind_speed_of_gust": {"unit": "m s-1", "values": 4.0},
        "precipitation_amount": {"unit": "mm", "values": 0.0},
        "precipitation_probability": {"unit": "%", "values": 0.0},
        "cloud_area_fraction": {"unit": "%", "values": 50.0},
    }
    text = {
        "format": "closein-weather/1",
        "source": "made, mild",
        "issued_at": start,
        "age_limit_h": 12,
        "hours": {"start": start, "step_h": 1, "hours": HOURS, "columns": columns},
    }
    path = folder / "mild.json"
    path.write_text(json.dumps(text), encoding="utf-8")
    return path


def mild_years(folder: Path) -> Path:
    """Write twelve whole years of daily extremes, a sine over the year, a wet day in ten."""
    lines = ["date,air_temperature_max_c,air_temperature_min_c,precipitation_amount_mm"]
    for year in YEARS:
        day = date(year, 1, 1)
        while day.year == year:
            number = day.timetuple().tm_yday
            mean = 9.0 - 13.0 * math.cos(2 * math.pi * (number - 20) / 365.25)
            mean += 3.0 * math.sin(number * 1.7 + year)
            rain = 4.0 if (number * 7 + year) % 10 == 0 else 0.0
            lines.append(f"{day},{mean + 5:.1f},{mean - 5:.1f},{rain}")
            day += timedelta(days=1)
    path = folder / "years.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
