"""Picture in, chart out."""

from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from helpers.reduction_measures import MARGIN, coverage_of, lay_truth, measure
from helpers.scores import drd, f_measure
from helpers.worn_pictures import pencil, photograph
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.errors import RequestError, UsageError
from converter.pipeline import chart_from_image, reduce_picture
from converter.raster.frame import ORIENTATIONS
from converter.settings import ChartSettings

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"


def sketch(side=480):
    """Return a drawing of our own without any symmetry: a jug with a spout, a handle, a band and two dots."""
    big = np.full((side, side), 255, np.uint8)
    u = side / 100

    def at(*points):
        return np.array([(round(x * u * 16), round(y * u * 16)) for x, y in points], np.int32)

    pen = {"lineType": cv2.LINE_AA, "shift": 4}
    thin = max(1, round(2.2 * u))
    cv2.polylines(big, [at((30, 20), (28, 55), (36, 82), (62, 82), (70, 55), (66, 20))], True, 0, thin, **pen)
    cv2.polylines(big, [at((30, 22), (16, 30), (29, 42))], False, 0, thin, **pen)
    cv2.ellipse(
        big,
        (round(69 * u * 16), round(45 * u * 16)),
        (round(14 * u * 16), round(16 * u * 16)),
        0,
        -80,
        95,
        0,
        thin,
        **pen,
    )
    cv2.polylines(big, [at((29, 50), (70, 48))], False, 0, thin, **pen)
    for x, y in ((42, 64), (54, 66)):
        cv2.circle(big, (round(x * u * 16), round(y * u * 16)), round(2.4 * u * 16), 0, -1, **pen)
    return big


