"""The vocabulary of channels, and second sources of one."""

from __future__ import annotations

import pytest

from loganalyze.record.channels import CHANNELS, kind


def test_a_second_source_is_of_the_kind_of_the_first():
    assert kind("mach") is CHANNELS["mach"]
    assert kind("mach_2") is CHANNELS["mach"]
    assert kind("indicated_airspeed_3") is CHANNELS["indicated_airspeed"]


@pytest.mark.parametrize("name", ["mach_1", "mach_22", "mach2", "cabin_2", "cabin", "_2"])
def test_other_names_are_of_no_known_kind(name):
    assert kind(name) is None


def test_states_settings_and_angles_jump():
    jumping = {name for name, one in CHANNELS.items() if not one.smooth}
    assert {"gear_down", "heading", "flap_lever", "altimeter_setting", "longitude"} <= jumping
    assert not {"pressure_altitude", "indicated_airspeed", "mach", "flap"} & jumping
