"""The published measures of binarisation, and that our own measures can fail."""

import numpy as np
from helpers.reduction_measures import measure
from helpers.scores import drd, drd_weights, f_measure

PLACEMENT = np.array([[20.0, 0, 0], [0, 20.0, 0]])


def test_f_measure_of_the_dibco_pages():
    """DIBCO 2009 evaluation page: TP 27, FP 11, FN 8; exactly 54/73 (the page rounds first and prints 73.9)."""
    truth, made = np.zeros(200, bool), np.zeros(200, bool)
    truth[:35] = True
    made[8:46] = True
    assert f_measure(truth, made) == 2 * 27 / (2 * 27 + 11 + 8)


def test_drd_weights():
    """H. Lu, A. Kot, Y. Q. Shi, IEEE Signal Processing Letters 11(2), 2004: 5 x 5, 1/distance, normalised."""
    weights = drd_weights()
    first = [[0.0256, 0.0324, 0.0362], [0.0324, 0.0512, 0.0724], [0.0362, 0.0724, 0.0]]
    assert np.allclose(weights[:3, :3], first, atol=5e-5)
    assert np.allclose(weights, weights[::-1]) and np.allclose(weights, weights.T)


def test_a_lone_flip_in_a_flat_area_scores_one():
    truth = np.zeros((16, 16), bool)
    truth[0, 0] = True
    made = truth.copy()
    made[8, 8] = True
    assert drd(truth, made) == 1.0


def ring():
    truth = np.zeros((240, 240), bool)
    truth[40:200, 40:200] = True
    truth[60:180, 60:180] = False
    cells = np.zeros((12, 12), bool)
    cells[2:10, 2:10] = True
    cells[3:9, 3:9] = False
    return truth, cells


def test_a_true_chart_measures_clean():
    truth, cells = ring()
    found, faults = measure(truth, cells, PLACEMENT)
    assert not faults
    assert (found.recall, found.precision, found.isolated, found.kinks, found.agreement) == (1, 1, 0, 0, 1)


def test_each_fault_shows():
    truth, cells = ring()
    gap, extra, joined = cells.copy(), cells.copy(), cells.copy()
    gap[2, 4:8] = False
    extra[0, 0] = True
    joined[5, 2:10] = True
    assert measure(truth, gap, PLACEMENT)[0].structure == 0
    found, _ = measure(truth, extra, PLACEMENT)
    assert found.structure == 0 and found.isolated == 1 and found.precision < 1
    assert measure(truth, joined, PLACEMENT)[0].structure == 0
    double = cells.copy()
    double[3, 3:9] = True
    assert measure(truth, double, PLACEMENT)[0].blocks > 0


def test_a_needless_turn_is_a_kink_and_a_doubled_stroke_is_none():
    truth = np.zeros((240, 600), bool)
    truth[110:130, 60:540] = True
    even = np.zeros((12, 30), bool)
    even[4, 3:27] = True
    placement = np.array([[20.0, 0, 20], [0, 20.0, 0]])
    double = even.copy()
    double[5] = even[4]
    # Half of it a row lower, joined by a stitch that could go: two turns where there is no need for any.
    bent = even.copy()
    bent[4, 15:27], bent[5, 14:27] = False, True
    found = [measure(truth, cells, placement)[0] for cells in (even, double, bent)]
    assert [m.kinks for m in found] == [0, 0, 2]
    assert found[1].blocks > 15 and found[0].blocks == found[2].blocks == 0
