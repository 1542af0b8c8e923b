"""How a case says that a box failed it, or that it cannot be shown here."""


class Failed(Exception):  # noqa: N818 - the name says what happened
    """The box did not do what the guarantee says; the text says what it did."""


class NotShown(Exception):  # noqa: N818 - the name says what happened
    """This box or this bench gives no way to see it; the text says why."""
