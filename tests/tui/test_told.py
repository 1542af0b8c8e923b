"""What the desk tells changes the pages, and only what of them shows it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.tui.app import Console
from loomproof.tui.messages import PanelChanged, Progressed, TraceCaptured
from loomproof.tui.views.trace import Curve, TraceView


@pytest.mark.parametrize("key", ["1", "2", "3", "4", "5"])
async def test_a_change_of_state_does_not_redraw_the_whole_screen(console: Console, key: str) -> None:
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press(key)
        await pilot.pause()
        whole = []
        full = console.screen._compositor.render_full_update
        console.screen._compositor.render_full_update = lambda *a, **k: whole.append(1) or full(*a, **k)  # type: ignore[method-assign, func-returns-value]
        channel, *others = console.progress.channels
        channels = (replace(channel, measured="15.9 Ω"), *others)
        console.post_message(Progressed(replace(console.progress, channels=channels)))
        console.post_message(TraceCaptured(TraceView(curves=(Curve("ch 1", (0.0, 1e-3), (0.0, 1.0)),))))
        console.post_message(PanelChanged(replace(console.panel, supply_v=12.1)))
        await pilot.pause()
        assert console.panel.supply_v == 12.1
        assert not whole


async def test_a_stop_pressed_again_and_again_is_written_once(console: Console) -> None:
    async with console.run_test() as pilot:
        for _ in range(5):
            await pilot.press("ctrl+x")
        await pilot.pause()
        assert [told.title for told in console._notifications] == ["STOP"]
