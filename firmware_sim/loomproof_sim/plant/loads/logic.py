"""A logic or tachometer input: a resistance."""

from loomproof_sim.plant.loads.base import Load


class LogicInput(Load):
    """No state; the solver keeps it in the network as a resistance."""

    states = 0

    def __init__(self, input_ohm: float) -> None:
        self.static_ohm = input_ohm
