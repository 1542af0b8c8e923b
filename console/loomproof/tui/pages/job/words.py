"""The words of the job page."""

from __future__ import annotations

EMPTY = """\
No job is open here.

n  begins a new job from a template
i  makes one from a pin-out table (CSV or XLSX)
o  opens a job file

A job says which output of the box goes to which cavity, over which wire, to which load, at which place. \
Write it from the wiring diagram, not from the loom.\
"""
NO_CHANNELS = "This job has no channels yet. a adds one."
NOT_TOML = "The text is not valid TOML: correct it in the text (v); the problems say where."
HELP = """\
# Job

Make or edit a job file. Everything you write is checked at once, by the same rules as `loomproof check`.

* **arrows** move in the table; **Enter** writes into a cell, **Tab** goes on to the next, **Esc** leaves it as it was,
  **Delete** empties it. **c** lists what a load, place or feed may be; typing narrows the list, and a new place or
  feed is added from there.
* **a** adds a channel, **d** deletes the one under the cursor. **Ctrl+Z** undoes, **Ctrl+Y** does it again.
* Problems stand in their list with line, reason and remedy; **Enter** there goes to the place.
* **v** turns to the form of one channel, the head of the job, and its text, in which anything can be written.
* **Ctrl+S** saves, **w** saves under another name. Comments stay as they are.
* **n** begins a new job from a template, **i** reads a pin-out table, **o** opens another file,
  **p** goes on to prove the loom.

Until it is saved, what you write is also kept in a draft beside the file, and offered again if the program ends unexpectedly.
The session that runs now keeps the job as it was opened: open it again to prove the loom against the new one.
"""
