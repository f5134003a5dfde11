"""``onecolour border`` from the outside."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from converter.cli.border import command
from converter.cli.main import group
from converter.compose import border_strips
from converter.compose.fit import fit_borders
from converter.files.chart_file import load_chart, save_chart
from converter.files.grids import text_from_cells
from converter.jobs.border_parts import change_strip, outer_stitches, read_strip
from converter.model.chart import Chart
from converter.model.materials import Fabric


def run(*words):
    return CliRunner().invoke(group, ["border", *(str(w) for w in words)])


@pytest.fixture
def gate(tmp_path) -> Path:
    cells = np.zeros((16, 22), dtype=bool)
    cells[::3] = True
    cells[:, 0] = cells[:, -1] = True
    path = tmp_path / "gate.chart.json"
    save_chart(Chart(cells, lines=np.array([[[0.0, 0.0], [1.0, 1.0]]]), title="Gate", fabric=Fabric(16)), path)
    return path


def made(tmp_path, name="gate-border") -> Chart:
    return load_chart(tmp_path / "o" / f"{name}.chart.json")


def test_files_and_words(gate, tmp_path):
    result = run(gate, "--strip", "zigzag", "--out", tmp_path / "o")
    assert result.exit_code == 0, result.output
    assert sorted(p.name for p in (tmp_path / "o").iterdir()) == [
        "gate-border-plans.png", "gate-border.chart.json", "gate-border.png",
    ]  # fmt: skip
    plan = fit_borders(load_chart(gate), "zigzag", count=1)[0]
    chart = made(tmp_path)
    assert np.array_equal(chart.cells, plan.cells)
    assert np.array_equal(chart.lines, plan.lines)
    assert chart.title == "Gate" and chart.fabric == Fabric(16)
    assert plan.describe() in " ".join(result.output.split())
    with Image.open(tmp_path / "o" / "gate-border-plans.png") as image:
        assert image.width > 300


def test_json_is_the_only_output(gate, tmp_path):
    result = run(gate, "--strip", "hearts", "--json", "--plan", 2, "--plans", 5, "--out", tmp_path / "o")
    report = json.loads(result.output)
    assert report["chosen"] == 2
    assert [plan["plan"] for plan in report["plans"]] == list(range(1, len(report["plans"]) + 1))
    assert len(report["plans"]) <= 5
    chosen = report["plans"][1]
    assert (report["columns"], report["rows"]) == (chosen["columns"], chosen["rows"])
    assert report["stitches"] == int(made(tmp_path).cells.sum())
    assert chosen["symmetry"] in ("D4", "D2")
    assert all(Path(file).is_file() for file in report["files"])


def test_no_strip_tries_them_all(gate, tmp_path):
    result = run(gate, "--json", "--plans", 60, "--out", tmp_path / "o")
    report = json.loads(result.output)
    assert sorted(plan["strip"] for plan in report["plans"]) == sorted(border_strips())
    costs = [plan["cost"] for plan in report["plans"]]
    assert costs == sorted(costs)


def test_several_borders_with_gaps(gate, tmp_path):
    result = run(gate, "--strip", "line", "--strip", "hearts", "--gap", "2,1", "--out", tmp_path / "o")
    assert result.exit_code == 0, result.output
    assert len(made(tmp_path).lines) > 1
    assert run(gate, "--strip", "line", "--gap", "2,1", "--out", tmp_path / "p").exit_code == 2


def test_outer_size_in_stitches_and_from_cloth(gate, tmp_path):
    run(gate, "--strip", "lozenges", "--outer", "56x84", "--out", tmp_path / "o")
    assert made(tmp_path).cells.shape == (84, 56)
    # 16 count: 1.5875 mm a stitch; 20 cm less twice 5 cm are 62.99 stitches, so 62.
    run(gate, "--strip", "dots", "--cloth", "20x20cm", "--margin", "5cm", "--out", tmp_path / "o", "--overwrite")
    assert made(tmp_path).cells.shape == (62, 62)
    both = run(gate, "--strip", "dots", "--cloth", "20x20cm", "--outer", "60x60", "--out", tmp_path / "p")
    assert both.exit_code == 2


def test_fabric_sums_from_outside():
    """Design in stitches from size and count: 140 x 112 stitches at 14 count on a cut of 16 x 14 in with 3 in on every
    side (Cross stitch lessons page 3, best-tex.com); 98 x 140 at 14 on 11 x 14 in with 2 in (Once in a Blue Moon, 14
    count explained); 140 x 105 on 32 count over two, 16 stitches an inch, 8.75 x 6.5625 in (The Strawberry Sampler,
    FAQ)."""
    fourteen = Chart(np.ones((2, 2), dtype=bool), fabric=Fabric(14))
    assert outer_stitches(fourteen, (16 * 25.4, 14 * 25.4), 3 * 25.4) == (112, 140)
    assert outer_stitches(fourteen, (11 * 25.4, 14 * 25.4), 2 * 25.4) == (140, 98)
    linen = Chart(np.ones((2, 2), dtype=bool), fabric=Fabric(32, over=2))
    assert outer_stitches(linen, (8.75 * 25.4, 6.5625 * 25.4)) == (105, 140)


def test_own_strip_from_a_text_file_with_its_repeat_found(gate, tmp_path):
    tile = border_strips()["scallops"]
    shown = np.take(tile, np.arange(3, 3 + 21) % 8, axis=1)
    (tmp_path / "mine.txt").write_text(text_from_cells(shown), encoding="utf-8")
    result = run(gate, "--strip", tmp_path / "mine.txt", "--out", tmp_path / "o")
    assert result.exit_code == 0, result.output
    theirs = run(gate, "--strip", "scallops", "--out", tmp_path / "o", "--name", "t")
    assert theirs.exit_code == 0
    assert np.array_equal(made(tmp_path).cells, made(tmp_path, "t").cells)


def test_own_strip_from_a_picture(tmp_path):
    tile = border_strips()["lozenges"]
    shown = np.pad(np.tile(tile, (1, 3)), 2)
    pixels = np.where(np.kron(shown, np.ones((16, 16), dtype=bool)), 30, 250).astype(np.uint8)
    Image.fromarray(pixels).save(tmp_path / "strip.png")
    strip = read_strip(str(tmp_path / "strip.png"), high=7)
    assert strip.tile.shape == tile.shape
    assert any(np.array_equal(np.roll(strip.tile, k, axis=1), tile) for k in range(6))


def test_rows_doubling_and_mirrors_of_a_strip():
    strip = read_strip("hearts")
    assert np.array_equal(change_strip(strip, (1, 4)).tile, strip.tile[:4])
    assert np.array_equal(change_strip(strip, None, [2]).tile, strip.tile[[0, 1, 1, 2, 3, 4, 5]])
    assert np.array_equal(change_strip(strip, (2, 3), [2]).tile, strip.tile[[1, 1, 2]])
    assert np.array_equal(change_strip(strip, None, (), "level").tile, strip.tile[::-1])
    assert change_strip(strip, None, (), "twin").depth == 12
    assert not change_strip(strip, None, (), "level").upright
    key = read_strip("key")
    assert np.array_equal(change_strip(key, None, (), "upright").tile, key.tile[:, ::-1])
    assert change_strip(strip, None) is strip


def test_rows_option_reaches_the_strip(gate, tmp_path):
    result = run(gate, "--strip", "windows", "--rows", "1-1", "--out", tmp_path / "o")
    assert result.exit_code == 0, result.output
    top = made(tmp_path).cells[0]
    assert top.all()
    assert not made(tmp_path).cells[1, 1:-1].any()


def test_text_below_and_in_the_border(gate, tmp_path):
    result = run(gate, "--strip", "none", "--text", "Jo 84", "--out", tmp_path / "o")
    assert result.exit_code == 0, result.output
    chart = made(tmp_path)
    assert chart.columns >= 22
    assert not chart.cells[16:18].any()
    assert chart.cells[18].any()
    result = run(gate, "--strip", "tulips", "--text", "Margaret and Bartholomew", "--text-place", "border",
                 "--out", tmp_path / "o", "--overwrite")  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "only 'Margaret" in result.output or "only 'Marg" in result.output
    assert (
        run(gate, "--strip", "none", "--text", "Jo", "--text-place", "border", "--out", tmp_path / "q").exit_code == 2
    )
    assert run(gate, "--text", "Ж", "--strip", "dots", "--out", tmp_path / "q").exit_code == 2


def test_text_limit_and_backstitch(gate, tmp_path):
    result = run(gate, "--strip", "none", "--text", "Margaret", "--text-wide", 20, "--text-method", "lines",
                 "--out", tmp_path / "o")  # fmt: skip
    assert "'Margaret' is" in result.output
    chart = made(tmp_path)
    assert not chart.cells[16:].any()
    assert (chart.lines[1:, :, 0] >= 18).all()


def test_text_at_a_square(gate, tmp_path):
    run(gate, "--strip", "none", "--text", "I", "--text-place", "5,5", "--out", tmp_path / "o")
    assert run(gate, "--strip", "none", "--text", "Jo", "--text-place", "99,5", "--out", tmp_path / "q").exit_code == 4
    assert run(gate, "--strip", "none", "--text", "Jo", "--text-place", "left", "--out", tmp_path / "q").exit_code == 2


def test_motif_moves(gate, tmp_path):
    run(gate, "--strip", "none", "--part", "1,1,8,10", "--repeat", "row:3", "--spacing", 4, "--out", tmp_path / "o")
    assert made(tmp_path).cells.shape == (8, 38)
    run(gate, "--strip", "none", "--leave-out", "1,1,16,22", "--join", gate, "--out", tmp_path / "o", "--overwrite")
    chart = made(tmp_path)
    assert chart.cells.shape == (16, 46)
    assert not chart.cells[:, :24].any() and len(chart.lines) == 1
    for repeat, shape in (
        ("ring:3x2", (34, 70)),
        ("grid:2x3", (52, 46)),
        ("scatter:80x60", (60, 80)),
        ("column:2", (34, 22)),
    ):
        run(gate, "--strip", "none", "--repeat", repeat, "--out", tmp_path / "o", "--overwrite")
        assert made(tmp_path).cells.shape == shape
    run(gate, "--strip", "none", "--mirror", "both", "--out", tmp_path / "o", "--overwrite")
    cells = made(tmp_path).cells
    assert np.array_equal(cells, cells[::-1]) and np.array_equal(cells, cells[:, ::-1])


def test_corner_pieces(gate, tmp_path):
    piece = np.array([[1, 1], [1, 0]], dtype=bool)
    save_chart(Chart(piece), tmp_path / "piece.chart.json")
    result = run(gate, "--corner-piece", tmp_path / "piece.chart.json", "--out", tmp_path / "o")
    assert result.exit_code == 0, result.output
    chart = made(tmp_path)
    assert np.array_equal(chart.cells[:2, :2], piece)
    assert np.array_equal(chart.cells[-2:, -2:], piece[::-1, ::-1])
    assert len(chart.lines) > 10
    run(
        gate,
        "--corner-piece",
        tmp_path / "piece.chart.json",
        "--corner-lines",
        "no",
        "--out",
        tmp_path / "o",
        "--overwrite",
    )
    assert len(made(tmp_path).lines) == 1


def test_corner_piece_of_a_strip(gate, tmp_path):
    piece = np.array([[1, 1, 1, 1], [1, 0, 0, 0], [1, 0, 1, 0], [1, 0, 0, 0]], dtype=bool)
    save_chart(Chart(piece), tmp_path / "piece.chart.json")
    common = ("--strip", "dots", "--corner-piece", tmp_path / "piece.chart.json", "--out", tmp_path / "o")
    result = run(gate, *common)
    assert result.exit_code == 0, result.output
    chart = made(tmp_path)
    assert np.array_equal(chart.cells[:4, :4], piece)
    assert np.array_equal(chart.cells[-4:, -4:], piece[::-1, ::-1])
    # The dots run in the middle of the band that the piece needs.
    assert chart.cells[1, 6:-6].any() and not chart.cells[[0, 2, 3], 6:-6].any()
    assert run(gate, *common, "--corners", "mitre", "--overwrite").exit_code == 2


def test_staggered_grid_and_centred_row_of_text(gate, tmp_path):
    run(gate, "--strip", "none", "--repeat", "grid:3x2", "--staggered", "--out", tmp_path / "o")
    cells = made(tmp_path).cells
    assert cells.shape == (34, 70)
    assert not cells[:9, 24:46].any()
    save_chart(Chart(np.zeros((12, 41), dtype=bool)), tmp_path / "bare.chart.json")
    run(tmp_path / "bare.chart.json", "--strip", "none", "--text", "Jo 26", "--text-place", "3", "--letters", "small",
        "--out", tmp_path / "o")  # fmt: skip
    inked = np.flatnonzero(made(tmp_path, "bare-border").cells.any(axis=0))
    assert inked[0] == 40 - inked[-1]
    assert np.flatnonzero(made(tmp_path, "bare-border").cells.any(axis=1))[0] == 2


def test_collection_sheet(tmp_path):
    result = run("--collection", "--out", tmp_path / "o", "--thread", "navy")
    assert result.exit_code == 0, result.output
    with Image.open(io.BytesIO((tmp_path / "o" / "border-strips.png").read_bytes())) as image:
        assert image.height > 500


def test_nothing_is_replaced_without_being_told(gate, tmp_path):
    assert run(gate, "--strip", "dots", "--out", tmp_path / "o").exit_code == 0
    before = (tmp_path / "o" / "gate-border.chart.json").read_bytes()
    result = run(gate, "--strip", "hearts", "--out", tmp_path / "o")
    assert result.exit_code == 5
    assert (tmp_path / "o" / "gate-border.chart.json").read_bytes() == before
    assert run(gate, "--strip", "hearts", "--out", tmp_path / "o", "--overwrite").exit_code == 0


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["--strip", "roses"], 2),
        (["--strip", "missing.txt"], 3),
        (["--gap", "x"], 2),
        (["--gap=-1"], 2),
        (["--strip", "dots", "--plan", "99"], 4),
        (["--strip", "zigzag", "--outer", "20x20"], 4),
        (["--strip", "zigzag", "--outer", "20"], 2),
        (["--strip", "zigzag", "--rows", "3-9"], 4),
        (["--strip", "zigzag", "--rows", "a"], 2),
        (["--part", "5,5,2,2"], 2),
        (["--part", "1,1,90,90"], 4),
        (["--repeat", "row"], 2),
        (["--repeat", "row:3x3"], 2),
        (["--repeat", "grid:900x900"], 4),
        (["--cloth", "5x5cm", "--margin", "5cm", "--strip", "dots"], 4),
        (["--join", "missing.txt"], 3),
        (["--repeat", "grid:85x85", "--spacing", "0", "--strip", "none"], 4),
        (["--rows", "1-2"], 2),
        (["--strip", "line", "--rows", "1-1"], 2),
        (["--margin", "3cm"], 2),
        (["--corner-upright"], 2),
        (["--join-align", "end"], 2),
        (["--keep-half", "end"], 2),
        (["--repeat", "row:3", "--mirrored"], 2),
        (["--repeat", "ring:3x3", "--staggered"], 2),
        (["--seed", "4"], 2),
        (["--spacing", "4"], 2),
        (["--text-wide", "30"], 2),
        (["--text", " "], 2),
        (["--strip", "none", "--strip", "dots"], 2),
    ],
)
def test_errors_say_what_to_do(gate, tmp_path, words, code):
    result = run(gate, *words, "--out", tmp_path / "o")
    assert result.exit_code == code, result.output
    assert len(result.output.strip().splitlines()[-1]) > 20
    assert "Traceback" not in result.output


def test_an_option_that_would_do_nothing_is_named(gate, tmp_path):
    for words, needed in (
        (["--margin", "3cm"], "--cloth"),
        (["--strip-mirror", "level"], "--strip"),
        (["--repeat", "row:2", "--seed", "3"], "scatter"),
    ):
        result = run(gate, *words, "--out", tmp_path / "o")
        assert words[-2] in result.output and needed in result.output
    assert not (tmp_path / "o").exists()


def test_what_was_found_in_a_file_is_said(gate, tmp_path):
    tile = border_strips()["scallops"]
    shown = np.take(tile, np.arange(21), axis=1, mode="wrap").copy()
    shown[0, 9] = ~shown[0, 9]
    (tmp_path / "mine.txt").write_text(text_from_cells(shown), encoding="utf-8")
    words = " ".join(run(gate, "--strip", tmp_path / "mine.txt", "--out", tmp_path / "o").output.split())
    assert (
        "Repeat found in 'mine.txt': 8 x 5 stitches, shown 2.62 times; 1 square that differed was put right." in words
    )
    (tmp_path / "once.txt").write_text("##.\n###\n.##\n", encoding="utf-8")
    words = " ".join(run(gate, "--strip", tmp_path / "once.txt", "--out", tmp_path / "p").output.split())
    assert "No repeat was found in 'once.txt'" in words and "bare column" in words
    gray = np.linspace(0, 255, 600).astype(np.uint8).reshape(20, 30)
    Image.fromarray(gray).save(tmp_path / "photo.png")
    result = run(gate, "--strip", tmp_path / "photo.png", "--out", tmp_path / "q")
    assert result.exit_code == 3 and "--strip-high" in result.output


def test_notes_on_cloth_scatter_and_rows(gate, tmp_path):
    def words(*options):
        return " ".join(run(gate, *options, "--out", tmp_path / "o", "--overwrite").output.split())

    assert "edge of the cloth" in words("--strip", "dots", "--cloth", "10x10cm")
    assert "edge of the cloth" not in words("--strip", "dots", "--cloth", "10x10cm", "--margin", "1cm")
    assert "The motif stands 8 times on 80 x 60" in words("--strip", "none", "--repeat", "scatter:80x60")
    assert "Only 3 of the 8 rows of 'tulips'" in words("--strip", "tulips", "--outer", "30x36")
    assert "not symmetric" in words("--strip", "dots", "--double-middle")
    assert "Did you mean zigzag or twin zigzag?" in words("--strip", "zig")
    assert "Did you mean lozenges?" in words("--strip", "lozenge")
    assert "Did you mean battlement?" in words("--strip", "batlement")


def test_a_plan_beyond_the_list_is_made_all_the_same(gate, tmp_path):
    result = run(gate, "--strip", "zigzag", "--plans", 3, "--plan", 5, "--json", "--out", tmp_path / "o")
    assert result.exit_code == 0, result.output
    report = json.loads(result.output)
    assert report["chosen"] == 5 and len(report["plans"]) == 5


def test_text_stands_in_the_outermost_strip_that_is_deep_enough(gate, tmp_path):
    result = run(gate, "--strip", "tulips", "--strip", "line", "--gap", "3,1", "--text", "Jo 84",
                 "--text-place", "border", "--out", tmp_path / "o")  # fmt: skip
    assert result.exit_code == 0, result.output
    plain = fit_borders(load_chart(gate), ["tulips", "line"], gap=(3, 1), count=1)[0]
    changed = np.argwhere(made(tmp_path).cells != plain.cells)
    row = plain.ring_corner(0)[0]
    assert changed[:, 0].min() >= plain.shape[0] - row - 8
    result = run(gate, "--strip", "line", "--text", "Jo", "--text-place", "border", "--out", tmp_path / "p")
    assert result.exit_code == 4 and "backstitch alone" in result.output


def test_no_chart_at_all(tmp_path):
    assert run().exit_code == 2
    assert run(tmp_path / "none.chart.json", "--out", tmp_path / "o").exit_code == 3


def test_help_names_every_option():
    text = CliRunner().invoke(command, ["--help"], terminal_width=200).output
    for parameter in command.params:
        for option in parameter.opts:
            if option.startswith("--"):
                assert option in text
    assert "Examples" in text
