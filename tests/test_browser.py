"""The pages in a real browser: Debian's Chromium, without a screen, driven by Playwright.

Accessibility is judged by axe-core (its rules follow WCAG 2.2); the rest is what a person would see happen.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

playwright = pytest.importorskip("playwright.sync_api", reason="the browser extra is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
if CHROMIUM is None:
    pytest.skip("no browser is installed", allow_module_level=True)

from test_weeks_class import journal_of, recorded  # noqa: E402

from strumclock import report  # noqa: E402  (after the skips)
from strumclock.assignments import Proposal, assign  # noqa: E402
from strumclock.batch.pages import write_class_pages  # noqa: E402
from strumclock.examples import example_session  # noqa: E402
from strumclock.grid import Exercise  # noqa: E402
from strumclock.pipeline import measure  # noqa: E402
from strumclock.weeks import class_list  # noqa: E402

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore::ResourceWarning")]
REFERENCE = Path(__file__).parents[1] / "reference_audio"
TAKES = {
    "steady": Exercise(bpm=84),
    "late_changes": Exercise(bpm=72, chords=("G", "C", "D", "C"), beats_per_change=4),
    "omitted_and_added": Exercise(bpm=100, meter="3/4", pattern="D", bars=14),
    "headphones": Exercise(bpm=104),
}
SESSIONS = ("left the click", "never with the click", "stepped tempo", "two takes", "one strum")
"""Recordings that are no plain take: see `strumclock.examples.example_session`."""
WIDTHS = (360, 1200)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every kind of page, in files; one take has a name that is markup."""
    folder = tmp_path_factory.mktemp("pages")
    found = {}
    for name, exercise in TAKES.items():
        found[name] = report.write_page(measure(REFERENCE / f"{name}.flac", exercise), folder / f"{name}.html")
    for kind in SESSIONS:
        recording, exercise = example_session(kind)
        text = report.page(measure(recording, exercise), recording=recording)
        found[kind] = folder / f"{kind}.html"
        found[kind].write_text(text, encoding="utf-8")
    hostile = folder / "<img src=x onerror=document.title='run'>.flac"
    shutil.copy(REFERENCE / "steady.flac", hostile)
    found["hostile"] = report.write_page(measure(hostile, Exercise(bpm=84)), folder / "hostile.html")
    takes = [
        recorded(who, week + k, 70 + 2 * week, True)
        for who in ("Ines", "<b>Tom</b>")
        for week in range(6)
        for k in (0, 0.3)
    ]
    journal = journal_of(folder / "class", takes)
    made = write_class_pages(journal, folder / "web", class_list(journal))
    found["class"] = made.index
    found["student"] = folder / "web" / "students" / "ines.html"
    song = Exercise(name="song", meter="4/4", per_beat=2, pattern="D.DU.UxU", chords=("G", "C"))
    (folder / "set").mkdir()
    sheet = assign(folder / "set", song, [Proposal(student="Ines", bpm=72)])
    found["sheet"] = sheet.sheets[0]
    return found


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One browser for all."""
    with playwright.sync_playwright() as play:
        running = play.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
        )
        yield running
        running.close()


class Seen:
    """A page that is open, with what it said to the console and asked of a network."""

    def __init__(self, browser: Any, path: Path, **context: Any) -> None:
        self.context = browser.new_context(**{"viewport": {"width": 1200, "height": 900}, **context})
        self.page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda line: self.said.append(line.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())

    def __enter__(self) -> Seen:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()


KINDS = (*TAKES, *SESSIONS, "hostile", "class", "student", "sheet")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("width", WIDTHS)
def test_a_page_fits_its_window_says_nothing_and_asks_for_nothing(browser, pages, kind, width) -> None:
    """No sideways scrolling, no console line, no request but for the page and what it holds in itself."""
    with Seen(browser, pages[kind], viewport={"width": width, "height": 800}) as seen:
        wide = seen.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide == 0
        assert seen.said == []
        assert [url for url in seen.asked if not url.startswith(("file:", "data:", "blob:"))] == []
        assert len([url for url in seen.asked if url.startswith("file:")]) == 1


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(browser, pages, kind, scheme) -> None:
    """axe-core's rules, contrast among them, in both colour schemes; its own script needs the policy lifted."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="the browser extra is not installed")
    with Seen(browser, pages[kind], bypass_csp=True, color_scheme=scheme) as seen:
        found = axe.Axe().run(seen.page).response["violations"]
    serious = [(one["id"], one["nodes"][0]["html"]) for one in found if one["impact"] in ("serious", "critical")]
    assert serious == []


