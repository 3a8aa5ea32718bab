// Open-circuit voltage: value, slope, temperature, hysteresis, and the way back to the SOC.

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <vector>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/ocv.hpp"

using voltkeel::ocv_at;
using voltkeel::OcvNode;
using voltkeel::OcvPoint;
using voltkeel::OcvTable;
using voltkeel::soc_from_ocv;
using voltkeel::Status;
using voltkeel_test::apart;
using voltkeel_test::Random;

namespace {

template <class Real>
OcvTable<Real> table_of(const std::vector<OcvNode<Real>>& nodes, Real reference_degC = Real(25)) {
    return {nodes.data(), static_cast<int>(nodes.size()), reference_degC};
}

/// Potential of a lithium iron phosphate electrode over its filling y; form used in models after
/// Prada et al. (2012) and Afshar (2017) (from memory, not re-read).
double iron_phosphate_V(double y) {
    return 3.4077 - 0.020269 * y + 0.5 * std::exp(-150 * y) - 0.9 * std::exp(-30 * (1 - y));
}

}  // namespace

TEMPLATE_TEST_CASE("OCV by hand on three nodes", "[ocv]", VOLTKEEL_SCALARS) {
    const std::vector<OcvNode<TestType>> nodes = {{TestType(3), TestType(0.02), TestType(0)},
                                                  {TestType(3.5), TestType(0.01), TestType(0.0004)},
                                                  {TestType(4), TestType(0), TestType(-0.0002)}};
    const auto table = table_of(nodes);
    const OcvPoint<TestType> p = ocv_at(table, TestType(0.25), TestType(35));
    const auto near_to = [](TestType x, double y) { return apart(x, y) < 1e-6; };
    CHECK(near_to(p.entropy_V_per_K, 0.0002));
    CHECK(near_to(p.mean_V, 3.25 + 10 * 0.0002));
    CHECK(near_to(p.slope_V, 2 * (0.5 + 10 * 0.0004)));
    CHECK(near_to(p.half_gap_V, 0.015));
    CHECK(near_to(p.half_gap_slope_V, -0.02));
}

TEMPLATE_TEST_CASE("outside SOC 0..1 only the mean goes on", "[ocv]", VOLTKEEL_SCALARS) {
    const std::vector<OcvNode<TestType>> nodes = {
        {TestType(3), TestType(0.02), TestType(0.0003)},
        {TestType(3.5), TestType(0.01), TestType(0.0004)},
        {TestType(4.25), TestType(0.005), TestType(-0.0002)}};
    const auto table = table_of(nodes);
    const auto near_to = [](TestType x, double y) { return apart(x, y) < 2e-6; };
    const OcvPoint<TestType> below = ocv_at(table, TestType(-0.1), TestType(35));
    CHECK(near_to(below.mean_V, 3 - 0.1 * 1.0 + 10 * 0.0003));
    CHECK(near_to(below.slope_V, 1.0));
    CHECK(near_to(below.half_gap_V, 0.02));
    CHECK(below.half_gap_slope_V == TestType(0));
    const OcvPoint<TestType> above = ocv_at(table, TestType(1.1), TestType(35));
    CHECK(near_to(above.mean_V, 4.25 + 0.1 * 1.5 - 10 * 0.0002));
    CHECK(near_to(above.slope_V, 1.5));
    CHECK(near_to(above.half_gap_V, 0.005));
    CHECK(above.half_gap_slope_V == TestType(0));
    // Far out and not a number: an index inside the table all the same.
    for (const TestType soc :
         {TestType(1e30), TestType(-1e30), std::numeric_limits<TestType>::quiet_NaN()}) {
        CAPTURE(soc);
        CHECK(ocv_at(table, soc, TestType(25)).slope_V > TestType(0));
    }
}

