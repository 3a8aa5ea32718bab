// Rests: recognised, read with an honest spread, distrusted when cold or flat, and good for the
// capacity of a fading cell.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <limits>
#include <string>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/estimate/age.hpp"
#include "voltkeel/estimate/rest.hpp"

using voltkeel::RestDetector;
using voltkeel::Status;
using voltkeel_test::Random;

TEMPLATE_TEST_CASE("a rested voltage tells the SOC within its spread", "[rest]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(103);
    CAPTURE(voltkeel_test::seed());
    double squares = 0;
    double furthest = 0;
    int found = 0;
    for (int trial = 0; trial < 200; ++trial) {
        const auto exact = voltkeel_test::random_cell<3>(random);
        const auto cell = voltkeel_test::cell_cast<Real>(exact);
        RestDetector<Real> rest;
        REQUIRE(rest.configure(cell.view().ocv, cell.scalars.capacity_Ah) == Status::ok);
        voltkeel::CellState<double, 3> truth;
        truth.soc = random.uniform(0.3, 0.8);
        const double rate = random.uniform(-1.5, 1);
        const double offset_V = 0.003 * random.normal();
        bool asked = false;
        for (int tick = 0; tick < 60 + 1200; ++tick) {  // ten minutes of load, then hours of rest
            const double current_A = tick < 60 ? rate * exact.scalars.capacity_Ah : 0;
            voltkeel::step(exact.view(), {current_A, 10, 25}, truth);
            const double voltage_V =
                voltkeel::voltage_at(exact.view(), truth, current_A, 25.0).voltage_V + offset_V;
            const bool rested =
                rest.step(static_cast<Real>(current_A), static_cast<Real>(voltage_V), Real(25),
                          Real(10), static_cast<Real>(truth.hysteresis));
            if (tick < 60) CHECK_FALSE(rested);
            if (!rested || asked) continue;
            asked = true;
            ++found;
            const double off = voltkeel_test::apart(rest.soc(), truth.soc);
            squares += std::pow(off / static_cast<double>(rest.soc_std()), 2);
            furthest = std::max(furthest, off);
        }
    }
    std::printf("rests: %d of 200 read, rms error %.2f of the std, largest %.2f points\n", found,
                std::sqrt(squares / found), 100 * furthest);
    CHECK(found > 190);
    CHECK(std::sqrt(squares / found) < 1.15);
    CHECK(std::sqrt(squares / found) > 0.3);
}

TEMPLATE_TEST_CASE("cold and flat rests are distrusted", "[rest]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto cell = voltkeel_test::linear_cell<Real, 1>();
    RestDetector<Real> rest;
    REQUIRE(rest.configure(cell.view().ocv, Real(3)) == Status::ok);
    const auto first_s = [&](Real temperature_degC) {
        (void)rest.step(Real(1), Real(3.8), temperature_degC, Real(10));
        for (int tick = 1; tick < 5000; ++tick) {
            if (rest.step(Real(0), Real(3.8), temperature_degC, Real(10))) return 10 * tick;
        }
        return -1;
    };
    CHECK(first_s(Real(25)) == 1800);
    CHECK(std::abs(first_s(Real(5)) - 3600) <= 10);
    CHECK(std::abs(first_s(Real(-10)) - 7200) <= 20);
    // Iron phosphate on its plateau: 10 mV for half the capacity, branches 20 mV apart.
    voltkeel_test::LinearShape shape;
    shape.ocv_empty_V = 3.29;
    shape.ocv_full_V = 3.31;
    shape.half_gap_V = 0.01;
    const auto flat = voltkeel_test::linear_cell<Real, 1>(shape);
    REQUIRE(rest.configure(flat.view().ocv, Real(3)) == Status::ok);
    for (int tick = 0; tick < 3600; ++tick)
        CHECK_FALSE(rest.step(Real(0), Real(3.3), Real(25), Real(10)));
    CHECK(rest.soc_std() > Real(0.2));
}

