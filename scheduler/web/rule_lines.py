"""The rule book as the rules page shows it: each row with what it allows and its source."""

from __future__ import annotations

from functools import cache

from rules.book import all_rows, sources
from scheduler.output.words import words
from scheduler.planning.rulings.asks import allowed

EVERYWHERE = "everywhere"


@cache
def rule_groups() -> list[tuple[str, list[dict[str, object]]]]:
    """Return the rows by the editions that they belong to, those that hold everywhere first."""
    titles = sources()
    groups: dict[str, list[dict[str, object]]] = {}
    for row in all_rows()[0]:
        title = titles[row.source].title if row.source in titles else row.source
        groups.setdefault(", ".join(words(one) for one in row.sets), []).append(
            {
                "id": row.id,
                "says": row.says or words(row.name) or words(row.id),
                "works": ", ".join(words(one) for one in row.work_types),
                "allowed": allowed(row),
                "source": f"{title}, {row.clause}" if row.clause else title,
                "verify": row.verify,
            }
        )
    return sorted(groups.items(), key=lambda group: (group[0] != EVERYWHERE, group[0]))