TEMPLATE_TEST_CASE("the slope is the derivative of the mean", "[ocv]", VOLTKEEL_SCALARS) {
    Random random(1);
    for (int k = 0; k < 500; ++k) {
        const auto cell = voltkeel_test::random_cell<1>(random);
        const double last = static_cast<double>(cell.ocv.size()) - 1;
        const double soc =
            (random.whole(0, static_cast<int>(last) - 1) + random.uniform(0.05, 0.95)) / last;
        const double temperature_degC = random.uniform(-20, 45);
        const double step = 1e-5;
        const auto table = cell.view().ocv;
        const auto up = ocv_at(table, soc + step, temperature_degC);
        const auto down = ocv_at(table, soc - step, temperature_degC);
        const auto own = voltkeel_test::cell_cast<TestType>(cell);
        const auto point = ocv_at(own.view().ocv, static_cast<TestType>(soc),
                                  static_cast<TestType>(temperature_degC));
        const double bound = std::is_same_v<TestType, float> ? 2e-5 : 1e-9;
        CAPTURE(k, soc, temperature_degC);
        REQUIRE(apart(point.slope_V, (up.mean_V - down.mean_V) / (2 * step)) < bound);
        REQUIRE(apart(point.half_gap_slope_V, (up.half_gap_V - down.half_gap_V) / (2 * step)) <
                bound);
        REQUIRE(apart(point.entropy_V_per_K, (ocv_at(table, soc, temperature_degC + 1).mean_V -
                                              ocv_at(table, soc, temperature_degC - 1).mean_V) /
                                                 2) < bound);
    }
}

TEMPLATE_TEST_CASE("voltage to SOC and back", "[ocv]", VOLTKEEL_SCALARS) {
    Random random(2);
    const double last_place = static_cast<double>(std::numeric_limits<TestType>::epsilon());
    for (int k = 0; k < 5000; ++k) {
        const auto cell = voltkeel_test::cell_cast<TestType>(voltkeel_test::random_cell<1>(random));
        const auto table = cell.view().ocv;
        const TestType soc = static_cast<TestType>(random.uniform(0, 1));
        const TestType temperature_degC = static_cast<TestType>(random.uniform(20, 30));
        const TestType hysteresis = static_cast<TestType>(random.uniform(-0.2, 0.2));
        const auto point = ocv_at(table, soc, temperature_degC);
        const TestType voltage_V = point.mean_V + hysteresis * point.half_gap_V;
        const TestType slope_V = point.slope_V + hysteresis * point.half_gap_slope_V;
        if (slope_V < TestType(0.1)) continue;  // the gap may turn a branch over: no single answer
        TestType found = TestType(-1);
        const Status status = soc_from_ocv(table, voltage_V, temperature_degC, hysteresis, found);
        CAPTURE(k, soc, temperature_degC, hysteresis, voltage_V, found);
        REQUIRE(voltkeel::Status::ok == status);
        const auto back = ocv_at(table, found, temperature_degC);
        REQUIRE(apart(back.mean_V + hysteresis * back.half_gap_V, voltage_V) < 16 * last_place * 4);
    }
}

TEMPLATE_TEST_CASE("outside the table the nearest end is given and said", "[ocv]",
                   VOLTKEEL_SCALARS) {
    const std::vector<OcvNode<TestType>> nodes = {{TestType(3), TestType(0.0625), TestType(0)},
                                                  {TestType(4), TestType(0.0625), TestType(0)}};
    const auto table = table_of(nodes);
    const auto find = [&](double voltage_V, double hysteresis, TestType& soc) {
        return soc_from_ocv(table, static_cast<TestType>(voltage_V), TestType(25),
                            static_cast<TestType>(hysteresis), soc);
    };
    TestType soc = TestType(0.5);
    CHECK(find(2.99, 0, soc) == Status::voltage_out_of_range);
    CHECK(soc == TestType(0));
    CHECK(find(4.01, 0, soc) == Status::voltage_out_of_range);
    CHECK(soc == TestType(1));
    CHECK(find(3, 0, soc) == Status::ok);
    CHECK(soc == TestType(0));
    CHECK(find(4, 0, soc) == Status::ok);
    CHECK(soc == TestType(1));
    // On the charge branch the same voltage means a lower SOC, on the discharge branch a higher
    // one.
    CHECK(find(3.5, 1, soc) == Status::ok);
    CHECK(soc == TestType(0.4375));
    CHECK(find(3.5, -1, soc) == Status::ok);
    CHECK(soc == TestType(0.5625));
    CHECK(find(3.03, 1, soc) == Status::voltage_out_of_range);
    CHECK(soc == TestType(0));
}

