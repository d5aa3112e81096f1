"""The page in a real browser, measuring for real, at desktop and phone width.

Needs Chromium and its driver. Without them the tests are skipped on a desk, but fail where the environment
says CI=true, so that a green run always means that they ran.
"""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from PIL import Image
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver import Chrome
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import WebDriverWait

from app.record.folder import FOLDER_VARIABLE
from tests import fixtures_results

pytestmark = pytest.mark.browser
ROOT = Path(__file__).resolve().parents[2]
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
SIZES = {"desktop": (1280, 1000), "phone": (390, 844)}
MEASURING_S = 480


def browser_paths() -> tuple[str, str]:
    """Chromium and its driver. Fails in CI, skips elsewhere, when one is missing."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    driver = shutil.which("chromedriver")
    if browser is None or driver is None:
        message = "no chromium or no chromedriver: apt-get install chromium chromium-driver"
        if os.environ.get("CI", "").lower() in ("1", "true"):
            pytest.fail(message)
        pytest.skip(message)
    return browser, driver


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The page, started by the command itself from a foreign folder."""
    browser_paths()
    with socket.socket() as free:
        free.bind(("localhost", 0))
        port = free.getsockname()[1]
    log = tmp_path_factory.mktemp("server") / "log.txt"
    paths = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    with log.open("w") as out:
        server = subprocess.Popen(
            [sys.executable, "-m", "app.cli", "--port", str(port)],
            cwd=log.parent,
            env=os.environ
            | {
                "PYTHONPATH": os.pathsep.join(paths),
                "CI": "true",
                FOLDER_VARIABLE: str(log.parent / "data"),
            },
            stdout=out,
            stderr=subprocess.STDOUT,
        )
    try:
        url = f"http://localhost:{port}"
        wait_for_server(url, server, log)
        yield url
    finally:
        server.terminate()
        server.wait(timeout=30)


def wait_for_server(url: str, server: "subprocess.Popen[bytes]", log: Path) -> None:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        assert server.poll() is None, log.read_text()
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=5) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            time.sleep(0.3)
    raise AssertionError(f"the page did not start: {log.read_text()}")


@pytest.fixture(params=SIZES)
def page(request: pytest.FixtureRequest, address: str, tmp_path: Path) -> Iterator[Chrome]:
    """A fresh browser of one size on the page."""
    browser, driver_path = browser_paths()
    width, height = SIZES[request.param]
    options = Options()
    options.binary_location = browser
    for flag in (*FLAGS, f"--user-data-dir={tmp_path / 'profile'}", f"--window-size={width},{height}"):
        options.add_argument(flag)
    prefs: dict[str, object] = {
        "download.default_directory": str(tmp_path / "downloads"),
        "plugins.always_open_pdf_externally": True,  # a PDF is to be stored, not shown
        "profile.default_content_setting_values.automatic_downloads": 1,  # more than one file a page
    }
    options.add_experimental_option("prefs", prefs)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL"})
    driver = Chrome(options=options, service=Service(driver_path))
    try:
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": request.param == "phone"}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        driver.get(address)
        wait_until_drawn(driver, 60)
        yield driver
    finally:
        driver.quit()


def main_text(page: Chrome) -> str:
    broken = page.find_elements(By.CSS_SELECTOR, "[data-testid=stException]")
    assert not broken, broken[0].text
    return str(page.execute_script("return document.querySelector('[data-testid=stMain]')?.innerText ?? ''"))


def wait_until_drawn(page: Chrome, seconds: float) -> None:
    """Until the page's script has run to its end; its last line is the foot of the page."""
    wait_for_text(page, "Everything stays on this computer", seconds)
    state = "return document.querySelector('[data-testid=stApp]').dataset.testScriptState"
    waiting(page, seconds).until(lambda d: d.execute_script(state) == "notRunning")


def wait_for_text(page: Chrome, words: str, seconds: float) -> None:
    waiting(page, seconds).until(lambda d: words in main_text(d), f"{words!r} did not appear")


def waiting(page: Chrome, seconds: float) -> "WebDriverWait[Chrome]":
    """The page is drawn anew at any time, so an element that has just gone is looked for again."""
    return WebDriverWait(page, seconds, ignored_exceptions=[StaleElementReferenceException])


