"""What the page shows of all carts."""

from __future__ import annotations

from app.fleet.all_carts import AllCarts
from app.page.document import patch
from app.page.site_document import MOST_ALARMS, MOST_CARTS, site_document
from tests.app.fleet.test_all_carts import alarm, state


class Belfry:
    """A site that the test plays."""

    site = "site"

    def __init__(self) -> None:
        self.carts = AllCarts("site")
        self.problem = ""

    def take_in(self) -> bool:
        """Nothing comes by itself."""
        return False


def two_carts() -> Belfry:
    """One with a fault, one that fell silent."""
    belfry = Belfry()
    belfry.carts.receive("site/main/state", state("m", 1), 100.0)
    belfry.carts.receive("site/main/alarm/m-1", alarm("m", 2, where="belt", check="plug?"), 100.0)
    belfry.carts.receive("site/lost/state", state("l", 1), 50.0)
    return belfry


def test_worst_first_with_moments_in_the_watchs_time() -> None:
    """The page counts on by itself: nothing has to be sent for a clock."""
    made = site_document(two_carts(), {}, 100.0, 5000.0)
    carts = sorted(made["carts"].values(), key=lambda cart: cart["order"])
    assert [(c["name"], c["level"], c["text"]) for c in carts] == [
        ("lost", "none", "SILENT"),
        ("main", "red", "1 red, 0 amber"),
    ]
    assert carts[0]["since_s"] == 4950.0
    (one,) = made["elsewhere"].values()
    assert (one["cart"], one["name"], one["where"], one["since_s"]) == (
        *("main", "3 Rigger", "belt"),
        4990.0,
    )


def test_a_network_that_trembles_sends_nothing() -> None:
    """Moments are kept unless they are off by seconds."""
    belfry = two_carts()
    before = site_document(belfry, {}, 100.0, 5000.0)
    belfry.carts.receive("site/main/state", state("m", 9, now_s=101.3), 101.0)
    after = site_document(belfry, before, 101.0, 5001.0)
    assert patch(before["elsewhere"], after["elsewhere"]) == {}
    assert patch(before["carts"], after["carts"]) == {}


def test_a_broker_that_is_gone_is_said() -> None:
    """What stands there is old."""
    belfry = two_carts()
    assert site_document(belfry, {}, 100.0, 0.0)["site"]["text"] == ""
    belfry.problem = "the broker does not answer"
    text = site_document(belfry, {}, 100.0, 0.0)["site"]["text"]
    assert text == "No broker: the broker does not answer. This is old."


def test_what_goes_to_a_phone_is_bounded() -> None:
    """So many carts, so many alarms; the rest is counted."""
    belfry = Belfry()
    for n in range(MOST_CARTS + 5):
        belfry.carts.receive(f"site/c{n}/state", state("r", 1), 0.0)
    for n in range(MOST_ALARMS + 7):
        belfry.carts.receive(f"site/c1/alarm/r-{n}", alarm("r", n + 2), 0.0)
    made = site_document(belfry, {}, 0.0, 0.0)
    assert (len(made["carts"]), len(made["elsewhere"])) == (MOST_CARTS, MOST_ALARMS)
    assert made["site"]["more"] == "and 7 more"
