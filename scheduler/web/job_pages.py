"""The pages of one job, made of what is kept; a request plans nothing."""

from __future__ import annotations

import logging
import secrets
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, Final

from markupsafe import Markup
from starlette.responses import Response

from rules.errors import StoreFault
from rules.words import words
from scheduler.output.words import words as plain
from scheduler.service.photos import MEDIA_TYPE, SHOWN, made_small
from scheduler.web import answers
from scheduler.web.asking import Asked
from scheduler.web.rule_lines import rule_groups
from scheduler.web.shown import Newest, Shown
from scheduler.web.site import Site

LOG: Final = logging.getLogger("closein.pages")
KEY_BYTES: Final = 18
MOST_BODIES: Final = 512  # that stay in memory
NAV: Final[tuple[tuple[str, str], ...]] = (
    ("", "Today"), ("week", "Week"), ("plan", "Plan"), ("walls", "Walls"),
    ("close-in", "Close-in"), ("log", "Log"), ("tomorrow", "Tomorrow"), ("rules", "Rules"),
)  # fmt: skip
READINGS: Final = (
    ("masonry_temperature", "masonry or grout"),
    ("concrete_temperature", "concrete"),
    ("air_temperature", "air"),
)
CELL_WORDS: Final = (
    ("g", "go"), ("p", "with protection"), ("w", "wait"), ("n", "no-go"), ("u", "not known"),
)  # fmt: skip
Page = Callable[["JobPages", Asked, Shown], Response]


