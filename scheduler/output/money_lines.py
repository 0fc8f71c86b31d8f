"""Money in words: what it is made of, what each day of delay adds, what is not counted."""

from __future__ import annotations

from scheduler.planning.money.money import Bill
from scheduler.planning.money.plan_money import Money


def money_lines(money: Money | None) -> list[str]:
    """Return the cost of a day of delay and of the rest; a job without prices says so."""
    if money is None:
        return []
    if not money.known:
        return ["Cost of delay: not counted, the job gives no prices (costs: in the job file)"]
    delay, rest = money.day_of_delay, money.rest
    lines = [f"A day of delay costs: {_sum(delay) if delay.lines else 'nothing that is priced'}"]
    lines.append(f"The rest of the job: {_sum(rest)}")
    if rest.not_counted:
        lines.append("Not counted: " + "; ".join(rest.not_counted))
    return lines


def amount(bill: Bill, value: float) -> str:
    """Return an amount with its currency, whole where it is large."""
    return money_words(bill.currency, value)


def money_words(currency: str, value: float) -> str:
    """Return an amount of a currency, whole where it is large."""
    text = f"{abs(value):,.0f}" if abs(value) >= 10 else f"{abs(value):,.2f}"
    sign = "-" if value < 0 else ""
    return f"{sign}{currency}{text}" if len(currency) == 1 else f"{sign}{currency} {text}"


def _sum(bill: Bill) -> str:
    parts = [f"{line.what} {amount(bill, line.total)}" for line in bill.lines if line.total]
    made_of = f" ({', '.join(parts)})" if parts else ""
    return f"{amount(bill, bill.total)}{made_of}"