@pytest.mark.parametrize("kind", [*TAKES, *SESSIONS, "student", "sheet"])
def test_a_page_prints_on_one_sheet_of_a4(browser, pages, kind) -> None:
    """Pages in the PDF that Chromium prints, counted by its own marks."""
    with Seen(browser, pages[kind]) as seen:
        printed = seen.page.pdf(prefer_css_page_size=True, format="A4")
    assert printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") + printed.count(b"/Type /Page/") == 1


def test_a_name_that_is_markup_is_text(browser, pages) -> None:
    """`<img onerror>` in a file's name and `<b>` in a student's neither run nor appear as elements."""
    with Seen(browser, pages["hostile"]) as seen:
        assert seen.page.title() != "run"
        assert seen.page.locator("img").count() == 0
        assert "onerror" in seen.page.inner_text("body")
    with Seen(browser, pages["class"]) as seen:
        assert seen.page.locator("main b").count() == 0
        assert "<b>Tom</b>" in seen.page.inner_text("main")


def playing(seen: Seen) -> bool:
    return bool(seen.page.evaluate("Array.from(document.querySelectorAll('audio')).some((a) => !a.paused)"))


def test_a_bar_is_heard_from_half_a_beat_before(browser, pages) -> None:
    """Pressed: the sound plays from half a beat before the bar, a line moves in it, and Escape stops it."""
    with Seen(browser, pages["steady"]) as seen:
        bar = seen.page.locator("ol.bars button").nth(3)
        begins, beat = (float(seen.page.get_attribute("#take", name)) for name in ("data-start", "data-beat"))
        bar.click(position={"x": 5, "y": 5})
        seen.page.wait_for_function("!document.getElementById('sound-take').paused")
        at = float(seen.page.evaluate("document.getElementById('sound-take').currentTime"))
        wanted = float(bar.get_attribute("data-from")) - beat / 2 - begins
        assert wanted - 0.05 <= at <= wanted + 1.0
        seen.page.wait_for_selector("line.play", state="attached")
        assert "bar 4" in seen.page.inner_text("#said")
        seen.page.keyboard.press("Escape")
        seen.page.wait_for_function("Array.from(document.querySelectorAll('audio')).every((a) => a.paused)")
        assert seen.said == []


def test_half_speed_keeps_the_pitch_and_the_other_ear_has_the_tick(browser, pages) -> None:
    """The three sounds of the page: by the browser's own account of what plays, how fast, with pitch kept."""
    with Seen(browser, pages["late_changes"]) as seen:
        for way, sound, rate in (("take", "sound-take", 1), ("half", "sound-take", 0.5), ("ticked", "sound-ticked", 1)):
            seen.page.check(f"input[value={way}]")
            seen.page.locator("ol.bars button").nth(1).click(position={"x": 5, "y": 5})
            seen.page.wait_for_function(f"!document.getElementById('{sound}').paused")
            sounding = f"document.getElementById('{sound}')"
            told = seen.page.evaluate(f"[{sounding}.playbackRate, {sounding}.preservesPitch]")
            assert told == [rate, True]
            seen.page.click("#stop")


