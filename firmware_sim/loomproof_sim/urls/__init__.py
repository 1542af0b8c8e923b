"""The pyserial scheme `sim://`: a handler package of pyserial."""
