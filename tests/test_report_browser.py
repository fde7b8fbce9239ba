"""The page of `romtool report` in a real browser: looks, hover, keys, contrast, print.

What the page says stands in test_report.py. Contrast is that of the Web Content Accessibility
Guidelines 2.1, level AA: 4.5 for text (1.4.3), 3 for what must be seen of a drawing (1.4.11).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.report_picture import CLIP, PICTURE
from tests.support.browser import Browser, browser
from tests.support.tool import romtool, told

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = ROOT / "samples" / "hollow-lane.toml"
HOST = ROOT / "schemas" / "hosts" / "workshop.toml"
FAULTS = ROOT / "samples" / "tour" / "faults.toml"
A4 = (210, 297)
PIXELS_PER_MM = 96 / 25.4
MARGIN = 15
"""Millimetres left and right, as the page asks for them."""

MOST_PICTURE_BYTES = 200_000

WIDTHS = (360, 1280)
SCHEMES = ("light", "dark")
PAGES = ("sample", "all", "unreadable")

OVERFLOW = """
const wide = document.documentElement.clientWidth;
const past = [...document.querySelectorAll("body *")].filter((one) => {
  const box = one.getBoundingClientRect();
  return box.width && box.right > wide + 0.5 && !one.closest(".unseen, .scrolls");
});
return [document.documentElement.scrollWidth, wide, past.map((one) => one.outerHTML.slice(0, 80))];
"""

CONTRAST = """
const parse = (color) => color.match(/[\\d.]+/g).map(Number);
const light = ([r, g, b]) => {
  const [x, y, z] = [r, g, b].map((one) => {
    one /= 255;
    return one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * x + 0.7152 * y + 0.0722 * z;
};
const ratio = (a, b) => {
  const [dark, bright] = [light(a), light(b)].sort((x, y) => x - y);
  return (bright + 0.05) / (dark + 0.05);
};
const after = (one) => {
  for (; one; one = one.parentElement) {
    const color = parse(getComputedStyle(one).backgroundColor);
    if (color.length < 4 || color[3]) return color;
  }
  return [255, 255, 255];
};
const found = [];
const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (texts.nextNode()) {
  const parent = texts.currentNode.parentElement;
  if (!texts.currentNode.data.trim() || !parent.getClientRects().length) continue;
  if (parent.closest("script, .unseen, .skip, svg")) continue;
  const color = parse(getComputedStyle(parent).color);
  found.push(["text", ratio(color, after(parent)), parent.outerHTML]);
}
for (const one of document.querySelectorAll("svg text")) {
  const paper = after(one.closest("div"));
  found.push(["text", ratio(parse(getComputedStyle(one).fill), paper), one.outerHTML]);
}
const ink = parse(getComputedStyle(document.querySelector(".hex tspan")).fill);
for (const box of document.querySelectorAll("a .box")) {
  const shade = parse(getComputedStyle(box).fill);
  found.push(["text", ratio(ink, shade), box.parentNode.outerHTML]);
  const bar = getComputedStyle(box.nextElementSibling);
  if (bar.display !== "none") found.push(["drawing", ratio(parse(bar.stroke), shade), "bar"]);
}
for (const icon of document.querySelectorAll(".icon")) {
  const body = parse(getComputedStyle(icon.querySelector(".body")).fill);
  const sign = parse(getComputedStyle(icon.querySelector(".sign")).stroke);
  found.push(["drawing", ratio(body, sign), "sign"]);
  found.push(["drawing", ratio(body, after(icon.parentElement)), "icon"]);
}
return found.map(([kind, ratio, html]) => [kind, ratio, html.slice(0, 90)]);
"""


@pytest.fixture(scope="module")
def opened() -> Iterator[Browser]:
    """A browser for all tests of this file."""
    with browser() as one:
        one.requests()
        yield one


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pages: of the sample; with findings, differences and a host; of bytes of no layout."""
    made = tmp_path_factory.mktemp("pages")
    (made / "noise.bin").write_bytes(bytes(n * n % 251 for n in range(1, 701)))
    name = "Old workshop computer, with a network card and a scannerinterfacewithoutaspace"
    text = re.sub(r"(?m)^name = .*$", f'name = "{name}"', HOST.read_text(encoding="utf-8"))
    (made / "pc.toml").write_text(text, encoding="utf-8")
    for name, inputs in {
        "sample": [str(SAMPLE)],
        "all": [str(FAULTS), str(SAMPLE), "--host", "pc.toml"],
        "unreadable": ["noise.bin"],
    }.items():
        run = romtool("report", *inputs, "-o", f"{name}.html", cwd=made)
        assert run.returncode == 0, told(run)
    return made


@pytest.mark.parametrize("name", PAGES)
def test_quiet(opened: Browser, folder: Path, name: str) -> None:
    """No complaint on the console, and no request but for the page itself."""
    opened.requests()
    opened.view(folder / f"{name}.html", 1280)
    opened.run("window.scrollTo(0, document.body.scrollHeight)")
    assert opened.console() == []
    assert set(opened.requests()) == {(folder / f"{name}.html").as_uri()}


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_no_overflow(opened: Browser, folder: Path, name: str, width: int, scheme: str) -> None:
    """Nothing reaches past the right edge of the window."""
    opened.view(folder / f"{name}.html", width, scheme=scheme)
    scrolls, wide, past = opened.run(OVERFLOW)
    assert scrolls <= wide == width, past
    assert past == []


def test_a_long_name_of_a_host_is_all_there(opened: Browser, folder: Path) -> None:
    """It is wrapped beside its lines and channels; nothing of it is cut off."""
    opened.view(folder / "all.html", 360)
    cells = "return [...document.querySelectorAll('.host th')]"
    cut = f"{cells}.map((one) => one.scrollWidth - one.clientWidth)"
    assert opened.run(cut) == [0, 0]


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("name", PAGES)
def test_contrast(opened: Browser, folder: Path, name: str, scheme: str) -> None:
    """All text, and what must be seen of the drawings, against what lies after it."""
    opened.view(folder / f"{name}.html", 1280, scheme=scheme)
    measured = opened.run(CONTRAST)
    assert {kind for kind, _, _ in measured} == {"text", "drawing"}
    for kind, ratio, html in measured:
        assert ratio >= (4.5 if kind == "text" else 3), (kind, ratio, html)


def test_schemes_differ(opened: Browser, folder: Path) -> None:
    """The page follows what its reader prefers."""
    papers = []
    for scheme in SCHEMES:
        opened.view(folder / "sample.html", 1280, scheme=scheme)
        papers.append(opened.run("return getComputedStyle(document.body).backgroundColor"))
    light, dark = ([int(one) for one in re.findall(r"\d+", paper)] for paper in papers)
    assert min(light) > 200
    assert max(dark) < 60


def representable(opened: Browser) -> tuple[str, str, str]:
    """What the panel beside the map says: where, which bytes, what."""
    panel = opened.driver.find_element(By.ID, "explained")
    assert panel.is_displayed()
    where, raw, says = (panel.find_element(By.CLASS_NAME, n) for n in ("where", "raw", "says"))
    return where.text, raw.text, says.text


def test_hover(opened: Browser, folder: Path) -> None:
    """A box that is pointed at explains itself, wherever in it the pointer is."""
    opened.view(folder / "sample.html", 1280)
    box = opened.driver.find_element(By.CSS_SELECTOR, "#boxes a[href='#b0012'] .box")
    ActionChains(opened.driver).move_to_element(box).perform()
    says = "IRQ wiring: A 5, B 7, C 9, D 11, E -, F -"
    assert representable(opened) == ("0012, frame", "75 B9 00", says)
    assert opened.run("return getComputedStyle(arguments[0]).strokeWidth", box) == "2.5px"


def keys(opened: Browser, *pressed: str) -> None:
    """Press keys, wherever the focus is."""
    for key in pressed:
        ActionChains(opened.driver).send_keys(key).perform()


def focused(opened: Browser) -> str:
    """The link that has the focus, or the name of what has it."""
    answer = opened.run(
        "const one = document.activeElement; return one.getAttribute('href') || one.localName"
    )
    assert isinstance(answer, str)
    return answer


def spoken(opened: Browser) -> str:
    """What a screen reader says of what has the focus: its name in the accessibility tree."""
    handle = opened.asked("Runtime.evaluate", expression="document.activeElement")
    tree = opened.asked(
        "Accessibility.getPartialAXTree",
        objectId=handle["result"]["objectId"],
        fetchRelatives=False,
    )
    (node,) = tree["nodes"]
    assert node["role"]["value"] == "link"
    return str(node["name"]["value"])


def test_keys(opened: Browser, folder: Path) -> None:
    """Tab order: skip link, contents, the map as one stop, what follows it; arrows inside."""
    opened.view(folder / "sample.html", 1280)
    keys(opened, Keys.TAB)
    assert focused(opened) == "#main"
    contents = opened.run("return [...document.querySelectorAll('nav a')].map((a) => a.hash)")
    for link in contents:
        keys(opened, Keys.TAB)
        assert focused(opened) == link
    keys(opened, Keys.TAB, Keys.TAB)  # past the link in the map's introduction
    assert focused(opened) == "#b0000"
    keys(opened, Keys.ARROW_RIGHT)
    assert representable(opened) == ("0002, frame", "00 FA", "byte count: 250, right")
    assert spoken(opened) == "0002, 2 bytes: frame: byte count: 250, right"
    keys(opened, Keys.ARROW_DOWN)
    assert focused(opened) == "#b0012"
    keys(opened, Keys.ARROW_UP)
    assert focused(opened) == "#b0002"
    keys(opened, Keys.ARROW_LEFT, Keys.ARROW_LEFT)
    assert focused(opened) == "#b0000"
    keys(opened, Keys.END)
    assert representable(opened)[2] == "fill: 239 bytes"
    keys(opened, Keys.TAB)
    assert not focused(opened).startswith("#b")
    back = ActionChains(opened.driver).key_down(Keys.SHIFT).send_keys(Keys.TAB).key_up(Keys.SHIFT)
    back.perform()
    assert focused(opened) == "#b0111"
    keys(opened, Keys.HOME, Keys.ARROW_RIGHT, Keys.ENTER)
    assert opened.run("return location.hash") == "#b0002"
    row = opened.run("return document.querySelector(':target').getBoundingClientRect().top")
    assert 0 <= row < 900


def test_each_box_explains_itself(opened: Browser, folder: Path) -> None:
    """Every box shows its row's words when it gets the focus, and can be seen while it does."""
    opened.view(folder / "all.html", 1280)
    wrong = opened.run(
        """
        const says = document.querySelector("#explained .says");
        return [...document.querySelectorAll("#boxes a")].filter((box) => {
          box.focus();
          const row = document.querySelector(box.getAttribute("href"));
          return says.textContent !== row.cells[2].textContent
            || getComputedStyle(box.querySelector(".box")).strokeWidth !== "2.5px";
        }).length;
        """
    )
    assert wrong == 0


def test_works_without_script(opened: Browser, folder: Path) -> None:
    """Each box is then still a link to its row, with its words as its name."""
    opened.asked("Emulation.setScriptExecutionDisabled", value=True)
    try:
        opened.view(folder / "sample.html", 1280)
        box = opened.driver.find_element(By.CSS_SELECTOR, "#boxes a[href='#b0012']")
        box.click()
        assert opened.driver.current_url.endswith("#b0012")
        assert "IRQ wiring: A 5" in str(box.get_attribute("aria-label"))
    finally:
        opened.asked("Emulation.setScriptExecutionDisabled", value=False)


def test_picture() -> None:
    """The README's picture is there, small, and as wide as it is made now."""
    data = PICTURE.read_bytes()
    assert len(data) <= MOST_PICTURE_BYTES
    assert int.from_bytes(data[16:20], "big") == CLIP["width"]


@pytest.mark.parametrize(
    "name", ["all", *(pytest.param(n, marks=pytest.mark.bulk) for n in ["sample", "unreadable"])]
)
def test_print(opened: Browser, folder: Path, name: str) -> None:
    """On A4: no wider than the paper, in few pages, black on white, without what is for screens."""
    opened.view(folder / f"{name}.html", 1280, scheme="dark")
    pdf = opened.printed()
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    points = tuple(mm * 72 / 25.4 for mm in A4)
    assert boxes
    for width, height in boxes:
        assert (float(width), float(height)) == pytest.approx(points, abs=1)
    assert len(re.findall(rb"/Type /Page\b", pdf)) <= 9
    inside = round((A4[0] - 2 * MARGIN) * PIXELS_PER_MM)
    opened.view(folder / f"{name}.html", inside)
    opened.media("print")
    scrolls, wide, past = opened.run(OVERFLOW)
    assert scrolls <= wide, past
    assert past == []
    hidden = "nav, .panel, .on-screen, .skip"
    shown = "return [...document.querySelectorAll(arguments[0])].filter((a) => a.offsetHeight)"
    assert opened.run(f"{shown}.length", hidden) == 0
    assert opened.run(f"{shown}.length", ".record") == 1
    opened.media("")
