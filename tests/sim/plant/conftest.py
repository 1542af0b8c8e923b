import pytest

from loomproof_sim.plant.spec import BranchSpec, DriverSpec, FeedSpec, LoomSpec, SupplySpec


@pytest.fixture
def make_loom():
    """A loom of loads on channels 1, 2, ... behind one feed, with a usual supply and wires."""

    def make(*loads, supply=None, feed_ohm=0.02, wire_ohm=0.1, kinds=None, **branch):
        branches = tuple(BranchSpec(k, load, "f", wire_ohm, **branch) for k, load in enumerate(loads, 1))
        drivers = {
            k: DriverSpec(kind=kind, on_ohm=22.0 if kind == "logic" else 0.1)
            for k, kind in (kinds or {}).items()
        }
        return LoomSpec(supply or SupplySpec(), (FeedSpec("f", feed_ohm),), branches, drivers)

    return make
