"""Which edition of the sheathing standard goes with which load standard."""

from __future__ import annotations

SDPWS_EDITION = {"ASCE 7-16": "2015", "ASCE 7-22": "2021"}
"""As the model codes pair them (from memory)."""
