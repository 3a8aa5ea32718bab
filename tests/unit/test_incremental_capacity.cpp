// Incremental capacity against the analytic derivative of a published curve, with and without
// noise.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <string>
#include <vector>

#include "support/example_cell.hpp"
#include "support/made_tests.hpp"
#include "support/published_curves.hpp"
#include "support/scalars.hpp"
#include "voltkeel/fit/incremental_capacity.hpp"

using Catch::Contains;
using voltkeel::incremental_capacity;
using voltkeel::IncrementalCapacity;
using voltkeel::IncrementalCapacitySettings;
using voltkeel::Log;
using voltkeel::OcvCurve;
using voltkeel_test::Curve21700;
using voltkeel_test::error_text;
using voltkeel_test::Random;

namespace {

constexpr double capacity_Ah = 5;

/// dQ/dV of the published curve at a voltage, by its hand-made derivative.
double analytic_Ah_per_V(double voltage_V) {
    double low = 0;
    double high = 1;
    for (int k = 0; k < 60; ++k) {
        const double middle = 0.5 * (low + high);
        (Curve21700::ocv_V(middle) < voltage_V ? low : high) = middle;
    }
    return capacity_Ah / Curve21700::slope_V(0.5 * (low + high));
}

/// The same seen through a Gaussian, by a sum over the SOC in steps far below the smoothing.
double smoothed_Ah_per_V(double voltage_V, double std_V) {
    constexpr int steps = 16000;
    double sum = 0;
    for (int k = 0; k < steps; ++k) {
        const double x = (Curve21700::ocv_V((k + 0.5) / steps) - voltage_V) / std_V;
        sum += std::exp(-0.5 * x * x);
    }
    return capacity_Ah * sum / (steps * std_V * std::sqrt(2 * 3.14159265358979324));
}

/// A charge (or discharge) at C/20 along the curve itself.
Log slow_log(bool charging, double voltage_std_V, double row_s, Random& random) {
    Log log;
    log.source = "slow";
    const double sign = charging ? 1 : -1;
    const int rows = static_cast<int>(72000 / row_s);
    for (int k = 0; k <= rows; ++k) {
        const double share = static_cast<double>(k) / rows;
        log.time_s.push_back(k * row_s);
        log.current_A.push_back(sign * capacity_Ah / 20);
        log.voltage_V.push_back(Curve21700::ocv_V(charging ? share : 1 - share) +
                                voltage_std_V * random.normal());
        log.temperature_degC.push_back(25);
    }
    return log;
}

double integral_Ah(const IncrementalCapacity& c) {
    double sum = 0;
    for (std::size_t k = 1; k < c.voltage_V.size(); ++k)
        sum += 0.5 * (c.charge_Ah_per_V[k] + c.charge_Ah_per_V[k - 1]) *
               (c.voltage_V[k] - c.voltage_V[k - 1]);
    return sum;
}

}  // namespace

TEST_CASE("a quiet log gives the analytic derivative", "[fit][long]") {
    Random random(541);
    for (const bool charging : {true, false}) {
        const Log log = slow_log(charging, 0, 30, random);
        const IncrementalCapacity c = incremental_capacity(log, charging, {0.001, 0.001});
        for (std::size_t k = 0; k < c.voltage_V.size(); k += VOLTKEEL_CASES(1, 5)) {
            const double v = c.voltage_V[k];
            if (v < 3.0 || v > 4.15) continue;
            CAPTURE(charging, v, c.charge_Ah_per_V[k]);
            // Exactly the derivative seen through the Gaussian ..
            REQUIRE(std::abs(c.charge_Ah_per_V[k] / smoothed_Ah_per_V(v, 0.001) - 1) < 2e-3);
            // .. and that is the derivative itself, but for h^2 / 2 of its curvature.
            const double f = analytic_Ah_per_V(v);
            const double h = 0.001;
            const double bent =
                0.5 * std::abs(analytic_Ah_per_V(v + h) - 2 * f + analytic_Ah_per_V(v - h));
            REQUIRE(std::abs(c.charge_Ah_per_V[k] - f) < 1.5 * bent + 3e-3 * f);
        }
        CHECK(std::abs(integral_Ah(c) / capacity_Ah - 1) < 2e-3);
    }
}

TEST_CASE("noise only widens the Gaussian", "[fit]") {
    Random random(542);
    for (const double noise_V : {0.001, 0.003}) {
        const Log log = slow_log(true, noise_V, 2, random);
        const double smoothing_V = 0.006;
        const IncrementalCapacity c = incremental_capacity(log, true, {smoothing_V, 0.002});
        const double row_Ah = capacity_Ah / 20 * 2 / 3600;
        for (std::size_t k = 0; k < c.voltage_V.size(); k += VOLTKEEL_CASES(1, 5)) {
            const double v = c.voltage_V[k];
            if (v < 3.1 || v > 4.12) continue;
            // A place between two noisy voltages carries (1 - u) and u of their noise: two thirds
            // of its variance on average.
            const double seen_V = std::hypot(smoothing_V, std::sqrt(2.0 / 3) * noise_V);
            const double expected = smoothed_Ah_per_V(v, seen_V);
            // Scatter of a Gaussian kernel over rows whose places jitter: the integral of the
            // kernel's square, less what an even grid leaves out.
            const double share_var = row_Ah / (expected * 2 * std::sqrt(3.14159265) * smoothing_V) *
                                     (1 - smoothing_V / seen_V);
            CAPTURE(noise_V, v, c.charge_Ah_per_V[k], expected);
            CHECK(std::abs(c.charge_Ah_per_V[k] / expected - 1) < 5 * std::sqrt(share_var) + 2e-3);
        }
        CHECK(std::abs(integral_Ah(c) / capacity_Ah - 1) < 0.01);
    }
}

