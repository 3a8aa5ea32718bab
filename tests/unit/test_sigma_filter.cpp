// The filter by points against the filter by derivatives, the Kalman filter of a linear model, and
// a curve that bends within the spread.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <limits>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/estimate/sigma_filter.hpp"
#include "voltkeel/estimate/soc_filter.hpp"

using voltkeel::Status;
using voltkeel_test::Random;

TEMPLATE_TEST_CASE("on a linear cell points and derivatives are the same filter", "[sigma_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(83);
    CAPTURE(voltkeel_test::seed());
    // Straight OCV, no gap, resistance scale known: all is linear, and both are the Kalman filter.
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    voltkeel::SocFilterSettings<Real> settings;
    settings.log_scale_std_initial = Real(0);
    settings.log_scale_std_per_sqrt_h = Real(0);
    settings.overvoltage_share_std = Real(0);
    voltkeel::SocFilter<Real, 2> derivatives;
    voltkeel::SigmaFilter<Real, 2> sigma;
    REQUIRE(derivatives.configure(cell.view(), settings) == Status::ok);
    REQUIRE(sigma.configure(cell.view(), settings) == Status::ok);
    REQUIRE(derivatives.start(Real(0.6), Real(0.1), Real(25)) == Status::ok);
    REQUIRE(sigma.start(Real(0.6), Real(0.1), Real(25)) == Status::ok);
    const double tolerance = sizeof(Real) == 4 ? 2e-5 : 1e-11;
    for (int tick = 0; tick < 2000; ++tick) {
        const voltkeel::CellSample<Real> sample{static_cast<Real>(random.uniform(-3, 3)),
                                                static_cast<Real>(3.9 + 0.02 * random.normal()),
                                                Real(25), Real(0.7)};
        const auto& a = derivatives.step(sample);
        const auto& b = sigma.step(sample);
        if (voltkeel_test::apart(a.soc, b.soc) > tolerance ||
            voltkeel_test::apart(a.soc_std, b.soc_std) > tolerance ||
            a.fault_bits != b.fault_bits || a.updated != b.updated) {
            CAPTURE(tick, a.soc, b.soc, a.soc_std, b.soc_std, a.fault_bits, b.fault_bits);
            FAIL("they differ");
        }
    }
}

TEMPLATE_TEST_CASE("on curved cells points find the SOC as derivatives do", "[sigma_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(89);
    CAPTURE(voltkeel_test::seed());
    double furthest = 0;
    double furthest_true = 0;
    for (int trial = 0; trial < 10; ++trial) {
        const auto exact = voltkeel_test::random_cell<2>(random);
        const auto cell = voltkeel_test::cell_cast<Real>(exact);
        voltkeel::SocFilter<Real, 2> derivatives;
        voltkeel::SigmaFilter<Real, 2> sigma;
        REQUIRE(derivatives.configure(cell.view()) == Status::ok);
        REQUIRE(sigma.configure(cell.view()) == Status::ok);
        REQUIRE(derivatives.start(Real(0.6), Real(0.2), Real(20)) == Status::ok);
        REQUIRE(sigma.start(Real(0.6), Real(0.2), Real(20)) == Status::ok);
        voltkeel::CellState<double, 2> truth;
        truth.soc = 0.8;
        for (int tick = 0; tick < 2400; ++tick) {
            const double current_A =
                exact.scalars.capacity_Ah * (tick % 60 < 20 ? -1.5 : (tick % 60 < 50 ? 0.1 : 1));
            voltkeel::step(exact.view(), {current_A, 1, 20}, truth);
            const double voltage_V =
                voltkeel::voltage_at(exact.view(), truth, current_A, 20.0).voltage_V;
            const voltkeel::CellSample<Real> sample{
                static_cast<Real>(current_A), static_cast<Real>(voltage_V), Real(20), Real(1)};
            (void)derivatives.step(sample);
            (void)sigma.step(sample);
            if (tick < 600) continue;
            furthest = std::max(
                furthest, voltkeel_test::apart(derivatives.estimate().soc, sigma.estimate().soc));
            furthest_true =
                std::max(furthest_true, voltkeel_test::apart(sigma.estimate().soc, truth.soc));
        }
    }
    std::printf("points against derivatives: %.2f points of SOC apart, %.2f from the truth\n",
                100 * furthest, 100 * furthest_true);
    CHECK(furthest < 0.02);
    CHECK(furthest_true < 0.03);
}

