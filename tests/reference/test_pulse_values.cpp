// Pulse response of cells whose answer is known in closed form.

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "support/example_cell.hpp"
#include "voltkeel/cell/model.hpp"

using voltkeel::CellState;
using voltkeel_test::apart;

TEST_CASE("a 10 s pulse on one branch", "[model]") {
    // R0 10 mohm, R1 15 mohm, tau 30 s, 5 A for 10 s, then rest. Computed with 30 digits from
    // R0 + R1 (1 - exp(-t / tau)); the 10 s resistance is the one of the pulse power method of
    // DOE/ID-11069 (FreedomCAR battery test manual, October 2003; method from memory, not re-read).
    voltkeel_test::LinearShape shape;
    shape.capacity_Ah = 1e4;  // so that the OCV stays where it is
    shape.r0_ohm = 0.010;
    shape.branch_ohm[0] = 0.015;
    shape.branch_time_s[0] = 30;
    const auto owned = voltkeel_test::linear_cell<double, 1>(shape);
    const auto cell = owned.view();
    CellState<double, 1> state;
    state.soc = 0.5;
    const auto overvoltage_V = [&](double current_A) {
        return voltkeel::voltage_at(cell, state, current_A, 25.0).overvoltage_V;
    };
    CHECK(apart(overvoltage_V(-5), -0.050) < 1e-15);
    voltkeel::step(cell, {-5, 10, 25}, state);
    CHECK(apart(overvoltage_V(-5), -0.071260151707) < 5.1e-13);
    CHECK(apart(overvoltage_V(-5) / -5, 14.2520303414e-3) < 5.1e-14);
    voltkeel::step(cell, {0, 40, 25}, state);
    CHECK(apart(overvoltage_V(0), -5.60411514586e-3) < 5.1e-15);
}

TEST_CASE("a lithium polymer cell with two branches that depend on the SOC", "[model]") {
    // Chen, Rincon-Mora, IEEE Trans. Energy Convers. 21 (2006) 504: 850 mAh (coefficients from
    // memory, not re-read; the values at s = 0.5 and 1 below are computed from them).
    const auto ocv_V = [](double s) {
        return -1.031 * std::exp(-35 * s) + 3.685 + 0.2156 * s - 0.1178 * s * s +
               0.3201 * s * s * s;
    };
    voltkeel_test::OwnedCell<double, 2> owned;
    owned.scalars.capacity_Ah = 0.85;
    owned.scalars.resistance.soc = voltkeel::uniform_axis(0.0, 1.0, 201);
    owned.scalars.resistance.temperature_degC = voltkeel::uniform_axis(20.0, 30.0, 2);
    for (int temperature = 0; temperature < 2; ++temperature) {
        for (int k = 0; k <= 200; ++k) {
            const double s =
                std::max(k / 200.0, 0.02);  // below, the fitted capacitances turn negative
            const double r1_ohm = 0.3208 * std::exp(-29.14 * s) + 0.04669;
            const double c1_F = -752.9 * std::exp(-13.51 * s) + 703.6;
            const double r2_ohm = 6.603 * std::exp(-155.2 * s) + 0.04984;
            const double c2_F = -6056 * std::exp(-27.12 * s) + 4475;
            voltkeel::ResistanceNode<double, 2> node;
            node.r0_ohm = 0.1562 * std::exp(-24.37 * s) + 0.07446;
            node.branch_ohm[0] = r1_ohm;
            node.branch_ohm[1] = r2_ohm;
            node.branch_time_s[0] = r1_ohm * c1_F;
            node.branch_time_s[1] = r2_ohm * c2_F;
            owned.resistance.push_back(node);
        }
    }
    for (int k = 0; k <= 200; ++k)
        owned.ocv.push_back({ocv_V(k / 200.0), 0, 0});
    const auto cell = owned.view();
    REQUIRE(voltkeel::validate(cell).status == voltkeel::Status::ok);

    struct Row {
        double soc;
        double ocv_V;
        double slope_V;
    };
    const Row rows[] = {
        {0.1, 3.6745686, 1.2913156},  {0.2, 3.7250286, 0.23979726}, {0.3, 3.7476923, 0.23234065},
        {0.4, 3.7728775, 0.27503801}, {0.5, 3.8033625, 0.33787591}, {0.6, 3.8410936, 0.41994803},
        {0.7, 3.8879923, 0.5212270},  {0.8, 3.9459792, 0.6417120},  {0.9, 4.0169749, 0.7814030}};
    for (const Row& row : rows) {
        CAPTURE(row.soc);
        CHECK(apart(voltkeel::ocv_at(cell.ocv, row.soc, 25.0).mean_V, row.ocv_V) < 5.1e-8);
        // The slopes of the two intervals that meet at the node, averaged: second order in spacing.
        const double slope_V = (voltkeel::ocv_at(cell.ocv, row.soc - 1e-3, 25.0).slope_V +
                                voltkeel::ocv_at(cell.ocv, row.soc + 1e-3, 25.0).slope_V) /
                               2;
        CHECK(apart(slope_V, row.slope_V) < (row.soc < 0.15 ? 7e-3 : 3e-4));
    }
    const auto half = voltkeel::resistance_at(cell.resistance, 0.5, 25.0).value;
    CHECK(apart(half.r0_ohm, 0.0744608) < 5.1e-8);
    CHECK(apart(half.branch_ohm[0], 0.0466902) < 5.1e-8);
    CHECK(apart(half.branch_time_s[0], 32.810) < 5.1e-4);
    CHECK(apart(half.branch_ohm[1], 0.04984) < 5.1e-6);
    CHECK(apart(half.branch_time_s[1], 223.034) < 5.1e-4);
    const auto full = voltkeel::resistance_at(cell.resistance, 1.0, 25.0).value;
    CHECK(apart(full.branch_time_s[0], 32.851) < 5.1e-4);
    CHECK(apart(full.branch_time_s[1], 223.034) < 5.1e-4);

    // 0.425 A (C/2) for 60 s from half full: the SOC walks 0.83 %, over which the resistances are
    // level to five digits, so the closed form with the values at 0.5 holds.
    CellState<double, 2> state;
    state.soc = 0.5;
    voltkeel::step(cell, {-0.425, 60, 25}, state);
    const double expected_V =
        ocv_V(0.5 - 0.5 / 60) - 0.425 * (0.0744608 + 0.0466902 * (1 - std::exp(-60 / 32.810)) +
                                         0.04984 * (1 - std::exp(-60 / 223.034)));
    CHECK(apart(voltkeel::voltage_at(cell, state, -0.425, 25.0).voltage_V, expected_V) < 2e-6);
}
