"""Which work must come before which, where the book says so and nothing suspends it."""

from __future__ import annotations

from rules.book import Book
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import OrderLine
from scheduler.planning.rulings.conditions import by_hour


def orders_of(trial: Trial, book: Book) -> tuple[OrderLine, ...]:
    """Return the order rows that bind a task's kind of work now."""
    work = trial.task.work_type
    found = []
    for order in book.orders:
        if work not in {order.before, order.after}:
            continue
        if by_hour(order.when, trial, trial.span, met=True) is False:
            continue
        if order.unless and by_hour(order.unless, trial, trial.span, met=False) is True:
            continue
        found.append(OrderLine(order.before, order.after))
    return tuple(found)
