"""The gallery in examples/ is what the program draws: compared by what can be seen, not by bytes."""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.image import imread

EXAMPLES = Path(__file__).parents[1] / "examples"
CELLS = 48
"""Each picture is compared as so many cells each way: letters of another version's font do not matter, marks do."""
SAME, SAME_CELL = 0.006, 0.1
"""Mean and largest difference of the cells' greys, of the whole scale: strums that are missing are more in their cells
(`test_a_picture_without_its_strums_is_another_one`)."""

DRAWN_BY, OLD_CELL = (3, 10), 0.25
"""Older versions of matplotlib lay out axes a little otherwise: a cell may hold another edge (3.8.0: up to 0.16)."""


def _gallery():
    spec = importlib.util.spec_from_file_location("make_gallery", EXAMPLES / "make_gallery.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_gallery"] = module
    spec.loader.exec_module(module)
    return module


GALLERY = _gallery()


def cells(pixels: np.ndarray) -> np.ndarray:
    """A picture as a grid of mean greys (ITU-R BT.709 luma)."""
    grey = pixels[..., :3] @ np.array([0.2126, 0.7152, 0.0722])
    rows = np.array_split(grey, CELLS, axis=0)
    return np.array([[part.mean() for part in np.array_split(row, CELLS, axis=1)] for row in rows])


def drawn(name: str) -> np.ndarray:
    figure = GALLERY.PICTURES[name]()
    figure.canvas.draw()
    return np.asarray(figure.canvas.buffer_rgba())[..., :3] / 255


@pytest.mark.parametrize("name", sorted(GALLERY.PICTURES))
def test_the_gallery_shows_what_is_drawn(name: str) -> None:
    """Against the committed picture; `python examples/make_gallery.py` makes it anew."""
    kept, now = imread(EXAMPLES / "gallery" / f"{name}.png")[..., :3], drawn(name)
    assert kept.shape == now.shape
    difference = np.abs(cells(kept) - cells(now))
    assert difference.mean() < SAME
    assert difference.max() < (SAME_CELL if matplotlib.__version_info__[:2] >= DRAWN_BY else OLD_CELL)


def test_the_page_among_the_examples_is_what_is_written() -> None:
    """But for its sound, whose bytes are the encoder's, and the hashes of its policy."""

    def silent(text: str) -> str:
        return re.sub(r"data:audio/[^\"]+|sha256-[^']+", "", text)

    kept = GALLERY.PAGE.read_text(encoding="utf-8")
    assert len(kept) > 200_000  # the sound is in it
    assert silent(kept) == silent(GALLERY.page())
    assert str(EXAMPLES.parent) not in kept  # a page is sent: nobody's folders are in it


def test_a_picture_without_its_strums_is_another_one() -> None:
    """The comparison can fail: the late strums of a picture wiped, its panel of means wiped, another take's picture."""
    kept = imread(EXAMPLES / "gallery" / "late_changes.png")[..., :3]
    height, width = kept.shape[:2]
    for top, bottom, left, right in ((0.12, 0.19, 0.08, 0.68), (0.13, 0.47, 0.79, 0.97), (0.13, 0.47, 0.08, 0.68)):
        wiped = kept.copy()
        wiped[round(top * height) : round(bottom * height), round(left * width) : round(right * width)] = 1.0
        assert np.abs(cells(kept) - cells(wiped)).max() >= SAME_CELL
    with_all = imread(EXAMPLES / "gallery" / "late_changes_all.png")[..., :3]
    assert np.abs(cells(kept) - cells(with_all)).max() >= SAME_CELL
