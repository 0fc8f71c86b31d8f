"""What one GRIB2 field says: parameter, level, moment or interval, member or chance.

References
----------
WMO-No. 306, Manual on Codes, volume I.2: section 1; product templates 4.0 to 4.2, 4.5, 4.6 and
4.8 to 4.12; code tables 4.4 (units of time), 4.7 (derived forecasts), 4.9 (kinds of chance) and
4.10 (statistical processes).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from rules.errors import BadInput

SECONDS: Final = {0: 60, 1: 3600, 2: 86400, 10: 10800, 11: 21600, 12: 43200, 13: 1}  # table 4.4
# template: (octets of the part between level and interval, what that part says, interval?)
TEMPLATES: Final = {
    0: (0, "single", False),
    1: (3, "member", False),
    2: (2, "derived", False),
    5: (13, "chance", False),
    6: (1, "percentile", False),
    8: (0, "single", True),
    9: (13, "chance", True),
    10: (1, "percentile", True),
    11: (3, "member", True),
    12: (2, "derived", True),
}
AVERAGE, SUM, MAXIMUM, MINIMUM = 0, 1, 2, 3  # code table 4.10
MEANS_OF_MEMBERS: Final = (0, 1)  # code table 4.7: unweighted and weighted mean
ABOVE_UPPER: Final = 1  # code table 4.9: chance of more than the upper limit
CHANCES: Final = 5  # code table 4.3: the process makes chances, whatever the template
NO_SURFACE: Final = 255


class UnknownProduct(BadInput):
    """A kind of field that is not read; says which."""


@dataclass(frozen=True, slots=True)
class Product:
    """One field's meaning; ``start == end`` is a moment, else a statistic over the interval."""

    centre: int
    parameter: tuple[int, int, int]  # discipline, category, number
    level: tuple[int, float | None]  # kind (code table 4.5) and value in its SI unit
    layer: bool  # has a second surface
    reference: datetime  # UTC, the run
    start: datetime
    end: datetime
    statistic: int | None  # code table 4.10; None for a moment
    member: tuple[int, int] | None = None  # kind (code table 4.6) and number
    derived: int | None = None  # code table 4.7
    percentile: int | None = None
    above: float | None = None  # of a chance: more than this, in the parameter's unit
    chance: bool = False
    odd_interval: bool = False  # stated start and end contradict the length; the end was believed

    @property
    def minutes(self) -> tuple[int, int]:
        """Return start and end in whole minutes since 1970."""
        return round(self.start.timestamp() / 60), round(self.end.timestamp() / 60)

    def __str__(self) -> str:
        kind, value = self.level
        where = f"level {kind}" if value is None else f"level {kind} at {value:g}"
        return f"parameter {'.'.join(map(str, self.parameter))}, {where}"


def product_of(discipline: int, identification: bytes, section: bytes) -> Product:
    """Read sections 1 and 4.

    Raises
    ------
    UnknownProduct
        If the template is not read, or the section is cut short or senseless.
    """
    try:
        return _product(discipline, identification, section)
    except (struct.error, ValueError, OverflowError) as error:
        raise UnknownProduct("the product's definition is cut short or senseless") from error


def _product(discipline: int, identification: bytes, section: bytes) -> Product:
    (centre,) = struct.unpack_from(">H", identification, 5)
    reference = _moment(identification, 12)
    (template,) = struct.unpack_from(">H", section, 7)
    if template not in TEMPLATES:
        raise UnknownProduct(f"product template 4.{template} is not read")
    category, number = section[9], section[10]
    unit, forecast = struct.unpack_from(">Bi", section, 17)
    octets, says, over_time = TEMPLATES[template]
    start = reference + _duration(unit, _magnitude(forecast))
    extra = section[34 : 34 + octets]
    end, statistic, odd = start, None, False
    if over_time:
        start, end, statistic, odd = _interval(section, 34 + octets, start)
    return Product(
        centre=centre,
        parameter=(discipline, category, number),
        level=_level(section, 22),
        layer=section[28] != NO_SURFACE,
        reference=reference,
        start=start,
        end=end,
        statistic=statistic,
        member=(extra[0], extra[1]) if says == "member" else None,
        derived=extra[0] if says == "derived" else None,
        percentile=extra[0] if says == "percentile" else None,
        above=_upper_limit(extra) if says == "chance" else None,
        chance=says == "chance" or section[11] == CHANCES,
        odd_interval=odd,
    )


def _interval(
    section: bytes, at: int, start: datetime
) -> tuple[datetime, datetime, int | None, bool]:
    """Return start, end and statistic of the outermost time range.

    Some producers put the interval's end where its start belongs; the end is written out in full
    beside it, so that the end and the length are believed.
    """
    end = _moment(section, at)
    ranges = section[at + 7]
    if ranges != 1:
        raise UnknownProduct(f"a statistic over {ranges} time ranges is not read")
    statistic, unit, length = struct.unpack_from(">BxBI", section, at + 12)
    span = _duration(unit, length)
    if not timedelta(0) < span <= timedelta(days=400):
        raise UnknownProduct(f"a statistic over {span} is not read")
    return end - span, end, None if statistic == 255 else int(statistic), end - span != start


def _moment(section: bytes, at: int) -> datetime:
    year, month, day, hour, minute, second = struct.unpack_from(">HBBBBB", section, at)
    return datetime(year, month, day, hour, minute, second, tzinfo=UTC)


def _duration(unit: int, count: int) -> timedelta:
    if unit not in SECONDS:
        raise UnknownProduct(f"time in units of code {unit} is not read")
    return timedelta(seconds=SECONDS[unit] * count)


def _magnitude(value: int) -> int:
    """Read a signed GRIB number that was unpacked as two's complement."""
    return value if value >= 0 else -(value & 0x7FFFFFFF)


def _level(section: bytes, at: int) -> tuple[int, float | None]:
    kind, scale, value = struct.unpack_from(">BBI", section, at)
    if scale == 0xFF or value == 0xFFFFFFFF:
        return kind, None
    power = 0x80 - scale if scale & 0x80 else scale
    number = 0x80000000 - value if value & 0x80000000 else value
    return kind, number / 10.0**power


def _upper_limit(extra: bytes) -> float | None:
    """Return the limit of a chance of more than it; None for chances of other kinds."""
    kind, scale, value = struct.unpack_from(">2xB5xBI", extra, 0)
    if kind != ABOVE_UPPER or value == 0xFFFFFFFF:
        return None
    power = 0x80 - scale if scale & 0x80 else scale
    number = 0x80000000 - value if value & 0x80000000 else value
    return float(number / 10.0**power)
