"""The demo's job, moved in place and time to where a recorded forecast is."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path

DEMO = Path(__file__).resolve().parents[1] / "fixtures" / "demo"
MORNING = datetime(2026, 11, 9)  # noqa: DTZ001 - local, as the demo's file writes its dates


def demo_job(folder: Path) -> Path:
    """Copy the demo's job into a folder of its own store."""
    path = folder / "job.yaml"
    path.write_text((DEMO / "job.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    return path


def moved_demo_job(
    folder: Path, *, latitude: float, longitude: float, zone: str, morning: datetime
) -> Path:
    """Write the demo's job for another place, every date in it moved to another morning."""
    days = (morning.replace(tzinfo=None, hour=0, minute=0) - MORNING).days
    text = (DEMO / "job.yaml").read_text(encoding="utf-8")

    def later(found: re.Match[str]) -> str:
        return (datetime.fromisoformat(found[0]) + timedelta(days=days)).date().isoformat()

    text = re.sub(r"20\d\d-\d\d-\d\d", later, text)
    text = re.sub(r"latitude: .*", f"latitude: {latitude}", text)
    text = re.sub(r"longitude: .*", f"longitude: {longitude}", text)
    text = re.sub(r"time_zone: .*", f"time_zone: {zone}", text)
    path = folder / "job.yaml"
    path.write_text(text, encoding="utf-8")
    return path
