"""A channel that is called the fuel pump says whether it runs it."""

from collections.abc import Iterator

from loomproof.job.file.draft import Draft
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.pinout.loads import pump_word, says_fuel
from loomproof.job.pinout.words import plain
from loomproof.job.problem import Flaw


def unsaid_pump_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield relays and motors that are named after the fuel pump while the channel does not state `fuel_pump`."""
    for placed in draft.channels:
        channel, load = placed.part, draft.load_of(placed.part)
        if load is None or load.fuel_pump or not LOAD_TRAITS[load.kind].runs_pump:
            continue
        location = draft.location(channel.location)
        where = "" if location is None else f"{location.name} {location.place}"
        bare = plain(f"{channel.name} {where}")
        if "fuel_pump" not in channel.model_fields_set and pump_word(bare) and says_fuel(bare):
            yield Flaw(
                (*placed.path, "fuel_pump"),
                f"`{channel.name}` is named after the fuel pump and the channel does not say whether it runs it",
                "add fuel_pump = true, or fuel_pump = false if it does not",
            )
