"""The schema for people and editors: JOBFILE.md and job.schema.json, both made from ``schema.py``.

``python -m scheduler.jobfile.reference`` writes them anew; a test fails while they are not.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from pydantic.json_schema import GenerateJsonSchema

from scheduler.jobfile.entry_parts import PARTS, EntryPart
from scheduler.jobfile.schema import JobPart

HERE: Final = Path(__file__).parent
SCHEMA: Final = HERE / "job.schema.json"
PAGE: Final = HERE / "JOBFILE.md"
LONG: Final = 13  # names from which on a list of them is written down once
ROOT: Final = "JobPart"
OPENING: Final = """\
# The job file

One YAML file a person writes for one job. It begins with `closein: 1`. Everything that is wrong
with it is told at once, with line and column. For completion and checks in an editor put this
line first:

    # yaml-language-server: $schema=job.schema.json

Days are the site's own; a moment without an offset is the site's local time. A time that the
clock change skips or repeats is refused: write its offset. Keys that end in a unit are in that
unit; give one of them. Where a list is asked for, one alone needs no brackets if it says so.
Anchors, aliases and tags of YAML are not used. Durations are hours of shift: `duration_h`, or a
`quantity` with `per_hour`, or `booked` and `until`; a task that is done may leave them out.

The names of work types, measures, roles and quantities stand in `rules/book/words.toml` and
`rules/book/site_quantities.toml`; a name that is not there is refused with the nearest one.

This page is made from the schema by `python -m scheduler.jobfile.reference`.
"""

LOG_OPENING: Final = """\
# Entries of the log

`closein log JOB --entries FILE` takes a list of entries, JSON or YAML, all of them or none. Each
has a `kind`, and may say `when` it happened (left out: now), `who` says so, and a `note`.
"""

JsonSchema = dict[str, Any]


class _Untitled(GenerateJsonSchema):
    """A JSON Schema without a title for every field."""

    def field_title_should_be_set(self, schema: Any) -> bool:  # pydantic's own type of a schema
        """Say no: the key is title enough."""
        del schema
        return False


def json_schema() -> JsonSchema:
    """Return the JSON Schema of a job file, long lists of names written down once."""
    made = JobPart.model_json_schema(by_alias=True, schema_generator=_Untitled)
    names: JsonSchema = {}
    hoisted = _hoisted(made, names)
    hoisted["$defs"] |= names
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **hoisted}


def schema_text() -> str:
    """Return job.schema.json."""
    return json.dumps(json_schema(), indent=1, ensure_ascii=False) + "\n"


def page_text() -> str:
    """Return JOBFILE.md: a table for each mapping, the whole first, then the log's entries."""
    whole = json_schema()
    lines = [OPENING]
    for name in _in_order_of_use(whole):
        part = whole if name == ROOT else whole["$defs"][name]
        lines += _table(_heading(name), part, part["properties"])
    lines.append(LOG_OPENING)
    shared = set(EntryPart.model_fields) | {"kind"}
    for kind, model in PARTS.items():
        part = _hoisted(model.model_json_schema(by_alias=True, schema_generator=_Untitled), {})
        needed = set(part.get("required", ())) - {"kind"}
        fields = part["properties"].items()
        own = {key: field for key, field in fields if key in needed or key not in shared}
        lines += _table(f"kind: {kind}", part, own)
    return "\n".join(lines).rstrip() + "\n"


def _in_order_of_use(whole: JsonSchema) -> list[str]:
    """Return the names of the mappings, each after the one that first holds it."""
    order = [ROOT]
    for name in order:
        part = whole["properties"] if name == ROOT else whole["$defs"][name]
        named = re.findall(r"#/\$defs/(\w+Part)", json.dumps(part))
        order += [new for new in dict.fromkeys(named) if new not in order]
    return order


def _table(heading: str, part: Mapping[str, Any], fields: Mapping[str, Any]) -> list[str]:
    head = [f"## {heading}", "", str(part["description"]), ""]
    if not fields:
        return head
    rows = _rows(fields, part.get("required", ()), part.get("allOf", ()))
    return [*head, "| key | | what | how |", "| --- | --- | --- | --- |", *rows, ""]


