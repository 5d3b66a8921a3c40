"""The page for phones in a real browser."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from axe_core_python.selenium import Axe
from selenium import webdriver
from selenium.webdriver.common.keys import Keys

from app.page import certificate
from engine.model.crew_notes import Stage
from engine.model.messages import AlarmState, Severity
from engine.model.tracks import Plan, Track
from tests.support.browser import keep, phone, require_browser, wait
from tests.support.checkout import ROOT
from tests.support.cut_network import wire
from tests.support.page_night import PageNight, page_night
from tests.support.played_site import played_site
from tests.support.qt import fake_client

pytestmark = [pytest.mark.end_to_end, pytest.mark.at_any_speed]

PICTURES = ROOT / ".artefacts"
PLAN = fake_client.tower_plan()
CARDS = "document.querySelectorAll('#panel-cards .card').length"
NO_RED = "document.querySelectorAll('#panel-cards .card.none').length === 0"
STALE = "!document.getElementById('stale').hidden"
HOSTILE = '<img src=x onerror="window.hurt=1"><script>window.hurt=1</script>'


@pytest.fixture(scope="module", autouse=True)
def browser() -> None:
    """There has to be one."""
    require_browser()


@pytest.fixture
def night() -> Iterator[PageNight]:
    """A watch with four alarms, on a page."""
    with page_night(fake_client.Crew(PLAN, fake_client.tower_alarms())) as running:
        yield running


@pytest.fixture(scope="module")
def screen() -> Iterator[webdriver.Chrome]:
    """One phone for tests that leave nothing behind but a page to be loaded again."""
    require_browser()
    with phone() as driver:
        yield driver


def opened(driver: webdriver.Chrome, night: PageNight) -> webdriver.Chrome:
    """The page with its code, with something on it."""
    driver.get("about:blank")
    driver.get(night.server.address)
    wait(driver, CARDS)
    return driver


def tap(driver: webdriver.Chrome, what: str) -> None:
    """Bring the first element that fits to the middle of the screen and press it."""
    button = driver.find_element("css selector", what)
    driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
    button.click()


def text(driver: webdriver.Chrome, what: str) -> str:
    """The text of the first element that fits."""
    return str(driver.execute_script(f"return document.querySelector({what!r}).innerText"))


def test_the_page_says_what_the_glance_view_says(screen: Any, night: PageNight) -> None:
    """In its order, and the code is gone from the address bar."""
    driver = opened(screen, night)
    script = "return [...document.querySelectorAll('#panel-cards .card h2 .who')]"
    names = driver.execute_script(f"{script}.map(e => e.textContent)")
    assert names == ["7 + 8 Foreman", "9 Boom scaffold", "3 Rigger main"]
    assert text(driver, ".card .fault") == "NO BACKUP · silent"
    assert text(driver, "#title") == "Raising the bell"
    assert night.server.access.code not in driver.current_url
    cookies = driver.execute_script("return document.cookie")
    assert cookies == "", "scripts can't read the cookie"


def test_on_my_way_reaches_the_board_and_other_phones(screen: Any, night: PageNight) -> None:
    """The first press asks for a name; a second press takes it back."""
    driver = opened(screen, night)
    driver.execute_script("localStorage.clear()")
    tap(driver, ".card.amber button[data-what=way]")
    driver.find_element("id", "name").send_keys("Second assistant")
    driver.find_element("id", "ask-ok").click()
    wait(driver, "document.querySelector('.card.amber .help').innerText !== ''")
    assert text(driver, ".card.amber .help").startswith("Second assistant is on the way since ")
    (attendance,) = night.crew.desk.attendances
    assert (attendance.name, attendance.stage) == ("Second assistant", Stage.ON_THE_WAY)
    with phone() as other:
        opened(other, night)
        assert text(other, ".card.amber .help").startswith("Second assistant is on the way")
    tap(driver, ".card.amber button[data-what=way]")
    wait(driver, "document.querySelector('.card.amber .help').innerText === ''")
    assert night.crew.desk.attendances == ()


def test_seen_is_offered_only_where_the_mixer_allows_it(screen: Any, night: PageNight) -> None:
    """The button comes and goes with the mixer's choice."""
    driver = opened(screen, night)
    shown = "[...document.querySelectorAll('[data-what=seen]')].filter(b => !b.hidden).length"
    assert driver.execute_script(f"return {shown}") == 0
    night.server.feed.may_see = True
    assert wait(driver, shown) == 2  # one of the three was seen already
    tap(driver, ".card.none button[data-what=seen]")
    wait(driver, "document.querySelector('.card.none.seen') !== null")
    states = {a.incident.id: a.state for a in night.crew.alarms}
    assert {states[1], states[2]} == {AlarmState.ACKNOWLEDGED}


