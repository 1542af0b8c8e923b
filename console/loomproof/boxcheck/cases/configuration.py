"""Configuration, its digest, and ceilings that no configuration raises."""

import zlib
from dataclasses import fields
from typing import Any

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.need import Need
from loomproof.boxcheck.outcome import NotShown
from loomproof_wire.messages import (
    CEILINGS,
    ChannelConfig,
    ChannelInfo,
    Configure,
    Digest,
    Disarmed,
    DisarmReason,
    GetChannel,
    GetConfig,
    GetDigest,
    Hazard,
    LoadClass,
    Refusal,
)

BOOK = CaseBook()
GUARANTEES = "What the box guarantees"


@BOOK.case(
    "A configuration is read back as it was given, and the digest is the CRC-32 of all channels' "
    "configurations.",
    rule="Requests",
    needs=(Need.CHANNEL,),
    mend="Store every field as received; the digest runs over the channel_config bodies of ALL "
    "channels in order, those never configured included.",
)
def configuration_read_back(fixture: Fixture) -> None:
    sent = fixture.configure(hazard=Hazard.HEAT, max_count=7, max_duty_permille=123, max_sense_us=33)
    held = fixture.get(GetConfig(fixture.channel), ChannelConfig)
    for name in [one.name for one in fields(ChannelConfig)]:
        got, want = getattr(held, name), getattr(sent, name)
        fixture.expect(got == want, f"{name} was given as {want} and is read back as {got}")
    bodies = [fixture.get(GetConfig(n), ChannelConfig).encode_body() for n in fixture.infos]
    digest = fixture.get(GetDigest(), Digest).digest
    want = zlib.crc32(b"".join(bodies))
    fixture.expect(digest == want, f"the digest is {digest:08X}; over the configurations it is {want:08X}")


@BOOK.case(
    "configure drops every arming.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Every arming was for the old configuration: disarm all, with reason `reconfigured`.",
)
def configure_disarms(fixture: Fixture) -> None:
    fixture.arm(Hazard.MOTION)
    fixture.arm(Hazard.FUEL)
    fixture.configure()
    for hazard in (Hazard.FUEL, Hazard.MOTION):
        fixture.event(Disarmed, 0, hazard=hazard, reason=DisarmReason.RECONFIGURED)
    fixture.expect(fixture.status().armed_mask == 0, "a class is still armed after configure")


@BOOK.case(
    "configure during a drive is refused with `busy`.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Test for a running drive before taking a configuration.",
    refusals=(Refusal.BUSY,),
)
def configure_while_driving(fixture: Fixture) -> None:
    fixture.accepted(fixture.hold(300))
    fixture.refused(fixture.configuration(fixture.subject), Refusal.BUSY, fixture.channel)


_CEILINGS = {
    "max_on_time_us": (CEILINGS.max_on_time_us, Refusal.OVER_ON_TIME),
    "max_hold_ms": (CEILINGS.max_hold_ms, Refusal.OVER_ON_TIME),
    "max_duty_permille": (CEILINGS.max_duty_permille, Refusal.OVER_DUTY),
    "max_count": (CEILINGS.max_count, Refusal.OVER_COUNT),
    "max_current_ma": (CEILINGS.max_current_ma, Refusal.OVER_CURRENT_LIMIT),
    "max_sense_us": (CEILINGS.max_sense_us, Refusal.OVER_ON_TIME),
}


@BOOK.case(
    "No channel shows a ceiling above the protocol's.",
    rule=GUARANTEES,
    mend="Take the ceilings from the generated header; a channel's own may only be lower.",
)
def ceilings_shown(fixture: Fixture) -> None:
    for number, info in fixture.infos.items():
        for name, (ceiling, _) in _CEILINGS.items():
            shown = getattr(info, name)
            fixture.expect(shown <= ceiling, f"channel {number} shows {name} {shown}, over {ceiling}")


