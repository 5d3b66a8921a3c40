"""The cautions first, where a demo or a drill opens at once."""

from __future__ import annotations

from app.services.bridge import Bridge
from app.views.cautions_page import CautionsPage
from app.views.widgets.overlay import Layer


def show_cautions(layer: Layer, bridge: Bridge, *, drill: bool) -> None:
    """Lay them over the window; and over the board again, where the page of what that waited for
    took their place before they were read."""
    page = CautionsPage(layer.below, drill)
    layer.open(page)

    def again(_watch: object) -> None:
        if not page.read and layer.current is not page:
            page.read = True
            layer.open(CautionsPage(layer.below, drill))

    bridge.started.connect(again)
