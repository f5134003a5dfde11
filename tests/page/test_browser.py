"""The page in a real browser: the whole way from picture to leaflet, by mouse, touch and keyboard."""

from __future__ import annotations

import json
import shutil
import subprocess
import tarfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from tests.page.browser import Person, open_browser, resize, wait
from tests.page.conftest import Page, serve
from tests.page.hands import squared_paper

pytestmark = pytest.mark.browser

ROOT = Path(__file__).resolve().parents[2]
AXE = "axe-core@4.14.1"
WIDTHS = (360, 768, 1440)
STEPS = ("picture", "purpose", "adjust", "correct", "border", "take", "rows")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("browser")


@pytest.fixture(scope="module")
def served(place: Path) -> Iterator[Page]:
    with serve(place / "pieces") as page:
        yield page


@pytest.fixture(scope="module")
def driver(place: Path) -> Iterator[object]:
    driver = open_browser(place)
    yield driver
    driver.quit()


@pytest.fixture
def person(driver, served: Page, place: Path) -> Iterator[Person]:
    resize(driver, 1440, 900)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    driver.get("about:blank")
    driver.get_log("browser")
    someone = Person(driver, served.address, place / "downloads")
    someone.go()
    yield someone
    assert someone.console() == []


@pytest.fixture(scope="module")
def picture(fixtures: Path, place: Path) -> Path:
    """The lantern, small enough to be charted at once."""
    path = place / "lantern.png"
    with Image.open(fixtures / "pictures" / "lantern.png") as image:
        image.resize((image.width // 3, image.height // 3), Image.Resampling.BOX).save(path)
    return path


def test_picture_gives_a_chart_and_the_look_on_cloth_at_once(person, picture):
    person.drop(picture)
    assert "Chart, 60 stitches wide" in person.chart_label()
    assert person.js("return document.getElementById('name').value") == "Lantern"
    for canvas in ("chart", "cloth"):
        colours = person.js(
            "const c = document.getElementById(arguments[0]);"
            "const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;"
            "let red = 0;"
            "for (let i = 0; i < d.length; i += 4) if (d[i] > 120 && d[i + 1] < 90 && d[i + 2] < 90) red += 1;"
            "return red / (d.length / 4)",
            canvas,
        )
        assert 0.03 < colours < 0.6, canvas
    assert person.js("return document.getElementById('saved').textContent") == "Saved"


def test_purpose_cloth_and_size_change_the_figures(person, picture):
    person.drop(picture)
    before = person.glance()
    person.open_step("purpose")
    person.slide("purpose", "Stitches across", 40)
    wait(lambda: "40 stitches wide" in person.chart_label(), "40 stitches")
    person.settle()
    after = person.glance()
    assert person.stitches() < int(before["Stitches"].replace(",", ""))
    assert after["Finished"].startswith("7.3 ")  # 40 stitches at 14 count: 40 / 14 in = 7.26 cm
    person.choose("purpose", "Bookmark")
    person.settle()
    assert "Bookmark" in person.js("return document.getElementById('state-purpose').textContent")
    assert person.js("return document.querySelectorAll('#notes .told').length") >= 1
    person.choose("purpose", "As the piece holds")
    person.click("#body-purpose button", "Find the largest")
    # A bookmark is 2 in wide: at most 28 stitches at 14 count.
    wait(lambda: person.js("return window.onecolour.store.view.motif[3]") <= 28, "what a bookmark holds")
    person.settle()
    person.choose("purpose", "Stitches at most")
    person.fill("purpose", "Stitches at most", 500)
    person.click("#body-purpose button", "Find the largest")
    wait(
        lambda: (
            "stitches across" in person.js("return document.querySelector('#body-purpose [role=status]').textContent")
        ),
        "a size",
    )
    person.settle()
    assert 50 < person.stitches() <= 500
    person.click("#body-purpose button", "Show several sizes")
    cards = wait(lambda: person.driver.find_elements("css selector", "#body-purpose .card"), "sizes")
    assert len(cards) >= 4 and all("stitches" in card.text for card in cards)
    wide = person.js("return arguments[0].dataset.wide", cards[-1])
    person.js("arguments[0].click()", cards[-1])
    wait(lambda: f"{wide} stitches wide" in person.chart_label(), "the chosen size")
    # Larger than she wanted: that is said.
    person.slide("purpose", "Stitches across", 80)
    wait(lambda: person.js("return window.onecolour.store.state.options.wide") == 80, "80 stitches")
    person.settle()
    assert person.stitches() > 500
    assert "more than the 500 you wanted" in person.js("return document.getElementById('notes').textContent")


def test_controls_change_the_picture_while_they_move(person, picture):
    person.drop(picture)
    person.open_step("adjust")
    before = person.stitches()
    person.js(
        "const input = document.querySelector('#body-adjust input[type=range]'); input.value = -60;"
        "input.dispatchEvent(new Event('input', {bubbles: true}))"
    )
    wait(lambda: person.stitches() != before, "the picture to change")
    assert person.js("return window.onecolour.store.revision") == 1, "nothing is kept while the control moves"
    person.slide("adjust", "How much is stitched", 40)
    person.settle()
    assert person.js("return window.onecolour.store.state.settings.dark") == 40
    assert person.find("#undo").get_attribute("aria-label") == "Undo: How much is stitched"
    person.choose("adjust", "None")
    person.settle()
    assert "backstitch" not in person.chart_label()
    person.open_step("picture")
    person.click("#body-picture button", "Quarter turn")
    wait(lambda: person.js("return window.onecolour.store.state.settings.turn") == 90, "the turn")
    person.settle()
    crop = person.js(
        "const r = document.querySelector('.crop img').getBoundingClientRect(); return [r.width, r.height]"
    )
    assert crop[0] > crop[1]
    person.click("#undo")
    wait(lambda: not person.js("return window.onecolour.store.state.settings.turn"), "the turn to go")


def test_correcting_by_mouse_touch_and_keys(person, picture, driver):
    person.drop(picture)
    person.open_step("correct")
    first = person.stitches()
    person.js("document.querySelector('#views input[value=chart]').click()")
    # Five bare squares in the corner: a stroke puts stitches in, a second one takes them out.
    person.drag((1.5, 1.5), (1.5, 5.5))
    person.settle()
    assert person.stitches() == first + 5
    person.drag((1.5, 3.5), (1.5, 5.5))
    person.settle()
    assert person.stitches() == first + 2
    # A line from hole to hole, then a touch on it takes it out.
    person.choose("correct", "Lines")
    lines = person.js("return window.onecolour.store.grid.lines.length")
    person.drag((4, 1), (6, 3))
    person.settle()
    assert person.js("return window.onecolour.store.grid.lines.length") == lines + 1
    person.drag((5, 2))
    person.settle()
    assert person.js("return window.onecolour.store.grid.lines.length") == lines
    # An area: copied, put down lower; then cleared. The chart keeps still while the choices under it change.
    person.choose("correct", "An area")
    assert not person.find("#tray button", "Copy").is_enabled()
    place = person.square_at(1.5, 1.5)
    person.drag((1.5, 1.5), (1.5, 2.5))
    assert person.square_at(1.5, 1.5) == place
    person.click("#tray button", "Copy")
    assert person.square_at(1.5, 1.5) == place
    person.drag((1.5, 1.5), (3.5, 1.5))
    person.click("#tray button", "Put it down")
    person.settle()
    assert person.stitches() == first + 4
    person.drag((1.5, 1.5), (3.5, 2.5))
    person.click("#tray button", "Clear")
    person.settle()
    assert person.stitches() == first
    # With a finger.
    resize(driver, 768, 1024, touch=True)
    time.sleep(0.3)
    person.choose("correct", "Stitches")
    person.js("window.scrollTo(0, 0)")
    person.touch((1.5, 1.5), (1.5, 4.5))
    resize(driver, 1440, 900)
    person.settle()
    assert person.stitches() == first + 4
    # And back, step by step, to the beginning.
    while person.find("#undo").is_enabled():
        revision = person.js("return window.onecolour.store.revision")
        person.js("document.getElementById('undo').click()")
        wait(lambda now=revision: person.js("return window.onecolour.store.revision") > now, "undo")
        person.settle()
    assert person.stitches() == first
    assert person.find("#redo").is_enabled()


def test_parts_of_the_picture_are_kept_or_left_out_by_mouse_and_keys(person, picture):
    person.drop(picture)
    first = person.stitches()
    person.open_step("correct")
    person.choose("correct", "An area")
    areas = "return window.onecolour.store.view.areas.map((area) => area.do).join()"
    rows = person.js("return window.onecolour.store.grid.rows")
    person.drag((rows - 12.5, 0.5), (rows - 4.5, 59.5))
    person.click("#tray button", "Leave it out")
    wait(lambda: person.js(areas) == "clear", "the part to be left out")
    person.settle()
    assert person.stitches() < first
    assert "1 part of the picture left out" in person.chart_label()
    listed = person.find("#body-correct .parts li", "Left out")
    assert "bottom" in listed.text
    # With another width it lies at the same place of the picture, so still near the bottom.
    person.slide("purpose", "Stitches across", 50)
    wait(lambda: "50 stitches wide" in person.chart_label(), "50 stitches")
    person.settle()
    assert person.js(areas) == "clear"
    # By keys: an area of three by three, in full detail; undo; then the other one is taken back by its button.
    person.js("document.getElementById('chart').focus()")
    person.press("4", *["\ue013"] * 20, " ", "\ue014", "\ue014", "\ue015", "\ue015", " ", "d")
    wait(lambda: person.js(areas) == "clear,keep", "full detail")
    person.settle()
    assert "1 part in full detail" in person.js("return document.getElementById('state-correct').textContent")
    assert person.find("#undo").get_attribute("aria-label") == "Undo: Full detail in a part"
    person.click("#undo")
    wait(lambda: person.js(areas) == "clear", "undo")
    person.settle()
    person.click("#body-correct .parts button", "Take it back: Left out")
    wait(lambda: person.js(areas) == "", "the part to be back")
    person.slide("purpose", "Stitches across", 60)
    wait(lambda: "60 stitches wide" in person.chart_label(), "60 stitches")
    person.settle()
    assert person.stitches() == first


def test_squared_paper_is_said_and_can_be_read_square_by_square(person, place, driver):
    bare = "." * 21
    star = [f"..{row}.." for row in (ROOT / "fixtures" / "grids" / "star.txt").read_text().split()]
    squared_paper([bare, bare, *star, bare, bare]).save(place / "paper.png")
    person.drop(place / "paper.png")
    wait(lambda: "squared paper" in person.message(), "to be told")
    notes = person.js("return document.getElementById('notes').textContent")
    assert "squared paper" in notes and "onecolour" not in notes
    person.click("#message-act", "Read the squares")
    wait(lambda: person.js("return window.onecolour.store.state.what") == "squares", "the squares")
    person.settle()
    assert person.chart_label().startswith("Chart, 21 stitches wide")
    assert "squared paper:" not in person.js("return document.getElementById('notes').textContent")
    # Marking the picture has no place on squares that were read one by one.
    person.open_step("correct")
    person.choose("correct", "An area")
    person.drag((2.5, 2.5), (6.5, 6.5))
    assert person.find("#tray button", "Clear")
    assert "Leave it out" not in person.find("#tray").text


def test_corrections_stay_and_she_is_told_when_they_cannot(person, picture):
    person.drop(picture)
    person.open_step("correct")
    person.drag((1.5, 1.5), (1.5, 3.5))
    person.settle()
    person.open_step("adjust")
    person.slide("adjust", "Sweep up loose stitches", 40)
    person.settle()
    assert person.js("return [1, 2, 3].map((c) => window.onecolour.store.grid.at(1, c)).join()") == "1,1,1"
    person.slide("purpose", "Stitches across", 50)
    wait(lambda: "set aside" in person.message(), "to be told")
    assert "3 set aside" in person.js("return document.getElementById('state-correct').textContent")
    person.slide("purpose", "Stitches across", 60)
    wait(lambda: "are back" in person.message(), "to be told")
    assert person.js("return [1, 2, 3].map((c) => window.onecolour.store.grid.at(1, c)).join()") == "1,1,1"


def test_borders_and_letters_are_chosen_from_pictures(person, picture):
    person.drop(picture)
    person.open_step("border")
    cards = wait(lambda: person.driver.find_elements("css selector", "#body-border .card"), "plans")
    assert len(cards) >= 24
    card = next(card for card in cards if card.text.startswith("laurel"))
    person.js("arguments[0].click()", card)
    wait(lambda: person.js("return window.onecolour.store.state.border?.strips[0]") == "laurel", "the border")
    person.settle()
    assert person.js("return window.onecolour.store.view.motif[0]") > 5
    person.js(
        "const f = document.querySelector('#body-border input[type=text]'); f.value = 'Anna 1926';"
        "f.dispatchEvent(new Event('change', {bubbles: true}))"
    )
    wait(lambda: person.js("return window.onecolour.store.state.letters?.text") == "Anna 1926", "the letters")
    person.settle()
    assert "“Anna 1926”" in person.js("return document.getElementById('state-border').textContent")
    person.click("#body-border button", "No border")
    wait(lambda: not person.js("return window.onecolour.store.state.border"), "no border")


def test_files_are_taken_away_and_are_what_the_program_makes(person, picture, served):
    person.drop(picture)
    piece = person.js("return window.onecolour.store.piece")
    person.open_step("take")
    for kind, ending in (("leaflet", ".pdf"), ("chart-file", ".chart.json"), ("cloth-picture", "-stitched.png")):
        person.js("document.querySelector(`[data-take=${arguments[0]}]`).click()", kind)
        data = person.taken(ending)
        assert data == served.get(f"/api/pieces/{piece}/take/{kind}").body, kind
    assert person.taken(".pdf").startswith(b"%PDF")


def test_work_is_there_after_reload_and_deleting_can_be_undone(person, picture):
    person.drop(picture)
    person.open_step("correct")
    person.drag((1.5, 1.5), (1.5, 3.5))
    person.settle()
    stitches = person.stitches()
    person.js(
        "const n = document.getElementById('name'); n.value = 'Hall lantern'; n.dispatchEvent(new Event('change'))"
    )
    person.settle()
    person.driver.refresh()
    wait(
        lambda: person.js("return window.onecolour?.store.view && !document.getElementById('work').hidden"), "the piece"
    )
    person.settle()
    assert person.stitches() == stitches
    assert person.find("#undo").get_attribute("aria-label") == "Undo: Name"
    person.click("#to-pieces")
    person.click(".piece-acts button", "Throw away Hall lantern")
    wait(lambda: "Hall lantern" in person.message(), "to be told")
    names = "return [...document.querySelectorAll('.piece-label')].map((each) => each.textContent)"
    assert "Hall lantern" not in person.js(names)
    person.click("#message-act", "Bring it back")
    wait(lambda: "Hall lantern" in person.js(names), "the piece to be back")


def test_two_windows_on_one_piece_keep_both_works(person, picture, driver):
    person.drop(picture)
    address = driver.current_url
    first = driver.current_window_handle
    driver.switch_to.new_window("window")
    driver.get(address)
    resize(driver, 1440, 900)
    wait(lambda: person.js("return window.onecolour?.store.view"), "the second window")
    person.settle()
    person.open_step("correct")
    person.drag((1.5, 1.5), (1.5, 3.5))
    person.settle()
    driver.switch_to.window(first)
    person.open_step("correct")
    person.drag((3.5, 1.5), (3.5, 2.5))
    wait(lambda: "another window" in person.message(), "to be told")
    person.settle()
    assert (
        person.js("const g = window.onecolour.store.grid; return [g.at(1, 1), g.at(1, 3), g.at(3, 1), g.at(3, 2)]")
        == [1] * 4
    )
    assert person.js("return window.onecolour.store.view.corrections") == 5
    # What the refused revision caused in the console is no fault.
    assert all("409" in text for text in person.console())
    for handle in driver.window_handles:
        if handle != first:
            driver.switch_to.window(handle)
            driver.close()
    driver.switch_to.window(first)


def test_whole_way_with_the_keyboard_alone(person, fixtures, driver):
    from selenium.webdriver.common.keys import Keys

    def focus(check: str, most: int = 120, back: bool = False) -> None:
        from selenium.webdriver.common.action_chains import ActionChains

        for _ in range(most):
            if person.js(f"const e = document.activeElement; return Boolean({check})"):
                seen = person.js(
                    "const here = document.activeElement;"
                    "return [here, here.nextElementSibling, here.closest('.button')].some("
                    "(each) => each && getComputedStyle(each).outlineStyle !== 'none')"
                )
                assert seen, f"no visible focus at {check}"
                return
            chain = ActionChains(driver)
            chain = (
                chain.key_down(Keys.SHIFT).send_keys(Keys.TAB).key_up(Keys.SHIFT) if back else chain.send_keys(Keys.TAB)
            )
            chain.perform()
        raise AssertionError(f"the keyboard does not reach {check}")

    focus("e.id === 'file'")
    driver.switch_to.active_element.send_keys(str(fixtures / "charts" / "cup.chart.json"))
    wait(lambda: person.js("return !document.getElementById('work').hidden"), "the work")
    person.settle()
    before = person.stitches()
    # To the chart; the tool by its key; the corner square in; a line; undo and redo.
    person.js("document.body.focus()")
    focus("e.classList.contains('skip')")
    person.press(Keys.ENTER)
    focus("e.id === 'chart'", 3)
    person.press("2", *[Keys.ARROW_UP] * 30, *[Keys.ARROW_LEFT] * 30, " ")
    person.settle()
    assert person.stitches() == before + 1
    said = person.js("return document.getElementById('cursor-say').textContent")
    assert said.startswith("Row 1, 1 across: stitched")
    person.press(Keys.ARROW_RIGHT, Keys.ARROW_DOWN, Keys.ENTER)
    person.settle()
    assert person.stitches() == before + 2
    lines = person.js("return window.onecolour.store.grid.lines.length")
    person.press("3", " ", Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_DOWN, " ")
    person.settle()
    assert person.js("return window.onecolour.store.grid.lines.length") == lines + 1
    # An area of two by two, copied three to the right.
    person.press("4", *[Keys.ARROW_UP] * 30, *[Keys.ARROW_LEFT] * 30, " ", Keys.ARROW_RIGHT, Keys.ARROW_DOWN, " ")
    person.press("c", *[Keys.ARROW_RIGHT] * 3, " ")
    person.settle()
    assert person.stitches() == before + 4
    for key, expected in (("z", before + 2), ("y", before + 4)):
        driver.switch_to.active_element.send_keys(Keys.CONTROL + key)
        wait(lambda wanted=expected: person.stitches() == wanted, f"control {key}")
        person.settle()
    # The cloth, a border, and the leaflet.
    focus("e.closest('#step-purpose') && e.tagName === 'SELECT'")
    person.press("Aida 18")
    person.settle()
    assert person.js("return window.onecolour.store.view.count") == 18
    focus("e.tagName === 'SUMMARY' && e.parentElement.id === 'step-border'")
    person.press(Keys.ENTER)
    wait(lambda: person.driver.find_elements("css selector", "#body-border .card"), "plans")
    focus("e.classList.contains('card')")
    person.press(Keys.ENTER)
    wait(lambda: person.js("return window.onecolour.store.state.border"), "the border")
    person.settle()
    focus("e.dataset.take === 'leaflet'", 200)
    person.press(Keys.ENTER)
    assert person.taken("Cup.pdf").startswith(b"%PDF")


@pytest.fixture(scope="module")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the accessibility checker, from the cache or once from the package registry."""
    cache = Path.home() / ".cache" / "onecolour-tests"
    script = cache / f"{AXE}.js"
    if not script.exists():
        npm = shutil.which("npm")
        if npm is None:
            pytest.skip("axe-core needs the npm client, which is not on this machine")
        folder = tmp_path_factory.mktemp("npm")
        done = subprocess.run([npm, "pack", AXE, "--silent"], cwd=folder, capture_output=True, timeout=120, check=False)
        packs = list(folder.glob("*.tgz"))
        if done.returncode or not packs:
            pytest.skip("axe-core could not be had from the package registry")
        with tarfile.open(packs[0]) as pack:
            member = pack.extractfile("package/axe.min.js")
            assert member is not None
            cache.mkdir(parents=True, exist_ok=True)
            script.write_bytes(member.read())
    return script.read_text(encoding="utf-8")


LAYOUT = (Path(__file__).parent / "layout.js").read_text(encoding="utf-8")
CHECK_ACCESS = """
const done = arguments[arguments.length - 1];
const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
const words = (each) => `${each.html.slice(0, 120)}: ${each.failureSummary.slice(0, 200)}`;
axe.run(document, {runOnly: tags}).then((all) =>
  done(all.violations.map((each) => [each.id, each.impact, each.nodes.slice(0, 3).map(words)])));
"""


ALL_LOOKS = [(width, theme) for theme in ("light", "dark") for width in WIDTHS]
QUICK_LOOKS = ((360, "dark"), (1440, "light"))


@pytest.mark.parametrize(
    ("width", "theme"),
    [look if look in QUICK_LOOKS else pytest.param(*look, marks=pytest.mark.slow) for look in ALL_LOOKS],
)
def test_every_state_is_laid_out_well_and_accessible(person, picture, driver, axe, width, theme, place):
    resize(driver, width, {360: 740, 768: 1024, 1440: 900}[width], touch=width == 360)
    driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": theme}]}
    )

    def check(state: str) -> None:
        laid = person.js(LAYOUT)
        assert laid == {"sideways": 0, "overlaps": [], "outside": [], "small": [], "cut": []}, (state, laid)
        # Evaluated by the browser's own tools: the page's policy lets no foreign script in.
        driver.execute_cdp_cmd("Runtime.evaluate", {"expression": "window.axe ? 0 : (() => {" + axe + "})()"})
        found = driver.execute_async_script(CHECK_ACCESS)
        serious = [each for each in found if each[1] in ("serious", "critical", "moderate")]
        assert serious == [], (state, json.dumps(serious, indent=1))

    check("start")
    person.drop(picture)
    check("work")
    for step in STEPS:
        person.js("for (const step of document.querySelectorAll('.step')) step.open = false")
        person.open_step(step)
        if step == "border":
            wait(lambda: person.driver.find_elements("css selector", "#body-border .card"), "plans")
        check(step)
    person.click("#to-pieces")
    person.find(".piece")
    check("list")


def test_nothing_is_asked_of_any_other_place(person, picture, driver, served):
    person.drop(picture)
    person.open_step("border")
    wait(lambda: person.driver.find_elements("css selector", "#body-border .card"), "plans")
    asked = set()
    for entry in driver.get_log("performance"):
        event = json.loads(entry["message"])["message"]
        if event["method"] == "Network.requestWillBeSent":
            asked.add(event["params"]["request"]["url"])
    assert len([url for url in asked if url.startswith(served.address)]) > 10
    assert [url for url in asked if url.startswith(("http", "ws")) and not url.startswith(served.address)] == []


def test_reduced_motion_is_respected(person, driver):
    driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]}
    )
    moving = person.js(
        "return [...document.querySelectorAll('*')].filter((n) => { const s = getComputedStyle(n);"
        "return s.animationName !== 'none' || s.transitionDuration.split(',').some((t) => parseFloat(t) > 0) }).length"
    )
    assert moving == 0


def test_broken_file_is_said_in_words_and_the_page_goes_on(person, picture, place):
    bad = place / "no picture.png"
    bad.write_bytes(b"this is no picture")
    person.driver.find_element("id", "file").send_keys(str(bad))
    wait(lambda: "no picture.png" in person.message(), "to be told")
    assert all("415" in text or "no picture" in text for text in person.console())
    person.drop(picture)
    assert "60 stitches wide" in person.chart_label()


def test_hand_edits_are_shown_within_a_frame(person, picture):
    """A frame is 16 ms; the bound here leaves room for a busy machine, the bench measures closely."""
    person.drop(picture)
    person.open_step("correct")
    for row in range(6):
        person.drag((row + 0.5, 1.5), (row + 0.5, 8.5), (row + 0.5, 14.5))
    times = person.js("return performance.getEntriesByName('hand-edit').map((each) => each.duration)")
    assert len(times) >= 12
    assert sorted(times)[len(times) // 2] < 50