def solid(side=400):
    """Return a solid shape with one round opening and a notch."""
    big = np.full((side, side), 255, np.uint8)
    cv2.ellipse(big, (side // 2, side // 2), (side // 3, side // 4), 20, 0, 360, 0, -1, cv2.LINE_AA)
    cv2.circle(big, (int(side * 0.42), int(side * 0.48)), side // 14, 255, -1, cv2.LINE_AA)
    cv2.rectangle(big, (int(side * 0.6), int(side * 0.2)), (int(side * 0.66), int(side * 0.5)), 255, -1)
    return big


def options(columns=None, rows=None, **rest):
    return ChartSettings.from_options(columns=columns, rows=rows, **rest)


@pytest.fixture(scope="module")
def jug():
    return sketch()


def cells_of(picture, columns=40, **rest):
    return reduce_picture(picture, options(columns, **rest)).cells


# Turning and mirroring.


def pictures():
    colour = np.stack([sketch(300), np.full((300, 300), 250, np.uint8), sketch(300)], axis=2)
    return {
        "lines": sketch(300),
        "solid": solid(260),
        "photo of a drawing": photograph(sketch(300), 3),
        "pencil": pencil(sketch(300), 3),
        "colour": colour,
        "camera": skimage.data.camera()[100:240, 120:250],
        "coffee": skimage.data.coffee()[50:170, 100:280],
    }


@pytest.mark.parametrize("name", pictures())
def test_mirrored_or_turned_picture_gives_the_mirrored_or_turned_chart(name):
    picture = pictures()[name]
    first = reduce_picture(picture, options(32))
    for each in ORIENTATIONS[1:]:
        turned = options(rows=32) if each.transpose else options(32)
        other = reduce_picture(each.apply(picture), turned)
        assert np.array_equal(other.cells, each.apply(first.cells)), each
        assert np.array_equal(other.loss_mask, each.apply(first.loss_mask))
        assert other.readability == first.readability
        # Both placements send a hole to the same place of the picture.
        back = each.matrix(first.cells.shape) @ [3, 5, 1]
        here = each.matrix(picture.shape[:2]) @ [*(other.placement @ [3, 5, 1]), 1]
        assert np.allclose(first.placement @ back, here[:2])


@given(st.integers(0, 10_000))
@settings(max_examples=4)
def test_symmetric_pictures_give_symmetric_charts(seed):
    rng = np.random.default_rng(seed)
    quarter = cv2.resize((rng.random((7, 7)) < 0.4).astype(np.float32), (90, 90), interpolation=cv2.INTER_CUBIC)
    quarter = np.where(quarter > 0.5, 20, 240).astype(np.uint8)
    half = np.hstack([quarter, quarter[:, ::-1]])
    cells = cells_of(half, 30)
    assert np.array_equal(cells, cells[:, ::-1])
    full = np.vstack([half, half[::-1]])
    cells = cells_of(full, 31)
    assert np.array_equal(cells, cells[:, ::-1]) and np.array_equal(cells, cells[::-1])
    spun = np.vstack([np.hstack([quarter, np.rot90(quarter, 3)]), np.hstack([np.rot90(quarter), np.rot90(quarter, 2)])])
    cells = cells_of(spun, 30)
    assert np.array_equal(cells, np.rot90(cells, 2))


# Sizes.


@pytest.mark.parametrize("columns", [4, 5, 17, 40, 61, 130])
@pytest.mark.parametrize("trim", [True, False])
def test_the_width_asked_for_is_the_width_of_the_chart(jug, columns, trim):
    chart = chart_from_image(jug, columns, trim=trim, lines="none")
    assert chart.cells.shape[1] == columns
    assert chart.cells.any()
    if trim:
        assert chart.cells[:, 0].any() and chart.cells[:, -1].any()
        assert chart.cells[0].any() and chart.cells[-1].any()


def test_rows_rule_when_columns_are_left_out(jug):
    chart = chart_from_image(jug, None, rows=33, lines="none")
    assert chart.cells.shape[0] == 33
    assert chart_from_image(jug, 30, rows=50, lines="none").cells.shape == (50, 30)


@pytest.mark.parametrize("columns", [36, 39, 42, 44])
def test_trimming_leaves_the_paper_out(jug, columns):
    """At 35, 40 and 41 wide two grids are as clear as each other, and either is taken."""
    wide = cv2.copyMakeBorder(jug, 150, 40, 20, 300, cv2.BORDER_CONSTANT, value=255)
    one, other = reduce_picture(jug, options(columns)), reduce_picture(wide, options(columns))
    assert one.cells.shape == other.cells.shape
    assert (one.cells != other.cells).mean() < 0.04
    assert cells_of(wide, columns, trim=False).sum() < 0.6 * one.cells.sum()


def test_placement_leads_from_hole_to_picture(jug):
    found = reduce_picture(jug, options(40))
    truth = jug < 128
    centres = np.argwhere(found.cells) + 0.5
    at = (found.placement @ np.column_stack([centres, np.ones(len(centres))]).T).T
    near = cv2.dilate(truth.astype(np.uint8), np.ones((13, 13), np.uint8))
    assert near[at[:, 0].astype(int), at[:, 1].astype(int)].all()


# Quality on our own drawings.


@pytest.mark.parametrize("columns", [30, 60])
@pytest.mark.parametrize("worn", ["clean", "photo", "pencil"])
def test_strokes_survive(columns, worn):
    picture = sketch(800)
    seen = {"clean": lambda p: p, "photo": lambda p: photograph(p, 11), "pencil": lambda p: pencil(p, 11)}[worn](
        picture
    )
    found = reduce_picture(seen, options(columns, deskew=False))
    measured, faults = measure(picture < 128, found.cells, found.placement)
    assert measured.structure == 1, faults
    assert measured.recall > 0.999 and measured.precision == 1 and measured.isolated == 0


def test_solid_shapes_agree():
    picture = solid(700)
    for seen in (picture, photograph(picture, 5)):
        found = reduce_picture(seen, options(60))
        measured, faults = measure(picture < 128, found.cells, found.placement)
        assert not faults
        assert measured.agreement > 0.97


def test_scores_of_the_binarisation_contests():
    """F-measure and DRD of a chart against the ideal raster, area coverage of one half and more on the chart's grid.

    (DIBCO evaluation pages; H. Lu, A. Kot, Y. Q. Shi 2004: lower is better, the best of DIBCO 2009 scored about 2.)
    """
    picture = solid(700)
    found = reduce_picture(photograph(picture, 2), options(60, mirror="none", deskew=False))
    ideal = coverage_of(lay_truth(picture < 128, found.placement, found.cells.shape))[MARGIN:-MARGIN, MARGIN:-MARGIN]
    assert f_measure(ideal >= 0.5, found.cells) > 0.985
    assert drd(ideal >= 0.5, found.cells) < 1.0


def test_kinds_are_told_apart():
    assert reduce_picture(sketch(), options(40)).kind == "line"
    assert reduce_picture(solid(), options(40)).kind == "shape"
    horse = np.where(skimage.data.horse(), 255, 0).astype(np.uint8)
    assert reduce_picture(horse, options(60)).kind == "shape"
    for name in ("camera", "coffee", "chelsea"):
        found = reduce_picture(getattr(skimage.data, name)()[::2, ::2], options(40))
        assert found.kind == "photo" and "photograph" in found.reason


def test_the_horse_keeps_its_shape():
    """scikit-image's horse: one part; at 120 stitches wide its agreement with the area coverage is high."""
    horse = ~skimage.data.horse()
    found = reduce_picture(np.where(horse, 0, 255).astype(np.uint8), options(100))
    measured, _ = measure(horse, found.cells, found.placement)
    assert measured.agreement > 0.96


def test_a_photograph_has_few_scattered_stitches():
    for name in ("camera", "coffee", "rocket"):
        cells = cells_of(getattr(skimage.data, name)()[::2, ::2], 60, trim=False)
        _, _, stats, _ = cv2.connectedComponentsWithStats(cells.view(np.uint8), connectivity=8)
        small = stats[1:, cv2.CC_STAT_AREA] < 3
        assert small.sum() <= 2, name
        assert 0.03 < cells.mean() < 0.75, name


def test_an_object_with_four_openings_has_euler_number_minus_three():
    """One part and four gaps: 1 - 4 = -3 (the kind of example on the MathWorks page for bweuler)."""
    from skimage.measure import euler_number

    picture = np.full((600, 600), 255, np.uint8)
    for x, y in ((200, 200), (400, 200), (200, 400), (400, 400)):
        cv2.circle(picture, (x, y), 99, 0, 16, cv2.LINE_AA)
    cv2.circle(picture, (300, 300), 80, 0, -1, cv2.LINE_AA)
    for columns in (30, 45, 60):
        assert euler_number(cells_of(picture, columns), connectivity=2) == -3


# Every setting acts.


def test_dark_takes_more_or_less():
    ramp = np.full((200, 300), 255, np.uint8)
    for k, level in enumerate((20, 120, 190)):
        cv2.circle(ramp, (60 + 90 * k, 100), 35, int(level), -1, cv2.LINE_AA)
    few, usual, many = (cells_of(ramp, 40, dark=d, trim=False).sum() for d in (-90, 0, 90))
    assert few < usual <= many
    coffee = skimage.data.coffee()
    few, usual, many = (cells_of(coffee, 40, dark=d, trim=False).sum() for d in (-40, 0, 40))
    assert few < usual < many


def test_detail_closes_small_gaps(jug):
    comb = np.full((300, 300), 255, np.uint8)
    for k in range(8):
        comb[60:240, 60 + 23 * k : 74 + 23 * k] = 0
    bold, full = (reduce_picture(comb, options(16, detail=d, mirror="none")) for d in (0, 100))
    assert bold.cells.mean() > full.cells.mean()


def test_tidy_sweeps_small_groups(jug):
    dusty = jug.copy()
    for k in range(6):
        cv2.circle(dusty, (60 + 70 * k, 455), 4, 0, -1)
    rough, usual, clean = (cells_of(dusty, 40, tidy=t, trim=False).sum() for t in (0, 50, 100))
    assert rough >= usual > clean


def test_crop_turn_and_invert_reach_the_picture(jug):
    crop = (10.0, 10.0, 60.0, 90.0)
    height, width = jug.shape
    by_hand = jug[int(0.1 * height) : int(0.9 * height), int(0.1 * width) : int(0.6 * width)]
    assert np.array_equal(cells_of(jug, 30, crop=crop), cells_of(by_hand, 30))
    turned = reduce_picture(jug, options(rows=40, turn=90)).cells
    assert np.array_equal(turned, np.rot90(cells_of(jug, 40), -1))
    assert np.array_equal(cells_of(255 - jug, 40, invert=True), cells_of(jug, 40))


def test_crop_moves_the_placement(jug):
    found = reduce_picture(jug, options(30, crop=(10, 10, 100, 100), turn=180))
    truth = jug < 128
    centres = np.argwhere(found.cells) + 0.5
    at = (found.placement @ np.column_stack([centres, np.ones(len(centres))]).T).T
    near = cv2.dilate(truth.astype(np.uint8), np.ones((17, 17), np.uint8))
    assert near[at[:, 0].astype(int), at[:, 1].astype(int)].mean() > 0.99


def test_kind_asked_for_is_kind_taken(jug):
    for kind in ("line", "shape", "photo"):
        found = reduce_picture(jug, options(40, kind=kind))
        assert found.kind == kind and "as asked" in found.reason


def test_light_on_dark_is_turned_round_by_itself(jug):
    found = reduce_picture(255 - jug, options(43))
    assert "light on dark" in found.reason
    measured, faults = measure(jug < 128, found.cells, found.placement)
    assert not faults and measured.precision == 1
    upright = reduce_picture(jug, options(43))
    assert found.cells.shape == upright.cells.shape and (found.cells != upright.cells).mean() < 0.02


@pytest.mark.parametrize(
    ("mirror", "image"),
    [("upright", lambda c: c[:, ::-1]), ("level", lambda c: c[::-1]), ("both", lambda c: c[::-1, ::-1])],
)
def test_mirror_makes_the_chart_symmetric(jug, mirror, image):
    for turn in (0, 90):
        cells = cells_of(jug, 40, mirror=mirror, turn=turn)
        assert np.array_equal(cells, image(cells))
    plain = cells_of(jug, 40, mirror="none")
    assert not np.array_equal(plain, image(plain))


def test_a_nearly_symmetric_drawing_becomes_symmetric():
    picture = np.full((500, 500), 255, np.uint8)
    cv2.circle(picture, (250, 250), 150, 0, 12, cv2.LINE_AA)
    cv2.line(picture, (100, 300), (400, 300), 0, 10, cv2.LINE_AA)
    cv2.circle(picture, (190, 200), 14, 0, -1, cv2.LINE_AA)
    cv2.circle(picture, (311, 201), 14, 0, -1, cv2.LINE_AA)
    cells = cells_of(photograph(picture, 8), 45)
    assert np.array_equal(cells, cells[:, ::-1])


def test_deskew_straightens(jug):
    frame = np.full((600, 600), 255, np.uint8)
    cv2.rectangle(frame, (150, 180), (450, 420), 0, 8)
    cv2.line(frame, (150, 260), (450, 260), 0, 8)
    tilted = cv2.warpAffine(frame, cv2.getRotationMatrix2D((300, 300), 2.3, 1), (600, 600), borderValue=255)
    straight = reduce_picture(tilted, options(40))
    crooked = reduce_picture(tilted, options(40, deskew=False))
    assert "2.3 degrees" in straight.reason
    assert straight.cells[0].all() and not crooked.cells[0].all()
    # The placement tells where the tilted picture has it: the corner of the frame.
    corner = straight.placement @ [0, 0, 1]
    tilt = cv2.getRotationMatrix2D((300, 300), 2.3, 1) @ [150, 180, 1]
    assert np.hypot(corner[0] - tilt[1], corner[1] - tilt[0]) < 12


def test_subject_leaves_the_rest_bare():
    coffee = skimage.data.coffee()
    box = (8, 2, 78, 98)
    found = reduce_picture(coffee, options(60, trim=False, subject=box, kind="photo"))
    whole = reduce_picture(coffee, options(60, trim=False, kind="photo"))
    right = int(60 * 0.8)
    assert not found.cells[:, right:].any()
    assert whole.cells[:, right:].any() and found.cells.any()


def test_clear_leaves_an_area_out_and_keep_keeps_it():
    picture = sketch(480)
    for x in range(310, 460, 16):
        cv2.circle(picture, (x, 450), 3, 0, -1)
    mask = np.zeros(picture.shape, bool)
    mask[430:470, 290:470] = True
    cells = {
        "plain": cells_of(picture, 48, trim=False, tidy=100),
        "kept": cells_of(picture, 48, trim=False, tidy=100, keep=mask),
        "cleared": cells_of(picture, 48, trim=False, tidy=0, clear=mask),
    }
    corner = (slice(43, 47), slice(30, 47))
    assert not cells["plain"][corner].any() and cells["kept"][corner].any() and not cells["cleared"][corner].any()
    with pytest.raises(UsageError, match="keep mask"):
        cells_of(picture, 48, keep=mask[:10])


def test_two_colours_equally_dark_are_told_apart():
    """By ITU-R BT.601, luma of both: 0.299 R + 0.587 G + 0.114 B, 82."""
    red, green = np.array([180, 40, 40]), np.array([20, 112, 90])
    assert all(round(float(c @ [0.299, 0.587, 0.114])) == 82 for c in (red, green))
    ink = 1 - sketch(500)[..., None] / 255
    plain = reduce_picture(sketch(500), options(40))
    for pen, ground in ((red, green), (green, red)):
        found = reduce_picture(np.rint(ink * pen + (1 - ink) * ground).astype(np.uint8), options(40))
        assert found.kind == "line" and found.cells.shape == plain.cells.shape
        measured, _ = measure(sketch(500) < 128, found.cells, found.placement)
        assert measured.recall > 0.998 and measured.precision == 1
    flag = np.zeros((120, 180, 3), np.uint8)
    flag[:, :60], flag[:, 60:] = red, green
    assert reduce_picture(flag, options(20)).cells.all()


# Readability and losses.


def test_ink_on_paper_in_a_hard_shadow_is_line_work():
    """A photographed text page (`skimage.data.page`); a drawing on a board, and chalk, are drawn light on dark."""
    found = reduce_picture(skimage.data.page(), options(60))
    # Of the shadow nothing is filled: the paper between the two paragraphs, half in the shadow, is bare.
    rows = len(found.cells)
    assert found.kind == "line" and not found.cells[round(0.7 * rows) : round(0.85 * rows)].any()
    assert found.cells.mean() < 0.4
    for worn in (255 - photograph(sketch(700), 12), 255 - pencil(sketch(700), 3)):
        found = reduce_picture(worn, options(40))
        assert found.kind == "line" and "light on dark" in found.reason
        measured, _ = measure(sketch(700) < 128, found.cells, found.placement)
        assert measured.recall > 0.99 and measured.precision > 0.99


def test_a_pale_area_without_an_outline_gets_one():
    """A beetle, black spots on a red back: the back is too pale beside black to be filled, so its edge is drawn."""
    beetle = np.full((600, 600, 3), 255, np.uint8)
    cv2.ellipse(beetle, (300, 330), (200, 230), 0, 0, 360, (214, 60, 50), -1, cv2.LINE_AA)
    cv2.circle(beetle, (300, 110), 70, (30, 30, 30), -1, cv2.LINE_AA)
    for x, y in ((230, 300), (370, 300), (240, 420), (360, 420)):
        cv2.circle(beetle, (x, y), 34, (30, 30, 30), -1, cv2.LINE_AA)
    for seen in (beetle, 255 - beetle):
        found = reduce_picture(seen, options(50))
        assert "edges are drawn as lines" in found.reason
        assert found.cells.shape[0] >= 60
        back = found.cells[found.cells.shape[0] // 2 :]
        assert back.any(axis=1).all() and back[:, 0].any() and back[:, -1].any()
        assert np.array_equal(found.cells, found.cells[:, ::-1])
    # The edge of a darker table round a sheet of paper is none.
    table = cv2.copyMakeBorder(sketch(500), 90, 90, 90, 90, cv2.BORDER_CONSTANT, value=150)
    assert "edges" not in reduce_picture(table, options(40)).reason


def test_readability_falls_with_the_size_and_says_what_is_lost():
    wheel = np.full((420, 420), 255, np.uint8)
    cv2.circle(wheel, (210, 210), 180, 0, 6, cv2.LINE_AA)
    for k in range(14):
        a = k * np.pi / 7 + 0.05
        end = (round(210 + 180 * np.cos(a)), round(210 + 180 * np.sin(a)))
        cv2.line(wheel, (210, 210), end, 0, 4, cv2.LINE_AA)
    found = [reduce_picture(wheel, options(w, mirror="none")) for w in (10, 16, 40, 80)]
    marks = [f.readability for f in found]
    assert max(marks[:2]) < 50 < min(marks[2:])
    assert found[0].losses and found[0].loss_mask.any()
    assert found[0].loss_mask.shape == wheel.shape
    assert not found[-1].losses or len(found[-1].losses) <= len(found[0].losses)


def test_a_text_page_reads_badly_until_its_letters_can_be_told_apart():
    """skimage.data.page: letters a stitch high are dashes at 60 wide; at 240 wide most can be read."""
    marks = [reduce_picture(skimage.data.page(), options(w)).readability for w in (60, 100, 240)]
    assert marks[0] < 45 < marks[2] and marks[0] < marks[1] < marks[2]


def test_a_drawing_reads_the_better_the_wider_it_is():
    """Lines that lie close together run into one bar when the drawing is small: from the pairs she would compare."""
    snail = cv2.imread(str(FIXTURES / "pictures" / "snail-photo.jpg"))[:, :, ::-1]
    marks = [reduce_picture(snail, options(w)).readability for w in (20, 29, 36, 50)]
    assert marks == sorted(marks) and marks[-1] > marks[0] + 40


def test_of_two_charts_the_plainly_better_one_reads_better():
    from converter.raster.readability import judge

    rng = np.random.default_rng(0)
    for picture in (sketch(720), solid(720)):
        laid = cv2.resize((picture < 128).astype(np.float32), (48 * 12, 48 * 12), interpolation=cv2.INTER_AREA) >= 0.5
        good = cv2.resize(laid.astype(np.float32), (48, 48), interpolation=cv2.INTER_AREA) >= 0.4
        noisy = good ^ (rng.random(good.shape) < 0.06)
        moved = np.roll(good, 2, axis=1)
        eaten = good & (rng.random(good.shape) < 0.6)
        fat = cv2.dilate(good.view(np.uint8), np.ones((3, 3), np.uint8)) > 0
        best = judge(laid, good, 12).readability
        for worse in (noisy, moved, eaten, fat, np.zeros_like(good)):
            assert judge(laid, worse, 12).readability < best - 5


# Bad input.


@pytest.mark.parametrize("level", [0, 128, 255])
def test_a_blank_picture_is_refused(level):
    with pytest.raises(RequestError, match="blank") as caught:
        chart_from_image(np.full((50, 60), level, np.uint8), 20)
    assert caught.value.hint


def test_wrong_arrays_and_settings_are_refused(jug):
    with pytest.raises(UsageError):
        chart_from_image(jug.astype(float), 20)
    with pytest.raises(UsageError):
        chart_from_image(jug, 20, colour=True)
    with pytest.raises(UsageError):
        chart_from_image(jug, 3)


def test_a_chart_too_long_for_any_cloth_is_refused():
    strip = np.full((3000, 60), 255, np.uint8)
    strip[5:-5, 15:45] = 0
    with pytest.raises(RequestError, match="most on a side"):
        chart_from_image(strip, 60)


def test_odd_pictures_give_charts():
    dot = np.full((300, 300), 255, np.uint8)
    dot[150, 150] = 0
    one = np.full((2, 2), 255, np.uint8)
    one[0, 0] = 0
    line = np.full((1, 200), 255, np.uint8)
    line[0, 20:60] = 0
    clear = np.zeros((80, 80, 4), np.uint8)
    clear[20:60, 30:50, 3] = 255
    noise = np.random.default_rng(0).integers(0, 256, (120, 90, 3), dtype=np.uint8)
    for picture in (dot, one, line, clear, noise, noise[..., 0]):
        chart = chart_from_image(picture, 12, lines="none")
        assert chart.cells.shape[1] == 12 and chart.cells.any()


def test_transparent_ground_is_white_paper(jug):
    rgba = np.zeros((*jug.shape, 4), np.uint8)
    rgba[..., 3] = 255 - jug
    assert np.array_equal(cells_of(rgba, 40), cells_of(jug, 40))


def test_same_input_same_chart(jug):
    assert np.array_equal(cells_of(jug, 50), cells_of(jug.copy(), 50))
