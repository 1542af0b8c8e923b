"""Draws the circuits of firmware/hardware/README.md; `python firmware/hardware/draw.py [--check]`.

Values are read from circuit/channel.cir where it has them, so that drawing and netlist cannot drift apart.
"""

import re
import sys
from collections.abc import Callable
from pathlib import Path

import schemdraw
from schemdraw import elements as e
from schemdraw import flow

HERE = Path(__file__).parent
DRAWINGS = HERE / "drawings"
NETLIST = (HERE / "circuit" / "channel.cir").read_text(encoding="utf-8")


def value(name: str) -> str:
    """Return a parameter of the netlist as a drawing writes it."""
    found = re.search(rf"\b{name}=([0-9.]+)(meg|[knpum]?)", NETLIST)
    if found is None:
        raise KeyError(f"channel.cir has no parameter {name}")
    number, unit = found.groups()
    if name == "shunt_ohm":
        return f"{float(number) * 1000:g} mΩ"
    prefix = {"u": "µ", "meg": "M"}.get(unit, unit)
    return f"{number} {prefix}{'F' if name.endswith('_f') else 'V' if name.endswith('_v') else 'Ω'}"


def tag(text: str, width: float = 2.6) -> e.Tag:
    """Return a signal's name plate, wide enough for its text."""
    return e.Tag(width=width).label(text)


def low_side(d: schemdraw.Drawing) -> None:
    """The driver of one channel, its clamp, the common shunt, the drain divider."""
    d += (fet := e.NFet().theta(0).reverse())
    d += e.Label().at((fet.drain[0] + 1.0, fet.gate[1] - 0.1)).label("logic level\n100 V")
    d += e.Line().up(3.4).at(fet.drain)
    d += (pin := e.Dot())
    d += e.Inductor2().up().label("load", loc="bottom")
    d += e.Fuse().up(1.6).label("feed fuse\n(of the loom)", loc="bottom")
    d += e.Vdd().label("+12 V")
    d += e.Line().right(4.2).at(pin.center)
    d += (top := e.Dot())
    d += e.Resistor().down(2.4).at(top.center).label(value("drain_top_ohm"), loc="bottom")
    d += (out := e.Dot())
    d += e.Resistor().down(2.0).label(value("drain_foot_ohm"), loc="bottom")
    d += e.Ground()
    d += e.Line().right(1.8).at(out.center)
    d += tag("drain n").right()
    d += e.Resistor().up(2.0).at(top.center).label(value("drain_bias_ohm"), loc="bottom")
    d += e.Vdd().label("5 V reference")
    d += e.Line().left(2.2).at(fet.gate)
    d += (gate := e.Dot())
    d += e.Line().left(1.2).at(gate.center)
    d += (foot := e.Dot())
    d += e.Resistor().down(2.2).at(foot.center).label(value("gate_down_ohm"), loc="top")
    d += e.Ground()
    d += e.Resistor().left(2.4).at(foot.center).label(value("gate_ohm"))
    d += tag("gate buffer n", 3.2).left()
    d += (
        e.Zener()
        .down()
        .at((gate.center[0], pin.center[1]))
        .reverse()
        .label(value("clamp_zener_v"), loc="top")
    )
    d += e.Diode().down().toy(gate.center).label("small\nsignal", loc="top")
    d += e.Line().right().at((gate.center[0], pin.center[1])).tox(pin.center)
    d += e.Line().down(0.9).at(fet.source)
    d += (common := e.Dot())
    d += e.Resistor().down(2.0).label(f"shunt {value('shunt_ohm')},\none for all channels", loc="bottom")
    d += e.Ground()
    d += e.Line().right(0.8).at(common.center)
    d += tag("sense", 2.0).right()


def _stage(
    d: schemdraw.Drawing, start: tuple[float, float], gain: str, name: str
) -> tuple[e.Opamp, tuple[float, float]]:
    """Draw one non-inverting stage with its input at `start`; return it and the place of its output."""
    d += (amp := e.Opamp().theta(0).flip().anchor("in2").at(start).label(gain, loc="center", ofst=(-0.2, 0)))
    d += e.Line().down(1.4).at(amp.in1)
    d += (foot := e.Dot())
    d += e.Resistor().down(1.8).at(foot.center).label(value(f"{name}_foot_ohm"), loc="bottom")
    d += e.Ground()
    d += e.Line().right(0.6).at(amp.out)
    d += (out := e.Dot())
    d += e.Resistor().right().at(foot.center).tox(out.center).label(value(f"{name}_top_ohm"), loc="bottom")
    d += e.Line().up().toy(out.center)
    return amp, tuple(out.center)


