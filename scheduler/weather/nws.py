"""The US National Weather Service as a weather source: api.weather.gov.

A site's coordinates lead by ``/points`` to a cell of a 2.5 km grid; the cell's raw layers are
the forecast. What is fetched is kept as it came, in one JSON text: ``closein-nws/1`` with each
answer's address, headers and body, so that it can be stored and read again at any time.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Final

from rules.errors import WeatherUnavailable
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Forecast
from scheduler.weather.http import Answer
from scheduler.weather.json_text import JsonDocument
from scheduler.weather.nws_answers import inner_of
from scheduler.weather.nws_bundle import FORMAT, is_bundle, read_bundle, tolerant
from scheduler.weather.nws_grid import SOURCE, has_hours
from scheduler.weather.nws_service import Service, as_json, coordinates

ASIDE: Final = {  # answers that help but are not needed: the link that points names for them
    "hourly": "forecastHourly",
    "half-day": "forecast",
    "alerts": "",
}
KINDS: Final[Mapping[str, Callable[[Mapping[str, object]], bool]]] = {
    "hourly": lambda data: isinstance(inner_of(data).get("periods"), list),
    "half-day": lambda data: isinstance(inner_of(data).get("periods"), list),
    "alerts": lambda data: isinstance(data.get("features"), list),
}
NO_HOURS: Final = "the answer holds no hours of a forecast"


class NwsGridpoints:
    """Fetches and reads the gridpoint forecast of a site."""

    name = SOURCE

    def __init__(
        self,
        service: Service | None = None,
        *,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        """Take whom to ask, by default the public service without a contact."""
        self._service = service or Service()
        self._now = now

    def fetch(self, site: Site) -> bytes:
        """Return the answers as they came, as one text of format ``closein-nws/1``.

        Raises
        ------
        WeatherUnavailable
            If the site's cell or its layers could not be had; says from where and why.
        """
        ask = self._service
        points = ask.points(site)
        grid = ask.get(ask.linked(points, "forecastGridData"), holds=has_hours, want=NO_HOURS)
        answers, missing = {"points": points, "gridpoint": grid}, []
        for name, link in ASIDE.items():
            try:
                path = ask.linked(points, link) if link else _alerts(site)
                answers[name] = ask.get(
                    path, once=True, holds=KINDS[name], want=f"no {name} answer"
                )
            except WeatherUnavailable as error:
                missing.append(f"without the {name} answer: {error}")
        return self._bundle(answers, missing)

    def parse(self, raw: bytes) -> Forecast:
        """Return the forecast that ``fetch`` or a recorded gridpoint answer holds.

        A layer that cannot be read becomes gaps and a finding: the rest still serves.

        Raises
        ------
        Faults
            If the bytes hold no gridpoint answer.
        """
        document = JsonDocument(raw, SOURCE)
        return read_bundle(document, raw) if is_bundle(document.data) else tolerant(document)

    def _bundle(self, answers: Mapping[str, Answer], missing: Sequence[str]) -> bytes:
        notes = [
            f"the service did not answer; this is its {name} answer of {kept:%Y-%m-%d %H:%M}Z"
            for name, answer in answers.items()
            if (kept := answer.kept_from) is not None
        ]
        bundle = {
            "format": FORMAT,
            "fetched_at": self._now().isoformat(timespec="seconds"),
            "notes": [*notes, *missing, *self._service.fetcher.notes],
            "answers": {name: as_json(answer) for name, answer in answers.items()},
        }
        return json.dumps(bundle, ensure_ascii=False, indent=1).encode()


def _alerts(site: Site) -> str:
    return f"/alerts/active?point={coordinates(site)}"