def button(page: Chrome, words: str) -> WebElement:
    """The first button with these words, when it has come."""

    def find(driver: Chrome) -> WebElement | None:
        return next((b for b in driver.find_elements(By.TAG_NAME, "button") if words in b.text), None)

    found = waiting(page, 30).until(find, f"no button {words!r}")
    assert found is not None
    return found


def click(page: Chrome, words: str) -> None:
    def press(driver: Chrome) -> bool:
        driver.execute_script("arguments[0].click()", button(driver, words))
        return True

    waiting(page, 30).until(press)
    time.sleep(0.3)  # until the script's run has begun
    wait_until_drawn(page, 60)


def open_all(page: Chrome) -> None:
    """Open every part that is folded away."""
    page.execute_script("document.querySelectorAll('details:not([open]) > summary').forEach(s => s.click())")
    wait_until_drawn(page, 60)
    time.sleep(0.5)  # until what was folded away has been laid out


def check_screen(page: Chrome) -> None:
    """As it stands and with everything unfolded: nothing sticks out, all text is readable, nothing broke."""
    check_layout(page)
    check_contrast(page)
    open_all(page)
    check_layout(page)
    check_contrast(page)


def check_layout(page: Chrome) -> None:
    """Nothing sticks out to the right."""
    wide, seen = page.execute_script(
        "const main = document.querySelector('[data-testid=stMain]');"
        "return [Math.max(main.scrollWidth, document.documentElement.scrollWidth), window.innerWidth]"
    )
    assert wide <= seen, f"{wide} px wide in a window of {seen} px"
    assert "Traceback" not in main_text(page)


# Signs drawn with an icon font are no text: they need only 3:1, and are left out.
PALE_TEXT = """
const parse = c => { const n = c.match(/[\\d.]+/g).map(Number); return n.length > 3 ? n : [...n, 1]; };
const over = (top, under) => [0, 1, 2].map(i => top[i] * top[3] + under[i] * (1 - top[3])).concat(1);
const linear = v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
const light = c => { const [r, g, b] = c.map(v => linear(v / 255));
  return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
const ground = e => { const layers = []; for (let n = e; n; n = n.parentElement) {
  const c = parse(getComputedStyle(n).backgroundColor); if (c[3] > 0) layers.push(c); if (c[3] === 1) break; }
  return layers.reverse().reduce((under, top) => over(top, under), [255, 255, 255, 1]); };
const found = [];
for (const e of document.querySelectorAll('[data-testid=stMain] *')) {
  const own = [...e.childNodes].filter(n => n.nodeType === 3);
  const words = own.map(n => n.textContent.trim()).join(' ').trim();
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  if (/Material|Symbols/.test(style.fontFamily) || /icon$/.test(words)) continue;
  if (!words || !box.width || style.visibility === 'hidden' || style.opacity === '0') continue;
  if (e.closest('svg, [disabled], [aria-disabled=true]') || ['STYLE', 'SCRIPT'].includes(e.tagName)) continue;
  const under = ground(e), text = over(parse(style.color), under);
  const [a, b] = [light(text), light(under)].sort((x, y) => y - x), size = parseFloat(style.fontSize);
  const enough = size >= 24 || (size >= 18.66 && style.fontWeight >= 700) ? 3 : 4.5;
  const ratio = (a + 0.05) / (b + 0.05);
  if (ratio < enough) found.push(words.slice(0, 40) + ' ' + ratio.toFixed(2));
}
return found;
"""


def check_contrast(page: Chrome) -> None:
    """Every text keeps the contrast of WCAG 2.2 level AA against what lies behind it."""
    assert page.execute_script(PALE_TEXT) == []


def hosts_asked(page: Chrome) -> set[str]:
    """Every host that the page asked for anything."""
    messages = [json.loads(entry["message"])["message"] for entry in page.get_log("performance")]
    urls = [
        urlsplit(m["params"]["request"]["url"])
        for m in messages
        if m["method"] == "Network.requestWillBeSent" and m["params"].get("documentURL", "").startswith("http://")
    ]
    return {url.hostname or "" for url in urls if url.scheme in ("http", "https", "ws", "wss")}


STEPS = {
    "Guitar": "What you know before you touch it",
    "Photos": "one along each outer string",
    "Curves": "There are no photographs to measure yet",
    "Checks": "of 24 looked at",
    "Decision": "The money",
}


