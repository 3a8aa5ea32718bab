// Current limits and charge forecast of a cell with charge transfer: against small explicit steps
// of the model, and against the linear cell that has the same resistance to a small current.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "support/scalars.hpp"
#include "support/transfer_cell.hpp"
#include "voltkeel/charge/forecast.hpp"
#include "voltkeel/limits/current_limits.hpp"

using voltkeel::CellLimits;
using voltkeel::CellParameters;
using voltkeel::CellState;
using voltkeel::ChargeConditions;
using voltkeel::ChargeForecast;
using voltkeel::ChargePhase;
using voltkeel::ChargePlan;
using voltkeel::ChargePoint;
using voltkeel::ForecastSettings;
using voltkeel::HorizonLimit;
using voltkeel::LimitReason;
using voltkeel::LimitSettings;
using voltkeel::Status;
using voltkeel_test::Random;
using voltkeel_test::TransferCell;

namespace {

constexpr int branches = 2;
using Cell = TransferCell<double, branches>;
using State = CellState<double, branches, true>;
using Parameters = CellParameters<double, branches, true>;

[[maybe_unused]] TransferCell<double, branches> as(const Cell& cell, double /*scalar*/) {
    return cell;
}
TransferCell<float, branches> as(const Cell& cell, float /*scalar*/) {
    return voltkeel_test::in_float(cell);
}

template <class Real>
CellState<Real, branches, true> as_state(const State& from) {
    CellState<Real, branches, true> to;
    to.soc = static_cast<Real>(from.soc);
    for (int i = 0; i < State::lags; ++i)
        to.branch_V[i] = static_cast<Real>(from.branch_V[i]);
    to.hysteresis = static_cast<Real>(from.hysteresis);
    to.resistance_scale = static_cast<Real>(from.resistance_scale);
    return to;
}

/// A cell in its surroundings, moved by explicit steps: heat and loss written once more. The
/// resistance comes to the temperature `lag_s` later; 0: at once.
struct Slow {
    const Parameters& cell;
    State state;
    double temperature_degC;
    double ambient_degC;
    double lag_s{0};
    double felt_degC{temperature_degC};

    [[nodiscard]] double voltage_V(double current_A) const {
        return voltkeel::voltage_at(cell, state, current_A, felt_degC).voltage_V;
    }
    void move(double current_A, double dt_s) {
        const auto p = voltkeel::voltage_at(cell, state, current_A, felt_degC);
        const double heat_W = current_A * (p.voltage_V - p.ocv_V) +
                              current_A * (temperature_degC + 273.15) * p.entropy_V_per_K;
        const double lost_W = (temperature_degC - ambient_degC) / cell.thermal.resistance_K_per_W;
        voltkeel::step(cell, {current_A, dt_s, felt_degC}, state);
        temperature_degC += dt_s * (heat_W - lost_W) / cell.thermal.heat_capacity_J_per_K;
        felt_degC += (lag_s > 0 ? dt_s / lag_s : 1) * (temperature_degC - felt_degC);
    }
};

/// A random cell with self-heating and a state somewhere in the middle.
Cell warm_cell(Random& random) {
    Cell cell = voltkeel_test::random_transfer_cell<branches>(random);
    cell.scalars.thermal.heat_capacity_J_per_K = cell.scalars.capacity_Ah * random.uniform(12, 25);
    cell.scalars.thermal.resistance_K_per_W = random.uniform(5, 40) / cell.scalars.capacity_Ah;
    return cell;
}

}  // namespace