def test_the_worst_bars_are_heard_one_after_the_other(browser, pages) -> None:
    """The button names them, and the first of them plays."""
    with Seen(browser, pages["late_changes"]) as seen:
        assert seen.page.inner_text("#three").startswith("Hear bars")
        seen.page.click("#three")
        seen.page.wait_for_function("!document.getElementById('sound-take').paused")
        assert "one of the worst" in seen.page.inner_text("#said")


def test_the_keyboard_alone_is_enough(browser, pages) -> None:
    """Tab to the bars, arrows from bar to bar, Enter plays, the focus can be seen."""
    with Seen(browser, pages["steady"]) as seen:
        seen.page.locator("ol.bars button").first.focus()
        seen.page.keyboard.press("ArrowRight")
        assert "bar 2" in seen.page.evaluate("document.activeElement.getAttribute('aria-label')")
        seen.page.keyboard.press("End")
        last = seen.page.evaluate("document.activeElement.getAttribute('aria-label')")
        assert last == seen.page.locator("ol.bars button").last.get_attribute("aria-label")
        outline = seen.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline != "none"
        seen.page.keyboard.press("Enter")
        seen.page.wait_for_function("!document.getElementById('sound-take').paused")
        assert playing(seen)


def test_from_the_class_to_a_student_and_back_is_a_walk_through_files(browser, pages) -> None:
    """A link opens the student's page, from the folder, without a server."""
    with Seen(browser, pages["class"]) as seen:
        seen.page.click("text=Ines")
        assert seen.page.inner_text("h1") == "Ines"
        assert "Tom" not in seen.page.inner_text("body")


@pytest.mark.parametrize("motion", ["reduce", "no-preference"])
def test_nothing_moves_for_who_asked_for_that(browser, pages, motion) -> None:
    """With reduced motion the bar that sounds is framed, and no line runs through it; else the line runs."""
    with Seen(browser, pages["left the click"], reduced_motion=motion) as seen:
        seen.page.locator("ol.bars button").nth(2).click(position={"x": 5, "y": 5})
        still = motion == "reduce"
        seen.page.wait_for_selector("ol.bars button.playing" if still else "line.play", state="attached")
        assert seen.page.locator("line.play").count() == (0 if still else 1)
        assert seen.page.locator("ol.bars button.playing").count() == (1 if still else 0)
        seen.page.keyboard.press("Escape")
        seen.page.wait_for_selector("button.playing, line.play", state="detached")
        assert seen.said == []


def test_stop_is_out_of_use_once_the_whole_take_has_ended(browser, pages) -> None:
    """A sound that comes to its end by itself: nothing is left to stop, and no line is left standing."""
    with Seen(browser, pages["one strum"]) as seen:
        assert seen.page.is_disabled("#stop")
        seen.page.click("#all")
        seen.page.wait_for_function("!document.getElementById('sound-take').paused")
        assert seen.page.is_enabled("#stop")
        seen.page.evaluate("{ const s = document.getElementById('sound-take'); s.currentTime = s.duration; }")
        seen.page.wait_for_selector("#stop:disabled")
        assert seen.page.locator("line.play").count() == 0


def test_each_part_of_a_recording_can_be_heard(browser, pages) -> None:
    """A bar of the other take, and one at the player's own tempo: each plays from its own place in the recording."""
    for kind, heading in (("two takes", "another take"), ("left the click", "a tempo of its own")):
        with Seen(browser, pages[kind]) as seen:
            assert heading in seen.page.inner_text("h3")
            bar = seen.page.locator("h3 + ol.bars button").nth(1)
            begins, beat = (float(seen.page.get_attribute("#take", name)) for name in ("data-start", "data-beat"))
            bar.click(position={"x": 5, "y": 5})
            seen.page.wait_for_function("!document.getElementById('sound-take').paused")
            at = float(seen.page.evaluate("document.getElementById('sound-take').currentTime"))
            wanted = float(bar.get_attribute("data-from")) - beat / 2 - begins
            assert wanted - 0.05 <= at <= wanted + 1.0
            assert seen.said == []
