"""Connected components: crosses touch by side or corner (8), bare cloth by side only (4)."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, LabelArray, MaskArray
from converter.pixels.runs import count_pixels


def label_ink(cells: CellArray) -> tuple[int, LabelArray]:
    """Return the number of 8-connected groups and their labels, 0 = bare cloth."""
    count, labels = cv2.connectedComponents(cells.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    return count - 1, np.asarray(labels, dtype=np.int32)


def label_parts(mask: MaskArray, connectivity: int) -> tuple[LabelArray, npt.NDArray[np.int64]]:
    """Return labels of a mask, 0 = outside it, and the pixels of each label, index 0 included."""
    count, found = cv2.connectedComponents(mask.view(np.uint8), connectivity=connectivity, ltype=cv2.CV_32S)
    labels = np.asarray(found, dtype=np.int32)
    return labels, count_pixels(labels, count)
