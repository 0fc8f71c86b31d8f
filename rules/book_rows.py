"""The schema of the rule book's rows; ``rules/book.py`` says what their words mean."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from rules.moments import Moment, moment
from rules.quantities import is_fact, weather_columns
from rules.verdict import KEYS, Verdict

# To the end of a shift, after a look before dawn; common practice, no source.
LOOK_AGAIN_H: Final = 12.0

TakenAs = Literal["value", "min", "max", "mean", "midpoint", "sum", "duration", "count"]


def _outcome(word: object) -> Verdict:
    if isinstance(word, Verdict):
        return word
    for verdict, key in KEYS.items():
        if key == word:
            return verdict
    raise ValueError(f"{word!r} is no outcome; use one of {', '.join(KEYS.values())}")


def _many(value: object) -> object:
    return (value,) if isinstance(value, (str, bool)) else value


When = Annotated[Moment, BeforeValidator(moment)]
Outcome = Annotated[Verdict, BeforeValidator(_outcome)]
Names = Annotated[tuple[str, ...], BeforeValidator(_many)]


class Part(BaseModel):
    """A piece of the book: frozen, and a key nobody knows is a fault."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Condition(Part):
    """Something that must hold: a quantity and its bound, or a fact and its value.

    ``what`` is a quantity, a fact (``wall.braced``), a key of the task (``task.grouted``) or an
    age. ``if_unknown`` says what follows where nobody knows: the default skips a fact and makes
    an hour of weather not known.
    """

    what: str
    unit: str = ""
    is_: bool | Names | None = Field(default=None, alias="is")
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None
    taken_as: TakenAs | None = None
    if_unknown: Literal["default", "skip", "apply", "not_known"] = "default"

    @model_validator(mode="after")
    def _one_test(self) -> Self:
        bounds = (self.above, self.at_least, self.below, self.at_most)
        if (self.is_ is None) == all(bound is None for bound in bounds):
            raise ValueError(f"condition on {self.what} needs either `is` or a bound")
        if self.is_ is None and not self.unit:
            raise ValueError(f"condition on {self.what} has a bound and no unit")
        return self


class Need(Part):
    """A measure asked for, from when until when; several names mean any one of them."""

    measure: Names = Field(min_length=1)
    from_: When = Field(default=Moment("start"), alias="from")
    until: When = Moment("end")
    when: tuple[Condition, ...] = ()
    unless: tuple[Condition, ...] = ()
    says: str = ""


class Hold(Part):
    """A role who decides, and what they need to see."""

    by: Names = Field(min_length=1)
    needs: str


class Tell(Part):
    """Whom to tell what, and by when."""

    whom: Names = Field(min_length=1)
    what: str
    by: When | None = None


def _needs(items: object) -> object:
    if not isinstance(items, (list, tuple)):
        return items
    return tuple({"measure": item} if isinstance(item, str) else item for item in items)


Needs = Annotated[tuple[Need, ...], BeforeValidator(_needs)]


class Asks(Part):
    """What a row or one of its bands asks people to do, keep to, look at, beware of and say."""

    measures: Needs = ()
    targets: tuple[Condition, ...] = ()  # what the work is brought to or kept at
    checks: Names = ()
    cautions: Names = ()
    holds: tuple[Hold, ...] = ()
    tells: tuple[Tell, ...] = ()


class Band(Asks):
    """A range of values and what it allows."""

    up_to: float | None = None
    edge: Literal["above", "below"] = "above"  # the band that owns the value up_to itself
    is_: bool | Names | None = Field(default=None, alias="is")
    outcome: Outcome
    call: Literal["", "stop", "hold", "prepare"] = ""
    says: str = ""


class Span(Part):
    """The hours a row looks at."""

    from_: When = Field(alias="from")
    until: When