TEMPLATE_TEST_CASE("where the curve bends within the spread points are nearer", "[sigma_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    // Flat above 0.4 and steep below, as iron phosphate near its end: one rested voltage, the truth
    // drawn from the very spread that the filters start with.
    Random random(97);
    CAPTURE(voltkeel_test::seed());
    auto cell = voltkeel_test::linear_cell<Real, 1>();
    cell.ocv.clear();
    for (int k = 0; k <= 40; ++k) {
        const double soc = k / 40.0;
        cell.ocv.push_back(
            {static_cast<Real>(3.3 + 0.02 * soc - 0.6 * std::exp(-soc / 0.12)), Real(0), Real(0)});
    }
    voltkeel::SocFilterSettings<Real> settings;
    settings.gate = Real(100);
    double by_points = 0;
    double by_derivatives = 0;
    const int trials = 3000;
    for (int trial = 0; trial < trials; ++trial) {
        const double truth = std::clamp(0.4 + 0.12 * random.normal(), 0.0, 1.0);
        const double ocv_V = 3.3 + 0.02 * truth - 0.6 * std::exp(-truth / 0.12);
        const Real voltage_V = static_cast<Real>(ocv_V + 0.02 * random.normal());
        voltkeel::SocFilter<Real, 1> derivatives;
        voltkeel::SigmaFilter<Real, 1> sigma;
        REQUIRE(derivatives.configure(cell.view(), settings) == Status::ok);
        REQUIRE(sigma.configure(cell.view(), settings) == Status::ok);
        REQUIRE(derivatives.start(Real(0.4), Real(0.12), Real(25)) == Status::ok);
        REQUIRE(sigma.start(Real(0.4), Real(0.12), Real(25)) == Status::ok);
        const voltkeel::CellSample<Real> sample{Real(0), voltage_V, Real(25), Real(0)};
        by_derivatives += std::pow(static_cast<double>(derivatives.step(sample).soc) - truth, 2);
        by_points += std::pow(static_cast<double>(sigma.step(sample).soc) - truth, 2);
    }
    std::printf("one voltage on a bent curve: rms %.2f points by points, %.2f by derivatives\n",
                100 * std::sqrt(by_points / trials), 100 * std::sqrt(by_derivatives / trials));
    CHECK(by_points < by_derivatives);
}

TEMPLATE_TEST_CASE("whatever comes in, the filter by points stays a number", "[sigma_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(101);
    CAPTURE(voltkeel_test::seed());
    const auto exact = voltkeel_test::random_cell<3>(random);
    const auto cell = voltkeel_test::cell_cast<Real>(exact);
    voltkeel::SigmaFilter<Real, 3> sigma;
    CHECK(sigma.step({}).fault_bits == voltkeel::fault_not_started);
    CHECK(sigma.start(Real(0.5), Real(0.1), Real(25)) == Status::missing_table);
    REQUIRE(sigma.configure(cell.view()) == Status::ok);
    CHECK(sigma.start(Real(2), Real(0.1), Real(25)) == Status::out_of_range);
    REQUIRE(sigma.start_from_voltage(Real(3.7), Real(0), Real(25)) == Status::ok);
    const auto wild = [&](double usual) {
        switch (random.whole(0, 9)) {
            case 0:
                return std::numeric_limits<Real>::quiet_NaN();
            case 1:
                return std::numeric_limits<Real>::infinity();
            case 2:
                return static_cast<Real>(random.uniform(-1e6, 1e6));
            default:
                return static_cast<Real>(usual);
        }
    };
    for (int tick = 0; tick < 10000; ++tick) {
        const auto& e =
            sigma.step({wild(random.uniform(-2, 2) * exact.scalars.capacity_Ah),
                        wild(random.uniform(2.5, 4.5)), wild(random.uniform(-30, 60)), wild(1)});
        if (!(std::isfinite(e.soc) && std::isfinite(e.soc_std) &&
              std::isfinite(e.resistance_scale) && std::isfinite(e.innovation_std_V))) {
            CAPTURE(tick, e.soc, e.soc_std);
            FAIL("not a number");
        }
    }
}

