"""The simulated box's firmware: the state machine between the wire and the drivers."""

from loomproof_sim.controller.core import Controller
from loomproof_sim.controller.ports import NEVER_NS

__all__ = ["NEVER_NS", "Controller"]
