"""What looks wrong where a strip turns a corner, is folded, cut or widened: measured against the strip itself.

A drawn place is compared with the endless strip it was made from:

- *clash*: crosses that stand alone, ends of lines, forks of lines and solid 2 x 2 squares, each counted only if
  the strip itself has none of that kind;
- *broken*: a piece (crosses that touch by side or corner) smaller than the smallest piece of the strip;
- *foreign*: a closed piece whose shape, turned and mirrored as one likes, does not occur in the strip: two halves
  grown together, or a half that is left alone;
- *novelty*: crosses whose 3 x 3 surround does not occur in the strip, turned and mirrored as one likes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from converter.model.arrays import CellArray

_EIGHT = np.ones((3, 3), dtype=np.int8)
_RING = ((-1, -1), (-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1))
KINDS = ("lone", "end", "fork", "solid")

FeatureArray = npt.NDArray[np.bool_]
"""(rows, cols, 4): lone cross, line end, fork, corner of a solid 2 x 2 square."""


def _surround_codes(cells: CellArray) -> npt.NDArray[np.uint8]:
    """Return the eight neighbours of every cell as bits, going round from the top left; outside is blank."""
    rows, cols = cells.shape
    padded = np.zeros((rows + 2, cols + 2), dtype=np.uint8)
    padded[1:-1, 1:-1] = cells
    code = np.zeros((rows, cols), dtype=np.uint8)
    for bit, (r, c) in enumerate(_RING):
        code |= padded[1 + r : 1 + r + rows, 1 + c : 1 + c + cols] << np.uint8(bit)
    return code


def _feature_table() -> npt.NDArray[np.bool_]:
    """(256, 4): which of `KINDS` a cross with these neighbours is."""
    table = np.zeros((256, 4), dtype=np.bool_)
    for code in range(256):
        ring = [(code >> k) & 1 for k in range(8)]
        arms = sum(not ring[k - 1] and ring[k] for k in range(8))
        # Neighbours 3, 4 and 5 are right, lower right and below.
        table[code] = (sum(ring) == 0, sum(ring) == 1, arms >= 3, bool(ring[3] and ring[4] and ring[5]))
    return table


_FEATURES = _feature_table()


def line_features(cells: CellArray) -> FeatureArray:
    """Return where a grid has lone crosses, line ends, forks and solid 2 x 2 squares.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool

    Returns
    -------
    features : ndarray of shape (rows, cols, 4), bool
        In the order of `KINDS`. A solid square is marked at its top left cross.
    """
    return np.asarray(_FEATURES[_surround_codes(cells)] & cells[:, :, None])


def _same_form_table() -> npt.NDArray[np.int16]:
    """Smallest code among the eight turned and mirrored forms of a 3 x 3 surround."""
    table = np.zeros(512, dtype=np.int16)
    for code in range(512):
        ring = [(code >> k) & 1 for k in range(8)]
        forms = []
        for sequence in (ring, ring[::-1]):
            # The ring begins at a corner: reversing it puts a side first, so every second turn is a true one.
            start = 0 if sequence is ring else 1
            for turn in range(start, 8, 2):
                turned = sequence[turn:] + sequence[:turn]
                forms.append(sum(bit << k for k, bit in enumerate(turned)))
        table[code] = min(forms) + (code & 256)
    return table


_SAME_FORM = _same_form_table()


def shape_key(piece: CellArray) -> bytes:
    """Return a key that is the same for all turned and mirrored forms of a piece."""
    return _shape_key(piece.tobytes(), (piece.shape[0], piece.shape[1]))


@lru_cache(maxsize=8192)
def _shape_key(data: bytes, shape: tuple[int, int]) -> bytes:
    piece = np.frombuffer(data, dtype=np.bool_).reshape(shape)
    forms = []
    for grid in (piece, piece.T):
        for form in (grid, grid[::-1], grid[:, ::-1], grid[::-1, ::-1]):
            forms.append(bytes([form.shape[0] % 256, form.shape[1] % 256]) + np.packbits(form).tobytes())
    return min(forms)


def pieces(cells: CellArray) -> list[tuple[tuple[slice, slice], CellArray]]:
    """Return the 8-connected pieces of a grid: where the box of each stands, and the piece in it."""
    labels, _ = ndimage.label(cells, structure=_EIGHT)
    return [(box, labels[box] == at) for at, box in enumerate(ndimage.find_objects(labels), 1)]


@dataclass(frozen=True)
class Verdict:
    """How one place of a border looks beside its strip."""

    clash: int = 0
    broken: bool = False
    foreign: int = 0
    novelty: int = 0


@dataclass(frozen=True, eq=False)
class StripMeasure:
    """What the endless strip itself has.

    Parameters
    ----------
    tile : ndarray of shape (d, p), bool
    """

    tile: CellArray

    @cached_property
    def _repeats(self) -> int:
        p = int(self.tile.shape[1])
        return max(5, -(-24 // p) | 1)

    @cached_property
    def _long(self) -> CellArray:
        return np.tile(self.tile, (1, self._repeats))

    @cached_property
    def _middle(self) -> slice:
        p = self.tile.shape[1]
        start = (self._repeats // 2) * p
        return slice(start, start + p)

    @cached_property
    def has(self) -> npt.NDArray[np.bool_]:
        """(4,), whether the strip has lone crosses, ends, forks, solid squares."""
        return np.asarray(line_features(self._long)[:, self._middle].any(axis=(0, 1)))

    @cached_property
    def surrounds(self) -> npt.NDArray[np.bool_]:
        """(256,), which surrounds of a cross occur, turned and mirrored as one likes."""
        known = np.zeros(512, dtype=np.bool_)
        long = self._long
        code = _surround_codes(long)[:, self._middle]
        known[_SAME_FORM[code + 256 * long[:, self._middle].astype(np.int16)]] = True
        # Only surrounds of crosses are ever asked for: by the code of the neighbours alone.
        return np.asarray(known[_SAME_FORM[np.arange(256) + 256]])

    @cached_property
    def _own(self) -> tuple[frozenset[bytes], int, int, bool]:
        long = self._long
        n = long.shape[1]
        p = self.tile.shape[1]
        shapes: set[bytes] = set()
        sizes: list[int] = []
        widest, running = 0, False
        for box, piece in pieces(long):
            if box[1].start > 0 and box[1].stop < n:
                shapes.add(shape_key(piece))
                if np.array_equal(piece, piece[:, ::-1]):
                    # Its middle column may be doubled to stand in the middle of an even side.
                    middle = (piece.shape[1] - 1) // 2
                    shapes.add(shape_key(np.insert(piece, middle, piece[:, middle], axis=1)))
                sizes.append(int(piece.sum()))
                widest = max(widest, piece.shape[1])
            elif piece.shape[1] > n - p:
                running = True
                sizes.append(int(piece[:, : (piece.shape[1] // p) * p].sum()) // (piece.shape[1] // p))
        return frozenset(shapes), min(sizes, default=1), widest, running

    @property
    def shapes(self) -> frozenset[bytes]:
        """Keys of the closed pieces, and of those with their middle column doubled."""
        return self._own[0]

    @property
    def smallest(self) -> int:
        """Crosses of the smallest piece; of a running line those in one repeat."""
        return self._own[1]

    @property
    def widest(self) -> int:
        """Columns of the widest closed piece."""
        return self._own[2]

    @property
    def running(self) -> bool:
        """Whether a line runs through the whole strip."""
        return self._own[3]

    def judge(self, cells: CellArray, open_edges: CellArray, count: CellArray | None = None) -> Verdict:
        """Compare a drawn place with the strip.

        Parameters
        ----------
        cells : ndarray of shape (rows, cols), bool
            The place and enough of the strip round it.
        open_edges : ndarray of shape (rows, cols), bool
            Cells at which the drawing was cut off; pieces that reach them are not judged, nor are crosses within
            one cell of them.
        count : ndarray of shape (rows, cols), bool, optional
            Where clash is counted; everywhere when None.
        """
        code = _surround_codes(cells)
        inner = cells & ~open_edges & (_surround_codes(open_edges) == 0)
        where = inner if count is None else inner & count
        clash = int(_FEATURES[code[where]][:, ~self.has].sum())
        novelty = int((~self.surrounds[code[inner]]).sum())
        broken, foreign = False, 0
        for box, piece in pieces(cells):
            if (open_edges[box] & piece).any():
                continue
            if int(piece.sum()) < self.smallest:
                broken = True
            if shape_key(piece) not in self.shapes:
                foreign += 1
        return Verdict(clash=clash, broken=broken, foreign=foreign, novelty=novelty)
