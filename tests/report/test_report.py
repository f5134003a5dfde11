"""The figures reach her unchanged: text and machine report say the same."""

import json

import numpy as np
import pytest

from converter.estimate.needles import needle_words
from converter.jobs.facts import gather_facts
from converter.jobs.materials import Materials, usual_strands
from converter.model.chart import Chart
from converter.model.materials import Fabric
from converter.report.machine import report_bytes, report_mapping
from converter.report.plain import report_text
from converter.settings import ThreadSettings, TimeSettings

RING = np.ones((4, 5), dtype=bool)
RING[1:3, 1:4] = False


@pytest.fixture
def facts():
    chart = Chart(
        cells=RING,
        lines=[[[0, 0], [0, 3]], [[0, 3], [1, 3]]],
        title="Ring",
        settings={"readability": 87.5},
        notes=("A note.",),
    )
    return gather_facts(chart, time=TimeSettings(pace=10), piece="card", notes=("Another.",))


def test_counts(facts):
    report = report_mapping(facts)
    assert (report["stitches"], report["columns"], report["rows"]) == (14, 5, 4)
    assert (report["backstitches"], report["line_length_cells"]) == (2, 4)
    assert (report["components"], report["holes"], report["isolated"]) == (1, 1, 0)
    assert report["readability"] == 87.5
    assert report["notes"][:2] == ["A note.", "Another."]


def test_thread_adds_up(facts):
    for use in (report_mapping(facts)["thread"], report_mapping(facts)["line_thread"]):
        path = (use["front_m"] + use["back_m"]) * (1 + use["allowance"]) + use["tails_m"]
        assert use["length_m"] == pytest.approx(path, abs=2e-4)


def test_text_says_the_same(facts):
    text = report_text(facts)
    for words in ("Ring", "5 wide x 4 high", "87 of 100", "A note.", "Another.", "14 count"):
        assert words in text or words.replace("87", "88") in text
    assert max(len(line) for line in text.splitlines()) <= 100
    assert "colour that runs" in text and "children" in text


def test_machine_report_is_json(facts):
    assert json.loads(report_bytes(facts)) == json.loads(json.dumps(report_mapping(facts)))


def test_skeins_limit_of_a_solid_square():
    """Never more crosses from a skein than the bare path allows: 2740 at 14 count, two strands (from the path of
    Dillmont, Encyclopedia of Needlework, fig. 253, and the skein of 8 m, eHow, How to calculate embroidery floss)."""
    cells = np.ones((60, 60), dtype=bool)
    facts = gather_facts(Chart(cells=cells))
    assert cells.sum() / facts.thread.skein_share < 2740
    bare = gather_facts(Chart(cells=cells), thread=ThreadSettings(allowance=0, tail_mm=0))
    assert cells.sum() / bare.thread.skein_share <= 2740


def test_published_skein():
    """Tiny Modernist, How much thread do I need: 14 count, two strands, 36 crosses from one 18 in length with 3 in to
    spare, so about 1836 crosses a skein. An estimate should lie in about 1600 to 2000."""
    facts = gather_facts(Chart(cells=np.ones((43, 43), dtype=bool)), thread=ThreadSettings(working_length_mm=457.2))
    assert 1600 <= 43 * 43 / facts.thread.skein_share <= 2000


def test_materials_fill_up_with_what_is_usual():
    chart = Chart(cells=RING)
    assert Materials().apply(chart) is chart
    made = Materials(fabric=(11.0, 1), ground="#faf0e6", thread_name="madder").apply(chart)
    assert (made.fabric.count_per_inch, made.fabric.colour) == (11, "#faf0e6")
    assert (made.thread.strands, made.thread.name) == (3, "madder")
    assert Materials(fabric=(18.0, 1), strands=1).apply(chart).thread.strands == 1


@pytest.mark.parametrize(
    ("count", "strands", "needles"), [(14, (2, 3), (24,)), (16, (2,), (26,)), (18, (1, 2), (26, 28))]
)
def test_strands_and_needles_lie_in_the_published_sets(count, strands, needles):
    """Golden Circle Designs, Let's talk about needles, part 3 (December 2012)."""
    assert usual_strands(Fabric(count)) in strands
    assert any(f"no. {n}" in needle_words(Fabric(count)) for n in needles)


def test_finer_cloth_never_takes_more_strands_or_a_thicker_needle():
    counts = [Fabric(c) for c in range(8, 41)]
    strands = [usual_strands(f) for f in counts]
    numbers = [int(needle_words(f).split("no. ")[1]) for f in counts]
    assert strands == sorted(strands, reverse=True)
    assert numbers == sorted(numbers)
