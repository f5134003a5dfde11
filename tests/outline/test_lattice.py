"""Single backstitches and regular words of them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.outline.fit import Stop, _Moves, _States, _stops_on_way
from converter.outline.lattice import STEPS, is_balanced, split_onto, split_vector, straight_words

vectors = st.tuples(st.integers(-40, 40), st.integers(-40, 40)).filter(lambda v: v != (0, 0))


def test_steps_are_the_four_directions_and_their_images():
    assert len(STEPS) == 4 + 8 + 8 + 4
    assert {tuple(sorted(map(abs, step))) for step in STEPS} == {(0, 1), (1, 1), (1, 2), (1, 3)}


@given(vectors)
def test_a_vector_is_the_sum_of_two_neighbouring_steps(vector):
    (one, n_one), (other, n_other) = split_vector(vector)
    assert n_one >= 0 and n_other >= 0 and n_one + n_other > 0
    assert tuple(np.array(one) * n_one + np.array(other) * n_other) == vector
    assert not n_one or one in STEPS
    assert not n_other or other in STEPS


@given(vectors)
def test_all_words_of_a_vector_are_legal_balanced_and_near_the_line(vector):
    length = float(np.hypot(*vector))
    seen = set()
    for word in straight_words(vector):
        steps = np.diff(word, axis=0)
        assert tuple(word[0]) == (0, 0)
        assert tuple(word[-1]) == vector
        assert all(tuple(step) in STEPS for step in steps.tolist())
        assert is_balanced(steps)
        away = np.abs(word[:, 0] * vector[1] - word[:, 1] * vector[0]) / length
        assert away.max() < 1
        seen.add(word.tobytes())
    assert len(seen) == len(straight_words(vector))


def test_words_of_a_small_vector_written_out():
    """(7, 2) is one straight step and two of slope a third, in three orders."""
    words = {tuple(map(tuple, np.diff(word, axis=0).tolist())) for word in straight_words((7, 2))}
    assert words == {
        ((1, 0), (3, 1), (3, 1)),
        ((3, 1), (1, 0), (3, 1)),
        ((3, 1), (3, 1), (1, 0)),
    }
    assert np.diff(straight_words((7, 2))[0], axis=0).tolist() == [[3, 1], [1, 0], [3, 1]]


@pytest.mark.parametrize(
    ("steps", "even"),
    [
        ([(0, 1)] * 5, True),
        ([(0, 1), (1, 1), (0, 1), (1, 1)], True),
        ([(0, 1), (0, 1), (1, 1), (1, 1)], False),
        ([(0, 1), (1, 0)], False),
        ([(0, 1), (1, 3), (1, 2)], False),
        ([(1, 3), (0, 1), (1, 3), (1, 3), (0, 1)], True),
        ([(0, 1), (0, -1)], False),
    ],
)
def test_balanced(steps, even):
    """Evenly spread steps of two neighbouring directions; a right-angled staircase is none."""
    assert is_balanced(np.array(steps)) is even


def test_no_vector_from_a_hole_to_itself():
    with pytest.raises(ValueError, match="itself"):
        split_vector((0, 0))


@given(vectors, vectors)
def test_counts_of_two_steps_make_up_any_vector(vector, guide):
    (one, n_one), (other, n_other) = split_vector(guide)
    counts = split_onto(np.array([vector, guide]), np.array([guide, guide]))
    assert tuple(counts[1]) == (n_one, n_other)
    if n_one and n_other:
        assert tuple(counts[0, 0] * np.array(one) + counts[0, 1] * np.array(other)) == vector


@pytest.mark.parametrize("seed", range(4))
def test_a_move_passes_stops_exactly_if_one_of_its_words_meets_them_all(seed):
    """Against the list of all words."""
    rng = np.random.default_rng(seed)
    met = 0
    for _ in range(300):
        vector = tuple(rng.integers(-13, 14, 2).tolist())
        if vector == (0, 0):
            continue
        words = straight_words(vector)
        stops = []
        for at in (10, 20)[: rng.integers(1, 3)]:
            word = words[rng.integers(len(words))]
            near = word[rng.integers(len(word))] + rng.integers(-1, 2, 2) * (rng.random() < 0.5)
            stops.append(Stop(at, (tuple(near.tolist()),), (0.5,)))
        states = _States(np.array([(0, 0), vector]), np.array([0, 30]), np.zeros(2), np.full(2, -1))
        cost = _stops_on_way(stops, _Moves(states, np.array([0]), np.array([1])))[0]
        possible = any(all(stop.holes[0] in set(map(tuple, word.tolist())) for stop in stops) for word in words)
        assert cost == (0.5 * len(stops) if possible else np.inf)
        met += possible
    assert 50 < met < 290
