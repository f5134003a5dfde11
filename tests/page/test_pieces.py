"""From a piece's state to its chart: the same bytes as the command, and corrections that stay."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from converter.errors import ConverterError, PictureError, UsageError
from converter.jobs.piece_state import check_state, new_state
from converter.jobs.pieces import Bench
from tests.page.hands import Hands, cells_of, run_command, squared_paper


@pytest.mark.parametrize(
    ("change", "options"),
    [
        ({"options": {"wide": 24}}, ["--wide", "24"]),
        (
            {
                "options": {
                    "wide": 20,
                    "fabric": [28, 2],
                    "thread_colour": "#204060",
                    "ground": "#f4ecd8",
                    "thread_name": "Dark blue",
                    "strands": 1,
                    "paper": "letter",
                },
                "settings": {"dark": 15, "detail": 70, "lines": "none", "crop": [0, 0, 100, 60], "turn": 90},
            },
            ["--wide", "20", "--fabric", "28/2", "--thread", "#204060", "--ground", "#f4ecd8",
             "--thread-name", "Dark blue", "--strands", "1", "--paper", "letter",
             "--dark", "15", "--detail", "70", "--lines", "none",
             "--crop", "0,0,100,60", "--turn", "90"],
        ),
    ],
)  # fmt: skip
def test_page_gives_byte_for_byte_what_the_command_gives(studio, small_key, tmp_path, change, options):
    picture = small_key
    piece = Hands(studio, picture)
    piece.change(**change)
    run_command("chart", picture, "--out", tmp_path, *options)
    for kind, name in (
        ("chart-file", "key.chart.json"),
        ("chart-picture", "key.png"),
        ("cloth-picture", "key-stitched.png"),
        ("leaflet", "key.pdf"),
        ("report", "key.txt"),
        ("figures", "key.report.json"),
    ):
        assert studio.take(piece.id, kind).data == (tmp_path / name).read_bytes(), name


def test_what_is_left_out_is_shown_on_the_picture_or_said_not_to_be(key, star):
    made = key.studio._bench(key.id, {}).make(key.studio.workspace.history(key.id).state)
    if made.reduction.losses and made.reduction.loss_mask.any():
        assert key.studio.take(key.id, "left-out").data.startswith(b"\x89PNG")
    with pytest.raises(ConverterError):
        star.studio.take(star.id, "left-out")


def test_border_is_that_of_the_command(studio, fixtures, tmp_path):
    piece = Hands(studio, fixtures / "charts" / "star.chart.json")
    plans = studio.borders(piece.id, {"strips": ["hearts"], "gap": 2})["plans"]
    piece.change(border={"strips": ["hearts"], "gap": 2, "plan": plans[1]["plan"]})
    run_command(
        "border", fixtures / "charts" / "star.chart.json", "--strip", "hearts", "--gap", "2", "--plan", "2",
        "--out", tmp_path, "--name", "star",
    )  # fmt: skip
    from converter.files.chart_file import load_chart

    made = load_chart(tmp_path / "star.chart.json")
    assert np.array_equal(made.cells, cells_of(piece.view))
    assert made.lines.ravel().tolist() == piece.view["lines"]


def test_leaflet_of_a_kind_of_piece_is_that_of_the_command(studio, fixtures, tmp_path):
    chart = fixtures / "charts" / "star.chart.json"
    piece = Hands(studio, chart)
    piece.change(options={"piece": "sachet", "large": True})
    run_command("leaflet", chart, "--piece", "sachet", "--large", "--no-order", "--out", tmp_path, "--name", "star")
    assert studio.take(piece.id, "leaflet").data == (tmp_path / "star.pdf").read_bytes()


def test_corrections_are_on_the_chart_and_in_every_file(key):
    before = cells_of(key.view)
    row, col = (int(v) for v in np.argwhere(~before)[0])
    key.hand(cells=[row, col, 1], lines=[[0, 0, 2, 2, 1]])
    after = cells_of(key.view)
    assert (before != after).sum() == 1 and after[row, col]
    assert key.view["corrections"] == 2
    text = key.studio.take(key.id, "chart-file").data.decode()
    assert "[[0, 0], [2, 2]]" in text


def test_corrections_stay_when_settings_leave_the_grid_alone(key):
    """The same place of the picture stays stitched, even if a row of blank paper more or less stands above it."""
    bare = np.argwhere(~cells_of(key.view))
    row, col = (int(v) for v in bare[np.abs(bare - np.array(cells_of(key.view).shape) / 2).sum(axis=1).argmin()])

    def made():
        state = key.studio.workspace.history(key.id).state
        return key.studio._bench(key.id, state).make(state)

    middle = made().chart.placement @ [row + 0.5, col + 0.5, 1]
    key.hand(cells=[row, col, 1])
    for change in (
        {"settings": {"tidy": 90}},
        {"settings": {"dark": 4}},
        {"settings": {"lines": "edges"}},
        {"options": {"ground": "#ffeecc"}},
        {"name": "Old key"},
    ):
        answer = key.change(**change)
        placement = made().chart.placement
        at = np.linalg.solve(placement[:, :2], middle - placement[:, 2])
        assert cells_of(key.view)[tuple(np.floor(at).astype(int))], change
        assert key.view["corrections"] == 1 and key.view["aside"] == 0, change
        assert not any("set aside" in text for text in answer.get("told", []))


def test_correction_after_the_squares_changed_keeps_the_earlier_ones(key):
    key.hand(cells=[40, 2, 1 - int(cells_of(key.view)[40, 2])])
    key.change(settings={"dark": 4})
    assert key.view["corrections"] == 1
    key.hand(cells=[20, 3, 1 - int(cells_of(key.view)[20, 3])])
    assert key.view["corrections"] == 2 and key.view["aside"] == 0
    key.undo()
    assert key.view["corrections"] == 1


def test_corrections_that_cannot_stay_are_set_aside_told_and_come_back(key):
    row, col = (int(v) for v in np.argwhere(~cells_of(key.view))[0])
    key.hand(cells=[row, col, 1])
    answer = key.change(options={"wide": 31})
    assert key.view["corrections"] == 0 and key.view["aside"] == 1
    assert any("set aside" in text for text in answer["told"])
    answer = key.change(options={"wide": 24})
    assert cells_of(key.view)[row, col] and key.view["aside"] == 0
    assert any("back" in text for text in answer["told"])


def test_undo_takes_back_settings_and_corrections_in_turn(key):
    first = cells_of(key.view)
    row, col = (int(v) for v in np.argwhere(~first)[0])
    key.hand(cells=[row, col, 1])
    key.change(options={"wide": 31})
    key.undo()
    assert cells_of(key.view)[row, col]
    key.undo()
    assert np.array_equal(cells_of(key.view), first)
    key.redo()
    assert cells_of(key.view)[row, col]


def test_correction_back_to_what_the_settings_give_leaves_none(key):
    row, col = (int(v) for v in np.argwhere(~cells_of(key.view))[0])
    key.hand(cells=[row, col, 1])
    key.hand(cells=[row, col, 0])
    assert key.view["corrections"] == 0


def test_kept_area_is_held_and_can_be_let_go(key):
    area = [
        row_col for row in range(3) for col in range(3) for row_col in (row, col, int(cells_of(key.view)[row, col]))
    ]
    key.hand(cells=area, hold=True)
    assert key.view["corrections"] == 9
    key.hand(release=[0, 0, 2, 3])
    assert key.view["corrections"] == 3


def test_corrections_in_border_and_motif_go_with_their_own_grid(key):
    plan = key.studio.borders(key.id, {"strips": ["checks"], "gap": 3})["plans"][0]
    key.change(border={"strips": ["checks"], "gap": 3, "plan": plan["plan"]})
    top, left, _, _ = key.view["motif"]
    cells = cells_of(key.view)
    key.hand(cells=[0, 0, int(not cells[0, 0]), top, left, int(not cells[top, left])])
    assert key.view["corrections"] == 2
    answer = key.change(border=None)
    assert key.view["corrections"] == 1 and key.view["aside"] == 1 and answer["told"]
    assert cells_of(key.view)[0, 0] == (not cells[top, left])
    key.undo()
    assert key.view["corrections"] == 2


def test_letters_stand_below_the_motif(key):
    rows = key.view["rows"]
    key.change(letters={"text": "Anna 1926", "place": "below"})
    assert key.view["rows"] > rows and key.view["motif"][2] == rows
    motif = cells_of(key.view)[:rows, key.view["motif"][1] :][:, :24]
    key.change(letters=None)
    assert np.array_equal(cells_of(key.view), motif)


def test_guess_while_a_control_moves_is_near_what_comes(studio, fixtures, tmp_path):
    small = tmp_path / "heron.png"
    with Image.open(fixtures / "pictures" / "heron.png") as image:
        image.resize((image.width // 3, image.height // 3), Image.Resampling.BOX).save(small)
    piece = Hands(studio, small, options={"wide": 40}, settings={"lines": "none"})
    unmoved = studio.preview(piece.id, {"change": {"settings": {"dark": 0}}})["view"]
    assert unmoved["bits"] == piece.view["bits"]
    guessed = cells_of(studio.preview(piece.id, {"change": {"settings": {"dark": 60}}})["view"])
    piece.change(settings={"dark": 60})
    made = cells_of(piece.view)
    rows = min(len(guessed), len(made))
    assert guessed.sum() >= 0.8 * made.sum()
    assert (guessed[:rows] != made[:rows]).mean() < 0.1


def test_guess_at_a_photograph_is_much_nearer_than_what_stood_before(studio, tmp_path):
    """Soft hills of tone: which squares are dark enough moves with the control, and the guess moves along."""
    row, col = np.mgrid[0:300, 0:400] / 40.0
    tones = 128 + 60 * np.sin(row) * np.cos(col) + 50 * np.sin(row / 2.3 + col / 3.1)
    Image.fromarray(np.clip(tones, 0, 255).astype(np.uint8)).save(tmp_path / "hills.png")
    settings = {"kind": "photo", "lines": "none", "trim": False}
    piece = Hands(studio, tmp_path / "hills.png", options={"wide": 60}, settings=settings)
    before = cells_of(piece.view)
    change = {"settings": {"dark": 20}}
    guessed = cells_of(studio.preview(piece.id, {"change": change})["view"])
    in_full = studio.preview(piece.id, {"change": change, "full": True})["view"]
    piece.change(**change)
    made = cells_of(piece.view)
    assert (made != before).mean() > 0.02
    assert (made != guessed).sum() < 0.5 * (made != before).sum()
    assert in_full["bits"] == piece.view["bits"]


def test_preview_keeps_nothing(key):
    size = (key.studio.workspace.folder / key.id / "journal.jsonl").stat().st_size
    key.studio.preview(key.id, {"change": {"settings": {"dark": 40}, "options": {"wide": 30}}})
    assert (key.studio.workspace.folder / key.id / "journal.jsonl").stat().st_size == size
    assert key.studio.piece(key.id)["view"]["columns"] == 24


def test_chart_file_comes_in_as_it_is(studio, fixtures):
    piece = Hands(studio, fixtures / "charts" / "cup.chart.json")
    assert piece.answer["state"]["what"] == "chart" and piece.answer["state"]["name"] == "Cup"
    assert (piece.view["rows"], piece.view["columns"]) == (18, 18) and len(piece.view["lines"]) == 44
    assert (piece.view["count"], piece.view["over"], piece.view["ground"]) == (28.0, 2, "#f7f1e3")


def test_sizes_side_by_side_and_the_largest_within_her_hours(key):
    sizes = key.studio.sizes(key.id, {"widths": [16, 24]})["sizes"]
    assert [one["columns"] for one in sizes] == [16, 24]
    assert sizes[0]["facts"]["stitches"] < sizes[1]["facts"]["stitches"]
    hours = sizes[1]["facts"]["hours"]["likely"]
    answer = key.studio.fit(key.id, {"change": {"options": {"hours": round(hours, 1)}}})
    assert 16 <= answer["wide"] <= 26
    assert answer["words"] and not any("--" in text for text in answer["words"])


def test_piece_is_the_same_after_reopening(key, tmp_path):
    row, col = (int(v) for v in np.argwhere(~cells_of(key.view))[0])
    key.hand(cells=[row, col, 1])
    key.change(letters={"text": "A", "place": "below"})
    key.studio.workspace.close()
    from converter.jobs.workspace import Workspace
    from converter.page.studio import Studio

    again = Studio(Workspace(tmp_path / "pieces"))
    answer = again.piece(key.id)
    assert answer["view"] == key.view and answer["undo"] == key.answer["undo"]
    again.workspace.close()


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"settings": {"dark": 500}},
        {"settings": {"unknown": 1}},
        {"settings": {"crop": [0, 0, 100]}},
        {"settings": {"kind": "oil"}},
        {"settings": {"turn": "90"}},
        {"settings": {"dark": "much"}},
        {"settings": {"subject": {}}},
        {"options": {"wide": 3}},
        {"options": {"wide": 40.5}},
        {"options": {"wide": True}},
        {"options": {"fabric": [14]}},
        {"options": {"fabric": ["a", "b"]}},
        {"options": {"fabric": [1000, 1]}},
        {"options": {"fabric": [14, 1.5]}},
        {"options": {"thread_colour": "red"}},
        {"options": {"thread_colour": 5}},
        {"options": {"ground": "#12"}},
        {"options": {"thread_name": "a\nb"}},
        {"options": {"piece": "curtain"}},
        {"options": {"hours": -1}},
        {"options": {"paper": "A3"}},
        {"options": {"units": "ell"}},
        {"options": {"large": "yes"}},
        {"options": []},
        {"name": 5},
        {"name": ""},
        {"name": "x" * 200},
        {"what": "film"},
        {"border": {"strips": ["nothing"]}},
        {"border": {"strips": []}},
        {"border": {"strips": ["checks"], "gap": -1}},
        {"border": "checks"},
        {"letters": {"text": ""}},
        {"letters": {"text": "x" * 100}},
        {"letters": {"text": "a", "place": "moon"}},
        {"letters": {"text": "a\x00"}},
        {"hands": {}},
        {"file": "x"},
        [],
        None,
    ],
)
def test_change_that_makes_no_sense_is_refused_and_changes_nothing(star, change):
    key = star
    before = key.studio.piece(key.id)
    with pytest.raises(ConverterError):
        key.studio.step(key.id, {"change": change, "label": "x", "revision": before["revision"]})
    assert key.studio.piece(key.id) == before


@pytest.mark.parametrize(
    "hand",
    [
        {"cells": [0, 0]},
        {"cells": [0, 0, 2]},
        {"cells": [-1, 0, 1]},
        {"cells": [0, 17, 1]},
        {"cells": [0.5, 0, 1]},
        {"cells": [True, 0, 1]},
        {"cells": "x"},
        {"lines": [[0, 0, 0, 0, 1]]},
        {"lines": [[0, 0, 0, 99, 1]]},
        {"lines": [[0, 0, 0.3, 1, 1]]},
        {"lines": [[0, 0, 1]]},
        {"lines": [5]},
        {"release": [1, 2]},
        {"rows": 5, "columns": 5},
    ],
)
def test_correction_that_does_not_fit_is_refused(star, hand):
    key = star
    before = key.studio.piece(key.id)
    with pytest.raises(UsageError):
        key.hand(**hand)
    assert key.studio.piece(key.id) == before


def test_state_of_a_file_that_is_neither_picture_nor_chart_is_refused():
    for data in (b"hello", b"%PDF-1.4", b"{}", b'{"format": "onecolour chart"}', b"\x89PNG\r\n\x1a\n", b"<svg/>"):
        with pytest.raises(PictureError):
            Bench(data, "x.png").make(new_state(data, "x.png"))


def test_file_name_is_kept_as_text_only(fixtures):
    state = new_state((fixtures / "pictures" / "key.png").read_bytes(), "..\\..\\évil/../kéy.v2.png")
    assert state["file"] == "kéy.v2.png" and state["name"] == "Kéy.v2"
    check_state(state)


def test_pictures_are_read_once_for_widths_that_need_the_same_pixels(fixtures):
    bench = Bench((fixtures / "pictures" / "key.png").read_bytes(), "key.png")
    assert bench.picture(30) is bench.picture(80)


def test_squared_paper_is_offered_and_read_square_by_square(studio, fixtures, tmp_path):
    bare = "." * 21
    star = [f"..{row}.." for row in (fixtures / "grids" / "star.txt").read_text().split()]
    squared_paper([bare, bare, *star, bare, bare]).save(tmp_path / "paper.png")
    piece = Hands(studio, tmp_path / "paper.png", settings={"lines": "none"}, options={"wide": 30})
    found = studio.squares(piece.id)
    assert found["squares"]
    assert "“The picture”" in found["notes"][0] and "onecolour" not in found["notes"][0]
    run_command("chart", tmp_path / "paper.png", "--wide", "30", "--lines", "none", "--out", tmp_path / "made")
    report = studio.take(piece.id, "report").data.decode()
    assert "squared paper" in report
    for kind, name in (("report", "paper.txt"), ("figures", "paper.report.json"), ("leaflet", "paper.pdf")):
        assert studio.take(piece.id, kind).data == (tmp_path / "made" / name).read_bytes(), name
    piece.change(what="squares")
    cells = cells_of(piece.view)
    used = cells[np.ix_(cells.any(axis=1), cells.any(axis=0))]
    wanted = np.array([[mark == "#" for mark in row] for row in star])
    wanted = wanted[np.ix_(wanted.any(axis=1), wanted.any(axis=0))]
    assert np.array_equal(used, wanted)
    assert piece.view["doubtful"] == []


def test_plain_drawing_is_not_offered_as_squared_paper(key):
    assert not key.studio.squares(key.id)["squares"]
    with pytest.raises(PictureError):
        key.change(what="squares")