TEST_CASE("an OCV curve gives the same as a log along it", "[fit]") {
    OcvCurve curve;
    for (int k = 0; k <= 2000; ++k) {
        const double soc = k / 2000.0;
        curve.soc.push_back(soc);
        curve.discharge_V.push_back(Curve21700::ocv_V(soc) - 0.01);
        curve.charge_V.push_back(Curve21700::ocv_V(soc) + 0.01);
        curve.voltage_std_V.push_back(0);
    }
    for (const bool charging : {true, false}) {
        const double shift_V = charging ? 0.01 : -0.01;
        const IncrementalCapacity c = incremental_capacity(curve, capacity_Ah, charging);
        for (std::size_t k = 0; k < c.voltage_V.size(); ++k) {
            const double v = c.voltage_V[k] - shift_V;
            if (v < 3.0 || v > 4.15) continue;
            CAPTURE(charging, v);
            REQUIRE(std::abs(c.charge_Ah_per_V[k] / smoothed_Ah_per_V(v, 0.005) - 1) < 1e-3);
        }
        CHECK(std::abs(integral_Ah(c) / capacity_Ah - 1) < 1e-3);
    }
}

TEST_CASE("rests and the other direction do not count", "[fit]") {
    Random random(543);
    const Log charge = slow_log(true, 0, 60, random);
    Log both = slow_log(false, 0, 60, random);
    const double begin_s = both.time_s.back();
    for (int k = 1; k <= 60; ++k) {
        both.time_s.push_back(begin_s + 60 * k);
        both.current_A.push_back(0);
        both.voltage_V.push_back(2.7);
        both.temperature_degC.push_back(25);
    }
    const double charge_s = both.time_s.back() + 60;
    for (std::size_t k = 0; k < charge.size(); ++k) {
        both.time_s.push_back(charge_s + charge.time_s[k]);
        both.current_A.push_back(charge.current_A[k]);
        both.voltage_V.push_back(charge.voltage_V[k]);
        both.temperature_degC.push_back(25);
    }
    const IncrementalCapacity alone = incremental_capacity(charge, true);
    const IncrementalCapacity among = incremental_capacity(both, true);
    REQUIRE(alone.voltage_V == among.voltage_V);
    for (std::size_t k = 0; k < alone.voltage_V.size(); ++k) {
        if (alone.voltage_V[k] < 2.6) continue;  // one row more at the very start
        CHECK(among.charge_Ah_per_V[k] == Approx(alone.charge_Ah_per_V[k]).epsilon(1e-9));
    }
}

TEST_CASE("incremental capacity says what it lacks", "[fit]") {
    Random random(544);
    const Log log = slow_log(true, 0, 600, random);
    const auto said = [&](const std::function<void()>& action) { return error_text(action); };
    CHECK_THAT(said([&] { (void)incremental_capacity(log, false); }),
               Contains("slow: no row discharges"));
    CHECK_THAT(said([&] {
                   (void)incremental_capacity(log, true, {0, 0.002});
               }),
               Contains("smoothing_V: 0"));
    CHECK_THAT(said([&] {
                   (void)incremental_capacity(log, true, {0.005, -1});
               }),
               Contains("step_V: -1"));
    CHECK_THAT(said([&] {
                   (void)incremental_capacity(log, true, {0.005, NAN});
               }),
               Contains("step_V: nan"));
    CHECK_THAT(said([&] {
                   (void)incremental_capacity(log, true, {0.005, 5});
               }),
               Contains("step_V: 5 does not divide"));
    CHECK_THAT(said([&] {
                   (void)incremental_capacity(log, true, {0.005, 1e-9});
               }),
               Contains("step_V: 1e-09 does not divide"));
    OcvCurve curve;
    curve.soc = {0, 1};
    curve.discharge_V = curve.charge_V = {3, 4};
    CHECK_THAT(said([&] { (void)incremental_capacity(curve, 0, true); }),
               Contains("capacity_Ah: 0"));
    curve.charge_V = {3};
    CHECK_THAT(said([&] { (void)incremental_capacity(curve, 1, true); }), Contains("same length"));
    curve.charge_V = {3, NAN};
    CHECK_THAT(said([&] { (void)incremental_capacity(curve, 1, true); }), Contains("at node 1"));
}
