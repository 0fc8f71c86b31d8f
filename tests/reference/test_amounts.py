"""Counts of a wall against published figures and a wall worked by hand.

The hand-worked wall is drawn in DEVELOPERS.md, "A wall worked by hand".
"""

from __future__ import annotations

import numpy as np
import pytest

from rules.amounts.bars import anchors_in, beam_bars_m, core_bars_m, dowels_m, lap_m, sill_pieces
from rules.amounts.blocks import FOOT_M, INCH_M, Block, courses_in, mortar_m3, wall_units
from rules.amounts.closing import blanket_m2, cartridges, tape_m, top_cover_m2
from rules.amounts.cribs import lift_steps
from rules.amounts.grout import beam_grout_m3, core_grout_m3, cores_in, lifts
from rules.amounts.labour import cold_output, grout_man_h, mason_days, wall_man_h

FT3 = FOOT_M**3
FT2 = FOOT_M**2
BLOCK = Block()


def test_units_of_a_long_wall() -> None:
    """Navy builder's manual: 3/4 unit to the foot of course, 1 1/2 courses to the foot."""
    laid = wall_units(
        [140 * FOOT_M], courses=courses_in(4 * FOOT_M, BLOCK), block=BLOCK, closed=True
    )
    assert laid.courses == 6
    assert laid.runs[0].units == 105
    assert laid.units == 630


def test_units_of_a_thousand_square_feet() -> None:
    """Navy builder's manual: 1125 units of 8 x 8 x 16 in. for 1000 sq ft."""
    laid = wall_units(
        [100 * FOOT_M], courses=courses_in(10 * FOOT_M, BLOCK), block=BLOCK, closed=True
    )
    assert laid.units == pytest.approx(1125)
    assert laid.face_m2 == pytest.approx(1000 * FT2)


def test_man_hours_of_a_wall() -> None:
    """NAVFAC P-405: 160 man-hours for 1000 sq ft."""
    assert wall_man_h(448 * FT2) == pytest.approx(71.68, abs=0.01)


def test_mason_days_of_units() -> None:
    """C. Schierhorn, Estimating Production, 1995: 131 units to a mason's day."""
    assert mason_days(630) == pytest.approx(4.81, abs=0.01)


def test_grout_man_hours() -> None:
    """The same article: 200 cu ft of grout to a man's day of 8 h."""
    assert grout_man_h(200 * FT3) == pytest.approx(8.0)


def test_cores_and_their_grout() -> None:
    """Inspector's handbook, from memory: 0.1344 cu ft fills one core over one course."""
    cores = cores_in([140 * FOOT_M], spacing_m=32 * INCH_M, closed=True)
    grout = core_grout_m3(cores, courses=6, block=BLOCK)
    assert cores == 53
    assert grout / FT3 == pytest.approx(42.74, abs=0.01)
    assert grout / FT3 / 27 == pytest.approx(1.583, abs=0.001)


def test_cores_every_32_in_without_a_beam() -> None:
    """0.28 cu yd for 100 sq ft, computed from 0.134 cu ft a core."""
    run = 100 * FOOT_M
    cores = cores_in([run], spacing_m=32 * INCH_M, closed=True)
    grout = core_grout_m3(cores, courses=15, block=BLOCK)
    assert grout / FT3 / 27 / 10 == pytest.approx(0.28, abs=0.005)


def test_a_solid_wall() -> None:
    """Inspector's handbook, from memory: 1.12 cu yd fills 100 sq ft of 8-in. wall solid."""
    solid = beam_grout_m3(100 * FOOT_M, cores=0, block=BLOCK)
    assert solid / FT3 / 27 / (100 * 8 / 12) * 100 == pytest.approx(1.12)
    every_core = core_grout_m3(150, courses=1, block=BLOCK)  # two to each 16 in.
    assert every_core == pytest.approx(solid, rel=0.01)


def test_three_courses_make_two_feet() -> None:
    """Common practice, no source: three courses of 8-in. block make 24 in."""
    assert courses_in(24 * INCH_M, BLOCK) == 3
    assert 3 * BLOCK.height_m == pytest.approx(24 * INCH_M)


