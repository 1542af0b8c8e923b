"""Draws the circuits of firmware/hardware/README.md; `python firmware/hardware/draw.py [--check]`.

Values are read from circuit/channel.cir where it has them, so that drawing, netlist and text cannot drift apart.
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


def low_side(d: schemdraw.Drawing) -> None:
    """The driver of one channel, its clamp, the common shunt, the drain divider."""
    d += (fet := e.NFet().label("logic level\n100 V", loc="right", ofst=0.2))
    d += e.Dot().at(fet.drain)
    d += e.Line().up(0.6).at(fet.drain)
    d += (pin := e.Dot())
    d += e.Line().up(0.5)
    d += e.Inductor2().up().label("load", loc="bottom")
    d += e.Fuse().up(1.6).label("feed fuse\n(of the loom)", loc="bottom")
    d += e.Vdd().label("+12 V")
    d += e.Line().right(3.6).at(pin.center)
    d += (tap := e.Dot())
    d += e.Resistor().down(2.4).at(tap.center).label(value("drain_top_ohm"), loc="bottom")
    d += (out := e.Dot())
    d += e.Resistor().down(2.0).label(value("drain_foot_ohm"), loc="bottom")
    d += e.Ground()
    d += e.Line().right(1.0).at(out.center)
    d += e.Tag().right().label("drain n")
    d += e.Resistor().up(2.0).at(tap.center).label(value("drain_bias_ohm"), loc="bottom")
    d += e.Vdd().label("5 V reference")
    d += e.Line().left(0.7).at(fet.gate)
    d += (gate := e.Dot())
    d += e.Resistor().left(1.8).label(value("gate_ohm"))
    d += (drive := e.Tag().left().label("gate buffer n"))
    d += e.Resistor().down(2.0).at(gate.center).label(value("gate_down_ohm"), loc="top")
    d += e.Ground()
    d += e.Diode().up(1.5).at(gate.center).label("small", loc="top")
    d += e.Zener().up(1.5).reverse().label(value("clamp_zener_v"), loc="top")
    d += e.Line().right().tox(pin.center)
    d += e.Line().down().toy(pin.center)
    d += e.Line().down(0.7).at(fet.source)
    d += (common := e.Dot())
    d += e.Resistor().down(2.0).label(f"shunt {value('shunt_ohm')}\none for all channels", loc="bottom")
    d += e.Ground()
    d += e.Line().left(0.6).at(common.center)
    d += e.Tag().left().label("sense")
    del drive


def read_back(d: schemdraw.Drawing) -> None:
    """The two current ranges behind one shunt."""
    d += e.Tag().left().label("sense")
    d += e.Resistor().right(2.0).label(value("wide_input_ohm"))
    d += (node := e.Dot())
    d += e.Resistor().up(1.8).at(node.center).label(value("wide_offset_ohm"), loc="top")
    d += e.Vdd().label("5 V reference")
    d += (wide := e.Opamp().anchor("in2").at(node.center).flip().label("×25", loc="center", ofst=(-0.2, 0)))
    d += e.Line().down(1.6).at(wide.in1)
    d += (foot := e.Dot())
    d += e.Resistor().down(1.8).label(value("wide_foot_ohm"), loc="bottom")
    d += e.Ground()
    d += e.Resistor().right().at(foot.center).tox(wide.out).label(value("wide_top_ohm"), loc="top")
    d += e.Line().up().toy(wide.out)
    d += (wout := e.Dot())
    d += e.Line().right(1.2).at(wout.center)
    d += (split := e.Dot())
    d += e.Line().up(1.8).at(split.center)
    d += e.Switch().right(2.0).label("hold")
    d += (held := e.Dot())
    d += e.Capacitor().down(1.4).at(held.center).label(value("hold_f"), loc="bottom")
    d += e.Ground()
    d += e.Tag().right().at(held.center).label("wide, 20 A")
    d += e.Line().right(1.6).at(split.center)
    d += (fine := e.Opamp().anchor("in2").flip().label("×10", loc="center", ofst=(-0.2, 0)))
    d += e.Line().down(1.6).at(fine.in1)
    d += (foot2 := e.Dot())
    d += e.Resistor().down(1.8).label(value("fine_foot_ohm"), loc="bottom")
    d += e.Ground()
    d += e.Resistor().left(2.2).at(foot2.center).label(value("fine_offset_ohm"), loc="top")
    d += e.Vdd().label("5 V reference")
    d += e.Resistor().right().at(foot2.center).tox(fine.out).label(value("fine_top_ohm"), loc="top")
    d += e.Line().up().toy(fine.out)
    d += (fout := e.Dot())
    d += e.Switch().right(2.0).at(fout.center).label("hold")
    d += (fheld := e.Dot())
    d += e.Capacitor().down(1.4).at(fheld.center).label(value("hold_f"), loc="bottom")
    d += e.Ground()
    d += e.Tag().right().at(fheld.center).label("fine, 2 A")


def supply(d: schemdraw.Drawing) -> None:
    """The box's own supply: fuse, reverse polarity, load dump, regulator, divider."""
    d += e.Tag().left().label("+12 V in")
    d += e.Fuse().right(2.2).label("3 A")
    d += e.Schottky().right(2.2).label("reverse polarity\n60 V, 3 A")
    d += (n := e.Dot())
    d += e.Zener().down(2.6).at(n.center).reverse().label("suppressor\n24 V stand-off", loc="bottom")
    d += e.Ground()
    d += e.Line().right(2.6).at(n.center)
    d += (m := e.Dot())
    d += e.Capacitor().down(2.6).at(m.center).label("100 µF 63 V", loc="bottom")
    d += e.Ground()
    d += e.Line().right(2.6).at(m.center)
    d += (r := e.Dot())
    d += e.Resistor().down(1.3).at(r.center).label(value("supply_top_ohm"), loc="bottom")
    d += (t := e.Dot())
    d += e.Resistor().down(1.3).label(value("supply_foot_ohm"), loc="bottom")
    d += e.Ground()
    d += e.Tag().right().at(t.center).label("supply (20 V)")
    d += e.Line().right(3.0).at(r.center)
    d += flow.Box(w=3.4, h=1.4).anchor("W").label("switching regulator\n5 V 1 A, 60 V input")
    d += e.Tag().right().label("5 V")


