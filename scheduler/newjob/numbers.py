"""The numbers of a new job in SI, checked against each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from typing import Final, cast
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from rules.amounts.blocks import FOOT_M, INCH_M, Block
from rules.errors import BadInput, Faults
from rules.words import meant
from scheduler.newjob.answers import AnswerFault, Value, length_text, read
from scheduler.newjob.questions import Form, Kind, Question, asked, questions

SEASON_DAYS: Final = 120
CLEARANCE_M: Final = 2 * INCH_M  # over the new courses, for sill and levelling; common practice
JACKS_A_BEAM: Final = 2  # a beam is lifted at both ends
FILL_M: Final = 4 * FOOT_M  # what most walls without a drawing may hold back, from memory
SAME_LENGTH: Final = 0.01  # runs and the length round may differ by so much
UNIT_OF_LENGTH: Final = {16: INCH_M, 400: 0.001}  # a unit's length tells what its name is in
DOOR_M: Final = (36 * INCH_M, 80 * INCH_M)  # width and height of a common outside door
MONDAY: Final = 0


@dataclass(frozen=True, slots=True)
class Numbers:
    """What was asked, in SI; what a kind of job does not ask keeps its value unused."""

    kind: Kind
    units: str
    name: str
    place: str
    latitude: float
    longitude: float
    elevation: float
    time_zone: str
    start: date
    season_end: date
    masons: int
    carpenters: int
    diggers: int
    lifters: int
    work_temperature: float
    runs: tuple[float, ...]
    courses: int
    block: str
    core_spacing: float
    bond_beam: bool
    bar: int
    beam_bars: int
    wall_height: float
    fill_height: float
    footing: str
    footing_width: float
    footing_depth: float
    raise_height: float
    step: float
    timber: float
    beams: int
    jacks: int
    towers: int
    openings_cut: int
    openings_filled: int
    opening_width: float
    opening_height: float
    anchor_spacing: float
    windows: int
    window_width: float
    window_height: float
    doors: int
    seal_length: float
    lifter_up: datetime | None
    lifter_back: datetime | None
    repair_area: float
    units_replaced: int
    cap_length: float
    scaffold_height: float
    units_per_hour: float | None
    block_days: int
    grout_days: int
    window_days: int
    kit_days: int
    steel_days: int

    @property
    def length_m(self) -> float:
        """Length round the wall."""
        return sum(self.runs)

    @property
    def lifts(self) -> bool:
        """Tell whether a house is raised and set down."""
        return self.kind in {Kind.RAISED_HOUSE, Kind.STEM_WALL}

    @property
    def closed(self) -> bool:
        """Tell whether the last run meets the first; an addition leans on the house."""
        return self.kind is not Kind.ADDITION

    @property
    def unit(self) -> Block:
        """The masonry unit."""
        return block_of(self.block)

    @property
    def new_footing(self) -> bool:
        """Tell whether a footing is placed."""
        return self.footing == "new" or self.kind in {Kind.STEM_WALL, Kind.ADDITION}

    @property
    def laid_m(self) -> float:
        """Height of the new courses."""
        return self.courses * self.unit.height_m


def block_of(name: str) -> Block:
    """Return the unit of a name such as ``8x8x16`` in inches, or ``200x200x400`` in mm."""
    thickness, height, length = (int(size) for size in name.split("x"))
    unit_m = UNIT_OF_LENGTH[length]
    return Block(length * unit_m, height * unit_m, thickness * unit_m)


def unknown_answers(given: Mapping[str, str]) -> Iterator[BadInput]:
    """Yield a fault for each answer to a question that is not asked."""
    known = [question.key for question in questions()]
    for key in given:
        if key not in known:
            yield BadInput(f"no question {key!r}; {meant(key, known)}")


def numbers_of(given: Mapping[str, str], *, today: date) -> Numbers:
    """Return the numbers of a job from answers as written; what is left out takes its default.

    Raises
    ------
    Faults
        Every answer that cannot be taken, and every two that do not fit each other.
    """
    faults: list[BadInput] = list(unknown_answers(given))
    units = str(given.get("units", "us"))
    values: dict[str, Value] = {}
    for question in questions():
        try:
            values[question.key] = read(question, _answer(question, given, units), units)
        except AnswerFault as fault:
            faults.append(fault)
    if faults:
        raise Faults(faults)
    faults = [*_not_asked(given, values), *_filled(values, given, today)]
    if faults:
        raise Faults(faults)
    values.pop("perimeter")
    # every field has been read by its own question
    numbers = Numbers(**{f.name: cast("object", values[f.name]) for f in fields(Numbers)})  # type: ignore[arg-type]
    clashes = [BadInput(line) for line in _clashes(numbers)]
    if clashes:
        raise Faults(clashes)
    return numbers


def _answer(question: Question, given: Mapping[str, str], units: str) -> str:
    told = given.get(question.key)
    return question.default_in(units) if told is None else told


def _not_asked(given: Mapping[str, str], values: Mapping[str, Value]) -> Iterator[BadInput]:
    kind = Kind(str(values["kind"]))
    keys = {question.key for question in asked(kind)}
    for key in given:
        if key not in keys and given[key].strip():
            name = key.replace("_", "-")
            yield BadInput(f"--{name} is not asked for a job of kind {kind.value}; leave it out")


def _filled(values: dict[str, Value], given: Mapping[str, str], today: date) -> Iterator[BadInput]:
    """Fill what follows from other answers; yield what two answers contradict."""
    kind = values["kind"] = Kind(str(values["kind"]))
    for question in questions():  # a count that the kind of job does not ask is none
        if question.form is Form.WHOLE and kind not in question.kinds:
            values[question.key] = 0
    try:
        ZoneInfo(str(values["time_zone"]))
    except (ZoneInfoNotFoundError, ValueError):
        yield BadInput(f"--time-zone is {values['time_zone']!r}; want a name such as Europe/Oslo")
    if values["start"] is None:
        ahead = (MONDAY - today.weekday()) % 7 or 7
        values["start"] = today + timedelta(days=ahead)
    start = cast("date", values["start"])
    if values["season_end"] is None:
        ahead_end = start + timedelta(days=SEASON_DAYS)
        values["season_end"] = max(date(start.year, 12, 31), ahead_end)
    yield from _runs(values, given)
    laid = cast("int", values["courses"]) * block_of(str(values["block"])).height_m
    if values["kind"] is not Kind.RAISED_HOUSE:  # the new courses are the whole wall
        values["wall_height"] = laid
    if values["fill_height"] is None:
        values["fill_height"] = min(cast("float", values["wall_height"]) / 2, FILL_M)
    if values["raise_height"] is None:
        values["raise_height"] = laid + CLEARANCE_M
    if values["towers"] is None:
        values["towers"] = values["jacks"]
    if values["seal_length"] is None:
        values["seal_length"] = _joints(values)


def _runs(values: dict[str, Value], given: Mapping[str, str]) -> Iterator[BadInput]:
    around = cast("float | None", values["perimeter"])
    if around is None:
        return
    if "runs" not in given:
        values["runs"] = (around,)
        return
    runs = sum(cast("tuple[float, ...]", values["runs"]))
    if abs(runs - around) > SAME_LENGTH * around:
        units = str(values["units"])
        yield BadInput(
            f"--perimeter is {length_text(around, units)}; the runs give "
            f"{length_text(runs, units)}: give one of them"
        )


def _joints(values: Mapping[str, Value]) -> float:
    width, height = cast("float", values["window_width"]), cast("float", values["window_height"])
    windows, doors = cast("int", values["windows"]), cast("int", values["doors"])
    return windows * 2 * (width + height) + doors * (DOOR_M[0] + 2 * DOOR_M[1])


def _clashes(n: Numbers) -> Iterator[str]:
    """Yield what cannot be built as asked, in the person's own units."""

    def small(value: float) -> str:
        return length_text(value, n.units, small=True)

    if n.season_end <= n.start:
        yield f"--season-end is {n.season_end}; want a day after the start, {n.start}"
    if n.lifts:
        yield from _lift_clashes(n)
    if n.kind is Kind.REPAIR:
        return
    if n.wall_height < n.laid_m - 0.01:
        yield f"--wall-height is {small(n.wall_height)}; {n.courses} courses are {small(n.laid_m)}"
    if n.fill_height > n.wall_height:
        yield f"--fill-height is {small(n.fill_height)}; the wall is {small(n.wall_height)} high"
    holes = n.windows * n.window_width + n.doors * DOOR_M[0]
    if holes > n.length_m:
        round_ = small(n.length_m)
        yield f"windows and doors are {small(holes)} wide together; the wall is {round_} long"
    if any(run < n.unit.length_m / 2 for run in n.runs):
        yield f"a run of {small(min(n.runs))} is shorter than half a unit"


