# SPDX-License-Identifier: GPL-3.0-or-later
"""The pyserial scheme `avr://`: a package for `serial.protocol_handler_packages`."""