TEMPLATE_TEST_CASE("started in the middle of use points are where derivatives are",
                   "[sigma_filter]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(103);
    CAPTURE(voltkeel_test::seed());
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    voltkeel::SigmaFilter<Real, 2> never_configured;
    CHECK(never_configured.start_under_load(Real(0.5), Real(0.1), {Real(0)}, Real(20)) ==
          Status::missing_table);
    // All is linear, so that both are the Kalman filter from then on.
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    voltkeel::SocFilterSettings<Real> settings;
    settings.log_scale_std_initial = Real(0);
    settings.log_scale_std_per_sqrt_h = Real(0);
    settings.overvoltage_share_std = Real(0);
    for (int run = 0; run < 10; ++run) {
        voltkeel::SocFilter<Real, 2> derivatives;
        voltkeel::SigmaFilter<Real, 2> sigma;
        REQUIRE(derivatives.configure(cell.view(), settings) == Status::ok);
        REQUIRE(sigma.configure(cell.view(), settings) == Status::ok);
        const Real soc = static_cast<Real>(random.uniform(0.2, 0.8));
        const Real mean_A = static_cast<Real>(random.uniform(-3, 3));
        REQUIRE(derivatives.start_under_load(soc, Real(0.1), {mean_A}, Real(20)) == Status::ok);
        REQUIRE(sigma.start_under_load(soc, Real(0.1), {mean_A}, Real(20)) == Status::ok);
        CHECK(sigma.estimate().soc == soc);
        // Toward where the current leads: R I 1 h / (1 h + time constant), of the linear cell.
        CHECK(static_cast<double>(sigma.state().cell.branch_V[1]) ==
              Approx(0.015 * static_cast<double>(mean_A) * 3600 / 3720).epsilon(1e-5));
        for (int i = 0; i < voltkeel::SigmaFilter<Real, 2>::size; ++i) {
            for (int k = 0; k <= i; ++k)
                CHECK(sigma.state().spread(i, k) == derivatives.state().spread(i, k));
        }
        const auto before = sigma.state();
        CHECK(sigma.start_under_load(Real(1.1), Real(0.1), {Real(0)}, Real(20)) ==
              Status::out_of_range);
        CHECK(sigma.start_under_load(Real(0.5), nan, {Real(0)}, Real(20)) ==
              Status::sample_not_finite);
        CHECK(sigma.start_under_load(Real(0.5), Real(0.1), {nan}, Real(20)) ==
              Status::sample_not_finite);
        CHECK(sigma.start_under_load(Real(0.5), Real(0.1), {Real(1e9)}, Real(20)) ==
              Status::sample_not_finite);
        CHECK(sigma.state().cell.branch_V[0] == before.cell.branch_V[0]);
        CHECK(sigma.estimate().soc == soc);
        const double tolerance = sizeof(Real) == 4 ? 2e-5 : 1e-11;
        for (int tick = 0; tick < 200; ++tick) {
            const voltkeel::CellSample<Real> sample{
                mean_A,
                static_cast<Real>(3.4 + 0.8 * static_cast<double>(soc) +
                                  0.05 * static_cast<double>(mean_A)),
                Real(20), Real(1)};
            const auto& a = derivatives.step(sample);
            const auto& b = sigma.step(sample);
            if (voltkeel_test::apart(a.soc, b.soc) > tolerance ||
                voltkeel_test::apart(a.soc_std, b.soc_std) > tolerance) {
                CAPTURE(run, tick, a.soc, b.soc, a.soc_std, b.soc_std);
                FAIL("they differ");
            }
        }
    }
}