class Substitute(Part):
    """What may stand in where a column is absent or has ended; flagged where used.

    Either the other quantity times ``factor``, or ``gives`` in every hour in which the other
    quantity is below ``while_below``; the hours in which it is not take ``otherwise``, and stay
    not known where the row names none.
    """

    quantity: str
    factor: float = 1.0
    while_below: float | None = None
    unit: str = ""
    gives: float = 0.0  # in the row's unit
    otherwise: float | None = None
    says: str = Field(min_length=1)


class Row(Asks):
    """One limit, wait, protection period, check or caution; see the module for its words."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9_.-]*$")
    work_types: Names = Field(min_length=1)
    sets: Names = ("everywhere",)
    says: str = ""
    quantity: str = ""
    unit: str = ""
    given: Mapping[str, float] = Field(default_factory=dict)  # constants of a computed quantity
    taken_as: TakenAs = "value"
    also_taken_as: tuple[TakenAs, ...] = ()  # the graver of these definitions decides
    hours: Span | None = None
    counted: Condition | None = None  # of a duration: which hours count
    worst: Literal["min", "max"] | None = None  # which of several readings governs
    reading_age_h: float | None = None
    recovers_h: float | None = None
    recovers_when: Condition | None = None
    when: tuple[Condition, ...] = ()
    unless: tuple[Condition, ...] = ()
    substitutes: tuple[Substitute, ...] = ()
    seen_on_site: str = ""  # why a person can see before starting what nobody told
    felt: str = ""  # why the people at work notice by themselves, hour by hour, what nobody told
    left_by: Literal["", "frost", "rain"] = ""  # what weather leaves it: looked at after that
    must_reach_h: float = 24.0  # of a period after the work: so much must be forecast
    ordinary: float | None = None  # a size that nobody stated counts as this, in the row's unit
    needed: bool = False  # an age that this work rests on, whether the job names the thing or not
    on_site: bool = False  # read on site, though the weather has a column of that name
    unsaid: bool | None = None  # what a fact that nobody stated counts as; None: not judged
    safety: bool = False  # keeps people safe: never merely a check
    bands: tuple[Band, ...] = ()
    also: Names = ()  # other numbers told beside this one
    limit_as: str = ""  # the limit itself as a number, by this name
    source: str = ""
    clause: str = ""
    verify: bool = False
    overridden_by: str = ""
    override_why: str = ""
    confirmed_by: str = ""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        for wrong in (_band_problem(self), _hours_problem(self), _unknown_problem(self)):
            if wrong:
                raise ValueError(wrong)
        return self

    @property
    def name(self) -> str:
        """Return the quantity's plain name, without the module that computes it."""
        return self.quantity if is_fact(self.quantity) else self.quantity.rpartition(".")[2]

    @property
    def only_advises(self) -> bool:
        """Tell whether no value of it refuses or protects; then not knowing it does not either."""
        return all(band.outcome is Verdict.GO for band in self.bands)

    def speaks_h(self, *, bad: bool) -> float | None:
        """Return for how many hours a reading counts; None: until something newer is read.

        What a person can see again before starting stays as bad as it was read to the end of a
        shift: only a newer look says that it is over.
        """
        again = bad and bool(self.seen_on_site) and self.reading_age_h is not None
        return max(self.reading_age_h or 0.0, LOOK_AGAIN_H) if again else self.reading_age_h

    @property
    def low_is_worse(self) -> bool:
        """Tell whether small values are the graver ones."""
        if self.worst is not None:
            return self.worst == "min"
        return len(self.bands) > 1 and self.bands[0].outcome > self.bands[-1].outcome


class Order(Part):
    """One kind of work before another."""

    id: str
    before: str
    after: str
    says: str
    sets: Names = ("everywhere",)
    when: tuple[Condition, ...] = ()
    unless: tuple[Condition, ...] = ()
    source: str = ""
    clause: str = ""
    verify: bool = False


class Source(Part):
    """Where a number comes from; the edition is what a person compares with."""

    title: str = Field(min_length=1)
    edition: str = Field(min_length=1)
    kind: Literal["standard", "code", "regulation", "guide", "paper", "practice", "label"]
    note: str = ""


