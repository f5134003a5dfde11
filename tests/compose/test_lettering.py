"""Text in a place and in a border."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.compose import fit_borders
from converter.compose.lettering import fit_text, letter_border, place_text
from converter.compose.letters import text_cells
from converter.errors import RequestError, UsageError
from converter.model.chart import Chart


def bare(rows, cols):
    return Chart(np.zeros((rows, cols), dtype=bool))


def test_large_if_it_fits_otherwise_small():
    assert fit_text("Anna", 60).block.alphabet == "large"
    assert fit_text("Anna", 20).block.alphabet == "small"
    assert fit_text("Anna", 60).note == ""


def test_too_long_gets_whole_words_and_a_message():
    fitted = fit_text("Margaret 1984", 40, "small")
    assert fitted.block.text == "Margaret"
    assert str(text_cells("Margaret 1984").width) in fitted.note
    assert "40" in fitted.note and "'Margaret'" in fitted.note
    assert fit_text("Eva & Emil", 25, "small").block.text == "Eva"


def test_too_long_word_gets_letters():
    fitted = fit_text("Bartholomew", 20, "small")
    assert "Bartholomew".startswith(fitted.block.text)
    assert fitted.block.width <= 20
    # Not one letter more would fit.
    longer = "Bartholomew"[: len(fitted.block.text) + 1]
    assert text_cells(longer).width > 20


def test_message_offers_the_small_letters():
    wide = text_cells("Margaret", "small").width
    assert "small" in fit_text("Margaret", wide, "large").note


def test_no_room_for_one_letter():
    with pytest.raises(RequestError):
        fit_text("Anna", 2, "small")
    with pytest.raises(RequestError, match="high"):
        fit_text("Anna", 60, "large", height=7)
    with pytest.raises(UsageError):
        fit_text("Anna", 60, "huge")


@given(st.sampled_from(["Anna 1984", "to Jo", "MMXXVI", "Eva & Emil"]), st.integers(34, 90))
def test_texts_of_words_stand_exactly_in_the_middle(text, cols):
    chart, note = place_text(bare(20, cols), text, (0, 0, 20, cols), alphabet="small")
    assert note == ""
    inked = np.flatnonzero(chart.cells.any(axis=0))
    left, right = inked[0], cols - 1 - inked[-1]
    assert right - left == (0 if " " in text else (cols - text_cells(text).width) % 2)


@pytest.mark.parametrize(("align", "first"), [("left", 3), ("right", None)])
def test_alignment(align, first):
    chart, _ = place_text(bare(12, 40), "Jo", (2, 3, 8, 30), alphabet="small", align=align)
    inked = np.flatnonzero(chart.cells.any(axis=0))
    assert inked[0] == first if first is not None else inked[-1] == 32


def test_text_never_covers_stitches():
    chart = Chart(np.ones((12, 40), dtype=bool))
    with pytest.raises(RequestError, match="already"):
        place_text(chart, "Jo", (0, 0, 12, 40))
    with pytest.raises(RequestError, match="inside"):
        place_text(bare(5, 5), "Jo", (0, 0, 9, 9))


def test_backstitch_text_keeps_the_cells_bare():
    chart, _ = place_text(bare(12, 40), "Jo 26", (0, 0, 12, 40), method="lines")
    assert not chart.cells.any()
    assert len(chart.lines)
    with pytest.raises(UsageError):
        place_text(bare(12, 40), "Jo", (0, 0, 12, 40), alphabet="large", method="lines")


@pytest.mark.parametrize("side", ["top", "bottom"])
@pytest.mark.parametrize("name", ["tulips", "lozenges", "hearts", "key", "flower pots"])
def test_text_in_the_border(name, side):
    plan = fit_borders((40, 60), name)[0]
    lettered = letter_border(plan, "Jo 84", side=side)
    assert lettered.note == ""
    low, high = lettered.bare
    assert low + high == plan.shape[1] - 1
    d = plan.rings[0].depth
    rows = slice(0, d) if side == "top" else slice(plan.shape[0] - d, None)
    strip = lettered.cells[rows]
    # Outside the bare place the border is as it was.
    assert np.array_equal(strip[:, :low], plan.cells[rows][:, :low])
    assert np.array_equal(strip[:, high + 1 :], plan.cells[rows][:, high + 1 :])
    words = text_cells("Jo 84", "large" if text_cells("Jo 84", "large").height <= d else "small")
    assert strip[:, low : high + 1].sum() == words.cells.sum()
    away = np.ones(plan.shape[0], dtype=bool)
    away[rows] = False
    assert np.array_equal(lettered.cells[away], plan.cells[away])


def test_text_in_the_border_cuts_no_heart():
    plan = fit_borders((40, 60), "hearts")[0]
    lettered = letter_border(plan, "Jo")
    kept = lettered.cells.copy()
    low, high = lettered.bare
    kept[-6:, low : high + 1] = False
    measure = plan.rings[0].ring.profile.measure
    verdict = measure.judge(kept & ~plan.own_pieces, np.zeros_like(kept))
    assert not verdict.broken
    assert verdict.foreign == 0


def test_shallow_border_takes_no_text():
    with pytest.raises(RequestError, match="deep"):
        letter_border(fit_borders((40, 40), "zigzag")[0], "Jo")


def test_long_text_in_the_border_is_cut_with_a_message():
    lettered = letter_border(fit_borders((30, 30), "tulips")[0], "Margaret and Bartholomew")
    assert "only" in lettered.note
