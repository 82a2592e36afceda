"""A page that was visited once opens without its server; a class's pages can be installed."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page
from playwright.sync_api import Error as PageError

from tests.browser.windows import FLAGS, PROGRAM, USABLE, serving, signed_by_itself, window

KEPT = """
async (address) => {
  const kept = await caches.open("tercet-1");
  return Boolean(await kept.match(address));
}
"""


@pytest.fixture
def copied(pages: Path, tmp_path: Path) -> Path:
    """Return a class's folder of its own, without recordings: they aren't kept."""
    return Path(shutil.copytree(pages / "class", tmp_path / "class", ignore=shutil.ignore_patterns("*.mp3")))


def visited(page: Page, address: str) -> None:
    """Open a page and wait until it is kept."""
    page.goto(address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    for _ in range(100):
        if page.evaluate(KEPT, address):
            return
        page.wait_for_timeout(50)
    raise AssertionError("the page wasn't kept")


@pytest.fixture
def gone(browser: Browser, copied: Path) -> Iterator[tuple[Page, str]]:
    """A window in which a song's page was visited once; its server has gone."""
    with window(browser) as opened:
        with serving(copied) as home:
            visited(opened.page, f"{home}/kettle-and-cup/index.html")
        yield opened.page, home
        opened.said = [each for each in opened.said if "Failed to load resource" not in each]


def test_a_page_that_was_visited_opens_without_its_server(gone: tuple[Page, str]) -> None:
    page, home = gone
    page.goto(f"{home}/kettle-and-cup/index.html")
    assert page.inner_text("h1") == "Kettle and Cup"
    page.wait_for_function(USABLE)
    assert page.evaluate("getComputedStyle(document.getElementById('go')).borderRadius") != "0px"


def test_a_page_over_https_plays_though_nobody_else_signed_for_it(
    browser: Browser, copied: Path, tmp_path: Path
) -> None:
    with (
        serving(copied, signed_by_itself(tmp_path)) as home,
        window(browser, ignore_https_errors=True) as opened,
    ):
        page = opened.show(f"{home}/kettle-and-cup/index.html")
        assert page.evaluate("window.isSecureContext")
        page.click("#go")
        page.wait_for_function("() => Tercet.player.state === 'playing' && Tercet.player.position().ms > 200")
        refused = ("SSL certificate error", "An unknown error occurred when fetching the script")
        opened.said = [each for each in opened.said if not any(words in each for words in refused)]


def test_over_https_it_opens_without_its_server_where_the_certificate_is_trusted(
    browser: Browser, copied: Path, tmp_path: Path
) -> None:
    trusting = browser.browser_type.launch(
        executable_path=PROGRAM, headless=True, args=[*FLAGS, "--ignore-certificate-errors"]
    )
    with window(trusting) as opened:
        with serving(copied, signed_by_itself(tmp_path)) as home:
            visited(opened.page, f"{home}/kettle-and-cup/index.html")
        opened.page.goto(f"{home}/kettle-and-cup/index.html")
        assert opened.page.inner_text("h1") == "Kettle and Cup"
        opened.said = [each for each in opened.said if "Failed to load resource" not in each]
    trusting.close()


def test_one_that_was_not_visited_does_not(gone: tuple[Page, str]) -> None:
    page, home = gone
    with pytest.raises(PageError, match="ERR_"):
        page.goto(f"{home}/another/index.html")


def test_without_its_worker_a_page_needs_its_server(browser: Browser, copied: Path) -> None:
    (copied / "offline.js").unlink()
    with window(browser) as opened:
        with serving(copied) as home:
            opened.page.goto(f"{home}/kettle-and-cup/index.html")
            opened.page.wait_for_timeout(500)
        with pytest.raises(PageError, match="ERR_"):
            opened.page.goto(f"{home}/kettle-and-cup/index.html")
        opened.said = []


def test_what_is_newer_on_the_server_goes_before_what_is_kept(browser: Browser, copied: Path) -> None:
    with window(browser) as opened, serving(copied) as home:
        address = f"{home}/index.html"
        visited(opened.page, address)
        file = copied / "index.html"
        file.write_text(file.read_text("utf-8").replace("</h1>", " anew</h1>"), "utf-8")
        opened.page.goto(address)
        assert opened.page.inner_text("h1").endswith(" anew")


def test_a_browser_finds_all_that_it_installs(browser: Browser, copied: Path) -> None:
    manifest = json.loads((copied / "class.webmanifest").read_text("utf-8"))
    for icon in manifest["icons"]:
        with Image.open(copied / icon["src"]) as picture:
            assert f"{picture.width}x{picture.height}" == icon["sizes"]
    assert (copied / manifest["start_url"]).is_file()
    with window(browser) as opened, serving(copied) as home:
        visited(opened.page, f"{home}/kettle-and-cup/index.html")
        link = opened.page.evaluate("document.querySelector('link[rel=manifest]').href")
        assert link == f"{home}/class.webmanifest"
        session = opened.page.context.new_cdp_session(opened.page)
        problems = session.send("Page.getInstallabilityErrors")["installabilityErrors"]
        assert [each["errorId"] for each in problems] == ["in-incognito"]  # as tests always are


def test_a_page_from_a_folder_asks_for_none_of_it(browser: Browser, copied: Path) -> None:
    with window(browser) as opened:
        opened.page.goto((copied / "kettle-and-cup" / "index.html").as_uri())
        assert opened.page.evaluate("document.querySelector('link[rel=manifest]')") is None