TEMPLATE_TEST_CASE("with charge transfer a limit held to its horizon just meets the voltage window",
                   "[limits][charge_transfer]", VOLTKEEL_SCALARS) {
    Random random(81);
    int met = 0;
    for (int n = 0; n < 120; ++n) {
        const Cell exact = warm_cell(random);
        const auto owned = as(exact, TestType(0));
        const Parameters parameters = exact.view();
        State state;
        state.soc = random.uniform(0.25, 0.75);
        state.hysteresis = random.uniform(-1, 1);
        state.resistance_scale = random.uniform(0.8, 1.4);
        const double degC = random.uniform(5, 35);
        // Some history, so that the branches stand somewhere they can stand.
        Slow before{parameters, state, degC, degC};
        for (int k = 0; k < 60; ++k)
            before.move(exact.scalars.capacity_Ah * 0.5 * std::sin(k / 9.0 + n), 1);
        state = before.state;
        const double now_V = voltkeel::voltage_at(parameters, state, 0.0, degC).voltage_V;
        CellLimits<TestType> limits;
        limits.window.voltage_min_V = static_cast<TestType>(now_V - random.uniform(0.1, 0.35));
        limits.window.voltage_max_V = static_cast<TestType>(now_V + random.uniform(0.1, 0.25));
        limits.window.discharge_temperature_max_degC = TestType(90);
        limits.window.charge_temperature_max_degC = TestType(90);
        HorizonLimit<TestType> out[3];
        REQUIRE(voltkeel::current_limits(owned.view(), limits, as_state<TestType>(state),
                                         static_cast<TestType>(degC), out) == Status::ok);
        for (const auto& limit : out) {
            for (const bool charging : {true, false}) {
                const auto& side = charging ? limit.charge : limit.discharge;
                if (side.reason != LimitReason::voltage) continue;
                const auto current_A = static_cast<double>(side.current_A);
                const auto bound_V = static_cast<double>(charging ? limits.window.voltage_max_V
                                                                  : limits.window.voltage_min_V);
                const auto worst_V = [&](double held_A) {
                    Slow slow{parameters, state, degC, degC, LimitSettings<double>{}.warmth_lag_s};
                    const double dt_s = 0.02;
                    const auto steps = std::lround(static_cast<double>(limit.horizon_s) / dt_s);
                    double worst = slow.voltage_V(held_A);
                    for (long k = 0; k < steps; ++k) {
                        slow.move(held_A, dt_s);
                        worst = charging ? std::max(worst, slow.voltage_V(held_A))
                                         : std::min(worst, slow.voltage_V(held_A));
                    }
                    return worst;
                };
                const double sign = charging ? 1 : -1;
                const double reached_V = worst_V(current_A);
                CAPTURE(n, limit.horizon_s, charging, current_A, reached_V, bound_V, state.soc,
                        degC, exact.scalars.capacity_Ah);
                if (side.current_A == TestType(0)) {
                    // Without any current the history alone takes the voltage out of the window.
                    CHECK(sign * (reached_V - bound_V) > -1e-3);
                    continue;
                }
                ++met;
                CHECK(std::abs(reached_V - bound_V) < 1e-3);
                // One per cent more is too much, one per cent less is not; the limit itself is
                // found to 1 mA where that is more.
                const double step_A = sign * std::max(0.01 * std::abs(current_A), 2e-3);
                CHECK(sign * (worst_V(current_A + step_A) - bound_V) > 0);
                CHECK(sign * (worst_V(current_A - step_A) - bound_V) < 0);
            }
        }
    }
    CHECK(met > 300);
}

TEST_CASE("a cell with charge transfer gives more power than small currents promise",
          "[limits][charge_transfer]") {
    Random random(82);
    for (int n = 0; n < 40; ++n) {
        voltkeel_test::LinearShape shape;
        shape.branch_ohm[2] = random.uniform(0.01, 0.06);
        shape.branch_time_s[2] = random.uniform(0.1, 2);
        const auto linear = voltkeel_test::linear_cell<double, 3>(shape);
        const double exchange_current_A = random.uniform(0.5, 4);
        const double scale_V = shape.branch_ohm[2] * exchange_current_A;
        const Cell owned = voltkeel_test::with_transfer<double>(
            voltkeel_test::linear_cell<double, branches>(shape),
            {scale_V, exchange_current_A, shape.branch_time_s[2]});
        CellState<double, 3> plain;
        State state;
        plain.soc = state.soc = 0.6;
        CellLimits<double> limits;
        limits.window.voltage_min_V = 3.4;
        limits.window.voltage_max_V = 4.3;
        HorizonLimit<double> straight[3];
        HorizonLimit<double> bent[3];
        REQUIRE(voltkeel::current_limits(linear.view(), limits, plain, 25.0, straight) ==
                Status::ok);
        REQUIRE(voltkeel::current_limits(owned.view(), limits, state, 25.0, bent) == Status::ok);
        CAPTURE(n, scale_V, exchange_current_A, shape.branch_time_s[2]);
        REQUIRE(straight[1].horizon_s == 10);
        REQUIRE(straight[1].discharge.reason == LimitReason::voltage);
        REQUIRE(bent[1].discharge.reason == LimitReason::voltage);
        CHECK(bent[1].discharge.power_W < straight[1].discharge.power_W);  // more given: negative
        CHECK(bent[1].discharge.current_A < straight[1].discharge.current_A);
        CHECK(bent[1].charge.current_A > straight[1].charge.current_A);
        // By how much, worked out by hand where the branch has settled (10 s is 5 time constants
        // and more, to be reached faster still under a large current): the drop to the window is
        // I (R0 + sum R_i (1 - exp(-10 / tau_i)) - 10 s 0.8 V / Q) + s asinh(I / I0).
        const double i_A = -bent[1].discharge.current_A;
        double ohm = shape.r0_ohm;
        for (int i = 0; i < branches; ++i)
            ohm += shape.branch_ohm[i] * -std::expm1(-10 / shape.branch_time_s[i]);
        const double walked_V = 0.8 * i_A * 10 / 3600 / shape.capacity_Ah;
        const double drop_V = i_A * ohm + walked_V + scale_V * std::asinh(i_A / exchange_current_A);
        CHECK(drop_V == Approx(3.4 + 0.8 * 0.6 - 3.4).margin(1e-3));
    }
}