TEMPLATE_TEST_CASE("what is no number leaves the SOC alone", "[ocv]", VOLTKEEL_SCALARS) {
    using limits = std::numeric_limits<TestType>;
    const std::vector<OcvNode<TestType>> nodes = {{TestType(3), TestType(0.01), TestType(0)},
                                                  {TestType(4), TestType(0.01), TestType(0)}};
    const auto table = table_of(nodes);
    TestType soc = TestType(0.375);
    for (const TestType bad : {limits::quiet_NaN(), limits::infinity(), -limits::infinity()}) {
        CAPTURE(bad);
        CHECK(soc_from_ocv(table, bad, TestType(25), TestType(0), soc) ==
              Status::sample_not_finite);
        CHECK(soc_from_ocv(table, TestType(3.5), bad, TestType(0), soc) ==
              Status::sample_not_finite);
        CHECK(soc_from_ocv(table, TestType(3.5), TestType(25), bad, soc) ==
              Status::sample_not_finite);
        CHECK(soc == TestType(0.375));
    }
}

TEMPLATE_TEST_CASE("a flat iron phosphate curve can be inverted", "[ocv]", VOLTKEEL_SCALARS) {
    // Values of the closed form, computed with 30 digits.
    CHECK(std::abs(iron_phosphate_V(0.02) - 3.4321882) < 5.1e-8);
    CHECK(std::abs(iron_phosphate_V(0.1) - 3.4056733) < 5.1e-8);
    CHECK(std::abs(iron_phosphate_V(0.5) - 3.3975652) < 5.1e-8);
    CHECK(std::abs(iron_phosphate_V(0.9) - 3.3446495) < 5.1e-8);
    CHECK(std::abs(iron_phosphate_V(0.98) - 2.8939059) < 5.1e-8);
    // Filling runs against the SOC: y = 0.98 at empty, 0.02 at full.
    const auto filling = [](double soc) { return 0.98 - 0.96 * soc; };
    std::vector<OcvNode<TestType>> nodes;
    for (int k = 0; k <= 200; ++k) {
        nodes.push_back({static_cast<TestType>(iron_phosphate_V(filling(k / 200.0))),
                         TestType(0.01), TestType(0)});
    }
    const auto table = table_of(nodes);
    for (const double y : {0.1, 0.3, 0.5, 0.7, 0.9}) {
        const TestType voltage_V = static_cast<TestType>(iron_phosphate_V(y));
        TestType soc = TestType(-1);
        REQUIRE(soc_from_ocv(table, voltage_V, TestType(25), TestType(0), soc) == Status::ok);
        CAPTURE(y, voltage_V, soc);
        // A chord lies h^2/8 U'' off its curve, and a voltage is known to its last place only: on
        // the plateau (0.02 V) the 2.4e-7 V of a float are 1.2e-5 of SOC.
        const double spacing = 0.96 / 200;
        const double slope_V = 0.020269 + 75 * std::exp(-150 * y) + 27 * std::exp(-30 * (1 - y));
        const double curvature_V = 11250 * std::exp(-150 * y) + 810 * std::exp(-30 * (1 - y));
        const double last_place_V =
            4 * static_cast<double>(std::numeric_limits<TestType>::epsilon());
        const double bound =
            1.2 * (spacing * spacing / 8 * curvature_V + last_place_V) / slope_V + 1e-12;
        CHECK(std::abs(filling(static_cast<double>(soc)) - y) < bound);
    }
    // The plateau falls 20 mV over all its length: 10 mV of hysteresis are half the SOC range.
    TestType charged = 0;
    TestType discharged = 0;
    const TestType voltage_V = static_cast<TestType>(iron_phosphate_V(0.5));
    CHECK(soc_from_ocv(table, voltage_V, TestType(25), TestType(0.5), charged) == Status::ok);
    CHECK(soc_from_ocv(table, voltage_V, TestType(25), TestType(-0.5), discharged) == Status::ok);
    CHECK(discharged - charged > TestType(0.4));
}

TEMPLATE_TEST_CASE("a level stretch has an answer inside it", "[ocv]", VOLTKEEL_SCALARS) {
    // A charge branch can be level where the gap shrinks as fast as the mean rises.
    const std::vector<OcvNode<TestType>> nodes = {{TestType(3), TestType(0), TestType(0)},
                                                  {TestType(3.25), TestType(0.125), TestType(0)},
                                                  {TestType(3.375), TestType(0), TestType(0)},
                                                  {TestType(4), TestType(0), TestType(0)}};
    TestType soc = TestType(-1);
    REQUIRE(soc_from_ocv(table_of(nodes), TestType(3.375), TestType(25), TestType(1), soc) ==
            Status::ok);
    CHECK(soc >= TestType(1) / 3 - TestType(1e-6));
    CHECK(soc <= TestType(2) / 3 + TestType(1e-6));
}