def _hoisted(value: Any, names: JsonSchema) -> Any:
    if isinstance(value, list):
        return [_hoisted(item, names) for item in value]
    if not isinstance(value, dict):
        return value
    if len(value.get("enum", ())) >= LONG:
        name = str(value["title"]).replace(" ", "_")
        names[name] = {"type": "string", "enum": value["enum"]}
        reference = {"$ref": f"#/$defs/{name}"}
        return reference | {k: value[k] for k in ("description", "default") if k in value}
    made = {key: _hoisted(item, names) for key, item in value.items()}
    made.pop("title", None) if isinstance(made.get("title"), str) else None
    return made | ({"additionalProperties": False} if "patternProperties" in made else {})


def _rows(
    fields: Mapping[str, Any], required: Sequence[str], rules: Sequence[Mapping[str, Any]]
) -> Iterator[str]:
    """Yield a row for each key; keys of which one is given share a row."""
    one_of = [[option["required"][0] for option in r["oneOf"]] for r in rules if "oneOf" in r]
    beside: dict[str, list[str]] = {key: group for group in one_of for key in group}
    for rule in rules:
        first, *others = rule.get("not", {}).get("required", ("",))
        beside.setdefault(first, [first])
        beside[first] += [key for key in others if key not in beside[first]]
    told: set[str] = set()
    for key, field in fields.items():
        if key in told:
            continue
        keys = [k for k in beside.get(key, [key]) if k == key or _same_but_unit(k, key)]
        told.update(keys)
        must = "must" if key in required or any(key in group for group in one_of) else ""
        names = ", ".join(f"`{name}`" for name in keys)
        yield f"| {names} | {must} | {field.get('description', '')} | {_how(field)} |"


def _same_but_unit(key: str, other: str) -> bool:
    return "_" in key and key.rpartition("_")[0] == other.rpartition("_")[0]


def _how(field: Mapping[str, Any]) -> str:
    """Say in words what a value looks like."""
    options = [o for o in field.get("anyOf", ()) if o.get("type") != "null"]
    default = field.get("default")
    said = f"; else `{json.dumps(default)}`" if default not in (None, [], {}, "-") else ""
    if len(options) > 1 and options[0].get("items") == options[1]:
        return f"{_how(options[0])}, or one alone{said}"
    if len(options) > 1:
        return " or ".join(_how(option) for option in options) + said
    one = {**field, **options[0]} if options else field
    return _kind(one) + said


def _kind(one: Mapping[str, Any]) -> str:
    if "$ref" in one:
        name = str(one["$ref"]).rpartition("/")[2]
        return f"[{_heading(name)}](#{_heading(name)})" if name.endswith("Part") else f"a {name}"
    if "enum" in one or "const" in one:
        return ", ".join(f"`{word}`" for word in one.get("enum", [one.get("const")]))
    if "examples" in one:
        return " or ".join(f"`{example}`" for example in one["examples"])
    if one.get("type") == "array":
        return f"list of {_how(one['items'])}"
    if "patternProperties" in one:
        (value,) = one["patternProperties"].values()
        return f"`{one['propertyNames']['examples'][0]}: {value['examples'][0]}`"
    return {"number": "number", "integer": "whole number", "boolean": "true or false"}.get(
        str(one.get("type")), "text"
    ) + _bounds(one)


def _bounds(one: Mapping[str, Any]) -> str:
    words = {"minimum": "from", "exclusiveMinimum": "above", "maximum": "to"}
    told = [f"{word} {one[key]:g}" for key, word in words.items() if key in one]
    return f" {' '.join(told)}" if told else ""


def _heading(name: str) -> str:
    plain = name.removesuffix("Part")
    return "".join(f"-{c.lower()}" if c.isupper() else c for c in plain).lstrip("-")


if __name__ == "__main__":
    SCHEMA.write_text(schema_text(), encoding="utf-8")
    PAGE.write_text(page_text(), encoding="utf-8")