def _hold(d: schemdraw.Drawing, start: tuple[float, float], text: str) -> None:
    d += e.Switch().right(2.4).at(start).label("hold")
    d += (held := e.Dot())
    d += e.Capacitor().down(1.6).at(held.center).label(value("hold_f"), loc="bottom")
    d += e.Ground()
    d += e.Line().right(1.8).at(held.center)
    d += tag(text).right()


def read_back(d: schemdraw.Drawing) -> None:
    """The two current ranges behind one shunt."""
    d += tag("sense", 2.0).left()
    d += e.Resistor().right(2.6).at((0, 0)).label(value("wide_input_ohm"), loc="bottom")
    d += (node := e.Dot())
    d += e.Resistor().up(2.0).at(node.center).label(value("wide_offset_ohm"), loc="bottom")
    d += e.Vdd().label("5 V reference")
    d += e.Line().right(2.0).at(node.center)
    _, wide = _stage(d, (node.center[0] + 2.0, node.center[1]), "×25", "wide")
    d += e.Line().up(2.6).at(wide)
    _hold(d, (wide[0], wide[1] + 2.6), "wide, 20 A")
    d += e.Line().right(4.6).at(wide)
    fine, out = _stage(d, (wide[0] + 4.6, wide[1]), "×10", "fine")
    d += (
        e.Resistor()
        .left(2.4)
        .at((fine.in1[0], fine.in1[1] - 1.4))
        .label(value("fine_offset_ohm"), loc="bottom")
    )
    d += e.Vdd().label("5 V reference")
    _hold(d, out, "fine, 2 A")


def supply(d: schemdraw.Drawing) -> None:
    """The box's own supply: fuse, reverse polarity, load dump, regulator, divider."""
    d += tag("+12 V in").left()
    d += e.Fuse().right(2.4).at((0, 0)).label("3 A")
    d += (r := e.Dot())
    d += e.Resistor().down(1.8).at(r.center).label(value("supply_top_ohm"), loc="bottom")
    d += (t := e.Dot())
    d += e.Resistor().down(1.8).at(t.center).label(value("supply_foot_ohm"), loc="bottom")
    d += e.Ground()
    d += e.Line().right(1.6).at(t.center)
    d += tag("supply (20 V)", 3.0).right()
    d += e.Line().right(2.2).at(r.center)
    d += e.Schottky().right(2.8).label("reverse polarity\n60 V 3 A")
    d += e.Line().right(0.8)
    d += (n := e.Dot())
    d += e.Zener().down(2.8).at(n.center).reverse().label("suppressor\n24 V stand-off", loc="bottom")
    d += e.Ground()
    d += e.Line().right(4.0).at(n.center)
    d += (m := e.Dot())
    d += e.Capacitor().down(2.8).at(m.center).label("100 µF\n63 V", loc="bottom")
    d += e.Ground()
    d += e.Line().right(3.0).at(m.center)
    d += (
        box := flow.Box(w=4.2, h=1.6).theta(0).anchor("W").label("switching regulator\n5 V 1 A, 60 V input")
    )
    d += e.Line().right(0.8).at(box.E)
    d += tag("5 V", 1.6).right()