def test_every_screen_of_a_fresh_inspection(page: Chrome) -> None:
    check_screen(page)
    click(page, "Inspect a guitar")
    for step, words in STEPS.items():
        click(page, step)
        wait_for_text(page, words, 30)
        check_screen(page)
    assert hosts_asked(page) == {"localhost"}


def test_the_steps_are_reached_with_the_keyboard_alone(page: Chrome) -> None:
    press_by_keyboard(page, "Inspect a guitar")
    wait_for_text(page, "What do you call it?", 30)
    for words in ("2 Photos", "4 Checks"):
        press_by_keyboard(page, words)
    wait_for_text(page, "The rest of the inspection", 30)


def press_by_keyboard(page: Chrome, words: str) -> None:
    """Step with the Tab key until the button with these words has the focus, shown by an outline; press Enter."""
    wait_until_drawn(page, 60)
    page.execute_script("document.activeElement.blur()")
    for _ in range(60):
        page.switch_to.active_element.send_keys(Keys.TAB)
        focused = page.switch_to.active_element
        if focused.tag_name == "button" and words in focused.text:
            style = "const s = getComputedStyle(arguments[0]); return s.outlineStyle + ' ' + s.outlineWidth"
            assert page.execute_script(style, focused) == "solid 3px"
            focused.send_keys(Keys.ENTER)
            time.sleep(0.5)
            wait_until_drawn(page, 60)
            return
    raise AssertionError(f"no way to {words!r} with the Tab key")


def test_a_sample_guitar_from_photographs_to_decision(page: Chrome, tmp_path: Path) -> None:
    click(page, "Try with sample photographs")
    wait_for_text(page, "2 down the neck, 1 from the front", 120)
    check_screen(page)
    click(page, "Measure the neck")
    waiting(page, 60).until(lambda d: "Measuring" in main_text(d) or "Relief under" in main_text(d))
    page.refresh()  # a reload in the middle loses nothing
    wait_for_text(page, "Relief under the bass string", MEASURING_S)
    waiting(page, 60).until(lambda d: len(d.find_elements(By.CSS_SELECTOR, ".js-plotly-plot .main-svg")) >= 3)
    check_screen(page)
    for words in ("Relief under the treble string", "95 %", "Caution", "String sag"):
        assert words in main_text(page)
    click(page, "inch")
    wait_for_text(page, "thou under the bass string", 60)
    check_screen(page)
    click(page, "All figures as JSON")
    target = tmp_path / "downloads" / "neck-sighting.json"
    waiting(page, 30).until(lambda d: target.is_file())
    assert json.loads(target.read_text())["status"] == "measured"
    click(page, "Checks")
    for group in ("Truss rod", "Board and frets", "Electrics", "Body and origin"):
        click(page, group)
        check_screen(page)
    click(page, "Decision")
    wait_for_text(page, "Highest worth offering", 60)
    check_screen(page)
    click(page, "Make the page as PDF")
    wait_for_text(page, "Download the page (PDF)", 120)
    click(page, "Download the page (PDF)")
    waiting(page, 30).until(lambda d: list((tmp_path / "downloads").glob("*.pdf")))
    assert next((tmp_path / "downloads").glob("*.pdf")).read_bytes().startswith(b"%PDF-")
    click(page, "All inspections")
    wait_for_text(page, "Inspections", 30)
    check_screen(page)
    assert hosts_asked(page) == {"localhost"}


def test_a_photograph_without_a_neck_is_kept_and_marked_with_the_keyboard(page: Chrome, tmp_path: Path) -> None:
    photograph = tmp_path / "carpet.png"
    Image.fromarray(fixtures_results.picture(None)).save(photograph)
    click(page, "Inspect a guitar")
    click(page, "Photos")
    chooser = waiting(page, 60).until(lambda d: d.find_element(By.CSS_SELECTOR, "input[type=file]"))
    chooser.send_keys(str(photograph))
    wait_for_text(page, "Not found", 120)
    page.refresh()
    wait_for_text(page, "Not found", 120)
    assert "carpet.png" in main_text(page)
    check_screen(page)
    click(page, "Mark the neck")
    wait_for_text(page, "Use these corners", 30)
    ring = waiting(page, 30).until(lambda d: d.execute_script(CORNER_HANDLE))
    waiting(page, 30).until(lambda d: d.execute_script(PANEL_IN_SIGHT), "panel out of sight")
    before = ring.get_attribute("aria-label")
    ring.send_keys(Keys.ARROW_RIGHT)
    assert ring.get_attribute("aria-label") != before
    assert "arrow keys move it" in str(before)
    check_layout(page)
    check_contrast(page)
    click(page, "Use these corners")
    wait_for_text(page, "Not found", 120)


