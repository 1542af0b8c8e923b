"""A faulty box, simulated, as a whole console meets it."""

import pytest

from loomproof.box.connect import connect
from loomproof.box.errors import BoxStopped
from loomproof_wire.messages import StopReason

FAULTS = {"driver_stuck_on": StopReason.DRIVER_ON, "current_path_dead": StopReason.CURRENT_PATH}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_faulty_box_is_stopped_names_its_channel_and_cannot_be_cleared(fault):
    with connect(f"sim://?clock=virtual&{fault}=4", auto_call_in=True) as box:
        box.sleep(0.3)
        status = box.status()
        assert (status.stop_reason, status.tripped_mask) == (FAULTS[fault], 1 << 3)
        with pytest.raises(BoxStopped) as refused:
            box.clear_stop()
        assert refused.value.stop_reason is FAULTS[fault]
