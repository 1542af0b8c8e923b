"""Invented jobs that the tests of more than one room stand on."""

from __future__ import annotations

from loomproof.facts.kinds import JobSetting
from loomproof.job.file.loading import parse_job
from loomproof.job.model import Job

HAZARDS = """
schema_version = 1
setting = "{setting}"
[identity]
title = "Test loom"
job_number = "T-1"
[engine]
cylinders = 4
firing_order = [1, 3, 4, 2]
ignition = "single"
displacement_cm3 = {displacement_cm3}
[[connectors]]
id = "H1"
name = "header"
cavities = 16
[[locations]]
id = "cyl1"
name = "cylinder 1"
cylinder = 1
[[locations]]
id = "coil1"
name = "coil of cylinder 1"
cylinder = 1
[[locations]]
id = "valve"
name = "beside the tank"
[[channels]]
channel = 1
name = "injector 1"
cavity = "H1-1"
load = "injector_high"
location = "cyl1"
[[channels]]
channel = 2
name = "coil 1"
cavity = "H1-2"
load = "coil_bare"
location = "coil1"
[[channels]]
channel = 3
name = "purge valve"
cavity = "H1-3"
load = "valve_purge"
location = "valve"
[[channels]]
channel = 4
name = "fuel pump relay"
cavity = "H1-4"
load = "fuel_pump_relay"
fuel_pump = true
"""
CRANK_AND_MOTION = """\
[[channels]]
channel = 5
name = "starter relay"
cavity = "H1-5"
load = "starter_relay"
[[channels]]
channel = 6
name = "fan motor"
cavity = "H1-6"
load = "motor_fan"
"""


def hazards_job(
    setting: JobSetting = JobSetting.VEHICLE,
    displacement_cm3: float = 2000,
    *,
    crank_and_motion: bool = False,
) -> Job:
    """Return a four-cylinder's loom: injector 1, coil 2, valve 3, fuel pump relay 4; starter 5 and fan 6 if asked."""
    text = HAZARDS.format(setting=setting.value, displacement_cm3=displacement_cm3)
    return parse_job(text + CRANK_AND_MOTION if crank_and_motion else text)