def test_the_wall_worked_by_hand() -> None:
    """A wall 20 ft by 12 ft 8 in., three courses, cores every 32 in., a bond beam on top.

    By hand. Runs 20 ft = 15 units; 12 ft 8 in. = 9 1/2 units. Round: 49 units, 3 courses: 147;
    one half in each course of each short run: 6. Corners 4 x 3 = 12. Length 784 in.; 784 / 32 =
    24.5, so 25 cores; 25 x 3 x 0.1344 = 10.08 cu ft. Beam: 784 / 12 x 8 / 12 = 43.56 sq ft at
    1.12 cu yd for 100 = 13.17 cu ft, less 25 x 0.1344 = 3.36: 9.81. Laps of a no. 5 bar: 48 x
    5/8 = 30 in. Upright 25 x (24 + 30) = 1350 in. = 112.5 ft; dowels 25 x (6 + 30) = 75 ft. Beam
    of two bars: no run over 20 ft, 8 corner laps: 2 x (784 + 8 x 30) = 2048 in. = 170.67 ft. Sill
    of 16 ft boards: pieces 16, 4 and 12 ft 8 in., twice; anchors 6 ft apart with 1 ft ends:
    14 / 6 up = 3, and 1 = 4; 2 / 6 up 1, and 1 = 2; 10.67 / 6 up 2, and 1 = 3: 9, twice 18.
    """
    runs = [20 * FOOT_M, 152 * INCH_M, 20 * FOOT_M, 152 * INCH_M]
    laid = wall_units(runs, courses=3, block=BLOCK, closed=True)
    assert (laid.units, laid.halves, laid.corners) == (147, 6, 12)
    cores = cores_in(runs, spacing_m=32 * INCH_M, closed=True)
    assert cores == 25
    assert core_grout_m3(cores, courses=3, block=BLOCK) / FT3 == pytest.approx(10.08)
    assert beam_grout_m3(sum(runs), cores=cores, block=BLOCK) / FT3 == pytest.approx(
        9.81, abs=0.01
    )
    assert lap_m(5) / INCH_M == pytest.approx(30)
    assert core_bars_m(cores, height_m=24 * INCH_M, bar=5) / FOOT_M == pytest.approx(112.5)
    assert dowels_m(cores, embedment_m=6 * INCH_M, bar=5) / FOOT_M == pytest.approx(75)
    beam = beam_bars_m(runs, bars=2, bar=5, closed=True) / FOOT_M
    assert beam == pytest.approx(170.67, abs=0.01)
    assert anchors_in(sill_pieces(runs)) == 18
    assert mortar_m3(laid.face_m2) / FT3 == pytest.approx(784 / 12 * 2 * 0.085, abs=0.01)


def test_jacking_in_steps_of_sixteen_inches() -> None:
    """Common practice, no source: about 16 in. between re-cribbings, two timbers to a layer.

    By hand, 26 in. on 8 towers of 6-in. timbers: 16 in. is 2 layers, 32 timbers; 26 in. is 4, 64.
    """
    steps = lift_steps(26 * INCH_M, step_m=16 * INCH_M, towers=8, timber_m=6 * INCH_M)
    assert [round(s.rise_m / INCH_M) for s in steps] == [16, 10]
    assert [s.layers for s in steps] == [2, 4]
    assert [s.timbers for s in steps] == [32, 64]


def test_covers_tape_and_sealant_by_hand() -> None:
    """By hand.

    Window 32 x 24 in.: 112 in. round and 4 laps of 6 = 136 in. Joint 3/8 x 1/4 in.: 18.2 cu in. of
    a cartridge go 194 in., so 100 ft take 7. Top cover: 48 + 8 in. by the foot, a tenth more.
    """
    assert tape_m(32 * INCH_M, 24 * INCH_M) / INCH_M == pytest.approx(136)
    assert cartridges(100 * FOOT_M) == 7
    assert top_cover_m2(FOOT_M, thickness_m=8 * INCH_M) / FT2 == pytest.approx(56 / 12 * 1.1)
    assert blanket_m2(FOOT_M, height_m=2 * FOOT_M, thickness_m=8 * INCH_M) / FT2 == pytest.approx(
        (4 + 8 / 12) * 1.1
    )


def test_grout_in_lifts() -> None:
    """TMS 602 table 6 in words: a pour higher than the lift is placed in several."""
    assert lifts(12 * FOOT_M, lift_m=5 * FOOT_M) == 3


def test_the_cold_curve_keeps_its_published_form() -> None:
    """Koehn and Brown 1985, coefficients from memory, worked by hand at 50 % humidity.

    At 20 F: 0.288 - 0.1565 - 0.0428 - 0.0725 - 0.0357 + 0.647 = 0.6275; at 50 F 0.78125; the
    quotient is 0.8032. A wind of 10 mph takes 10 F off (Concrete Construction).
    """

    def output(fahrenheit: float, mph: float = 0.0) -> float:
        return float(
            cold_output(
                air_temperature_c=np.asarray((fahrenheit - 32) / 1.8),
                relative_humidity_pct=np.asarray(50.0),
                wind_speed_ms=np.asarray(mph * 0.44704),
            )
        )

    assert output(20) == pytest.approx(0.6275 / 0.78125, abs=1e-4)
    assert output(70) == 1.0
    assert output(30, mph=10) == pytest.approx(output(20))
    assert output(-40) >= 0.1
