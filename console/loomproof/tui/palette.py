"""The command list (Ctrl+P): only what can be done now."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from textual.binding import Binding
from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.screen import Screen

from loomproof.tui.app_state import AppState, state_of
from loomproof.tui.page_table import offered

LIBRARYS_OWN = {binding.action for binding in Screen.BINDINGS if isinstance(binding, Binding)}
"""What the library binds on every screen, moving the focus and copying: no commands of the console."""
Entry = tuple[str, str, Callable[[], object]]


def entries(app: AppState) -> Iterator[Entry]:
    """Yield (name, help, what it does) for everything that is valid at this moment."""

    def act(action: str) -> Callable[[], object]:
        return partial(app.run_action, action)

    yield "Stop: every output off", "The same as the stop key.", act("stop")
    if app.panel.stopped and not app.panel.stop_input_open:
        yield "Clear the stop", "Nothing is armed again by this.", act("clear_stop")
    if app.link_lost:
        yield "Connect to the box again", "Its state is read anew and nothing is armed.", act("reconnect")
    for row in offered(hands=app.hands is not None, reading=app.reading):
        if row.name != app.current_mode:
            yield f"Go to: {row.label}", "", act(f"page('{row.name}')")
    yield from _page_entries(app)
    yield (
        "Usual letters" if app.large_text else "Large text",
        "The run sheet in letters to be read from across the engine bay.",
        act("large_text"),
    )
    yield "Help on this page", "", act("page_help")
    for theme in app.console_themes:
        if theme != app.theme:
            yield f"Theme: {theme}", "", act(f"use_theme('{theme}')")
    yield "Leave", "Stops the box and closes the record.", act("quit")


def _page_entries(app: AppState) -> Iterator[Entry]:
    # The palette itself is the top screen; the page lies below it.
    page = next((s for s in reversed(app.screen_stack) if not s.is_modal), None)
    if page is None:
        return
    for active in page.active_bindings.values():
        binding = active.binding
        own = active.node is page and binding.action not in LIBRARYS_OWN
        if own and binding.description and active.enabled:
            yield (
                f"{binding.description} ({binding.key})",
                binding.tooltip,
                partial(app.run_action, binding.action, page),
            )


class NowCommands(Provider):
    """Offers `entries`."""

    def _entries(self) -> Iterator[Entry]:
        return entries(state_of(self.app))

    async def discover(self) -> Hits:
        """Offer everything while nothing is typed."""
        for name, text, act in self._entries():
            yield DiscoveryHit(name, act, help=text or None)

    async def search(self, query: str) -> Hits:
        """Offer what matches."""
        matcher = self.matcher(query)
        for name, text, act in self._entries():
            score = matcher.match(name)
            if score > 0:
                yield Hit(score, matcher.highlight(name), act, help=text or None)
