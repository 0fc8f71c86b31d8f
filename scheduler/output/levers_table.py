"""What would buy chance and days, and at what price, for a reader."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.money_lines import money_words
from scheduler.output.words import told
from scheduler.planning.forecast.scenarios import few_years
from scheduler.planning.levers.levers import Kind
from scheduler.planning.levers.results import by_money
from scheduler.planning.model.job import Job
from scheduler.planning.money.money import CostLine
from scheduler.planning.plan.plan_answer import Lever, PlanAnswer

LEVERS_VERSION = "closein-levers/1"
NOT_GIVEN = "price not given"
UNITS = {"d": "days", "h": "hours", "kWh": "kWh"}
HEATER_CAUTIONS = ("carbon_monoxide", "fire_near_heater")


TITLES = ("What", "Chance", "Up by", "Sooner by", "Price", "A day sooner", "Saves")


def lever_rows(plan: PlanAnswer, job: Job) -> list[list[str]]:
    """Return a row of words a change, as ``TITLES`` names its cells; best for the money first."""
    return [[one.what, *_figures(one, job.costs.currency)] for one in by_money(plan.levers)]


def levers_table(plan: PlanAnswer, job: Job) -> RenderableType:
    """Return a line for each change, the most days for the money first; prices under them."""
    if plan.date is not None and plan.close_in is None:
        return Text(
            "there is no plan to try anything on; closein plan says what stands in the way"
        )
    if plan.date is not None and plan.date.years_made is not None:
        return Text(f"{few_years(plan.date.years)}: no chance that a lever could raise")
    if plan.date is None or plan.date.chance is None:
        return Text("no chance is known without past years; give --climate FILE")
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in TITLES:
        table.add_column(title, overflow="fold")
    for row in lever_rows(plan, job):
        table.add_row(*row)
    said = f"Chance of closing in safely as planned: {plan.date.chance:.0%}"
    nothing = () if plan.levers else (Text("nothing that was tried raises it"),)
    return Group(Text(said), table, *nothing, *map(Text, lever_notes(plan, job)))


def levers_document(plan: PlanAnswer, job: Job) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {
        "version": LEVERS_VERSION,
        "chance": None if plan.date is None else plan.date.chance,
        "currency": job.costs.currency,
        "levers": by_money(plan.levers),
        "not_tried": plan.not_tried,
    }


def lever_notes(plan: PlanAnswer, job: Job) -> Iterator[str]:
    """Yield what the table rests on: the order, each price, what is missing, cautions."""
    sign, levers = job.costs.currency, by_money(plan.levers)
    yield ""
    yield (
        "In the order of days gained per money; what has no price comes after, in the order of "
        "the chance it buys. What an earlier close-in saves is not taken off the price."
    )
    for lever in levers:
        parts = (("costs", lever.price), ("saves", lever.saved))
        said = [f"{name} {_made_of(lines, sign)}" for name, lines in parts if lines]
        if said:
            yield f"{lever.what}: {'; '.join(said)}"
    missing = dict.fromkeys(key for lever in levers for key in lever.not_priced)
    if missing:
        yield f"{NOT_GIVEN}: {'; '.join(missing)}"
    yield from (f"Not tried: {text}" for text in plan.not_tried)
    if any(Kind.ENCLOSURE in lever.steps for lever in levers):
        yield "cautions: " + "; ".join(told("caution", name) for name in HEATER_CAUTIONS)


def _made_of(lines: Sequence[CostLine], sign: str) -> str:
    return ", ".join(
        f"{line.what} {money_words(sign, line.total)}"
        + ("" if line.unit == "once" else f" ({line.amount:.1f} {_unit(line, sign)})")
        for line in lines
    )


def _unit(line: CostLine, sign: str) -> str:
    return f"{UNITS[line.unit]} at {money_words(sign, line.price)}"


def _figures(lever: Lever, sign: str) -> tuple[str, ...]:
    chance = "not known" if lever.chance is None else f"{lever.chance:.0%}"
    gain = "-" if lever.chance_gain is None else f"{100 * lever.chance_gain:.0f} points"
    days = "-" if lever.days_gained is None else f"{lever.days_gained:.1f} days"
    price = NOT_GIVEN if lever.cost is None else money_words(sign, lever.cost)
    per_day = lever.cost_per_day_gained
    each = "-" if per_day is None else money_words(sign, per_day)
    saves = money_words(sign, lever.saves) if lever.saved else "-"
    return chance, gain, days, price, each, saves