def _lift_clashes(n: Numbers) -> Iterator[str]:
    def text(value: float) -> str:
        return length_text(value, n.units, small=True)

    if n.kind is Kind.RAISED_HOUSE and n.raise_height < n.laid_m - 1e-6:
        yield (
            f"--raise-height is {text(n.raise_height)}; {n.courses} courses need "
            f"{text(n.laid_m)} or more"
        )
    if n.step < n.timber - 1e-9:
        yield f"--step is {text(n.step)}; the cribbing rises by timbers of {text(n.timber)}"
    if n.jacks < JACKS_A_BEAM * n.beams:
        yield f"--jacks is {n.jacks}; {n.beams} beams need {JACKS_A_BEAM * n.beams} or more"
    cut = (n.openings_cut + n.openings_filled) * n.opening_width
    if cut > n.length_m:
        yield f"openings are {text(cut)} wide together; the wall is {text(n.length_m)} round"
    if n.openings_filled and n.opening_height > n.wall_height:
        yield f"--opening-height is {text(n.opening_height)}; the wall is {text(n.wall_height)}"
    if n.lifter_up is not None and n.lifter_back is not None and n.lifter_back <= n.lifter_up:
        yield f"--lifter-back is {n.lifter_back:%Y-%m-%dT%H:%M}; want a time after the lift"
