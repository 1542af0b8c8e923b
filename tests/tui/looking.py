"""What is on the screen, for the tests of the pages."""

from loomproof.tui.app import Console

SIZES = [(80, 24), (120, 36)]


def text_of(app: Console) -> str:
    """Every cell of the screen, row by row."""
    return "\n".join(
        "".join(segment.text for segment in strip) for strip in app.screen._compositor.render_strips()
    )