def stop(d: schemdraw.Drawing) -> None:
    """The stop input: a normally closed button in the supply of the gate buffers."""
    d += e.Tag().left().label("5 V")
    d += e.Fuse().right(1.8).label("0.5 A")
    d += e.Button(nc=True).right(2.4).label("stop, normally closed\n(outside, on its own cable)")
    d += (n := e.Dot())
    d += e.Capacitor().down(2.2).at(n.center).label(value("gate_supply_f"), loc="bottom")
    d += e.Ground()
    d += e.Line().right(2.6).at(n.center)
    d += (m := e.Dot())
    d += e.Resistor().down(2.2).at(m.center).label(f"bleeder {value('bleed_ohm')}", loc="bottom")
    d += e.Ground()
    d += e.Resistor().up(1.8).at(m.center).label("10 kΩ", loc="bottom")
    d += e.Tag().up().label("stop sense")
    d += e.Line().right(2.4).at(m.center)
    d += (box := flow.Box(w=3.6, h=2.2).anchor("W").label("16 gate buffers\nno current into the\ninputs unpowered (Ioff)"))
    d += e.Line().right(0.8).at(box.E)
    d += e.Tag().right().label("gate 1…16")
    d += e.Line().up(0.9).at(box.N)
    d += e.Tag().up().label("from the processor,\n10 kΩ to ground each")


def outputs(d: schemdraw.Drawing) -> None:
    """A logic output and one half of a bridge."""
    d += (left := e.Tag().left().label("gate buffer n"))
    d += e.Resistor().right(2.2).label("22 Ω")
    d += (p := e.Dot())
    d += e.Zener().down(1.8).at(p.center).reverse().label("5.6 V", loc="bottom")
    d += e.Ground()
    d += e.FuseIEC().right(2.4).at(p.center).label("resettable 0.2 A")
    d += e.Tag().right().label("logic output n")
    d.move_from(left.start, dx=12, dy=0)
    d += (high := e.NFet().label("high side", loc="right", ofst=0.2))
    d += e.Line().up(0.5).at(high.drain)
    d += e.Fuse().up(1.6).label("25 A", loc="bottom")
    d += e.Vdd().label("+12 V (power input)")
    d += e.Line().down(0.6).at(high.source)
    d += (pin := e.Dot())
    d += e.Line().right(2.0).at(pin.center)
    d += e.Tag().right().label("bridge output n")
    d += e.Line().down(0.6).at(pin.center)
    d += (low := e.NFet().anchor("drain").label("low side", loc="right", ofst=0.2))
    d += e.Line().down(0.5).at(low.source)
    d += e.Tag().down().label("to the shunt")
    d += (driver := flow.Box(w=3.6, h=3.0).at((high.gate[0] - 5.2, (high.gate[1] + low.gate[1]) / 2)).anchor("W"))
    d += e.Label().at(driver.center).label("half-bridge driver\nwith dead time,\nboth off unpowered")
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
