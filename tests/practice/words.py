"""Which words of a case stand in the vocabulary. A word outside it fails the case."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

CASE_KEYS = {
    "id", "title", "stage", "severity", "situation", "place", "asked", "inputs", "expect", "why",
    "cost_if_wrong", "basis",
}  # fmt: skip
PLACE_KEYS = {"name", "latitude", "longitude", "elevation_ft", "time_zone", "setting"}
ASKED_KEYS = {"at", "by", "device"}
EXPECT_KEYS = {"call", "task", "answer", "must", "must_not", "numbers", "by"}
NUMBER_SLOTS = {
    "quantity", "taken_as", "window", "at", "place", "task", "what_if", "value", "unit",
    "tolerance", "tolerance_h", "window_tolerance_h", "says",
}  # fmt: skip
SLOTS = {
    "call": {"call"},
    "measure": {"measure", "from", "until", "until_at_least"},
    "check": {"check"},
    "limit": {"quantity", "taken_as", "outcome", "place", "what_if", "value", "unit", "tolerance"},
    "hold": {"by"},
    "tell": {"whom", "by"},
    "decide_by": {"at"},
    "next_window": {"starts_after", "starts_before"},
    "caution": {"caution"},
    "order": {"before", "after"},
    "option": {"start", "outcome", "because", "measure"},
    "day": {"date", "counted"},
    "number": NUMBER_SLOTS,
    "other": set(),
}
SLOTS_OF_EVERY_KIND = {"kind", "says", "task", "tolerance_h"}
SLOT_WORDS = {
    "call": "calls", "measure": "measures", "check": "checks", "caution": "cautions",
    "quantity": "quantities", "because": "quantities", "taken_as": "taken_as", "unit": "units",
    "outcome": "outcomes", "whom": "roles", "before": "work_types", "after": "work_types",
}  # fmt: skip


def unknown_words(case: Mapping[str, Any], vocabulary: Mapping[str, Any]) -> list[str]:
    """Return what a case says that the vocabulary does not have, each with where it stands."""
    book = _Words(vocabulary)
    found = [*book.keys("case", case, CASE_KEYS)]
    found += book.keys("place", case.get("place"), PLACE_KEYS)
    found += book.keys("asked", case.get("asked"), ASKED_KEYS)
    found += book.inputs(case.get("inputs"))
    found += book.expect(case.get("expect"))
    return found


def _listed(value: object) -> list[Any]:
    if value is None:
        return []
    return list(value) if isinstance(value, list | tuple) else [value]


class _Words:
    """The vocabulary with the questions a case is asked against it."""

    def __init__(self, vocabulary: Mapping[str, Any]) -> None:
        self.v = vocabulary
        # A unit in parentheses may stand wherever the unit before it may.
        self.other_units = {
            unit.strip()
            for text in vocabulary["units"].values()
            for told in re.findall(r"\(([^)]*)\)", str(text))
            for unit in told.split(",")
        }

    def keys(self, where: str, value: object, known: Iterable[str]) -> Iterator[str]:
        if not isinstance(value, Mapping):
            yield f"{where} is not a set of keys"
            return
        allowed = set(known)
        yield from (f"{where}: key {key!r}" for key in value if key not in allowed)

    def word(self, where: str, value: object, group: str) -> Iterator[str]:
        known = {*self.v[group], *self.other_units} if group == "units" else self.v[group]
        for item in _listed(value):
            if not isinstance(item, str) or item not in known:
                yield f"{where}: {item!r} is none of {group}"

    def inputs(self, inputs: object) -> Iterator[str]:
        yield from self.keys("inputs", inputs, self.v["input_keys"])
        if not isinstance(inputs, Mapping):
            return
        for key, value in inputs.items():
            judge = getattr(self, f"_{key}", None)
            if judge is not None:
                yield from judge(value)

    def _forecast(self, value: object) -> Iterator[str]:
        known = [*self.v["forecast_keys"], *self.v["forecast_columns"]]
        yield from self.keys("forecast", value, known)
        for period in _listed(value.get("periods") if isinstance(value, Mapping) else None):
            yield from self.keys("periods", period, self.v["period_keys"])

    def _forecasts(self, value: object) -> Iterator[str]:
        for forecast in _listed(value):
            yield from self._forecast(forecast)

    def _daily(self, value: object) -> Iterator[str]:
        yield from self._rows("daily", value, "daily_columns")

    def _rows(self, where: str, value: object, group: str) -> Iterator[str]:
        for row in _listed(value):
            yield from self.keys(where, row, self.v[group])
            if not isinstance(row, Mapping):
                continue
            for slot in ("quantity", "unit", "taken_as"):
                yield from self.word(f"{where}.{slot}", row.get(slot), SLOT_WORDS[slot])

    def _observed(self, value: object) -> Iterator[str]:
        known = [*self.v["observed_keys"], *self.v["forecast_columns"]]
        yield from self.keys("observed", value, known)
        if isinstance(value, Mapping):
            yield from self._rows("observed.days", value.get("days"), "daily_columns")

    def _readings(self, value: object) -> Iterator[str]:
        yield from self._rows("readings", value, "reading_keys")

    def _state(self, value: object) -> Iterator[str]:
        yield from self._rows("state", value, "fact_keys")
        for fact in _listed(value):
            if not isinstance(fact, Mapping):
                continue
            element, condition = fact.get("element"), fact.get("condition")
            known = self.v["state_elements"].get(element)
            if known is None or condition not in known:
                yield f"state: {element!r} {condition!r}"
            yield from self._state_word(element, condition, fact.get("value"))

    def _state_word(self, element: object, condition: object, value: object) -> Iterator[str]:
        words = self.v["state_words"]
        known = words.get(f"{element}.{condition}", words.get(condition))
        if known is not None and value not in known:
            yield f"state: {element} {condition} {value!r}"

    def _on_hand(self, value: object) -> Iterator[str]:
        yield from self.word("on_hand", value, "measures")

    def _documents(self, value: object) -> Iterator[str]:
        for document in _listed(value):
            yield from self.keys("documents", document, self.v["document_keys"])
            if not isinstance(document, Mapping):
                continue
            yield from self.word("documents.kind", document.get("kind"), "document_kinds")
            yield from self.word("documents.role", document.get("role"), "roles")
            yield from self.word("supplier_of", document.get("supplier_of"), "supplied")
            for alternative in [document, *_listed(document.get("any_of"))]:
                yield from self._alternative(alternative)

    def _alternative(self, value: object) -> Iterator[str]:
        if not isinstance(value, Mapping):
            yield f"documents: {value!r} is not an alternative"
            return
        yield from self.word("documents.with", value.get("with"), "measures")
        yield from self._rows("criteria", value.get("criteria"), "criterion_keys")

    def _tasks(self, value: object) -> Iterator[str]:
        for task in _listed(value):
            yield from self.keys("tasks", task, self.v["task_keys"])
            if not isinstance(task, Mapping):
                continue
            yield from self.word("tasks.work_type", task.get("work_type"), "work_types")
            if task.get("beside") is not None:
                yield from self.word("tasks.beside", task.get("beside"), "state_elements")
            for load in _listed(task.get("load")):
                if load not in self.v["state_words"]["load"]:
                    yield f"tasks.load: {load!r}"

    def _ensemble(self, value: object) -> Iterator[str]:
        yield from self._rows("ensemble", value, "ensemble_keys")

    def _climate(self, value: object) -> Iterator[str]:
        yield from self._rows("climate", value, "climate_keys")

    def _forecast_check(self, value: object) -> Iterator[str]:
        yield from self._rows("forecast_check", value, "forecast_check_keys")

    def _source_status(self, value: object) -> Iterator[str]:
        yield from self._rows("source_status", value, "source_status_keys")
        for row in _listed(value):
            if isinstance(row, Mapping):
                yield from self.word("source_status", row.get("status"), "source_statuses")

    def _alerts(self, value: object) -> Iterator[str]:
        yield from self._rows("alerts", value, "alert_keys")

    def _daylight(self, value: object) -> Iterator[str]:
        yield from self._rows("daylight", value, "daylight_keys")

    def _what_if(self, value: object) -> Iterator[str]:
        yield from self._rows("what_if", value, "what_if_keys")
        for row in _listed(value):
            if isinstance(row, Mapping):
                yield from self.word("what_if.measure", row.get("measure"), "measures")

    def _day_record(self, value: object) -> Iterator[str]:
        yield from self._rows("day_record", value, "day_record_columns")
        for row in _listed(value):
            if isinstance(row, Mapping) and row.get("cause") is not None:
                yield from self.word("day_record.cause", row.get("cause"), "day_causes")

    def expect(self, expect: object) -> Iterator[str]:
        yield from self.keys("expect", expect, EXPECT_KEYS)
        if not isinstance(expect, Mapping):
            return
        yield from self.word("expect.call", expect.get("call"), "calls")
        for which in ("must", "must_not"):
            for statement in _listed(expect.get(which)):
                yield from self._statement(which, statement)
        for number in _listed(expect.get("numbers")):
            yield from self.keys("numbers", number, NUMBER_SLOTS)
            yield from self._slots("numbers", number)

    def _statement(self, which: str, statement: object) -> Iterator[str]:
        kind = statement.get("kind") if isinstance(statement, Mapping) else None
        if kind not in self.v["statement_kinds"] or kind not in SLOTS:
            yield f"{which}: kind {kind!r}"
            return
        if kind == "other":
            return
        yield from self.keys(f"{which} {kind}", statement, SLOTS[kind] | SLOTS_OF_EVERY_KIND)
        yield from self._slots(f"{which} {kind}", statement)
        if kind == "hold":
            yield from self.word(f"{which} hold", statement.get("by"), "roles")  # type: ignore[union-attr]

    def _slots(self, where: str, statement: object) -> Iterator[str]:
        if not isinstance(statement, Mapping):
            return
        for slot, group in SLOT_WORDS.items():
            if slot in statement:
                yield from self.word(f"{where}.{slot}", statement[slot], group)
