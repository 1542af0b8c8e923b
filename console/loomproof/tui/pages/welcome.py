"""The words of the first help page, for someone who tries the console for the first time."""

from __future__ import annotations

WELCOME = """\
# A first run

You have a simulated box, a simulated loom and one or two faults sealed into it. Nothing here can hurt anyone.

1. Press **g** to run the step at hand, or **o** to run on until a question comes.
2. When a pull check asks for a connector, go to the hands with **6**, pull it with **p**, seat it with **s**,
   come back with **1**.
3. Look at **4** for what was found, and at **5** for what was written down.

The two lines at the bottom never go away: what the box is doing, and how to stop it.
"""

WELCOME_BROWSER = """\
# A first walk

You have a simulated box, a simulated loom and one or two faults sealed into it. Nothing here can hurt anyone.

1. Touch **7 Walk** in the top line, then **Walk, guided**.
2. The large letters name a connector. **p Hand**, in the line above the last two, is your hand: it pulls it, and
   seats it the next time.
3. At the end look at **Places** and **Mend**, at **4** for what was found, and at **5** for what was written down.

The two lines at the bottom never go away: what the box is doing, and how to stop it.
"""
