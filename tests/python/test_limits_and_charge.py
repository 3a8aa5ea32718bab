"""Limits and charge forecasts against SciPy: what is answered is put back into the model's differential equations."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import voltkeel as vk
from hypothesis import given
from hypothesis import strategies as st
from reference_model import ReferenceCell
from scipy.integrate import solve_ivp
from scipy.interpolate import RegularGridInterpolator


def copy_of(cell: vk.Cell, **fields) -> vk.Cell:
    changed = vk.parse_cell(vk.to_json(cell))
    for name, value in fields.items():
        setattr(changed, name, value)
    return changed


def window(**fields) -> vk.CellWindow:
    usual = {
        "voltage_min_V": 2.9,
        "voltage_max_V": 4.2,
        "soc_min": 0.02,
        "soc_max": 0.98,
        "charge_temperature_min_degC": 0.0,
        "charge_temperature_max_degC": 45.0,
        "discharge_temperature_min_degC": -20.0,
        "discharge_temperature_max_degC": 60.0,
    }
    return vk.CellWindow(**{**usual, **fields})


def hold(reference: ReferenceCell, state: vk.ModelState, current_A: float, horizon_s: float):
    """Voltages and temperatures while a current is held, the surroundings at the present temperature."""
    start_degC, lag_s = state.temperature_degC, vk.LimitSettings().warmth_lag_s
    start = np.array([state.soc, *state.branch_V, state.hysteresis, start_degC, start_degC])
    solution = solve_ivp(
        lambda _, x: reference.slope_with_late_warmth(x, current_A, start_degC, 1.0, lag_s),
        (0, horizon_s),
        start,
        method="DOP853",
        t_eval=np.linspace(0, horizon_s, 31),
        rtol=1e-9,
        atol=1e-12,
        max_step=1.0,
    )
    voltage = np.array([reference.scaled_voltage(x, current_A, 1.0) for x in solution.y.T])
    return voltage, solution.y[-2]


STATES = [
    vk.ModelState(soc=0.55, branch_V=[0.0, 0.0, 0.0], hysteresis=0.0, temperature_degC=5.0),
    vk.ModelState(soc=0.30, branch_V=[-0.02, -0.03, -0.01], hysteresis=-1.0, temperature_degC=12.0),
    vk.ModelState(soc=0.80, branch_V=[0.01, 0.03, 0.02], hysteresis=0.7, temperature_degC=8.0),
]


@pytest.mark.parametrize("state", STATES)
def test_a_voltage_limit_just_keeps_the_voltage(cell, state):
    cell = copy_of(cell, current_limits=[], window=window())
    reference = ReferenceCell(cell)
    checked = 0
    for limit in vk.current_limits(cell, state, [2, 10, 30]):
        for direction, sign, bound in ((limit.charge, 1, 4.2), (limit.discharge, -1, 2.9)):
            assert direction.reason == vk.LimitReason.voltage
            assert direction.binding_value == bound
            assert direction.current_A * sign > 0
            voltage, _ = hold(reference, state, direction.current_A, limit.horizon_s)
            beyond_V = sign * (voltage - bound)
            assert beyond_V.max() < 2e-4, "a limit is never above what is allowed"
            assert abs(direction.end_voltage_V - voltage[-1]) < 1e-3
            more, _ = hold(reference, state, 1.01 * direction.current_A, limit.horizon_s)
            assert (sign * (more - bound)).max() > 0, "and one percent more is too much"
            assert direction.power_W * sign > 0
            assert abs(direction.power_W) >= abs(direction.current_A * direction.end_voltage_V) * (1 - 1e-9)
            checked += 1
    assert checked == 6


@pytest.mark.parametrize("state", STATES)
def test_beyond_the_tested_current_a_limit_leaves_room(cell, state):
    noise = vk.ModelNoise(tested_current_A=0.5 * cell.capacity_Ah, untested_share_std=0.04)
    careful = copy_of(cell, current_limits=[], window=window(), noise=noise)
    reference = ReferenceCell(careful)
    settings = vk.LimitSettings(untested_sigmas=1.5)
    for limit in vk.current_limits(careful, state, [2, 10, 30], settings):
        for direction, bound in ((limit.charge, 4.2), (limit.discharge, 2.9)):
            assert direction.reason == vk.LimitReason.voltage
            current_A = direction.current_A
            beyond = math.log2(abs(current_A) / noise.tested_current_A)
            assert beyond > 0
            open_V, _ = hold(reference, state, 0.0, 1e-6)
            voltage, _ = hold(reference, state, current_A, limit.horizon_s)
            moved_V = (voltage[-1] - open_V[0]) * (1 + 1.5 * 0.04 * beyond)
            assert open_V[0] + moved_V == pytest.approx(bound, abs=2e-3 * abs(moved_V) + 2e-4)
    plain = copy_of(cell, current_limits=[], window=window())
    (free,), (kept,) = vk.current_limits(plain, state, [10.0]), vk.current_limits(careful, state, [10.0])
    assert 0.8 < kept.discharge.current_A / free.discharge.current_A < 0.99


def test_a_temperature_limit_just_keeps_the_temperature(cell):
    cell = copy_of(
        cell, current_limits=[], window=window(voltage_min_V=1.0, soc_min=0.0, discharge_temperature_max_degC=22.0)
    )
    state = vk.ModelState(soc=0.9, branch_V=[0.0] * 3, temperature_degC=20.0)
    limit = vk.current_limits(cell, state, [30.0])[0].discharge
    assert limit.reason == vk.LimitReason.temperature
    assert limit.binding_value == 22.0
    _, temperature = hold(ReferenceCell(cell), state, limit.current_A, 30.0)
    assert 21.98 < temperature[-1] < 22.002


def test_an_soc_limit_is_charge_over_time(cell):
    cell = copy_of(cell, current_limits=[], window=window(voltage_min_V=1.0, voltage_max_V=5.0))
    for soc, horizon in ((0.03, 30.0), (0.05, 60.0)):
        discharge = vk.current_limits(cell, vk.ModelState(soc=soc), [horizon])[0].discharge
        assert discharge.reason == vk.LimitReason.soc
        assert discharge.binding_value == 0.02
        assert discharge.current_A == pytest.approx(-(soc - 0.02) * 3600 * cell.capacity_Ah / horizon, rel=2e-3)
        full = 1 - soc
        charge = vk.current_limits(cell, vk.ModelState(soc=full), [horizon])[0].charge
        assert charge.reason == vk.LimitReason.soc
        leak = cell.self_discharge_per_s * horizon
        by_hand = (0.98 - full + leak) * 3600 * cell.capacity_Ah / (horizon * cell.coulombic_efficiency)
        assert charge.current_A == pytest.approx(by_hand, rel=2e-3)
        assert charge.current_A <= by_hand * (1 + 1e-6)


def test_the_table_of_the_maker(cell):
    table = cell.current_limits[0]
    axes = (table.temperature_degC, table.soc)
    charge = RegularGridInterpolator(axes, table.charge_A)
    discharge = RegularGridInterpolator(axes, table.discharge_A)
    for temperature, soc in ((0.5, 0.4), (1.0, 0.3), (0.2, 0.85)):
        for limit in vk.current_limits(cell, vk.ModelState(soc=soc, temperature_degC=temperature), [2, 10]):
            place = (temperature, soc)
            assert limit.charge.reason == limit.discharge.reason == vk.LimitReason.maker_table
            assert limit.charge.current_A == pytest.approx(charge(place).item(), rel=1e-9)
            assert limit.discharge.current_A == pytest.approx(-discharge(place).item(), rel=1e-9)
            assert limit.charge.reason.message == "the maker's table of allowed currents"


@pytest.mark.parametrize(("temperature", "charge", "discharge"), [(-5, 0, 1), (46, 0, 1), (-21, 0, 0), (61, 0, 0)])
def test_outside_a_temperature_window_nothing_flows(cell, temperature, charge, discharge):
    limit = vk.current_limits(cell, vk.ModelState(soc=0.5, temperature_degC=temperature), [10])[0]
    for direction, allowed in ((limit.charge, charge), (limit.discharge, discharge)):
        assert (direction.current_A != 0) == bool(allowed)
        if not allowed:
            assert direction.reason == vk.LimitReason.temperature
            assert direction.power_W == 0


@given(
    soc=st.floats(0, 1),
    branch=st.lists(st.floats(-0.2, 0.2), min_size=3, max_size=3),
    hysteresis=st.floats(-1, 1),
    scale=st.floats(0.3, 4),
    temperature=st.floats(-40, 70),
)
def test_limits_of_any_state_have_their_sign_and_shrink_with_time(soc, branch, hysteresis, scale, temperature, cell):
    state = vk.ModelState(
        soc=soc, branch_V=branch, hysteresis=hysteresis, resistance_scale=scale, temperature_degC=temperature
    )
    limits = vk.current_limits(cell, state, [0, 2, 10, 30, 600])
    for limit in limits:
        assert math.isfinite(limit.charge.current_A)
        assert math.isfinite(limit.discharge.current_A)
        assert limit.charge.current_A >= 0 >= limit.discharge.current_A
        assert limit.charge.power_W >= 0 >= limit.discharge.power_W
    for short, long in pairwise(limits):
        assert long.charge.current_A <= short.charge.current_A * 1.002 + 0.002
        assert long.discharge.current_A >= short.discharge.current_A * 1.002 - 0.002


@pytest.mark.parametrize(
    ("state", "horizons", "text"),
    [
        (vk.ModelState(soc=2.0), [2], "soc: 2 is outside"),
        (vk.ModelState(branch_V=[0.0]), [2], "branch_V: has 1 values, the cell has 3"),
        (vk.ModelState(temperature_degC=math.nan), [2], "temperature_degC: nan"),
        (vk.ModelState(), [10, 2], "horizons must rise from 0 to 600"),
        (vk.ModelState(), [601], "horizons must rise from 0 to 600"),
        (vk.ModelState(), [math.nan], "horizons must rise from 0 to 600"),
    ],
)
def test_what_limits_cannot_use_is_named(cell, state, horizons, text):
    with pytest.raises(vk.DataError, match=text):
        vk.current_limits(cell, state, horizons)


# ---------------------------------------------------------------- charge


def charge_by_scipy(cell: vk.Cell, state: vk.ModelState, plan: vk.ChargePlan, ambient_degC: float) -> dict[str, float]:
    """Constant current to the voltage, constant voltage to the end current; the cell warms itself.

    The state is [soc, u_1 .. u_N, h, temperature, charge in As, energy in J].
    """
    reference = ReferenceCell(cell)
    zone = plan.zones[0]

    def held_A(x):
        """Current that keeps the voltage of the zone: V is straight in I at a given state."""
        at_rest_V = reference.voltage(x[:-3], 0.0, float(x[-3]))
        return (zone.voltage_V - at_rest_V) / reference.resistances(x[0], float(x[-3]))[0]

    def run(start, current_of, end):
        def slope(_, x):
            current = current_of(x)
            power = current * reference.voltage(x[:-3], current, float(x[-3]))
            return np.concatenate((reference.slope_with_heat(x[:-2], current, ambient_degC), [current, power]))

        event = lambda _, x: end(x)  # noqa: E731
        event.terminal = True
        solution = solve_ivp(
            slope, (0, 36000), start, events=event, method="DOP853", rtol=1e-9, atol=1e-11, max_step=10.0
        )
        assert solution.status == 1, "the phase must end"
        return solution

    start = np.array([state.soc, *state.branch_V, state.hysteresis, state.temperature_degC, 0.0, 0.0])
    first = run(
        start,
        lambda x: zone.current_A,
        lambda x: reference.voltage(x[:-3], zone.current_A, float(x[-3])) - zone.voltage_V,
    )
    second = run(first.y[:, -1], held_A, lambda x: held_A(x) - plan.end_current_A)
    return {
        "time_s": first.t[-1] + second.t[-1],
        "constant_current_s": first.t[-1],
        "constant_voltage_s": second.t[-1],
        "end_soc": second.y[0, -1],
        "end_temperature_degC": second.y[-3, -1],
        "highest_temperature_degC": max(first.y[-3].max(), second.y[-3].max()),
        "charge_Ah": second.y[-2, -1] / 3600,
        "energy_Wh": second.y[-1, -1] / 3600,
        "end_current_A": plan.end_current_A,
    }


CHARGE_START = vk.ModelState(soc=0.25, branch_V=[-0.01, -0.02, -0.01], hysteresis=-0.8, temperature_degC=11.0)


@pytest.mark.parametrize(("step_s", "close_s"), [(10.0, 0.5), (1.0, 0.05)])
def test_time_to_full_against_scipy(cell, step_s, close_s):
    expected = charge_by_scipy(cell, CHARGE_START, cell.charge, 11.0)
    outlook = vk.time_to_full(cell, CHARGE_START, cell.charge, 11.0, settings=vk.ForecastSettings(step_s=step_s))
    forecast = outlook.forecast
    assert outlook.message == "ok"
    assert forecast.reached
    assert forecast.end_phase == vk.ChargePhase.done
    assert expected["constant_current_s"] > 3000
    assert expected["constant_voltage_s"] > 1000
    for name in ("time_s", "constant_current_s", "constant_voltage_s"):
        assert abs(getattr(forecast, name) - expected[name]) < close_s, (name, getattr(forecast, name), expected[name])
    for name in ("end_soc", "charge_Ah", "energy_Wh", "end_current_A"):
        assert getattr(forecast, name) == pytest.approx(expected[name], rel=2e-4), name
    for name in ("end_temperature_degC", "highest_temperature_degC"):
        assert abs(getattr(forecast, name) - expected[name]) < 0.01, name


def test_the_curve_tells_the_same_as_the_sums(cell):
    outlook = vk.time_to_full(cell, CHARGE_START, cell.charge, 11.0, settings=vk.ForecastSettings(step_s=2.0))
    curve, forecast = outlook.curve, outlook.forecast
    assert curve["time_s"][0] == 0
    assert curve["time_s"][-1] == pytest.approx(forecast.time_s, abs=1e-6)
    assert (np.diff(curve["time_s"]) > 0).all()
    assert (np.diff(curve["soc"]) > 0).all()
    current = np.diff(curve["time_s"]) * (curve["current_A"][1:] + curve["current_A"][:-1]) / 2
    assert current.sum() / 3600 == pytest.approx(forecast.charge_Ah, rel=1e-4)
    held = curve["phase"] == int(vk.ChargePhase.constant_voltage)
    # The first of them lies up to event_tolerance_s behind the instant at which the voltage is reached.
    assert np.abs(curve["voltage_V"][held] - cell.charge.zones[0].voltage_V).max() < 1e-6
    assert (curve["voltage_V"] < cell.charge.zones[0].voltage_V + 1e-6).all()
    assert curve["soc"][-1] == forecast.end_soc


def test_time_to_soc_at_constant_current_is_charge_over_current(cell):
    plan = vk.ChargePlan(
        zones=[vk.ChargeZone(temperature_min_degC=0, temperature_max_degC=45, current_A=0.6, voltage_V=5.0)],
        end_current_A=0.05,
    )
    state = vk.ModelState(soc=0.2)
    for target in (0.21, 0.5, 0.85):
        forecast = vk.time_to_soc(cell, state, plan, 25.0, target).forecast
        net_per_s = cell.coulombic_efficiency * 0.6 / (3600 * cell.capacity_Ah) - cell.self_discharge_per_s
        assert forecast.time_s == pytest.approx((target - 0.2) / net_per_s, abs=0.002)
        assert forecast.end_soc == pytest.approx(target, abs=1e-6)
        half = vk.time_to_soc(cell, state, plan, 25.0, target, supply_current_A=0.3).forecast
        assert half.time_s == pytest.approx(2 * forecast.time_s, rel=1e-4)


def test_a_full_cell_takes_no_time_and_a_cold_one_is_not_charged(cell):
    done = vk.time_to_full(cell, vk.ModelState(soc=1.0, hysteresis=1.0), cell.charge, 25.0)
    assert done.forecast.time_s == 0
    assert done.forecast.reached
    cold = vk.time_to_full(cell, vk.ModelState(soc=0.5, temperature_degC=-3.0), cell.charge, -3.0)
    assert not cold.forecast.reached
    assert cold.forecast.end_phase == vk.ChargePhase.not_allowed
    assert cold.forecast.charge_Ah == 0
    bound = vk.time_to_full(cell, vk.ModelState(soc=0.2), cell.charge, 25.0, settings=vk.ForecastSettings(longest_s=60))
    assert not bound.forecast.reached
    assert bound.forecast.time_s == pytest.approx(60, abs=0.01)
    assert bound.message == "the target was not reached within the time bound"


def test_what_a_forecast_cannot_use_is_named(cell):
    state = vk.ModelState(soc=0.5)
    zone = vk.ChargeZone(temperature_min_degC=0, temperature_max_degC=45, current_A=0.6, voltage_V=4.1)
    for plan, text in (
        (vk.ChargePlan(zones=[zone], end_current_A=0.0), "charge.end_current_A"),
        (vk.ChargePlan(zones=[zone], end_current_A=0.7), r"charge.zones.current_A\[0\]: 0.6 against 0.7"),
        (vk.ChargePlan(zones=[zone, zone], end_current_A=0.1), r"charge.zones.temperature_min_degC\[1\]"),
        (vk.ChargePlan(), "charge.zone_count"),
    ):
        with pytest.raises(vk.DataError, match=text):
            vk.time_to_full(cell, state, plan, 25.0)
    with pytest.raises(vk.DataError, match="zones: has 9 zones"):
        vk.ChargePlan(zones=[zone] * 9)
    with pytest.raises(vk.DataError, match=r"target_soc: 1\.5"):
        vk.time_to_soc(cell, state, cell.charge, 25.0, 1.5)
    with pytest.raises(vk.DataError, match="ambient nan"):
        vk.time_to_full(cell, state, cell.charge, math.nan)