class JobPages:
    """Answers for the pages under a job's root."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.newest = Newest(site.store)
        self._bodies: dict[tuple[str, str], tuple[tuple[int, tuple[bool, ...]], Markup]] = {}
        self._seen: set[tuple[str, int, str]] = set()

    def get(self, asked: Asked, name: str) -> Response:
        """Return a page by its name; a job without a morning yet says so."""
        if name not in PAGES:
            return self._picture(asked, name)
        shown = self.shown(asked)
        if shown is None:
            return self.none(asked)
        return PAGES[name](self, asked, shown)

    def none(self, asked: Asked) -> Response:
        """Say why there are no pages of the job yet."""
        return answers.cannot(self.site.why_none(asked.visitor.job), root=asked.root)

    def shown(self, asked: Asked) -> Shown | None:
        """Return what is kept of the job that is asked about."""
        return self.newest.shown(asked.visitor.job, self.site.clock())

    def log(
        self,
        asked: Asked,
        shown: Shown,
        *,
        said: tuple[str, ...] = (),
        wrong: tuple[str, ...] = (),
        given: Mapping[str, str] = MappingProxyType({}),
        status: int = 200,
    ) -> Response:
        """Return the log page; what was written, or what was wrong, stands on top.

        ``given`` is a form that was refused; it comes back filled in.
        """
        unit = "degF" if shown.parts["units"] == "us" else "degC"
        told = {
            "said": said,
            "wrong": wrong,
            "was": lambda what, name: given.get(name, "") if given.get("what") == what else "",
            "unit": unit,
            "sign": "°F" if unit == "degF" else "°C",
            "readings": READINGS,
            "causes": [(key, plain(key)) for key in words().causes],
            "key": lambda: secrets.token_urlsafe(KEY_BYTES),
            "photos": {photo.identity for photo in self.site.store.photos(asked.visitor.job)},
            "holds": [hold for hold in shown.parts["holds"] if hold[2] in asked.visitor.releases],
        }
        told |= {
            "csrf": asked.form,
            "who": asked.visitor.who,
            "tasks": shown.parts["tasks"],
            "entries": shown.parts["entries"],
        }
        return self.framed("Log", "log", asked, shown, answers.body("log", told), status=status)

    def photo(self, asked: Asked, identity: str, *, whole: bool) -> Response:
        """Return a picture of the job's log, as it is kept or small."""
        kept = {photo.identity: photo for photo in self.site.store.photos(asked.visitor.job)}
        if identity not in kept:
            return answers.nothing()
        content = self.site.store.photo_bytes(identity)
        if whole:
            return answers.raw(content, kept[identity].media_type, keeps=True)
        return answers.raw(made_small(content, SHOWN), MEDIA_TYPE, keeps=True)

    def today(self, asked: Asked, shown: Shown) -> Response:
        """Return the calls, and write down who has opened them."""
        self._saw(asked, shown)
        rows = shown.rows()
        state = (shown.is_old, *(bool(row["was"]) for row in rows))
        told = {**shown.parts["today"], "rows": rows, "subject": shown.subject()}
        told["texts"] = [] if shown.is_old else shown.parts["texts"]
        return self.framed("Today", "", asked, shown, self._body("today", shown, told, state))

    def week(self, asked: Asked, shown: Shown) -> Response:
        """Return the coming days of each task, hour by hour."""
        told = {"tasks": shown.parts["week"], "words": CELL_WORDS, "is_old": shown.is_old}
        inside = self._body("week", shown, told, (shown.is_old,))
        return self.framed("Week", "week", asked, shown, inside)

    def plan(self, asked: Asked, shown: Shown) -> Response:
        """Return the plan, and what the last entries moved."""
        told = {
            "rows": shown.parts["plan"],
            "lines": shown.parts["plan_lines"],
            "moved": shown.parts["moved"],
            "has_bars": bool(shown.parts["pictures"]["bars.svg"]),
        }
        return self.framed("Plan", "plan", asked, shown, self._body("plan", shown, told))

    def walls(self, asked: Asked, shown: Shown) -> Response:
        """Return fresh work: temperature, strength, and what was read."""
        told = {"walls": shown.parts["walls"], "readings": shown.parts["readings"]}
        return self.framed("Walls", "walls", asked, shown, self._body("walls", shown, told))

    def close_in(self, asked: Asked, shown: Shown) -> Response:
        """Return the risk against the date, and what would buy days."""
        told = {
            "lines": shown.parts["plan_lines"],
            "levers": shown.parts["levers"],
            "notes": shown.parts["lever_notes"],
            "has_risk": bool(shown.parts["pictures"]["risk.svg"]),
        }
        inside = self._body("close_in", shown, told)
        return self.framed("Close-in", "close-in", asked, shown, inside)

    def write(self, asked: Asked, shown: Shown) -> Response:
        """Return the log page to who may write on it."""
        visitor = asked.visitor
        if not (visitor.may_log or visitor.releases):
            return answers.nothing()
        return self.log(asked, shown)

    def tomorrow(self, asked: Asked, shown: Shown) -> Response:
        """Return the next day's sheet; an old one is not handed out."""
        if shown.is_old:
            return answers.cannot([shown.age], root=asked.root, title="Tomorrow")
        return answers.sheet(str(shown.parts["tomorrow"]))

    def rules(self, asked: Asked, shown: Shown) -> Response:
        """Return the rule book with its sources."""
        inside = self._body("rules", shown, {"groups": rule_groups()})
        return self.framed("Rules", "rules", asked, shown, inside)

    def framed(
        self,
        title: str,
        here: str,
        asked: Asked,
        shown: Shown,
        inside: Markup,
        *,
        status: int = 200,
    ) -> Response:
        """Return a page in the frame that all pages of a job share."""
        visitor = asked.visitor
        may_write = visitor.may_log or bool(visitor.releases)
        nav = [one for one in NAV if one[0] != "log" or may_write]
        frame = {
            "title": title,
            "id": visitor.job,
            "answer": shown.number,
            "job": shown.parts["name"],
            "here": here,
            "nav": [*nav, ("people", "People")] if visitor.is_owner else nav,
            "root": asked.root,
            "age": shown.age,
            "is_old": shown.is_old,
            "zone": shown.parts["time_zone"],
            "made": shown.made.isoformat(),
            "good_until": shown.good_until.isoformat(),
            "alarms": self.site.alarms(visitor.job) if visitor.may_log else (),
            "behind": self.site.behind(visitor.job, shown.position),
            "csrf": asked.form,
            "who": visitor.who,
            "signed_in": asked.account is not None,
            "body": inside,
        }
        return answers.page("frame", frame, status=status)

    def _body(
        self, name: str, shown: Shown, told: Mapping[str, Any], state: tuple[bool, ...] = ()
    ) -> Markup:
        """Return what is the same for every reader, made once for each answer and state."""
        job = str(shown.parts["job"])
        kept = self._bodies.get((job, name))
        if kept is None or kept[0] != (shown.number, state):
            kept = ((shown.number, state), answers.body(name, told))
            if len(self._bodies) >= MOST_BODIES:
                self._bodies.clear()
            self._bodies[job, name] = kept
        return kept[1]

    def _picture(self, asked: Asked, name: str) -> Response:
        shown = self.shown(asked)
        drawn = "" if shown is None else shown.parts["pictures"].get(name, "")
        if not drawn:
            return answers.nothing()
        return answers.raw(str(drawn).encode(), "image/svg+xml")

    def _saw(self, asked: Asked, shown: Shown) -> None:
        """Write down who opened an answer, once; a store that cannot be written stops no page."""
        key = (asked.visitor.job, shown.number, asked.visitor.who)
        if key in self._seen:
            return
        try:
            self.site.store.people.saw(*key, now=shown.now)
        except StoreFault as fault:
            LOG.warning("who opened an answer was not kept", extra={"told": str(fault)})
            return
        self._seen.add(key)


PAGES: Final[Mapping[str, Page]] = {
    "": JobPages.today,
    "week": JobPages.week,
    "plan": JobPages.plan,
    "walls": JobPages.walls,
    "close-in": JobPages.close_in,
    "log": JobPages.write,
    "tomorrow": JobPages.tomorrow,
    "rules": JobPages.rules,
}