@BOOK.case(
    "No configuration raises a ceiling: what channel_info does not allow is refused with the limit's "
    "reason, what the protocol does not allow with out_of_range; the old configuration stays.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Compare each limit with the channel's ceiling and refuse; never clip.",
    refusals=(Refusal.OUT_OF_RANGE,),
)
def ceilings_not_raised(fixture: Fixture) -> None:
    before = fixture.get(GetConfig(fixture.channel), ChannelConfig)
    good = fixture.configuration(fixture.subject).encode_body()
    for name, (ceiling, _) in _CEILINGS.items():
        sequence = fixture.next_sequence()
        fixture.line.send_raw(Configure.KIND, sequence, _with(good, name, ceiling + 1))
        reply = fixture.answer(sequence, f"configure with {name} {ceiling + 1}")
        fixture.must_refuse(
            reply, f"configure with {name} {ceiling + 1}", Configure.KIND, Refusal.OUT_OF_RANGE, _index(name)
        )
    after = fixture.get(GetConfig(fixture.channel), ChannelConfig)
    fixture.expect(after == before, "a refused configure changed the configuration")


@BOOK.case(
    "A channel whose own ceiling is below the protocol's refuses more with the reason for that limit.",
    rule=GUARANTEES,
    mend="Compare each limit with the ceilings of channel_info, in the order of the protocol page.",
    refusals=(Refusal.OVER_CURRENT_LIMIT,),
)
def own_ceilings_kept(fixture: Fixture) -> None:
    tried = 0
    for number, info in fixture.infos.items():
        for name, (ceiling, reason) in _CEILINGS.items():
            own = getattr(info, name)
            if own < ceiling:
                message = _permitted(number, info, **{name: own + 1})
                scale = 1000 if name == "max_hold_ms" else 1
                fixture.refused(message, reason, own * scale)
                tried += 1
    if not tried:
        raise NotShown("every channel of this box has the protocol's own ceilings")
    if not any(info.max_current_ma < CEILINGS.max_current_ma for info in fixture.infos.values()):
        raise NotShown("kept for other limits, but no channel has a lower current ceiling")


@BOOK.case(
    "A channel number that the box does not have is refused: `no_such_channel`, or `out_of_range` above 16.",
    rule="Sessions and versions",
    mend="Compare every channel number with channel_count before using it as an index.",
    refusals=(Refusal.OUT_OF_RANGE,),
)
def channel_numbers_checked(fixture: Fixture) -> None:
    for number in (0, CEILINGS.max_channels + 1, 255):
        sequence = fixture.next_sequence()
        fixture.line.send_raw(GetChannel.KIND, sequence, bytes([number]))
        reply = fixture.answer(sequence, f"get_channel {number}")
        fixture.must_refuse(reply, f"get_channel {number}", GetChannel.KIND, Refusal.OUT_OF_RANGE, 0)


@BOOK.case(
    "A channel from 1 to 16 that this box does not have is refused with `no_such_channel`.",
    rule="Enums",
    mend="Compare with your own channel_count.",
    refusals=(Refusal.NO_SUCH_CHANNEL,),
)
def no_such_channel(fixture: Fixture) -> None:
    beyond = len(fixture.infos) + 1
    if beyond > CEILINGS.max_channels:
        raise NotShown("this box has all 16 channels")
    fixture.refused(GetChannel(beyond), Refusal.NO_SUCH_CHANNEL)
    fixture.refused(GetConfig(beyond), Refusal.NO_SUCH_CHANNEL)
    fixture.refused(
        fixture.train(channel=beyond) if fixture.subjects.switched else GetConfig(beyond),
        Refusal.NO_SUCH_CHANNEL,
    )


@BOOK.case(
    "A channel configured with load class `none` cannot be driven.",
    rule="Enums",
    needs=(Need.CHANNEL,),
    mend="Load class `none` means that nothing may be driven: refuse with `not_configured`.",
    refusals=(Refusal.NOT_CONFIGURED,),
)
def not_configured(fixture: Fixture) -> None:
    fixture.configure(load_class=LoadClass.NONE)
    fixture.refused(fixture.train(), Refusal.NOT_CONFIGURED)
    fixture.refused(fixture.hold(), Refusal.NOT_CONFIGURED)


def _index(name: str) -> int:
    return [one.name for one in fields(Configure)].index(name)


def _with(body: bytes, name: str, value: int) -> bytes:
    """Return a configure body with one field replaced, out of its range or not."""
    values = list(Configure.LAYOUT.unpack(body))
    values[_index(name)] = value
    return Configure.LAYOUT.pack(*values)


def _permitted(number: int, info: ChannelInfo, **changes: int) -> Configure:
    limits: dict[str, Any] = {name: min(getattr(info, name), 100) for name in _CEILINGS}
    limits |= {"channel": number, "load_class": LoadClass.RELAY, "hazard": Hazard.NONE, "fuel_pump": 0}
    return Configure(**(limits | changes))
