"""Hold an answer against what a case expects: calls, statements, numbers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from rules.errors import OutOfRange
from rules.units import convert
from tests.practice.reading import hours, is_day, moment

MOST_NUMBERS = 40
MOST_LINES = 15
TOLERANCE_H = 0.5
WINDOW_TOLERANCE_H = 1.0
GOES = ("go", "go_with_protection")
SAME = ("insulating_blankets", "insulating_blankets_on_concrete")
ENTRIES = {
    "measure": "measures", "check": "checks", "limit": "limits", "hold": "holds", "tell": "tell",
    "decide_by": "decide_by", "caution": "cautions", "order": "order", "option": "options",
    "day": "days", "number": "numbers",
}  # fmt: skip
Entry = Mapping[str, Any]


@dataclass(frozen=True)
class Judgement:
    """What a case came to: its misses, and how many statements nobody judges."""

    misses: tuple[str, ...]
    unjudged: tuple[str, ...]


def judge(expect: Entry, answer: Entry, zone: ZoneInfo) -> Judgement:
    """Hold one answer against the expectation of its case."""
    court = _Court(expect, answer, zone)
    return Judgement(tuple(court.misses()), tuple(court.unjudged()))


def _goes_later(asked: Entry, expect: Entry) -> bool:
    """Tell whether a wait until the very slot stands for its go: it lies past the coming shift."""
    judged, following = asked.get("window"), asked.get("next_window")
    return (
        expect["call"] in GOES
        and asked.get("call") == "wait"
        and asked.get("outcome") == expect["call"]
        and bool(judged and following and judged["from"] == following["from"])
    )


def _listed(value: object) -> list[Any]:
    if value is None:
        return []
    return list(value) if isinstance(value, list | tuple) else [value]


def _shown(statement: Entry) -> str:
    slots = (f"{k}={v}" for k, v in statement.items() if k not in {"kind", "says"})
    return " ".join(slots)


class _Court:
    def __init__(self, expect: Entry, answer: Entry, zone: ZoneInfo) -> None:
        self.expect, self.zone = expect, zone
        self.tasks: list[Entry] = _listed(answer.get("tasks"))
        self.named = {task.get("task"): task for task in self.tasks}

    def misses(self) -> Iterator[str]:
        asked = self.named.get(self.expect["task"])
        if asked is None:
            yield f"call: no answer for task {self.expect['task']}"
            return
        if asked.get("call") != self.expect["call"] and not _goes_later(asked, self.expect):
            yield f"call {self.expect['call']}: answered {asked.get('call')}"
        for statement in _listed(self.expect.get("must")):
            if statement["kind"] != "other" and not self._met(statement, everywhere=True):
                yield self._miss("must", statement)
        for statement in _listed(self.expect.get("must_not")):
            if statement["kind"] != "other" and self._met(statement, everywhere=False):
                yield self._miss("must_not", statement)
        for number in _listed(self.expect.get("numbers")):
            statement = {"kind": "number", **number}
            if not self._met(statement, everywhere=True):
                yield self._miss("number", statement)
        yield from self._guesses()

    def unjudged(self) -> Iterator[str]:
        for which in ("must", "must_not"):
            for statement in _listed(self.expect.get(which)):
                if statement["kind"] == "other":
                    yield f"{which}: {statement.get('says', '')}"

    def _miss(self, which: str, statement: Entry) -> str:
        near = self._nearest(statement)
        return f"{which} {statement['kind']} {_shown(statement)} | nearest {near or 'none'}"

    def _searched(self, statement: Entry, *, everywhere: bool) -> list[Entry]:
        if "task" in statement:
            return [self.named[statement["task"]]] if statement["task"] in self.named else []
        return self.tasks if everywhere else [self.named[self.expect["task"]]]

    def _met(self, statement: Entry, *, everywhere: bool) -> bool:
        return any(
            self._fits(statement, entry)
            for task in self._searched(statement, everywhere=everywhere)
            for entry in self._entries(statement["kind"], task)
        )

    def _entries(self, kind: str, task: Entry) -> list[Entry]:
        if kind == "call":
            return [{"call": task.get("call")}]
        if kind == "next_window":
            return [task["next_window"]] if task.get("next_window") else []
        return _listed(task.get(ENTRIES[kind]))

    def _nearest(self, statement: Entry) -> str:
        kind = statement["kind"]
        pool = [e for t in self._searched(statement, everywhere=True)
                for e in self._entries(kind, t)]  # fmt: skip
        keys = ("quantity", "measure", "check", "whom", "by", "caution", "start", "date", "before")
        same = [e for e in pool if any(_among(e.get(k), statement.get(k)) for k in keys
                                       if k in statement and k in e)]  # fmt: skip
        return "; ".join(_short(e) for e in (same or pool)[:3])

    # each kind of statement against one entry

    def _fits(self, statement: Entry, entry: Entry) -> bool:
        fits = getattr(self, f"_fits_{statement['kind']}")
        return bool(fits(statement, entry))

    def _fits_call(self, s: Entry, e: Entry) -> bool:
        return _among(e.get("call"), s["call"])

    def _fits_measure(self, s: Entry, e: Entry) -> bool:
        return (
            ("measure" not in s or _among_measures(e.get("measure"), s["measure"]))
            and self._no_later(e.get("from"), s, "from")
            and self._same(e.get("until"), s, "until")
            and self._no_earlier(e.get("until"), s, "until_at_least")
        )

    def _fits_check(self, s: Entry, e: Entry) -> bool:
        return _among(e.get("check"), s["check"])

    def _fits_caution(self, s: Entry, e: Entry) -> bool:
        return _among(e.get("caution"), s["caution"])

    def _fits_limit(self, s: Entry, e: Entry) -> bool:
        words = ("quantity", "taken_as", "outcome", "place", "what_if")
        return all(_among(e.get(w), s[w]) for w in words if w in s) and (
            "value" not in s or self._same_value(s, e)
        )

    def _fits_hold(self, s: Entry, e: Entry) -> bool:
        return _among(e.get("by"), s["by"])

    def _fits_tell(self, s: Entry, e: Entry) -> bool:
        return ("whom" not in s or _among(e.get("whom"), s["whom"])) and self._no_later(
            e.get("by"), s, "by"
        )

    def _fits_decide_by(self, s: Entry, e: Entry) -> bool:
        return self._same(e.get("at"), s, "at")

    def _fits_next_window(self, s: Entry, e: Entry) -> bool:
        return self._no_earlier(e.get("from"), s, "starts_after") and self._no_later(
            e.get("from"), s, "starts_before"
        )

    def _fits_order(self, s: Entry, e: Entry) -> bool:
        return all(_among(e.get(slot), s[slot]) for slot in ("before", "after") if slot in s)

    def _fits_option(self, s: Entry, e: Entry) -> bool:
        limits = _listed(e.get("limits"))
        blamed = {x.get("quantity") for x in limits if x.get("outcome") != "go"}
        used = [m.get("measure") for m in _listed(e.get("measures"))]
        return (
            ("start" not in s or self._same_start(e.get("start"), s))
            and ("outcome" not in s or _among(e.get("outcome"), s["outcome"]))
            and ("because" not in s or bool(blamed & set(_listed(s["because"]))))
            and ("measure" not in s or any(_among_measures(m, s["measure"]) for m in used))
        )

    def _fits_day(self, s: Entry, e: Entry) -> bool:
        same_day = "date" not in s or self._day(e.get("date")) == self._day(s["date"])
        return same_day and ("counted" not in s or e.get("counted") is s["counted"])

    def _fits_number(self, s: Entry, e: Entry) -> bool:
        words = ("quantity", "taken_as", "place", "what_if")
        return (
            all(_among(e.get(w), s[w]) for w in words if w in s)
            and ("at" not in s or self._near(e.get("at"), s["at"], TOLERANCE_H))
            and ("window" not in s or self._same_window(e.get("window"), s))
            and ("value" not in s or self._same_value(s, e))
        )

    # moments

    def _tolerance_h(self, s: Entry) -> float:
        return float(s.get("tolerance_h", TOLERANCE_H))

    def _near(self, given: object, wanted: object, tolerance_h: float) -> bool:
        if given is None or wanted is None:
            return False
        apart = abs(moment(given, self.zone) - moment(wanted, self.zone))
        return apart <= hours(tolerance_h) + timedelta(seconds=1)

    def _same(self, given: object, s: Entry, slot: str) -> bool:
        return slot not in s or self._near(given, s[slot], self._tolerance_h(s))

    def _no_later(self, given: object, s: Entry, slot: str) -> bool:
        if slot not in s:
            return True
        latest = moment(s[slot], self.zone) + hours(self._tolerance_h(s))
        return given is not None and moment(given, self.zone) <= latest + timedelta(seconds=1)

    def _no_earlier(self, given: object, s: Entry, slot: str) -> bool:
        if slot not in s:
            return True
        soonest = moment(s[slot], self.zone) - hours(self._tolerance_h(s))
        return given is not None and moment(given, self.zone) >= soonest - timedelta(seconds=1)

    def _day(self, value: object) -> date | None:
        if value is None:
            return None
        if is_day(value):
            return date.fromisoformat(str(value))
        return moment(value, self.zone).astimezone(self.zone).date()

    def _same_start(self, given: object, s: Entry) -> bool:
        wanted = _listed(s["start"])
        return any(
            self._day(given) == self._day(w)
            if is_day(w)
            else self._near(given, w, self._tolerance_h(s))
            for w in wanted
        )

    def _same_window(self, given: object, s: Entry) -> bool:
        if not isinstance(given, Mapping):
            return False
        tolerance = float(s.get("window_tolerance_h", WINDOW_TOLERANCE_H))
        return all(
            self._near(given.get(end), s["window"][end], tolerance)
            for end in ("from", "until")
            if end in s["window"]
        )

    # values

    def _same_value(self, s: Entry, e: Entry) -> bool:
        wanted, given, unit = s["value"], e.get("value"), s.get("unit", e.get("unit"))
        if given is None:
            return False
        if unit == "time":
            return self._near(given, wanted, self._tolerance_h(s))
        if unit == "date":
            return self._day(given) == self._day(wanted)
        if isinstance(wanted, bool) or isinstance(given, bool):
            return wanted is given
        value = _converted(given, e.get("unit"), unit)
        return (
            value is not None
            and abs(value - float(wanted)) <= float(s.get("tolerance", 0.0)) + 0.01
        )

    def _guesses(self) -> Iterator[str]:
        numbers = [(t.get("task"), n) for t in self.tasks for n in _listed(t.get("numbers"))]
        if len(numbers) > MOST_NUMBERS:
            yield f"guessing: {len(numbers)} numbers, at most {MOST_NUMBERS}"
        yield from _contradictions(numbers)
        for task in self.tasks:
            for kind in ("measures", "checks", "cautions"):
                count = len(_listed(task.get(kind)))
                if count > MOST_LINES:
                    yield f"guessing: {count} {kind} for {task.get('task')}, at most {MOST_LINES}"


def _contradictions(numbers: Iterable[tuple[object, Entry]]) -> Iterator[str]:
    seen: dict[tuple[object, ...], object] = {}
    for task, number in numbers:
        window = number.get("window") or {}
        key = (
            task, number.get("quantity"), number.get("taken_as"), window.get("from"),
            window.get("until"), number.get("at"), number.get("place") or "",
            number.get("what_if") or "",
        )  # fmt: skip
        value = number.get("value")
        if key in seen and seen[key] != value:
            yield f"contradiction: {key} is {seen[key]} and {value}"
        seen.setdefault(key, value)


def _among(value: object, wanted: object) -> bool:
    return value in _listed(wanted)


def _among_measures(value: object, wanted: object) -> bool:
    asked = set(_listed(wanted))
    return value in asked or (value in SAME and bool(asked & set(SAME)))


def _converted(value: object, unit: object, to: object) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]
        return number if unit == to else float(convert(number, str(unit), str(to)))
    except (TypeError, ValueError, OutOfRange):
        return None


def _short(entry: Entry) -> str:
    shown = {k: v for k, v in entry.items() if v not in (None, "", [], False)}
    text = " ".join(f"{k}={v}" for k, v in shown.items() if k not in {"text", "source", "clause"})
    return text if len(text) < 200 else f"{text[:200]}…"
