"""Public holidays of a region, through the ``holidays`` library.

``US-NY`` is a country and its part; ``US`` alone has the national days only. The library's own
tables are the source; days that a trade works all the same go under ``exceptions``.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from scheduler.jobfile.fields import not_among


def free_days(region: str, years: Iterable[int]) -> frozenset[date]:
    """Return the public holidays of a region in some years.

    Raises
    ------
    ValueError
        If the library knows no such country or part; says the nearest one.
    """
    import holidays  # only a job that names a region pays for it

    country, _, part = region.partition("-")
    known = holidays.list_supported_countries()
    if country not in known:
        raise ValueError(not_among(country, known, "country"))
    if part and part not in known[country]:
        raise ValueError(not_among(part, known[country], f"part of {country}"))
    return frozenset(holidays.country_holidays(country, subdiv=part or None, years=years))
