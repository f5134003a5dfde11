"""What each step of the reduction hands to the next: sizes of copies, limits on either side, which drawing is taken."""

from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from helpers.axes import plain_axis
from scipy import ndimage

from converter.errors import RequestError
from converter.raster import kind, light, look, reduction, repair, take, window
from converter.raster.kind import Kind, line_or_shape, tell_kind
from converter.raster.light import Ink
from converter.raster.mirror import Symmetry
from converter.raster.prepare import prepare_picture
from converter.raster.structure import Faults
from converter.settings import ChartSettings


def options(columns=None, rows=None, **rest):
    return ChartSettings.from_options(columns=columns, rows=rows, **rest)


def plate(shape=(300, 400), paper=240, pen=20):
    picture = np.full(shape, paper, dtype=np.uint8)
    rows, cols = shape
    picture[rows // 5 : rows * 7 // 10, cols // 4 : cols * 4 // 5] = pen
    picture[rows // 5 : rows // 3, cols // 3 : cols // 2] = paper
    return picture


def spy(monkeypatch, module, name, seen):
    """Note what a step is given, and let it go on."""
    plain = getattr(module, name)

    def noting(*args, **names):
        seen.append((args, names))
        return plain(*args, **names)

    monkeypatch.setattr(module, name, noting)


# Which kind.


@pytest.mark.parametrize(
    ("tones", "restless", "elsewhere", "photo"),
    [
        (1.0, 0.1, 0.073, True), (1.0, 0.1, 0.071, False),  # 1 x (share + 0.02) over 0.092
        (0.76, 0.1, 0.5, True), (0.75, 0.1, 0.5, False),
        (1.0, 0.019, 0.5, True), (1.0, 0.018, 0.5, False),
        (4.7, 0.1, 0.0, True), (4.5, 0.1, 0.0, False),
    ],
)  # fmt: skip
def test_a_photograph_has_all_three_marks(monkeypatch, tones, restless, elsewhere, photo):
    monkeypatch.setattr(kind, "toning", lambda ink: (tones, restless))
    monkeypatch.setattr(kind, "edges_elsewhere", lambda ink, gray: elsewhere)
    mask = np.zeros((40, 40), dtype=bool)
    mask[10:30, 10:30] = True
    found = tell_kind(Ink(mask, mask.astype(np.float32), 1.0), np.ones((40, 40), np.float32))
    assert found.name == ("photo" if photo else "shape")
    assert ("many tones" in found.reason) == photo and ("broad areas" in found.reason) != photo


@pytest.mark.parametrize(("wide", "name"), [(11, "line"), (13, "shape")])
@pytest.mark.parametrize("turn", [False, True])
def test_a_ninth_of_the_narrower_side_is_thick(wide, name, turn):
    """A cross of two bars 200 long is thick where it is deeper than 0.055 of 200 or so; the bars are 2 ``wide``."""
    mask = np.zeros((220, 330), dtype=bool)
    mask[110 - wide : 110 + wide, 10:310] = True
    mask[10:210, 160 - wide : 160 + wide] = True
    mask = mask.T.copy() if turn else mask
    found = line_or_shape(mask)
    assert found.name == ("line" if 2 * wide < 24 else name)
    assert ("strokes" in found.reason) == (found.name == "line")


def test_a_slender_drawing_counts_as_three_tenths_as_wide_as_it_is_long():
    """A bar of 400 by 12 has half its width, 6, below 0.055 x 120 = 6.6; one 16 wide has a fifth of it deeper."""
    for wide, name in ((12, "line"), (18, "shape")):
        mask = np.zeros((460, 60), dtype=bool)
        mask[20:420, 20 : 20 + wide] = True
        assert line_or_shape(mask).name == line_or_shape(mask.T.copy()).name == name


# The first look.


def test_the_kind_is_told_on_a_copy_of_four_hundred_pixels(monkeypatch):
    seen, inks = [], []
    spy(monkeypatch, look, "tell_kind", seen)
    spy(monkeypatch, look, "find_ink", inks)
    settings = options(40)
    for shape in ((900, 600), (300, 400), (700, 500)):
        seen.clear()
        inks.clear()
        look.look_at(prepare_picture(plate(shape), settings), settings)
        assert max(seen[0][0][1].shape) == 400
        (tiny, pixels), names = inks[0]
        assert tiny.shape == seen[0][0][1].shape and pixels == 8.0 and names == {"mend_grain": False}
        # Then the ink, on up to 700.
        assert max(inks[1][0][0].shape) == min(700, max(shape)) and inks[1][0][1:] == (12.0, 0)


@pytest.mark.parametrize(
    ("columns", "pixels"), [(20, 12.0), (58, 12.0), (70, 10.0), (100, 7.0), (117, 6.0), (300, 6.0)]
)
def test_pixels_a_stitch_of_the_first_look(monkeypatch, columns, pixels):
    """700 by the stitches asked for, from 6 to 12."""
    inks = []
    spy(monkeypatch, look, "find_ink", inks)
    settings = options(columns, kind="shape")
    look.look_at(prepare_picture(plate((800, 1000)), settings), settings)
    assert inks[0][0][1] == pytest.approx(pixels, abs=0.1)


@pytest.mark.parametrize(("columns", "side"), [(30, 350), (87, 350), (100, 400), (150, 600), (200, 700)])
def test_the_outline_of_pale_parts_is_looked_for_with_four_pixels_a_stitch(monkeypatch, columns, side):
    seen = []
    spy(monkeypatch, look, "find_silhouette", seen)
    settings = options(columns)
    ready = prepare_picture(plate((750, 1000)), settings)
    look._find_outline(ready, np.zeros((525, 700), dtype=bool))
    (small, mask, stitches, _), _ = seen[0]
    assert max(small.shape) == side and small.shape == mask.shape and stitches == columns
    assert small.shape[0] / small.shape[1] == pytest.approx(0.75, abs=0.003)


def test_pale_parts_have_rims_and_outlines(monkeypatch):
    """Both together where there are both; of what was drawn in light on dark no outline is looked for."""
    one, two = np.zeros((4, 6), dtype=bool), np.zeros((4, 6), dtype=bool)
    one[1], two[:, 2] = True, True
    ink = SimpleNamespace(mask=one, grainy=False)
    for rims, outline, inverted, expected in (
        (one, two, False, one | two), (one, None, False, one), (None, two, False, two), (None, None, False, None),
        (one, two, True, one), (None, two, True, None),
    ):  # fmt: skip
        monkeypatch.setattr(look, "find_rims", lambda gray, ink, rims=rims: rims)
        monkeypatch.setattr(look, "_find_outline", lambda ready, mask, fields, outline=outline: outline)
        found = look._find_pale(None, None, ink, inverted)
        assert found is None if expected is None else np.array_equal(found, expected)


@pytest.mark.parametrize(("share", "seen"), [(0.005, False), (0.03, True)])
def test_light_on_a_dark_photograph_is_looked_for(monkeypatch, share, seen):
    """A drawing in light on dark that looks like a photograph; a hundredth of it at least is light."""
    monkeypatch.setattr(look, "tell_kind", lambda ink, gray: Kind("photo", "told so"))
    monkeypatch.setattr(look, "toning", lambda ink: (0.87, 0.1))
    side = 300
    picture = np.full((side, side), 15, dtype=np.uint8)
    wide = round(np.sqrt(share) * side)
    picture[100 : 100 + wide, 60 : 60 + wide] = 235
    settings = options(30)
    told = look.look_at(prepare_picture(picture, settings), settings)
    assert (told.kind.name == "shape" and told.inverted) is seen
    monkeypatch.setattr(look, "toning", lambda ink: (0.89, 0.1))
    assert look.look_at(prepare_picture(picture, settings), settings).kind.name == "photo"


@pytest.mark.parametrize(("step", "light"), [(0.13, True), (0.11, False), (-0.3, False)])
@pytest.mark.parametrize("turn", [False, True])
def test_a_subject_must_be_an_eighth_lighter_than_its_ground(step, light, turn):
    inside = np.zeros((100, 140), dtype=bool)
    inside[20:80, 30:100] = True
    gray = np.where(inside, 0.4 + step, 0.4).astype(np.float32)
    # Its edge, its middle and the far ground do not count.
    gray[ndimage.binary_dilation(inside, np.ones((3, 3))) & ~ndimage.binary_erosion(inside, np.ones((3, 3)))] = 0.0
    gray[40:60, 50:80] = 0.0
    gray[:, 130:] = 1.0
    if turn:
        gray, inside = gray.T.copy(), inside.T.copy()
    found = look._is_light_on_dark(gray, inside)
    assert found is light
    assert not look._is_light_on_dark(gray, np.zeros_like(inside))
    assert not look._is_light_on_dark(gray, np.ones_like(inside))


def test_many_stitches_of_few_pixels_are_worked_with_fewer_pixels(monkeypatch):
    """With most so many pixels in all a stitch has 8, and from four times that on 6, then 4; too many are refused."""
    settings = options(30, kind="shape", deskew=False)
    ready = prepare_picture(plate(), settings)
    plain = take.take_up(ready, settings)
    assert plain.pixels == 16
    area = plain.ink.size / plain.pixels**2
    for most, pixels in ((area * 255, 8), (area * 257, 16), (area * 64 / 4 * 1.02, 8), (area * 64 / 4 * 0.98, 6),
                         (area * 36 / 4 * 1.02, 6), (area * 36 / 4 * 0.98, 4), (area, 4)):  # fmt: skip
        monkeypatch.setattr(window, "MOST_PIXELS_WORKED", most * 1.0)
        made = take.take_up(ready, settings)
        if abs(most / area - 256) > 30:
            assert made.pixels == pixels
        assert made.ink.size == pytest.approx(area * made.pixels**2, rel=0.03)
    monkeypatch.setattr(window, "MOST_PIXELS_TURNED", area * 15)
    with pytest.raises(RequestError, match="too few"):
        take.take_up(ready, settings)


def line_axis(at, radius, along):
    points = np.zeros((len(at), 2))
    points[:, along] = at
    return plain_axis(points, np.asarray(radius, dtype=float), points.astype(int), np.ones(len(at), dtype=bool))


@pytest.mark.parametrize("across", [True, False])
@pytest.mark.parametrize(
    ("half", "least"),
    [
        # Drawn where the axis lies: it must be within the grid.
        (0.3, (0.68, 0.68)), (0.5, (0.48, 0.48)), (0.7, (0.28, 0.28)),
        # Between 1.5 and 1.8 stitches it may be drawn either way: 1 - 0.8 is less than half of 1.6 less the gain.
        (0.8, (0.18, 0.18)),
        # Brought to whole stitches, half a cell must be covered; pens lean 0.07 to one side.
        (1.0, (0.41, 0.55)), (1.2, (0.21, 0.35)), (1.24, (0.17, 0.31)), (1.5, (0.41, 0.55)), (1.6, (0.31, 0.45)),
        # Too broad for a pen, an edge.
        (2.4, (0.48, 0.48)),
    ],
)  # fmt: skip
def test_how_far_outside_the_ink_the_grid_may_begin(half, least, across):
    along = 1 if across else 0
    box = (36.0, 24.0, 156.0, 144.0)
    first, last = box[along] / 12, box[along + 2] / 12
    axis = line_axis([first + half] * 5 + [last - half] * 5 + [(first + last) / 2] * 9, [half] * 10 + [0.3] * 9, along)
    assert take._most_bare(axis, box, across, 12) == pytest.approx(least)
    none = line_axis([(first + last) / 2] * 9, [0.3] * 9, along)
    assert take._most_bare(none, box, across, 12) == pytest.approx((0.48, 0.48))


def test_the_grid_is_found_with_what_the_axis_tells(monkeypatch):
    seen = []
    monkeypatch.setattr(take, "find_phase", lambda *args, **names: seen.append((args, names)) or "found")
    ink = np.zeros((300, 400), dtype=bool)
    box = (30.0, 40.0, 270.0, 360.0)
    level = plain_axis(
        np.stack([np.full(240, 12.5), np.arange(240) / 12 + 4], axis=1), np.full(240, 0.4),
        np.stack([np.full(240, 150), np.arange(240) + 48], axis=1), np.ones(240, dtype=bool),
    )  # fmt: skip
    symmetry = Symmetry()
    for columns, rows in ((30, None), (None, 20)):
        ready = SimpleNamespace(columns=columns, rows=rows)
        assert take.find_grid(ink, box, ready, options(30), symmetry, level, 12) == "found"
        args, names = seen[-1]
        assert args[3] == ("columns" if columns else "rows") and names["diagonal_weight"] == pytest.approx(1 / 12)
        assert len(names["straights"][0]) > 100 and len(names["diagonals"][0]) == 0
        assert not names["centred_rows"] and not names["centred_cols"]
    broad = plain_axis(level.points, level.radius + 1, level.pixel, level.straight)
    take.find_grid(ink, box, SimpleNamespace(columns=30, rows=None), options(30), symmetry, broad, 12)
    assert seen[-1][1]["diagonal_weight"] == 0
    count = len(seen)
    plain = take.lay_plain(box, 30, 20)
    assert take.find_grid(ink, box, SimpleNamespace(columns=30, rows=20), options(30, 20), symmetry, level, 12) == plain
    untrimmed = take.find_grid(ink, box, SimpleNamespace(columns=30, rows=None), options(30, trim=False), symmetry,
                               level, 12)  # fmt: skip
    assert untrimmed == take.lay_plain(box, 30, None) and len(seen) == count


# Which drawing.


@pytest.mark.parametrize(
    ("reads", "kind_name", "radius", "drawn"),
    [
        ((69.9, 73.0, 60.0), "line", 0.0, 3),
        ((69.9, 73.9, 60.0), "line", 0.3, 3),
        ((69.9, 60.0, 73.9), "shape", 0.55, 3),
        ((40.0, 50.0, 50.0), "line", 0.3, 3),
        ((70.0, 99.0, 99.0), "line", 0.0, 1),
        ((40.0, 99.0, 99.0), "photo", 0.0, 1),
    ],
)
def test_a_simpler_drawing_is_taken_if_it_reads_better_by_four(monkeypatch, reads, kind_name, radius, drawn):
    """Only what reads worse than 70 is drawn again, with gaps of 0.6 and 1.1 stitches closed."""
    radii = []

    def draw(ready, settings, work, radius):
        radii.append(radius)
        return SimpleNamespace(verdict=SimpleNamespace(readability=reads[len(radii) - 1]), radius=radius)

    monkeypatch.setattr(reduction, "take_up", lambda ready, settings: SimpleNamespace(kind=Kind(kind_name, "")))
    monkeypatch.setattr(reduction, "_draw_at", draw)
    monkeypatch.setattr(reduction, "_result", lambda ready, work, best: best)
    monkeypatch.setattr(reduction, "find_squares", lambda gray, **how: None)
    assert reduction.reduce_prepared(SimpleNamespace(gray=None), ChartSettings()).radius == radius
    assert radii == [0.0, 0.3, 0.55][:drawn]


@pytest.mark.parametrize("wanted", ["shape", "photo"])
def test_photographs_are_judged_by_their_tones_and_drawings_by_their_strokes(monkeypatch, wanted):
    seen = []
    spy(monkeypatch, reduction, "judge", seen)
    settings = options(20, kind=wanted)
    reduction.reduce_prepared(prepare_picture(plate(), settings), settings)
    full, cells, _, tone, axis = seen[0][0]
    assert (tone is None) == (wanted == "shape") and (axis is None) == (wanted == "photo")
    assert full.shape[0] % cells.shape[0] == 0 and full.any() and cells.any()


# Mending.


def hopeless(monkeypatch, faults, score_of=lambda cells: 0.0):
    """Make charts that always have so many faults, each at a place of its own; return the charts looked at."""
    looked = []

    def find(cells, want):
        looked.append(cells)
        score = faults + score_of(cells)
        return Faults(score, faults, tuple(("broken", np.array([12 * (4 + k) + 6])) for k in range(faults)))

    monkeypatch.setattr(repair, "find_faults", find)
    monkeypatch.setattr(repair, "condense", lambda want: want)
    return looked


@pytest.mark.parametrize(
    ("faults", "most", "least"), [(3, 60, 60), (3, 10, 10), (14, 400, 400), (15, 400, 400), (16, 400, 100)]
)
def test_no_more_changes_are_tried_than_asked_for(monkeypatch, faults, most, least):
    """But for those near the last fault; with more than fifteen faults a quarter. Near each 25 cells and 66 pairs."""
    looked = hopeless(monkeypatch, faults)
    cells = np.zeros((30, 12), dtype=bool)
    repair.mend(cells, (None,), np.ones(cells.shape, np.float32), most_trials=most)
    assert least <= len(looked) - 1 < least + 40 + 66
    near = np.abs(np.argwhere(looked[1]) - [4, 6]).max()
    assert near <= 2 and all(1 <= each.sum() <= 2 for each in looked[1:])


def test_single_cells_first_the_cheapest_first_and_what_was_changed_may_go_back_free():
    cells = np.zeros((16, 16), dtype=bool)
    cost = np.arange(256, dtype=np.float32).reshape(16, 16) / 256
    tried = []

    def find(trial, want):
        tried.append(np.flatnonzero(trial != cells).tolist())
        return Faults(1.0, 1, (("broken", np.array([16 * 7 + 7])),))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(repair, "find_faults", find)
        patch.setattr(repair, "condense", lambda want: want)
        assert np.array_equal(repair.mend(cells, (None,), cost), cells)
    singles = [each[0] for each in tried[1:26]]
    assert singles == [16 * r + c for r in range(5, 10) for c in range(5, 10)]
    assert all(len(each) == 2 for each in tried[26:]) and len(tried) == 1 + 25 + 66


# Light.


@pytest.mark.parametrize(
    ("shape", "pixels", "enlarged", "looked"),
    [
        ((600, 900), 12.0, 1.0, 12.0), ((300, 480), 12.0, 1.0, 8.0), ((90, 100), 12.0, 1.0, 4.0),
        ((600, 900), 3.0, 1.0, 4.0), ((600, 900), 12.0, 2.0, 18.0), ((600, 900), 12.0, 1.1, 12.0),
    ],
)  # fmt: skip
def test_over_how_many_pixels_edges_are_looked_for(monkeypatch, shape, pixels, enlarged, looked):
    """As if the longer side had 60 stitches at least, four pixels at least; nine times an enlargement."""
    seen = []
    monkeypatch.setattr(light, "_find_edges", lambda *args: seen.append(args))
    assert light.find_ink(np.ones(shape, np.float32), pixels, 5.0, enlarged) is None
    assert seen[0][1] == pytest.approx(looked) and seen[0][2:] == (5.0, 0.07, False)


@pytest.mark.parametrize(
    ("dark", "fading", "followed"), [(0.0, True, True), (9.0, True, True), (-9.0, True, False), (0.0, False, False)]
)
def test_strokes_are_followed_unless_only_the_darkest_is_wanted(monkeypatch, dark, fading, followed):
    seen = []
    monkeypatch.setattr(light, "_find_edges", lambda *args: seen.append(args))
    light.find_ink(np.ones((90, 90), np.float32), 9.0, dark, fading=fading)
    assert seen[0][4] is followed


def test_grain_is_smoothed_as_much_as_needed(monkeypatch):
    """The least of three that leaves few tiny holes; what another copy needed is the first, and the last if told so."""
    mask = np.zeros((90, 90), dtype=bool)
    mask[20:70, 20:70] = True
    plane = np.zeros(mask.shape, np.float32)
    edges = light._Edges(mask, plane, ~mask, ~mask, 1.0)
    tried, holes = [], {}

    def find(gray, pixels, dark, softness, fading):
        tried.append(softness)
        return edges

    monkeypatch.setattr(light, "_find_edges", find)
    monkeypatch.setattr(light, "_texture", lambda *args: holes[tried[-1]])
    gray = np.where(mask, 0.1, 0.9).astype(np.float32)
    for found, names, expected in (
        ({0.07: 0.054}, {}, [0.07]),
        ({0.07: 0.055, 0.14: 0.0}, {}, [0.07, 0.14]),
        ({0.07: 1.0, 0.14: 1.0, 0.22: 1.0}, {}, [0.07, 0.14, 0.22]),
        ({0.14: 0.0}, {"softness": 0.14}, [0.14]),
        ({0.14: 1.0}, {"softness": 0.14, "judge_grain": False}, [0.14]),
    ):
        tried.clear()
        holes.update(found)
        ink = light.find_ink(gray, 8.0, **names)
        assert tried == expected and ink.softness == expected[-1] and ink.grainy == (expected[-1] > 0.07)


def test_tiny_holes_to_a_square_stitch_of_ink():
    """On 10 pixels a stitch, holes of less than 30 pixels; two to a part are those of letters."""
    mask = np.zeros((60, 200), dtype=bool)
    mask[10:50, 10:90] = mask[10:50, 110:190] = True
    whole = mask.sum()

    def told(letters, *holes):
        made = mask.copy()
        for top, left, high, wide in holes:
            made[top : top + high, left : left + wide] = False
        return light._texture(made, light.label_parts(~made, 4), 10.0, letters) * made.sum() / 100

    assert whole == 6400 and told(False) == 0
    small = [(15 + 10 * (k % 3), 15 + 12 * (k // 3), 4, 5) for k in range(9)]
    assert told(False, *small) == pytest.approx(9)
    assert told(False, *small, (15, 120, 5, 6), (25, 120, 1, 29)) == pytest.approx(10)
    # Nine in one part: seven more than a letter has; two in the other count as none.
    assert told(True, *small) == pytest.approx(7)
    assert told(True, *small, (15, 120, 4, 5), (25, 120, 4, 5)) == pytest.approx(7)
    assert told(True, *small, *((15, 120 + 10 * k, 4, 5) for k in range(3))) == pytest.approx(8)
    # Holes that are open at the picture's upper side have no ink above them and are nobody's.
    top = np.zeros((30, 120), dtype=bool)
    top[:25] = True
    for k in range(9):
        top[:4, 4 + 13 * k : 9 + 13 * k] = False
    assert light._texture(top, light.label_parts(~top, 4), 10.0, True) == 0
    # So few that they are no grain either way are told as they are.
    assert told(True, *small[:3]) == pytest.approx(3)


@pytest.mark.parametrize("dark", [-100, -50, -1, 1, 50, 100])
def test_depth_from_which_on_all_is_ink(dark):
    """From 0.75 down to 0.2 more becomes ink; up from 0.1 to 0.9 what is paler goes."""
    depth = np.linspace(0, 1, 401, dtype=np.float32)[None]
    limit = 0.75 - 0.55 * dark / 100 if dark > 0 else 0.1 - 0.8 * dark / 100
    for mask in (np.zeros(depth.shape, dtype=bool), np.ones(depth.shape, dtype=bool)):
        made = light._as_dark(mask, depth, dark)
        clear = np.abs(depth - limit) > 1e-4
        expected = mask | (depth > limit) if dark > 0 else mask & (depth > limit)
        assert np.array_equal(made[clear], expected[clear])


def test_the_rim_of_a_shadow_is_dropped():
    """Ink of the band about as bright as the paper within 0.6 stitches: 0.12 of the contrast."""
    level = np.full((40, 60), -1.0, dtype=np.float32)
    level[:, :20] = 0.0
    mask, band, paper = (np.zeros(level.shape, dtype=bool) for _ in range(3))
    paper[:, :20] = True
    mask[:, 20:50] = True
    band[:, 20:40] = True
    level[:, 20:40] = -0.2
    for contrast, dropped in ((2.0, True), (1.5, False)):
        made = light._drop_shadow_rims(mask, band, paper, level, 10.0, contrast)
        # Six pixels from the paper, of the band alone.
        assert made[:, 26:50].all() and made[:, 20:26].any() != dropped
    reach = light._drop_shadow_rims(mask, mask, paper, level, 20.0, 2.0)
    assert not reach[:, 20:32].any() and reach[:, 32:50].all()
    assert np.array_equal(light._drop_shadow_rims(mask, ~band, paper, level, 10.0, 2.0), mask)


def test_the_paper_is_filled_in_from_the_paper_near_by():
    level = np.full((90, 120), -3.0, dtype=np.float32)
    paper = np.zeros(level.shape, dtype=bool)
    paper[:, :30] = paper[:, 90:] = True
    level[:, :30], level[:, 90:] = 0.0, -0.4
    ink = ~paper
    filled = light._fill_paper(level, ink, paper, paper, 2.0)
    assert filled[:, :25] == pytest.approx(0.0, abs=0.02) and filled[:, 95:] == pytest.approx(-0.4, abs=0.02)
    assert (filled[45, 31:89] <= 0.01).all() and (filled[45, 31:89] >= -0.41).all()
    # A dark patch that passes for paper amid large regions is none: more than half of the contrast darker.
    patch = paper.copy()
    patch[40:50, 55:65] = True
    for dark, believed in ((-0.7, True), (-1.6, False)):
        level[40:50, 55:65] = dark
        found = light._fill_paper(level, ink & ~patch, patch, paper, 2.0)[45, 60]
        assert abs(found - dark) < 0.15 if believed else found > -0.6
    # Fewer than sixteen sure pixels tell nothing: all that is no ink counts.
    few = np.zeros_like(paper)
    few[0, :15] = True
    level[0, :15] = -2.0
    assert light._fill_paper(level, ink, few, few, 2.0)[80, 5] == pytest.approx(0.0, abs=0.05)
    few[0, 15] = True
    level[0, 15] = -2.0
    assert light._fill_paper(level, ink, few, few, 2.0)[80, 5] == pytest.approx(-2.0, abs=0.05)


def test_depth_is_the_share_of_the_contrast():
    mask = np.zeros((80, 80), dtype=bool)
    mask[30:50, 30:50] = True
    level = np.where(mask, -1.5, 0.0).astype(np.float32)
    level[60, 60] = -0.3
    depth = light._fill_depth(light._Edges(mask, level.copy(), ~mask, ~mask, 1.5))
    assert depth[40, 40] == pytest.approx(1.0, abs=0.02) and depth[5, 5] == pytest.approx(0.0, abs=0.02)
    assert depth[60, 60] == pytest.approx(0.2, abs=0.03)


def test_without_a_wish_the_depth_decides_nothing(monkeypatch):
    """Found by its edges alone: what is asked for at 0 is neither darker nor lighter."""
    gray = np.full((160, 160), 0.9, dtype=np.float32)
    cv2.rectangle(gray, (40, 40), (110, 110), 0.1, -1)
    gray = cv2.GaussianBlur(gray, (0, 0), 1.0)
    monkeypatch.setattr(light, "_as_dark", lambda *args: pytest.fail("asked for nothing"))
    assert light.find_ink(gray, 8.0).mask[75, 75]
