"""Work walked hour by hour, as a crew would: a reference that shares nothing with planning."""

from __future__ import annotations

from scheduler.planning.tables.finish import NEVER, Effort


def walked_finish(usable: list[bool], effort: Effort, start: int) -> int:
    """Walk from a start, hour by hour; ``NEVER`` where it may not begin or is not over in time."""
    if not usable[start]:
        return NEVER
    left, hour, first = effort.hours, start, True
    least = min(effort.least_piece, effort.hours)
    while hour < len(usable):
        end = hour
        while end < len(usable) and usable[end]:
            end += 1
        fits = end - hour - effort.set_up - effort.cover_up
        enough = fits >= (least if effort.may_pause else effort.hours)
        if enough and fits >= left:
            return hour + effort.set_up + left + effort.cover_up
        if first and not enough:
            return NEVER
        if enough:
            left -= fits
        first = False
        hour = end + 1
    return NEVER