# Its upper edge near that of the window, or as near as the page lets it.
PANEL_IN_SIGHT = """
const panel = document.querySelector('.st-key-_correction'), main = document.querySelector('[data-testid=stMain]');
const top = panel ? panel.getBoundingClientRect().top : -99;
return top > -5 && (top < 200 || main.scrollTop + main.clientHeight >= main.scrollHeight - 2);
"""
CORNER_HANDLE = """
const hosts = [...document.querySelectorAll('*')].filter(e => e.shadowRoot);
return hosts.map(e => e.shadowRoot.querySelector('.handle')).find(e => e);
"""


def test_two_guitars_stand_side_by_side_at_any_width(page: Chrome) -> None:
    for title in ("Red one", "Blue one with a name that is much longer than any column is wide"):
        click(page, "Inspect a guitar")
        type_title(page, title)
        click(page, "All inspections")
        wait_for_text(page, title, 30)
    boxes = page.find_elements(By.CSS_SELECTOR, "[data-testid=stCheckbox] input")[:2]
    for place in range(len(boxes)):
        box = page.find_elements(By.CSS_SELECTOR, "[data-testid=stCheckbox] input")[place]
        page.execute_script("arguments[0].click()", box)
        time.sleep(0.5)
        wait_until_drawn(page, 60)
    click(page, "Put 2 side by side")
    wait_for_text(page, "Side by side", 30)
    check_screen(page)
    first, second = page.find_elements(By.CSS_SELECTOR, ".compared tbody tr:first-child td")
    assert first.rect["y"] == second.rect["y"]
    assert first.rect["x"] + first.rect["width"] <= second.rect["x"] + 1


def test_a_screen_opens_at_its_top_and_stays_where_it_is_while_one_types(page: Chrome) -> None:
    click(page, "Inspect a guitar")
    click(page, "Checks")
    page.execute_script(SCROLL, 99999)
    click(page, "Next: Neck")
    assert page.execute_script(SCROLLED) == 0
    click(page, "Decision")
    open_all(page)
    before = scrolled_to_the_end(page)
    field = page.find_element(By.CSS_SELECTOR, "input[aria-label^='A seller goes down']")
    field.send_keys(Keys.CONTROL, "a")
    field.send_keys("9" + Keys.ENTER)
    wait_for_text(page, "This must be from 0.10 to 1.00", 30)
    assert before > 0
    assert abs(page.execute_script(SCROLLED) - before) < 60, "only what the message itself takes"


def scrolled_to_the_end(page: Chrome) -> float:
    """How far down the end is, once the screen has stopped growing."""
    places = [-1.0]
    while len(places) < 4 or len(set(places[-3:])) > 1:
        assert len(places) < 60, "the screen never stops growing"
        page.execute_script(SCROLL, 99999)
        time.sleep(0.5)
        places.append(float(page.execute_script(SCROLLED)))
    return places[-1]


SCROLL = "document.querySelector('[data-testid=stMain]').scrollTo(0, arguments[0])"
SCROLLED = "return document.querySelector('[data-testid=stMain]').scrollTop"


def test_one_inspection_open_in_two_windows_says_so(page: Chrome) -> None:
    click(page, "Inspect a guitar")
    address = page.current_url
    first = page.current_window_handle
    page.switch_to.new_window("tab")
    page.get(address)
    wait_until_drawn(page, 60)
    type_title(page, "Second window")
    page.switch_to.window(first)
    type_title(page, "First window")
    wait_for_text(page, "changed in two places", 60)
    check_layout(page)
    check_contrast(page)
    click(page, "Keep mine as a copy")
    click(page, "All inspections")
    wait_for_text(page, "First window (copy)", 30)
    assert "Second window" in main_text(page)


def type_title(page: Chrome, words: str) -> None:
    field = waiting(page, 30).until(
        lambda d: d.find_element(By.CSS_SELECTOR, "input[aria-label='What do you call it?']")
    )
    field.send_keys(words + Keys.ENTER)
    time.sleep(0.5)
    wait_until_drawn(page, 60)
