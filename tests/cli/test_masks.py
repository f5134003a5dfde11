"""Masks painted over her picture hold at whatever size the picture is decoded."""

from __future__ import annotations

import cv2
import numpy as np
from click.testing import CliRunner

from converter.cli.main import group
from converter.files.chart_file import load_chart


def test_mask_of_a_large_photo_that_is_decoded_smaller(tmp_path):
    photo = np.full((2400, 3200), 235, np.uint8)
    cv2.circle(photo, (800, 1200), 500, 30, -1)
    cv2.circle(photo, (2400, 1200), 500, 30, -1)
    mask = np.full_like(photo, 255)
    mask[:, 1600:] = 0
    for name, pixels in (("photo.jpg", photo), ("mask.png", mask), ("wrong.png", mask[:, :2000])):
        cv2.imwrite(str(tmp_path / name), pixels)

    def run(name, *words):
        picture, out = str(tmp_path / "photo.jpg"), str(tmp_path / "out")
        return CliRunner().invoke(group, ["chart", picture, "--wide", "40", "--out", out, "--name", name, *words])

    assert run("both").exit_code == 0
    assert run("one", "--clear", str(tmp_path / "mask.png")).exit_code == 0
    both, one = (load_chart(tmp_path / "out" / f"{name}.chart.json").cells for name in ("both", "one"))
    assert cv2.connectedComponents(both.astype(np.uint8))[0] == 3
    assert cv2.connectedComponents(one.astype(np.uint8))[0] == 2
    refused = run("wrong", "--clear", str(tmp_path / "wrong.png"))
    assert refused.exit_code == 2 and "proportions" in refused.output