def test_a_wrong_code_shows_nothing(screen: Any, night: PageNight) -> None:
    """Neither names nor levels; the right one typed in opens the page."""
    driver = screen
    driver.get("about:blank")
    driver.get(f"{night.server.origin}/#wrong")
    wait(driver, "!document.getElementById('enter').hidden")
    wait(driver, "document.getElementById('enter-said').innerText !== ''")
    assert "Raising" not in driver.page_source
    driver.find_element("id", "code").send_keys(night.server.access.code)
    driver.find_element("css selector", "#enter-form button").click()
    assert wait(driver, CARDS) == 3


def test_names_are_text_and_never_markup(screen: Any) -> None:
    """A hostile plan, title, and assistant show as they are written and do nothing."""
    tracks = tuple(
        replace(t, name=HOSTILE, pack=HOSTILE, placement=HOSTILE, who=HOSTILE if t.who else "")
        for t in PLAN.tracks
    )
    crew = fake_client.Crew(Plan(tracks, HOSTILE), fake_client.tower_alarms())
    with page_night(crew) as night:
        driver = opened(screen, night)
        for tab in ("tracks", "plan", "cards"):
            driver.find_element("id", f"tab-{tab}").click()
        assert HOSTILE in text(driver, "#panel-cards")
        assert driver.execute_script("return window.hurt") is None
        assert (
            driver.execute_script("return document.querySelectorAll('img, main script').length")
            == 0
        )


def test_a_new_alarm_is_there_in_a_blink(screen: Any, night: PageNight) -> None:
    """From the watch's snapshot to the painted page in under 0.3 s, the worst of ten."""
    driver = opened(screen, night)
    driver.execute_script(
        "window.times = {}; new MutationObserver(() => requestAnimationFrame(() => {"
        f"  const n = {CARDS}; window.times[n] ??= Date.now();"
        "})).observe(document.getElementById('panel-cards'), { childList: true });"
    )
    waits = []
    for _ in range(10):
        for count, alarms in ((0, ()), (3, fake_client.tower_alarms())):
            driver.execute_script("window.times = {}")
            began = time.time()
            night.crew.alarms = alarms
            waits.append(wait(driver, f"window.times[{count}]") / 1000.0 - began)
    errors = [e["message"] for e in driver.get_log("browser") if "page.js" in e["message"]]
    assert errors == []
    print(f"alarm to phone: median {sorted(waits)[10]:.3f} s, worst {max(waits):.3f} s")
    assert max(waits) < 0.3


def test_a_page_without_news_says_so_and_comes_back(screen: Any, night: PageNight) -> None:
    """The network cut: within 2 s over everything, grey; back by itself."""
    driver = opened(screen, night)
    driver.execute_cdp_cmd("Network.enable", {})
    night.server.feed.step = lambda: None  # type: ignore[method-assign]
    began = time.monotonic()
    wait(driver, STALE)
    assert 1.0 < time.monotonic() - began < 2.6
    assert text(driver, "#stale").startswith("No news from the cart since ")
    keep(driver, PICTURES / "page-stale.png")
    assert driver.execute_script("return document.body.classList.contains('stale')")
    del night.server.feed.step  # type: ignore[method-assign]
    wait(driver, f"!({STALE})")


def test_a_network_that_is_cut_is_noticed_and_comes_back(screen: Any, night: PageNight) -> None:
    """Nothing comes through and nobody is told; afterwards the page finds its way by itself."""
    with wire(int(night.server.origin.rpartition(":")[2])) as network:
        night.server._port = network.port
        driver = opened(screen, night)
        network.cut()
        began = time.monotonic()
        wait(driver, STALE)
        assert time.monotonic() - began < 2.6
        network.mend()
        wait(driver, f"!({STALE})", 20.0)
        assert wait(driver, CARDS) == 3


