"""The comparison of protections as a readable table, with what it means for the booked slot."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from rules.freeze import Fate
from rules.gates import gates
from scheduler.output.words import clock, number, told, words
from scheduler.planning.forecast.scenarios import FEWEST_YEARS
from scheduler.planning.reports.briefing import LINE
from scheduler.planning.strength.cure_answer import Booked, CureAnswer, CureOption, Slot

CURE_VERSION = "closein-cure/1"
FATE_WORDS = {
    Fate.SURVIVES: "comes through",
    Fate.NOT_KNOWN: "not known",
    Fate.FREEZES: "freezes",
}


def cure_table(answer: CureAnswer, *, time_zone: str, units: str) -> RenderableType:
    """Return the table and, under it, what follows from it."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("", overflow="fold")
    for option in answer.options:
        table.add_column(option_title(option), overflow="fold")
    for name, cells in cure_rows(answer, time_zone, units):
        table.add_row(name, *cells)
    placed = number(answer.placed_c, "degC", units, time_zone)
    strength = number(answer.specified_mpa, "MPa", units, time_zone)
    head = Text(
        f"{answer.task}: {answer.section}, placed {placed}, specified {strength}, "
        f"finished {clock(answer.finish, time_zone)}"
    )
    return Group(head, table, *(Text(line) for line in cure_lines(answer, time_zone=time_zone)))


def cure_document(answer: CureAnswer) -> dict[str, object]:
    """Return the comparison as the documented JSON; traces by the hour, °C and shares."""
    return {
        "version": CURE_VERSION,
        "answer": answer,
        "fates": {option.name: FATE_WORDS[option.fate] for option in answer.options},
    }


def option_title(option: CureOption) -> str:
    """Return a protection in words."""
    return words(option.measure) if option.measure else "bare"


def cure_rows(answer: CureAnswer, time_zone: str, units: str) -> Iterator[tuple[str, list[str]]]:
    """Yield what is compared: its name, and a cell for each protection."""
    options = answer.options
    yield "Freezing", [FATE_WORDS[o.fate] for o in options]
    yield (
        "Coldest place",
        [
            f"{number(o.coldest_c, 'degC', units, time_zone)}, {clock(o.coldest_at, time_zone)}"
            for o in options
        ],
    )
    yield "Resists one freeze", [_clock(o.freeze_safe_at, time_zone) for o in options]
    yield "Cover on until", [_cover(o, time_zone) for o in options]
    for purpose in answer.shares:
        title = gates()[purpose].title if purpose in gates() else words(purpose)
        cells = [_gate(o, purpose, time_zone) for o in options]
        yield f"{title[:1].upper()}{title[1:]}", cells
    yield "Cost", [_cost(o) for o in options]


def _clock(moment: datetime | None, time_zone: str) -> str:
    return clock(moment, time_zone) if moment is not None else "not within what is known"


def _cover(option: CureOption, time_zone: str) -> str:
    return "–" if option.cover_until is None else clock(option.cover_until, time_zone)


def _gate(option: CureOption, purpose: str, time_zone: str) -> str:
    if option.fate is not Fate.SURVIVES:
        return "–"
    early = option.ready_fast[purpose]
    late = _clock(option.ready[purpose], time_zone)
    if early is None or early == option.ready[purpose]:
        return late
    return f"{late} (optimistic {clock(early, time_zone)})"


def _cost(option: CureOption) -> str:
    if option.cost is None:
        return "not said" if option.available else "not to be had in time"
    text = "on hand" if option.cost == 0.0 and option.measure else f"{option.cost:.0f}"
    return text if option.available else f"{text}, not in time"


def _how_often(answer: CureAnswer) -> str:
    if answer.years >= FEWEST_YEARS:
        return f"in {answer.confidence:.0%} of {answer.scenarios} weather traces"
    years = f" and {answer.years} past years, too few for a share" if answer.years else ""
    return f"on the forecast{years}"


def cure_lines(answer: CureAnswer, *, time_zone: str) -> list[str]:
    """Return what follows from the comparison, one thought a line."""
    lines = [line for slot in answer.booked for line in _slot_lines(answer, slot, time_zone)]
    lines += list(_keep_on_lines(answer, time_zone))
    if answer.protect_until is not None:
        lines.append(
            f"The book keeps the cover on until {clock(answer.protect_until, time_zone)}, "
            "however warm the model finds the work."
        )
    lines.append(
        f"Hours hold {_how_often(answer)}, known until "
        f"{clock(answer.known_until, time_zone)}; strength by {answer.model}. "
        "The optimistic hour is by EN 1992-1-1 Annex B; plan on the later one."
    )
    if answer.assumed:
        named = ", ".join(words(name.rsplit("_", 1)[0]) for name in answer.assumed)
        lines.append(f"Not forecast and taken on the cold side: {named}.")
    if answer.verify:
        lines.append("Resistances, heats and gates are partly from memory: have them verified.")
    if any(option.name == "enclosure" for option in answer.options):
        gas, fire = told("caution", "carbon_monoxide"), told("caution", "fire_near_heater")
        lines.append(f"Heaters: {gas}; {fire}.")
    lines.append("Computed, not measured: read the coldest corner; a reading outranks this.")
    lines.append(LINE)
    return lines


def _slot_lines(answer: CureAnswer, slot: Booked, time_zone: str) -> Iterator[str]:
    """Tell for a booked slot what keeps it, what heat would change, and when it would open."""
    who = f"{words(slot.who)} {clock(slot.start, time_zone)}"
    told = [(option, option.slots[slot.task]) for option in answer.options]
    if any(one.slot is Slot.KEPT_WITHOUT for _, one in told):
        yield f"{who}: kept without buying heat."
        return
    for option, one in told:
        if one.slot is Slot.SAVED:
            cost = "at a cost not said" if one.cost is None else f"for {one.cost:.0f}"
            late = "" if option.available else ", if it can still be had in time"
            ready = _clock(one.ready, time_zone)
            kept = f"{option_title(option)} kept on until {ready} {cost}"
            yield f"{who}: {kept} keeps the slot{late}."
    if all(one.slot is Slot.LOST_ANYWAY for _, one in told):
        best = min((one.ready for _, one in told if one.ready is not None), default=None)
        then = f"the earliest is {clock(best, time_zone)}" if best else "nothing opens it in time"
        yield f"{who}: no protection keeps the slot; {then}."


def _keep_on_lines(answer: CureAnswer, time_zone: str) -> Iterator[str]:
    """Tell where the model keeps a cover on longer than the book, and where none is enough."""
    for option in answer.options:
        book, asks = answer.protect_until, option.keep_on_until
        if not option.measure:
            continue
        if asks is None:
            yield f"{option_title(option)}: not enough, however long it stays."
        elif book is not None and asks > book:
            yield (
                f"{option_title(option)}: keep on until {clock(asks, time_zone)}, longer than "
                "the book asks; before that a freezing night would be its end."
            )
