"""From what the schema refuses to lines that a builder can act on: where, what, what is right."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pydantic.fields import FieldInfo

from rules.errors import JobFileFault
from rules.words import nearest
from scheduler.jobfile.fields import not_among
from scheduler.jobfile.parts import Part
from scheduler.jobfile.tree import Node, Said
from scheduler.mail_address import PATTERN, WANT

Place = Sequence[str | int]

MISSING: typing.Final = Said("missing")
EMPTY: typing.Final = Said("empty")
BOUNDS: typing.Final = {"greater_than", "greater_than_equal", "less_than", "less_than_equal"}

WANTS: typing.Final = {
    "float_parsing": "give a number",
    "float_type": "give a number",
    "int_parsing": "give a whole number",
    "int_type": "give a whole number",
    "int_from_float": "give a whole number",
    "bool_parsing": "give true or false",
    "bool_type": "give true or false",
    "string_type": "give a text",
    "string_too_short": "give a text that is not empty",
    "string_too_long": "give a shorter text",
    "list_type": "give a list",
    "dict_type": "give keys with values",
    "model_type": "give keys with values",
    "model_attributes_type": "give keys with values",
    "too_short": "give at least one",
    "too_long": "give fewer",
    "finite_number": "give a finite number",
}
PATTERNS: typing.Final = {
    r"^[A-Za-z][A-Za-z0-9_-]{0,39}$": "begin with a letter; letters, digits, _ and -, at most 40",
    PATTERN: WANT,
    r"^\d{4}-\d{2}$": "give a month such as 2026-10",
}


def faults_of(
    errors: Sequence[Mapping[str, object]], root: type[Part], tree: Node, file: str
) -> Iterator[JobFileFault]:
    """Yield a fault for each error of the schema, with the line it stands in."""
    teller = _Teller(root, tree, file)
    # a key that is only misspelt is not told as missing too
    meant = {
        (_place(error)[:-1], name)
        for error in errors
        if error["type"] == "extra_forbidden"
        for name in teller.nearest_keys(_place(error))
    }
    for error in errors:
        loc = _place(error)
        names = str(loc[-1]).split(" or ") if loc else []
        if error["type"] != "missing" or not any((loc[:-1], name) in meant for name in names):
            yield teller.fault(error)


@dataclass(frozen=True, slots=True)
class _Teller:
    """Words the errors of one tree."""

    root: type[Part]
    tree: Node
    file: str

    def fault(self, error: Mapping[str, object]) -> JobFileFault:
        """Return the fault that an error of the schema is for a person."""
        loc, kind, value = _place(error), str(error["type"]), error["input"]
        if kind == "missing":
            there = self.tree.at(loc) is not None
            shown: object = EMPTY if there else MISSING
            return fault_at(
                loc, shown, self._missing(error, loc), self.tree, self.file, on_key=there
            )
        if kind == "extra_forbidden":
            want = self._known(loc)
            return fault_at(loc, Said("an unknown key"), want, self.tree, self.file, on_key=True)
        on_key = kind == "clash" or "[key]" in _loc(error)[-1:] or value is None
        shown = EMPTY if value is None else _short_of(value)
        want = self._want(error, loc)
        return fault_at(loc, shown, want, self.tree, self.file, on_key=on_key)

    def nearest_keys(self, loc: Place) -> list[str]:
        """Return the known keys that a mistaken one may stand for."""
        part = _part(self.root, loc[:-1])
        known, key = list(_keys(part)) if part else [], str(loc[-1])
        without_unit = [name for name in known if name.rpartition("_")[0] == key]
        near = nearest(key, known)
        return without_unit or ([near] if near else [])

    def _known(self, loc: Place) -> str:
        near = self.nearest_keys(loc)
        if near:
            return f"did you mean {' or '.join(near)}?"
        part = _part(self.root, loc[:-1])
        return f"known: {', '.join(_keys(part)) if part else 'none'}"

    def _missing(self, error: Mapping[str, object], loc: Place) -> str:
        field, want = _field(self.root, loc), _clean(str(error["msg"]))
        if field and field.description and want == "Field required":
            return f"give {field.description}"
        return want

    def _want(self, error: Mapping[str, object], loc: Place) -> str:
        kind, message = str(error["type"]), _clean(str(error["msg"]))
        context = error.get("ctx")
        if kind == "string_pattern_mismatch" and isinstance(context, Mapping):
            return PATTERNS.get(str(context.get("pattern")), message)
        if kind == "not_among" and isinstance(context, Mapping):
            return not_among(str(error["input"]), context["known"], context["what"])
        if kind == "literal_error" and isinstance(context, Mapping):
            return _literal(str(context["expected"]), str(error["input"]))
        if kind not in WANTS and kind not in BOUNDS:
            return message
        field, want = _field(self.root, loc), WANTS.get(kind, message)
        return f"{want}: {field.description}" if field and field.description else want


def fault_at(
    loc: Place, value: object, want: str, tree: Node, file: str, *, on_key: bool = False
) -> JobFileFault:
    """Return a fault at a place of the tree; of a key that is not there, where it would stand."""
    line, column = _mark(tree, loc, on_key=on_key)
    place = {"line": line, "column": column} if line else {}
    return JobFileFault(file, name_of(loc, tree), value, want, **place)


def name_of(loc: Place, tree: Node) -> str:
    """Name a place as people do: ``tasks.lay.duration_h``, the id in place of the number."""
    words: list[str] = []
    node: Node | None = tree
    for step in loc:
        node = node.child(step) if node is not None else None
        if isinstance(step, int):
            inside = node.value if node is not None else None
            own = inside.get("id") if isinstance(inside, dict) else None
            words.append(str(own.value) if own and own.value else f"{step + 1}")
        else:
            words.append(step)
    return ".".join(words) or "the file"


def _literal(expected: str, given: str) -> str:
    names = [name.strip(" '") for name in expected.replace(" or ", ", ").split(",")]
    near = nearest(given, names)
    return f"did you mean {near}?" if near else f"give {', '.join(names[:-1])} or {names[-1]}"


def _clean(message: str) -> str:
    return message.removeprefix("Value error, ").replace("Input should be", "give a number")


def _place(error: Mapping[str, object]) -> tuple[str | int, ...]:
    return tuple(step for step in _loc(error) if step != "[key]")


def _loc(error: Mapping[str, object]) -> tuple[str | int, ...]:
    loc = error["loc"]
    return loc if isinstance(loc, tuple) else ()


def _short_of(value: object) -> object:
    if isinstance(value, Mapping):
        return Said("a mapping")
    return Said("a list") if isinstance(value, list) else value


def _mark(tree: Node, loc: Place, *, on_key: bool) -> tuple[int, int]:
    node, mark = tree, (tree.line, tree.column)
    for index, step in enumerate(loc):
        inside = node.child(step)
        if inside is None:
            break
        last = index == len(loc) - 1
        mark = (inside.line, inside.column)
        if last and on_key and isinstance(step, str):
            mark = node.keys.get(step, mark)
        node = inside
    return mark


def _keys(part: type[Part]) -> Iterator[str]:
    for name, field in part.model_fields.items():
        yield field.alias or name


def _field(root: type[Part], loc: Place) -> FieldInfo | None:
    part = _part(root, loc[:-1])
    return _named(part, loc[-1]) if part and loc else None


def _named(part: type[Part], key: str | int) -> FieldInfo | None:
    for name, field in part.model_fields.items():
        if (field.alias or name) == key:
            return field
    return None


def _part(root: type[Part], loc: Place) -> type[Part] | None:
    """Return the class that describes the mapping at a place."""
    part: type[Part] | None = root
    for step in loc:
        if isinstance(step, int):
            continue
        field = _named(part, step) if part else None
        part = _part_in(field.annotation) if field else None
    return part


def _part_in(annotation: object) -> type[Part] | None:
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        return annotation if issubclass(annotation, Part) else None
    for inside in typing.get_args(annotation):
        found = _part_in(inside)
        if found:
            return found
    return None