TEMPLATE_TEST_CASE("with charge transfer the forecast agrees with small explicit steps",
                   "[forecast][charge_transfer]", VOLTKEEL_SCALARS) {
    constexpr bool is_float = sizeof(TestType) == sizeof(float);
    Random random(83);
    int with_one_end = 0;
    for (int n = 0; n < VOLTKEEL_CASES(40, 12); ++n) {
        const Cell exact = warm_cell(random);
        const auto owned = as(exact, TestType(0));
        const Parameters cell = exact.view();
        const double capacity_Ah = exact.scalars.capacity_Ah;
        const double current_A = capacity_Ah * random.uniform(0.2, 1.2);
        const double full_V =
            voltkeel::ocv_at(cell.ocv, 1.0, 25.0).mean_V - random.uniform(0.02, 0.1);
        const double end_A = capacity_Ah * random.uniform(0.03, 0.1);
        State state;
        state.soc = random.uniform(0.05, 0.8);
        state.hysteresis = random.uniform(-1, 1);
        state.resistance_scale = random.uniform(0.8, 1.4);
        const double degC = random.uniform(8, 35);
        const double ambient_degC = random.uniform(5, 35);
        Slow slow{cell, state, degC, degC};
        for (int k = 0; k < 60; ++k)  // a drive before
            slow.move(-capacity_Ah * (0.3 + 0.3 * std::sin(k / 9.0 + n)), 1);
        slow.temperature_degC = slow.felt_degC = degC;
        slow.ambient_degC = ambient_degC;
        state = slow.state;

        // The charge in steps of 0.1 s. Where the voltage is held, the current is the one that
        // leads to it at the end of the step: read off its start, it would swing about the answer,
        // as the charge transfer follows within the step.
        constexpr double dt_s = 0.1;
        const auto end_V = [&](double held_A) {
            Slow next = slow;
            next.move(held_A, dt_s);
            return next.voltage_V(held_A);
        };
        double last_A = current_A;
        double early_s = -1, late_s = 0, time_s = 0, charge_As = 0, energy_J = 0;
        double end_soc = state.soc, end_degC = degC;
        bool ended = false;
        while (late_s < 86400) {
            double now_A = current_A;
            if (end_V(current_A) > full_V) {
                now_A = last_A;
                for (int turn = 0; turn < 3; ++turn) {
                    const double at_V = end_V(now_A);
                    const double h_A = 1e-4 * current_A;
                    now_A += (full_V - at_V) * h_A / (end_V(now_A + h_A) - at_V);
                }
            }
            last_A = now_A;
            if (early_s < 0 && now_A <= 1.0005 * end_A) early_s = late_s;
            if (now_A <= 0.9995 * end_A) break;
            ended = ended || now_A <= end_A;
            const double now_V = slow.voltage_V(now_A);
            slow.move(now_A, dt_s);
            late_s += dt_s;
            if (ended) continue;
            time_s += dt_s;
            charge_As += now_A * dt_s;
            energy_J += now_A * now_V * dt_s;
            end_soc = slow.state.soc;
            end_degC = slow.temperature_degC;
        }

        ChargePlan<TestType> plan;
        plan.zone_count = 1;
        plan.zones[0] = {TestType(-5), TestType(100), static_cast<TestType>(current_A),
                         static_cast<TestType>(full_V)};
        plan.end_current_A = static_cast<TestType>(end_A);
        ChargeConditions<TestType> conditions;
        conditions.temperature_degC = static_cast<TestType>(degC);
        conditions.ambient_degC = static_cast<TestType>(ambient_degC);
        ForecastSettings<TestType> settings;
        settings.least_resistance_scale = TestType(0);  // as drawn
        ChargeForecast<TestType> out;
        double highest_V = 0;
        REQUIRE(voltkeel::time_to_full(
                    owned.view(), plan, as_state<TestType>(state), conditions, out, settings,
                    [&](const ChargePoint<TestType, branches, true>& p) {
                        highest_V = std::max(highest_V, static_cast<double>(p.voltage_V));
                    }) == Status::ok);
        CAPTURE(n, time_s, early_s, late_s, out.time_s, state.soc, degC, ambient_degC, capacity_Ah);
        CHECK(out.reached);
        CHECK(out.end_phase == ChargePhase::done);
        // The tolerances of test_forecast.cpp.
        const double tolerance_s = (is_float ? 2.0 : 1.0) + 5e-4 * time_s;
        CHECK(static_cast<double>(out.time_s) >= early_s - tolerance_s);
        CHECK(static_cast<double>(out.time_s) <= late_s + tolerance_s);
        if (time_s > 0) CHECK(highest_V <= full_V + 1e-3);
        if (late_s - early_s > 15) continue;  // hovers at the end current: any of many instants
        ++with_one_end;
        CHECK(static_cast<double>(out.time_s) == Approx(time_s).margin(tolerance_s));
        CHECK(static_cast<double>(out.end_soc) == Approx(end_soc).margin(2e-4));
        CHECK(static_cast<double>(out.end_temperature_degC) == Approx(end_degC).margin(0.05));
        const double in_time_Ah = tolerance_s * current_A / 3600;
        CHECK(static_cast<double>(out.charge_Ah) == Approx(charge_As / 3600).margin(in_time_Ah));
        CHECK(static_cast<double>(out.energy_Wh) ==
              Approx(energy_J / 3600).margin(in_time_Ah * full_V));
    }
    CHECK(with_one_end > VOLTKEEL_CASES(30, 7));
}