class Edition(Part):
    """A rule set a job may cite: the sets of rows it holds."""

    name: str = Field(min_length=1)
    sets: Names


class Measure(Part):
    """What a measure does, what it needs, and how it can hurt."""

    does: str = Field(min_length=1)
    temperature_lift_c: float | None = None
    wind_cut: float | None = Field(default=None, ge=0.0, le=1.0)  # share of the wind kept off
    keeps_rain_off: bool = False
    does_also: Names = ()  # weaker measures that it takes the place of
    set_up_h: float = Field(ge=0.0)
    people: int = Field(ge=0)
    kind: Literal["working", "store", "kit"]  # at hand; had from any yard; owned or offered
    cautions: Names = ()
    harmless: bool = False
    source: str = "common_practice"

    @model_validator(mode="after")
    def _says_its_danger(self) -> Self:
        if bool(self.cautions) == self.harmless:
            raise ValueError("give its cautions, or harmless = true")
        return self


class BookFile(Part):
    """One file of rows; ``sets``, ``source`` and ``verify`` stand for rows that say none."""

    about: str
    sets: Names = ("everywhere",)
    source: str = ""
    verify: bool = False
    row: tuple[Mapping[str, Any], ...] = ()
    order: tuple[Mapping[str, Any], ...] = ()


# Checks of a row on its own


def _band_problem(row: Row) -> str:
    if not row.quantity:
        return "" if len(row.bands) <= 1 else "bands without a quantity"
    if not row.bands:
        return "a quantity without bands"
    if any(band.is_ is not None for band in row.bands):
        return _word_band_problem(row)
    inner = [band.up_to for band in row.bands[:-1]]
    if None in inner:
        return "bands overlap: each but the last needs an up_to"
    if row.bands[-1].up_to is not None:
        return f"bands leave a gap above {row.bands[-1].up_to:g}: the last has no up_to"
    edges = [edge for edge in inner if edge is not None]
    if edges != sorted(set(edges)):
        return f"bands overlap: up_to must rise, has {edges}"
    return "" if not edges or row.unit else "edges without a unit"


def _word_band_problem(row: Row) -> str:
    words_ = [w for b in row.bands for w in (b.is_ if isinstance(b.is_, tuple) else (b.is_,))]
    if any(band.up_to is not None for band in row.bands):
        return "bands mix `is` and up_to"
    if None in words_[:-1] or len(words_) != len(set(words_)):
        return "bands overlap: each value once, and only the last band may leave `is` out"
    if words_[-1] is not None and set(words_) != {True, False}:
        return "bands leave a gap: the last band leaves `is` out"
    return ""


def _hours_problem(row: Row) -> str:
    if row.taken_as == "value":
        return (
            "" if row.hours is None else "a value is taken in the hours of work; leave hours out"
        )
    if row.taken_as != "count" and row.hours is None:
        return f"taken as {row.taken_as} over which hours"
    return (
        "a duration needs `counted`"
        if (row.taken_as == "duration") != (row.counted is not None)
        else ""
    )


def _unknown_problem(row: Row) -> str:
    """Say what is wrong with how a row takes what nobody knows.

    Hours to come cannot be seen: only a state, or what past hours left, is seen before starting.
    """
    if row.felt and (row.seen_on_site or not row.unit or row.hours is not None):
        return "felt is for what weather does to people hour by hour"
    if row.left_by and not row.seen_on_site:
        return "left_by without seen_on_site"
    if row.ordinary is not None and (row.seen_on_site or not row.unit):
        return "ordinary is a size in the row's unit, and nothing that is seen"
    if not row.seen_on_site:
        return ""
    if not row.quantity or row.only_advises:
        return "seen_on_site for a row that refuses and protects nothing"
    computed_ = "." in row.quantity and not is_fact(row.quantity)
    if row.on_site or not (computed_ or row.quantity in weather_columns()):
        return ""
    before = row.hours is not None and row.hours.until in (Moment("start"), Moment("now"))
    return "" if before else "hours to come are never seen on site"