def test_a_new_red_shakes_the_phone_and_sounds_where_that_is_wished(
    screen: Any, night: PageNight
) -> None:
    """Once it was touched; a new amber, and what is only seen, do neither."""
    driver = opened(screen, night)
    driver.execute_script(
        "window.shaken = []; window.tones = 0;"
        "navigator.vibrate = (how) => { window.shaken.push(how); return true; };"
        "const start = OscillatorNode.prototype.start;"
        "OscillatorNode.prototype.start = function (...at) {"
        "  window.tones += 1; return start.apply(this, at); };"
    )
    red, others = night.crew.alarms[:2], night.crew.alarms[2:]
    night.crew.alarms = others
    wait(driver, NO_RED)
    tap(driver, "#tab-tracks")
    night.crew.alarms = (*red, *others)
    wait(driver, "window.shaken.length === 1")
    assert driver.execute_script("return window.tones") == 0
    assert text(driver, "#spoken").startswith("No backup: 7 + 8 ")
    tap(driver, "#bell")
    assert text(driver, "#bell") == "Sound: on"
    beeps = driver.execute_script("return window.tones")
    assert beeps > 0, "pressing it lets one hear it"
    night.crew.alarms = others
    wait(driver, NO_RED)
    night.crew.alarms = (*red, *others)
    wait(driver, f"window.shaken.length === 2 && window.tones > {beeps}")
    driver.execute_script("window.shaken = []")
    ambers = tuple(a for a in night.crew.alarms if a.incident.severity is Severity.AMBER)
    night.crew.alarms = tuple(a for a in night.crew.alarms if a not in ambers)
    wait(driver, "document.querySelectorAll('#panel-cards .card.amber').length === 0")
    night.crew.alarms = (*night.crew.alarms, *ambers)
    wait(driver, "document.querySelectorAll('#panel-cards .card.amber').length > 0")
    assert driver.execute_script("return window.shaken") == []


def test_a_killed_server_is_noticed_and_its_successor_asks_for_the_new_code(screen: Any) -> None:
    """The same port, another code: the page asks for it and goes on."""
    crew = fake_client.Crew(PLAN, fake_client.tower_alarms())
    with page_night(crew) as first:
        driver = opened(screen, first)
        port = first.server.origin.rpartition(":")[2]
    wait(driver, STALE)
    second = PageNight(crew)
    second.server._port = int(port)
    second.start()
    wait(driver, "!document.getElementById('enter').hidden")
    driver.find_element("id", "code").send_keys(second.server.access.code)
    driver.find_element("css selector", "#enter-form button").click()
    wait(driver, f"{CARDS} === 3 && !({STALE})")
    second.stop()


@pytest.mark.parametrize("how", ["standby", "break", "ended"])
def test_the_state_of_the_watch_stands_over_all(screen: Any, night: PageNight, how: str) -> None:
    """Standby, a break and the end are said in words."""
    driver = opened(screen, night)
    if how == "standby":
        night.crew.standby = True
    elif how == "break":
        night.crew.desk = replace(night.crew.desk, break_since_s=fake_client.NOW_S - 60)
    else:
        script = night.crew.client.script
        night.crew.client.script = lambda n: replace(script(n), ended=True)  # type: ignore[type-var]
    wait(driver, f"document.getElementById('condition').className === {how!r}")
    words = {"standby": "Standby", "break": "Break", "ended": "The watch has ended"}
    assert text(driver, "#condition").startswith(words[how])


