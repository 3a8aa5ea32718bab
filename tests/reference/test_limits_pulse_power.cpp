// Limits against the power equations of the hybrid pulse power characterisation:
//   discharge  P = Vmin (OCV - Vmin) / R        charge  P = Vmax (Vmax - OCV) / R
// Source: FreedomCAR Battery Test Manual, DOE/ID-11069 (October 2003), pulse power capability (from
// memory, not re-read). The worked values are the equations evaluated in 30-digit arithmetic.

#include <catch2/catch.hpp>
#include <cmath>

#include "voltkeel/limits/current_limits.hpp"

namespace {

using voltkeel::HorizonLimit;
using voltkeel::LimitReason;
using voltkeel::Status;

/// OCV of 3.8 V (flat to 1 mV from empty to full), one resistance and one branch, a capacity that
/// no pulse dents and a thermal mass that no pulse warms.
template <class Real>
struct PulseCell {
    voltkeel::OcvNode<Real> ocv[2]{{Real(3.7995), 0, 0}, {Real(3.8005), 0, 0}};
    voltkeel::ResistanceNode<Real, 1> resistance[4]{};
    voltkeel::CellParameters<Real, 1> cell{};
    voltkeel::CellLimits<Real> limits{};
    voltkeel::CellState<Real, 1> state{};

    PulseCell(double r0_ohm, double branch_ohm, double branch_time_s) {
        for (auto& node : resistance) {
            node.r0_ohm = static_cast<Real>(r0_ohm);
            node.branch_ohm[0] = static_cast<Real>(branch_ohm);
            node.branch_time_s[0] = static_cast<Real>(branch_time_s);
        }
        cell.capacity_Ah = Real(1e4);
        cell.ocv = {ocv, 2, Real(25)};
        cell.resistance = {resistance, voltkeel::uniform_axis(Real(0), Real(1), 2),
                           voltkeel::uniform_axis(Real(-20), Real(60), 2)};
        cell.thermal = {Real(1e7), Real(1e-3)};
        limits.window.voltage_min_V = Real(2.5);
        limits.window.voltage_max_V = Real(4.2);
        limits.window.soc_min = Real(0);
        limits.window.soc_max = Real(1);
        state.soc = Real(0.5);
    }
    PulseCell(const PulseCell&) = delete;
    PulseCell& operator=(const PulseCell&) = delete;
};

template <class Real>
HorizonLimit<Real> limit_for(const PulseCell<Real>& p, double horizon_s) {
    const Real horizons_s[] = {static_cast<Real>(horizon_s)};
    HorizonLimit<Real> out;
    REQUIRE(voltkeel::current_limits(p.cell, p.limits, p.state, Real(25), horizons_s, 1, &out) ==
            Status::ok);
    return out;
}

/// The search stops at most 0.1 % below the limit and never above it; 0.01 % is for the OCV that
/// falls by micro-volts while the pulse flows, and for float.
void check_limit(double found, double expected) {
    CHECK(std::abs(found) <= std::abs(expected) * (1 + 1e-4));
    CHECK(std::abs(found) >= std::abs(expected) * (1 - 1.1e-3));
    CHECK(found * expected > 0);
}

}  // namespace

TEMPLATE_TEST_CASE("discharge: OCV 3.8 V, 2.5 V, 25 mohm give 52 A and 130 W",
                   "[limits][reference]", float, double) {
    const PulseCell<TestType> at_once(0.025, 1e-9, 1e6);
    const auto limit = limit_for(at_once, 10);
    CHECK(limit.discharge.reason == LimitReason::voltage);
    CHECK(limit.discharge.binding_value == TestType(2.5));
    check_limit(double(limit.discharge.current_A), -52);
    check_limit(double(limit.discharge.power_W), -130);
    CHECK(double(limit.discharge.end_voltage_V) == Approx(2.5).margin(1.3 * 1.1e-3));

    // The same 25 mohm, when most of it takes time to appear: 10 + 15 mohm after twenty time
    // constants.
    const PulseCell<TestType> slow(0.010, 0.015, 30);
    const auto later = limit_for(slow, 600);
    check_limit(double(later.discharge.current_A), -52);
    check_limit(double(later.discharge.power_W), -130);
}

TEMPLATE_TEST_CASE("charge: OCV 3.8 V, 4.2 V, 20 mohm give 20 A and 84 W", "[limits][reference]",
                   float, double) {
    const PulseCell<TestType> p(0.020, 1e-9, 1e6);
    const auto limit = limit_for(p, 10);
    CHECK(limit.charge.reason == LimitReason::voltage);
    CHECK(limit.charge.binding_value == TestType(4.2));
    check_limit(double(limit.charge.current_A), 20);
    check_limit(double(limit.charge.power_W), 84);
}

TEMPLATE_TEST_CASE("10 s of a 10 + 15 mohm, 30 s cell act like 14.2520303414 mohm",
                   "[limits][reference]", float, double) {
    // 10 + 15 (1 - exp(-10/30)) mohm.
    const double r10_ohm = 14.2520303414e-3;
    const PulseCell<TestType> p(0.010, 0.015, 30);
    const auto limit = limit_for(p, 10);
    check_limit(double(limit.discharge.current_A), -(3.8 - 2.5) / r10_ohm);
    check_limit(double(limit.discharge.power_W), -2.5 * (3.8 - 2.5) / r10_ohm);
    check_limit(double(limit.charge.current_A), (4.2 - 3.8) / r10_ohm);
    check_limit(double(limit.charge.power_W), 4.2 * (4.2 - 3.8) / r10_ohm);
    // At once only the 10 mohm are seen.
    check_limit(double(limit_for(p, 0).discharge.current_A), -(3.8 - 2.5) / 0.010);
}

TEMPLATE_TEST_CASE("below half the OCV the greatest power lies at a smaller current",
                   "[limits][reference]", float, double) {
    // Greatest power into a load: OCV^2 / (4 R), at OCV / 2 (maximum power transfer, any circuit
    // textbook).
    PulseCell<TestType> p(0.025, 1e-9, 1e6);
    p.limits.window.voltage_min_V = TestType(1.0);
    const auto limit = limit_for(p, 10);
    check_limit(double(limit.discharge.current_A), -(3.8 - 1.0) / 0.025);
    CHECK(double(limit.discharge.end_voltage_V) == Approx(1.0).margin(2.8 * 1.1e-3));
    CHECK(double(limit.discharge.power_W) == Approx(-3.8 * 3.8 / (4 * 0.025)).epsilon(1e-4));
}
