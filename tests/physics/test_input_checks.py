"""What every kernel does with a missing, an infinite and an array argument."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sagtrace.errors import DomainError, InputError
from sagtrace.physics import (
    _checks,
    airflow,
    atmosphere,
    circuit,
    gas,
    heat,
    leak,
    pump,
    spring,
)

P, T = 5e5, 293.15
TANK = {"volume": 2e-3, "p_start": 8e5, "p_end": 2e5, "temp_start": T, "area": 1e-6, "cd": 0.8}
TANK |= {"p_outside": 1e5, "gamma": 1.4}
PUMP = {"clearance": 0.05, "polytropic": 1.3}
NIGHT = {"temp_start": T, "temp_end": 280.0}
WIRE = {"length": 4.0, "temp": 320.0, "tempco": 0.004}
HOLE = {"p_up": P, "p_down": 4e5, "temp_up": T}

# Every argument of every kernel, at a value where the result depends on it.
CALLS: dict[Callable[..., Any], dict[str, float]] = {
    airflow.blowdown_temperature_adiabatic: {
        "p_start": 8e5, "p_end": 2e5, "temp_start": T, "gamma": 1.4,
    },
    airflow.blowdown_time_adiabatic: TANK,
    airflow.blowdown_time_isothermal: TANK,
    airflow.choked_flow_factor: {"gamma": 1.4},
    airflow.conductance_from_orifice: {"area": 1e-6, "cd": 0.8, "gamma": 1.4, "r_gas": 287.0},
    airflow.critical_pressure_ratio: {"gamma": 1.4},
    airflow.iso6358_mass_flow: HOLE | {
        "conductance": 1e-8, "critical_ratio": 0.3, "laminar_ratio": 0.7,
    },
    airflow.orifice_area_from_conductance: {
        "conductance": 1e-8, "cd": 0.8, "gamma": 1.4, "r_gas": 287.0,
    },
    airflow.orifice_mass_flow: HOLE | {"area": 1e-6, "cd": 0.8, "gamma": 1.4, "r_gas": 287.0},
    atmosphere.condensed_fraction: {
        "temp": T, "p_intake": 1e5, "p_delivery": 8e5, "relative_humidity": 0.6,
    },
    atmosphere.geopotential_altitude: {"geometric": 500.0},
    atmosphere.humidity_ratio: {"temp": T, "pressure": P, "relative_humidity": 0.6},
    atmosphere.saturation_pressure: {"temp": T},
    atmosphere.standard_pressure: {"altitude": 500.0},
    atmosphere.standard_temperature: {"altitude": 500.0},
    circuit.awg_area: {"gauge": 12.0},
    circuit.awg_diameter: {"gauge": 12.0},
    circuit.joint_power: {"drop": 0.1, "current": 20.0},
    circuit.joint_resistance: {"drop": 0.1, "current": 20.0},
    circuit.loop_current: {"voltage": 12.0, "resistance": 0.3, "added_resistance": 0.1},
    circuit.resistance_temperature_factor: {"temp": 320.0, "tempco": 0.004},
    circuit.voltage_drop: {"resistance": 0.1, "current": 20.0},
    circuit.wire_resistance: WIRE | {"area": 2.5e-6, "rho20": 1.7e-8},
    circuit.wire_resistance_from_table: WIRE | {"resistance_per_length": 7.6e-3},
    gas.anr_flow_from_mass_flow: {"mass_flow": 1e-3},
    gas.density_ideal: {"pressure": P, "temp": T, "r_gas": 287.0},
    gas.mass_flow_from_anr_flow: {"volume_flow": 1e-3},
    gas.mass_from_molar: {"molar": 1.0, "molar_mass": 0.029},
    gas.molar_flow_to_pv: {"molar_flow": 1e-6, "temp": T},
    gas.molar_from_mass: {"mass": 1.0, "molar_mass": 0.029},
    gas.pv_to_molar_flow: {"pv_flow": 1e-3, "temp": T},
    heat.contact_temperature_rise: {"power": 5.0, "thermal_resistance": 8.0},
    heat.rise_at_current: {"current": 10.0, "rated_current": 20.0, "resistance_ratio": 2.0},
    heat.thermal_resistance_from_rating: {"rated_current": 20.0, "healthy_resistance": 5e-3},
    heat.transient_rise: {
        "steady_rise": 80.0, "elapsed": 30.0, "time_constant": 60.0, "rise_start": 5.0,
    },
    leak.bubble_growth_time: {"leak_pv": 1e-4, "diameter": 2e-3, "p_outside": 1e5},
    leak.height_speed_from_conductance: {"area": 0.01, "conductance": 2e-12, "temp": 300.0},
    leak.leak_flow_pv: {"pressure": P, "area": 0.01, "height_speed": -1e-6},
    leak.leak_from_height_decay: NIGHT | {
        "area": 0.01, "pressure": P, "height_drop": 0.02, "duration": 3600.0,
        "volume_start": 1.5e-3,
    },
    leak.leak_from_pressure_decay: NIGHT | {
        "volume": 2e-3, "p_start": 8e5, "p_end": 7e5, "duration": 3600.0,
    },
    leak.leak_scaling_choked: {"p_test": P, "p_use": 8e5},
    leak.leak_scaling_laminar: {"p_test": P, "p_use": 8e5, "p_outside": 1e5},
    leak.nominal_hole_diameter: {
        "leak": 1e-6, "pressure": P, "temp": T, "cd": 0.8, "p_outside": 4.5e5,
    },
    pump.allowed_duty: {"run_credit": 15.0, "cooling_time": 360.0},
    pump.charge_temperature: {"temp_intake": T, "gamma": 1.4},
    pump.compression_temperature: {"temp_intake": T, "pressure_ratio": 8.0, "polytropic": 1.3},
    pump.delivery: PUMP | {
        "displacement": 8e-6, "speed": 50.0, "p_intake": 1e5, "temp_intake": T,
        "pressure_ratio": 8.0,
    },
    pump.duty: {"leak": 1e-6, "delivery": 0.01},
    pump.duty_minutes_per_day: {"duty": 0.02},
    pump.fill_time_isothermal: {
        "volume": 5e-3, "p_start": 1e5, "p_end": 8e5, "free_air_delivery": 3e-4, "barometer": 9e4,
    },
    pump.free_air_between: {"volume": 5e-3, "p_low": 1e5, "p_high": 8e5, "barometer": 9e4},
    pump.free_air_to_raise: {"area": 0.01, "pressure": P, "height": 0.02, "barometer": 9e4},
    pump.full_credit_time: {"max_run": 120.0, "run_credit": 15.0, "cooling_time": 360.0},
    pump.isothermal_power: {"p_intake": 1e5, "p_delivery": 8e5, "volume_flow": 3e-4},
    pump.motor_speed: {
        "voltage": 12.0, "current": 20.0, "armature_resistance": 0.15, "back_emf_constant": 0.03,
        "feed_resistance": 0.1,
    },
    pump.motor_speed_ratio: {
        "voltage": 12.0, "current": 20.0, "nominal_voltage": 13.5, "nominal_current": 18.0,
        "armature_resistance": 0.15,
    },
    pump.polytropic_power: {
        "p_intake": 1e5, "p_delivery": 8e5, "volume_flow": 3e-4, "polytropic": 1.3,
    },
    pump.pump_health: {"measured_flow": 0.01, "reference_flow": 0.014},
    pump.reference_delivery: PUMP | {
        "free_air_delivery": 3e-4, "nominal_voltage": 13.5, "nominal_current": 18.0,
        "voltage": 12.5, "current": 22.0, "armature_resistance": 0.12, "p_intake": 1e5,
        "temp_intake": T, "p_delivery": 8e5,
    },
    pump.volumetric_efficiency: PUMP | {"pressure_ratio": 8.0},
    pump.zero_delivery_ratio: PUMP,
    spring.barometer_height_change: {
        "volume": 1.5e-3, "area": 0.01, "pressure": P, "barometer_change": -2e3,
    },
    spring.load_from_pressure: {"gauge_pressure": 4e5, "area": 0.01},
    spring.load_height_change: {
        "volume": 1.5e-3, "area": 0.01, "pressure": P, "load_change": 200.0,
    },
    spring.natural_frequency: {"stiffness": 4e4, "mass": 450.0},
    spring.pressure_from_load: {"load": 4400.0, "area": 0.01},
    spring.stiffness: {
        "polytropic": 1.3, "pressure": P, "area": 0.01, "volume": 1.5e-3, "area_slope": 0.02,
        "barometer": 1e5,
    },
    spring.thermal_height_change: NIGHT | {"volume": 1.5e-3, "area": 0.01},
    spring.thermal_pressure_change: NIGHT | {"pressure": P},
}  # fmt: skip

# Kernels whose arguments or results are more than arrays; their own tests cover them.
ELSEWHERE = {
    circuit.chain_drops, gas.molar_flow_to_standard, gas.standard_to_molar_flow,
}  # fmt: skip
ARGUMENTS = [(kernel, name) for kernel, call in CALLS.items() for name in call]


def _label(item: object) -> str | None:
    return getattr(item, "__name__", None)


def test_no_kernel_and_no_argument_is_left_out() -> None:
    modules = (airflow, atmosphere, circuit, gas, heat, leak, pump, spring)
    public = {getattr(module, name) for module in modules for name in module.__all__}
    kernels = {item for item in public if inspect.isfunction(item)}
    assert kernels - ELSEWHERE == set(CALLS)
    for kernel, call in CALLS.items():
        assert set(call) == set(inspect.signature(kernel).parameters), kernel.__name__


@pytest.mark.parametrize(("kernel", "name"), ARGUMENTS, ids=_label)
def test_a_missing_reading_gives_a_missing_result(kernel: Callable[..., Any], name: str) -> None:
    assert math.isnan(kernel(**(CALLS[kernel] | {name: math.nan})))


@pytest.mark.parametrize(("kernel", "name"), ARGUMENTS, ids=_label)
def test_infinity_is_refused_by_name(kernel: Callable[..., Any], name: str) -> None:
    with pytest.raises(DomainError, match=rf"^{name} = inf.*: must be finite"):
        kernel(**(CALLS[kernel] | {name: math.inf}))


@pytest.mark.parametrize(("kernel", "name"), ARGUMENTS, ids=_label)
def test_an_array_gives_what_its_numbers_give(kernel: Callable[..., Any], name: str) -> None:
    call = CALLS[kernel]
    values = np.array([[1.0], [1.0001]]) * call[name]
    result = kernel(**(call | {name: values}))
    assert result.shape == (2, 1)
    assert result.dtype == np.float64
    singles = [float(kernel(**(call | {name: float(value)}))) for value in values[:, 0]]
    assert result[:, 0].tolist() == pytest.approx(singles, rel=1e-12)
    assert singles[0] != singles[1] or (name == "p_outside" and "blowdown" in kernel.__name__)


def test_the_first_wrong_number_is_named() -> None:
    with pytest.raises(DomainError) as caught:
        _checks.above_zero("volume", [1.0, -2.0, -3.0], "m^3", "Litres? Divide by 1000.")
    assert str(caught.value) == "volume = -2 m^3: must be above zero. Litres? Divide by 1000."
    assert caught.value.value == -2.0


def test_what_is_no_number_is_refused_in_words() -> None:
    with pytest.raises(InputError, match=r"^volume = 'much': expected numbers in m\^3\.$"):
        _checks.above_zero("volume", "much", "m^3")


def test_missing_numbers_pass_every_check() -> None:
    for result in (
        _checks.finite("x", math.nan, ""),
        _checks.above_zero("x", math.nan, ""),
        _checks.not_below_zero("x", math.nan, ""),
        _checks.at_least("x", math.nan, 1.0, ""),
        _checks.between("x", math.nan, 0.0, 1.0, ""),
    ):
        assert np.isnan(result)