@pytest.mark.parametrize(
    "size", [(320, 568), (390, 844), (844, 390), (768, 1024)], ids=lambda s: f"{s[0]}x{s[1]}"
)
@pytest.mark.parametrize("look", ["dark", "light"])
def test_it_fits_every_screen_and_everybody(night: PageNight, size: Any, look: str) -> None:
    """No sideways scrolling, fingers find every button (WCAG 2.2, SC 2.5.8), axe finds nothing."""
    with phone(size, look) as driver:
        opened(driver, night)
        for tab in ("cards", "tracks", "plan"):
            driver.find_element("id", f"tab-{tab}").click()
            keep(driver, PICTURES / f"page-{tab}-{size[0]}x{size[1]}-{look}.png")
            assert driver.execute_script("return document.documentElement.scrollWidth") <= size[0]
            found = Axe().run(driver)["violations"]
            assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found] == []
        driver.find_element("id", "tab-cards").click()
        script = "return [...document.querySelectorAll('button')].filter(b => b.offsetParent)"
        smallest = driver.execute_script(
            f"{script}.map(b => Math.min(b.offsetWidth, b.offsetHeight)).sort((a, b) => a - b)[0]"
        )
        assert smallest >= 24


@pytest.mark.parametrize("look", ["dark", "light"])
@pytest.mark.parametrize("size", [(320, 568), (390, 844), (844, 390), (768, 1024)], ids=str)
def test_all_carts_have_a_tab_where_a_site_is_followed(size: Any, look: str) -> None:
    """Worst first, then what is wrong across carts; hostile names are text; axe finds nothing."""
    site = played_site()
    crew = fake_client.Crew(PLAN, fake_client.tower_alarms())
    with page_night(crew, site=site) as night, phone(size, look) as driver:
        opened(driver, night)
        wait(driver, "!document.getElementById('tab-carts').hidden")
        driver.find_element("id", "tab-carts").click()
        script = "return [...document.querySelectorAll('#carts .who')].map(e => e.textContent)"
        assert driver.execute_script(script) == ["river", "tower", "square", "bridge"]
        keep(driver, PICTURES / f"page-carts-{size[0]}x{size[1]}-{look}.png")
        assert text(driver, "#elsewhere .fault") == "NO BACKUP · silent"
        assert driver.execute_script("return document.documentElement.scrollWidth") <= size[0]
        found = Axe().run(driver)["violations"]
        assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found] == []
        night.call(lambda: site.alarm("bridge", 1, time.monotonic(), name=HOSTILE, fault=HOSTILE))
        wait(driver, "document.querySelectorAll('#elsewhere article').length === 5")
        assert HOSTILE in text(driver, "#elsewhere")
        assert driver.execute_script("return window.hurt") is None
        site.problem = "the broker does not answer"
        wait(driver, "!document.getElementById('site').hidden")
        assert text(driver, "#site").startswith("No broker: the broker does not answer.")


def test_without_a_site_there_are_three_tabs(screen: Any, night: PageNight) -> None:
    """Who shares one cart sees nothing of others; arrow keys go round what there is."""
    driver = opened(screen, night)
    assert not driver.find_element("id", "tab-carts").is_displayed()
    driver.find_element("id", "tab-cards").send_keys(Keys.ARROW_LEFT)
    assert not driver.execute_script("return document.getElementById('panel-plan').hidden")


def test_a_long_plan_fits(screen: Any) -> None:
    """Sixty-four tracks, many alarms, long names, on the smallest phone."""
    plan = fake_client.large_plan(64)
    long = Track(99, "Assistant at the far end of the scaffold " * 3, pack="99", placement="x" * 60)
    plan = Plan((*plan.tracks, long), plan.title)
    with page_night(fake_client.Crew(plan, fake_client.many_alarms(plan))) as night:
        driver = opened(screen, night)
        for tab in ("cards", "tracks", "plan"):
            driver.find_element("id", f"tab-{tab}").click()
            assert driver.execute_script("return document.documentElement.scrollWidth") <= 390


def test_with_tls_it_is_the_same_page(tmp_path: Any) -> None:
    """A browser that accepts the crew's certificate shows the page; the cookie is for TLS alone."""
    context = certificate.context(certificate.make(tmp_path, "127.0.0.1"))
    crew = fake_client.Crew(PLAN, fake_client.tower_alarms())
    with page_night(crew, tls=context) as night, phone() as driver:
        driver.execute_cdp_cmd("Security.setIgnoreCertificateErrors", {"ignore": True})
        assert opened(driver, night).current_url.startswith("https://")
        (cookie,) = driver.get_cookies()
        assert (cookie["secure"], cookie["httpOnly"], cookie["sameSite"]) == (True, True, "Strict")