TEMPLATE_TEST_CASE("from rest to rest the capacity of a fading cell is found", "[rest][age]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(107);
    CAPTURE(voltkeel_test::seed());
    int near = 0;
    double worst = 0;
    const int lives = 40;
    for (int life = 0; life < lives; ++life) {
        auto exact = voltkeel_test::linear_cell<double, 2>();
        const auto cell = voltkeel_test::cell_cast<Real>(exact);
        const double told_Ah = 3 * random.uniform(1.03, 1.07);  // the maker's figure
        RestDetector<Real> rest;
        voltkeel::CapacityEstimator<Real> capacity;
        REQUIRE(rest.configure(cell.view().ocv, static_cast<Real>(told_Ah)) == Status::ok);
        REQUIRE(capacity.configure(static_cast<Real>(told_Ah)) == Status::ok);
        voltkeel::CellState<double, 2> truth;
        truth.soc = 0.95;
        const double offset_V = 0.002 * random.normal();
        double walked = 0;
        bool discharging = true;
        int phase_ticks = 0;
        bool resting = true;
        double target = 0.3;
        while (walked < 3) {
            double current_A = 0;
            if (!resting) current_A = discharging ? -2.0 : 1.5;
            voltkeel::step(exact.view(), {current_A, 10, 25}, truth);
            const double moved = std::abs(current_A) * 10 / 3600 / exact.scalars.capacity_Ah;
            walked += moved / 2;
            exact.scalars.capacity_Ah *= 1 - 0.0005 * moved / 2;
            const double voltage_V =
                voltkeel::voltage_at(exact.view(), truth, current_A, 25.0).voltage_V + offset_V +
                0.001 * random.normal();
            capacity.count(static_cast<Real>(current_A * 1.002 + 0.001), Real(10));
            const bool rested = rest.step(static_cast<Real>(current_A),
                                          static_cast<Real>(voltage_V), Real(25), Real(10));
            // Once a rest, at its end.
            ++phase_ticks;
            if (resting && phase_ticks >= 720) {
                if (rested) (void)capacity.anchor(rest.soc(), rest.soc_std());
                resting = false;
                discharging = truth.soc > 0.5;
                target = discharging ? random.uniform(0.15, 0.4) : random.uniform(0.7, 0.95);
                phase_ticks = 0;
            } else if (!resting && (discharging ? truth.soc <= target : truth.soc >= target)) {
                resting = true;
                phase_ticks = 0;
            }
        }
        const double off =
            std::abs(static_cast<double>(capacity.capacity_Ah()) / exact.scalars.capacity_Ah - 1);
        worst = std::max(worst, off);
        near += off < 0.02 ? 1 : 0;
        CHECK(off * exact.scalars.capacity_Ah <
              3.5 * static_cast<double>(capacity.capacity_std_Ah()));
    }
    std::printf(
        "capacity from rests after 3 cycles: within 2 %% in %d of %d lives, worst %.2f %%\n", near,
        lives, 100 * worst);
    CHECK(near == lives);
}

TEMPLATE_TEST_CASE("bad input ends a rest", "[rest]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    const auto cell = voltkeel_test::linear_cell<Real, 1>();
    RestDetector<Real> rest;
    CHECK(rest.configure({}, Real(3)) == Status::missing_table);
    CHECK(rest.configure(cell.view().ocv, Real(0)) == Status::out_of_range);
    voltkeel::RestSettings<Real> settings;
    settings.settle_s = nan;
    CHECK(rest.configure(cell.view().ocv, Real(3), settings) == Status::not_finite);
    CHECK(validate(settings).field == std::string("settle_s"));
    REQUIRE(rest.configure(cell.view().ocv, Real(3)) == Status::ok);
    for (int bad = 0; bad < 4; ++bad) {
        for (int tick = 0; tick < 200; ++tick)
            (void)rest.step(Real(0), Real(3.8), Real(25), Real(10));
        CHECK(rest.rested());
        CHECK_FALSE(rest.step(bad == 0 ? nan : Real(0), bad == 1 ? nan : Real(3.8),
                              bad == 2 ? nan : Real(25), bad == 3 ? Real(-1) : Real(10)));
        CHECK(rest.resting_s() == Real(0));
    }
}