def stop(d: schemdraw.Drawing) -> None:
    """The stop input: a normally closed button in the supply of the gate buffers."""
    d += tag("5 V", 1.6).left()
    d += e.Fuse().right(2.4).at((0, 0)).label("0.5 A", loc="bottom")
    d += e.Button(nc=True).right(3.6).label("stop, normally closed\n(outside, on its own cable)", ofst=0.4)
    d += (sense := e.Dot())
    d += e.Resistor().down(2.2).at(sense.center).label("10 kΩ", loc="bottom")
    d += e.Line().down(0.4)
    d += tag("to an n-MOSFET that pulls the stop pin low", 8.0).right()
    d += e.Switch().right(3.0).at(sense.center).label("gate enable\n(processor)")
    d += (n := e.Dot())
    d += e.Capacitor().up(1.8).at(n.center).label(value("gate_supply_f"), loc="bottom")
    d += e.Ground().flip()
    d += e.Line().right(2.4).at(n.center)
    d += (m := e.Dot())
    d += e.Resistor().up(1.8).at(m.center).label(f"bleeder\n{value('bleed_ohm')}", loc="bottom")
    d += e.Ground().flip()
    d += e.Line().right(3.0).at(m.center)
    d += (box := flow.Box(w=4.6, h=2.4).theta(0).anchor("W"))
    d += e.Label().at(box.center).label("16 gate buffers with\nIoff (no current into\ninputs when unpowered)")
    d += e.Line().right(0.8).at(box.E)
    d += tag("gate 1…16").right()
    d += e.Line().down(2.2).at(box.S)
    d += e.Line().right(0.8)
    d += tag("processor, 10 kΩ to ground each", 6.0).right()


def outputs(d: schemdraw.Drawing) -> None:
    """A logic output and one half of a bridge."""
    d += tag("gate buffer n", 3.2).left()
    d += e.Resistor().right(2.4).at((0, 0)).label("22 Ω")
    d += (p := e.Dot())
    d += e.Zener().down(2.0).at(p.center).reverse().label("5.6 V", loc="bottom")
    d += e.Ground()
    d += e.FuseIEC().right(3.0).at(p.center).label("resettable 0.2 A")
    d += tag("logic output n", 3.2).right()
    d += (high := e.NFet().theta(0).reverse().at((17, 1.2)))
    d += e.Label().at((high.drain[0] + 0.9, high.gate[1] - 0.1)).label("high side")
    d += e.Line().up(0.5).at(high.drain)
    d += e.Fuse().up(1.6).label("25 A", loc="bottom")
    d += e.Vdd().label("+12 V (power input)")
    d += e.Line().down(0.8).at(high.source)
    d += (pin := e.Dot())
    d += e.Line().right(2.4).at(pin.center)
    d += tag("bridge output n", 3.4).right()
    d += e.Line().down(0.8).at(pin.center)
    d += (low := e.NFet().theta(0).reverse().anchor("drain"))
    d += e.Label().at((low.drain[0] + 0.9, low.gate[1] - 0.1)).label("low side")
    d += e.Line().down(0.5).at(low.source)
    d += e.Line().right(0.8)
    d += tag("sense (top of the shunt)", 4.6).right()
    middle = (high.gate[1] + low.gate[1]) / 2
    d += (driver := flow.Box(w=4.2, h=4.4).theta(0).anchor("E").at((high.gate[0] - 1.2, middle)))
    d += e.Label().at(driver.center).label("half-bridge driver\nwith dead time,\nboth off when\nunpowered")
    d += e.Line().left().at(high.gate).tox(driver.E)
    d += e.Line().left().at(low.gate).tox(driver.E)


FIGURES: dict[str, Callable[[schemdraw.Drawing], None]] = {
    "channel": low_side,
    "read-back": read_back,
    "supply": supply,
    "stop": stop,
    "outputs": outputs,
}


def drawn(name: str) -> str:
    """Return a figure as SVG."""
    schemdraw.use("svg")
    drawing = schemdraw.Drawing(show=False)
    drawing.config(fontsize=11, unit=2.5)
    FIGURES[name](drawing)
    return drawing.get_imagedata("svg").decode()


def main(check: bool) -> int:
    """Write the figures, or say which are stale."""
    stale = 0
    for name in FIGURES:
        path, svg = DRAWINGS / f"{name}.svg", drawn(name)
        if check and (not path.exists() or path.read_text(encoding="utf-8") != svg):
            print(f"{path.relative_to(HERE)} is stale: run python firmware/hardware/draw.py", file=sys.stderr)
            stale = 1
        elif not check:
            path.write_text(svg, encoding="utf-8")
    return stale


if __name__ == "__main__":
    sys.exit(main("--check" in sys.argv[1:]))
