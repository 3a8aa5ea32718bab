// The extra slow resistance to a charging current near full: its value and slope, what the step
// makes of it, its derivatives, and how a cell fit finds it.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "support/made_tests.hpp"
#include "support/scalars.hpp"
#include "voltkeel/fit/fit_cell.hpp"

using voltkeel::CellInput;
using voltkeel::CellState;
using voltkeel::charge_rise_at;
using voltkeel::ChargeRise;
using voltkeel::StepJacobian;
using voltkeel_test::apart;
using voltkeel_test::Random;

TEMPLATE_TEST_CASE("the rise goes with the square of the way from its start to full",
                   "[charge_rise]", VOLTKEEL_SCALARS) {
    const ChargeRise<TestType> rise{TestType(0.8), TestType(0.05)};
    struct Row {
        double soc, value, slope;
    };
    for (const Row& row : {Row{-0.1, 0, 0},
                           {0.5, 0, 0},
                           {0.8, 0, 0},
                           {0.85, 0.003125, 0.125},
                           {0.9, 0.0125, 0.25},
                           {0.99, 0.045125, 0.475},
                           {1, 0.05, 0},
                           {1.02, 0.05, 0}}) {
        const auto point = charge_rise_at(rise, static_cast<TestType>(row.soc));
        CAPTURE(row.soc, point.value, point.slope);
        CHECK(apart(point.value, row.value) < 2e-8);
        CHECK(apart(point.slope, row.slope) < 2e-7);
    }
    const auto none = charge_rise_at(ChargeRise<TestType>{}, TestType(0.9));
    CHECK(none.value == 0);
    CHECK(none.slope == 0);
}

TEMPLATE_LIST_TEST_CASE("the step sees the rise in its branch and only when charging",
                        "[charge_rise]", voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(31);
    for (int k = 0; k < 100; ++k) {
        auto owned = voltkeel_test::cell_cast<Real>(voltkeel_test::random_cell<branches>(random));
        // Each branch in turn, and the slowest where none is named.
        const int named = k % (branches + 1) - 1;
        const int at = named < 0 ? branches - 1 : named;
        owned.scalars.charge_rise = {Real(0.7), Real(0.02), named};
        const auto with = owned.view();
        auto without = with;
        without.charge_rise = {};
        CellState<Real, branches> state;
        state.soc = static_cast<Real>(random.uniform(0.4, 0.98));
        const Real rate_per_h = static_cast<Real>(random.uniform(-2, 2));
        const CellInput<Real> input{rate_per_h * with.capacity_Ah,
                                    static_cast<Real>(random.uniform(0.1, 60)), Real(20)};
        auto a = state;
        auto b = state;
        voltkeel::step(with, input, a);
        voltkeel::step(without, input, b);
        CAPTURE(k, state.soc, input.current_A, input.dt_s);
        REQUIRE(a.soc == b.soc);
        REQUIRE(a.hysteresis == b.hysteresis);
        for (int i = 0; i < branches; ++i) {
            if (i != at) REQUIRE(a.branch_V[i] == b.branch_V[i]);
        }
        const double middle_soc =
            static_cast<double>(state.soc) +
            0.5 * static_cast<double>(voltkeel::soc_gain(with, input.current_A, input.dt_s));
        const double tau_s = static_cast<double>(
            voltkeel::resistance_at(with.resistance, static_cast<Real>(middle_soc), Real(20))
                .value.branch_time_s[at]);
        const double way = std::min(1.0, std::max(0.0, (middle_soc - 0.7) / 0.3));
        const double extra_ohm = rate_per_h > Real(0) ? 0.02 * way * way : 0;
        const double extra_V = extra_ohm * static_cast<double>(input.current_A) *
                               -std::expm1(-static_cast<double>(input.dt_s) / tau_s);
        const double bound = std::is_same_v<Real, float> ? 1e-5 : 1e-13;
        REQUIRE(std::abs(static_cast<double>(a.branch_V[at] - b.branch_V[at]) - extra_V) <
                bound * (1 + std::abs(extra_V)));
        if (!(rate_per_h > Real(0))) REQUIRE(a.branch_V[at] == b.branch_V[at]);
    }
}

TEMPLATE_LIST_TEST_CASE("derivatives with a rise are central differences", "[charge_rise]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(32);
    const double bound = std::is_same_v<Real, float> ? 2e-4 : 2e-7;
    int inside = 0;
    for (int k = 0; k < 200; ++k) {
        auto exact = voltkeel_test::random_cell<branches>(random);
        exact.scalars.charge_rise = {0.75, 3 * exact.resistance.front().branch_ohm[0],
                                     k % branches};
        const auto cell = exact.view();
        const auto own = voltkeel_test::cell_cast<Real>(exact);
        CellState<double, branches> state;
        CellInput<double> input;
        double middle_soc = 0;
        do {
            state.soc = random.uniform(0.6, 0.99);
            input = {random.uniform(0.1, 2) * cell.capacity_Ah, random.uniform(1, 60), 20};
            middle_soc = state.soc + 0.5 * soc_gain(cell, input.current_A, input.dt_s);
            const double t = middle_soc * (cell.resistance.soc.count - 1);
            if (std::abs(t - std::round(t)) < 1e-3) middle_soc = 0.75;  // a kink of the table
        } while (std::abs(middle_soc - 0.75) < 1e-3 || middle_soc > 0.999);
        if (middle_soc > 0.75) ++inside;
        CellState<Real, branches> moved;
        moved.soc = static_cast<Real>(state.soc);
        StepJacobian<Real, branches> j;
        voltkeel::step(
            own.view(),
            {static_cast<Real>(input.current_A), static_cast<Real>(input.dt_s), Real(20)}, moved,
            &j);
        const double e = 1e-6;
        auto up = state;
        auto down = state;
        up.soc += e;
        down.soc -= e;
        voltkeel::step(cell, input, up);
        voltkeel::step(cell, input, down);
        for (int i = 0; i < branches; ++i) {
            const double difference = (up.branch_V[i] - down.branch_V[i]) / (2 * e);
            CAPTURE(k, i, state.soc, input.current_A, input.dt_s, j.branch_by_soc[i], difference);
            // Each scalar rounds at the size of R I, whatever is left of the difference.
            const double size_V =
                std::abs(static_cast<double>(j.branch_by_current[i])) * input.current_A;
            REQUIRE(apart(j.branch_by_soc[i], difference) <=
                    bound * (std::abs(difference) + 10 * size_V + 0.01));
        }
    }
    CHECK(inside > 60);
    CHECK(inside < 190);
}

TEST_CASE("a cell fit finds the rise in the rest after the slow charge",
          "[charge_rise][fit][long]") {
    for (const double rise_ohm : {0.03, 0.06}) {
        voltkeel_test::MadeCellShape shape;
        shape.charge_rise_ohm = rise_ohm;
        const voltkeel::Cell truth = voltkeel_test::made_cell(shape);
        // C/20 through the rise is some 10 mV: half a millivolt of noise on the two ends of the
        // rest is a tenth of that, and the spread must cover it.
        for (const double noise_V : {1e-4, 5e-4}) {
            const voltkeel::Log slow = voltkeel_test::made_log(
                truth, voltkeel_test::slow_program(5), {"slow", 1, 25, noise_V, 0, 33});
            const voltkeel::Log pulses = voltkeel_test::made_log(
                truth, voltkeel_test::pulse_program(5), {"pulses", 1, 25, noise_V, 0, 34});
            const voltkeel::Cell cell = fit_cell(slow, {pulses}).cell;
            const auto& rise = cell.charge_rise;
            CAPTURE(rise_ohm, noise_V, rise.resistance_ohm, rise.resistance_ohm_std);
            if (noise_V < 2e-4) CHECK(std::abs(rise.resistance_ohm / rise_ohm - 1) < 0.3);
            CHECK(std::abs(rise.resistance_ohm - rise_ohm) < 3 * rise.resistance_ohm_std);
            CHECK(rise.resistance_ohm_std > 0);
            CHECK(rise.resistance_ohm_std < rise_ohm);
            CHECK(rise.soc_start == 0.8);
            // The fit may split a fast branch, so that the one of half a minute has another number.
            const double true_s =
                truth.resistance.branches[static_cast<std::size_t>(truth.charge_rise.branch)]
                    .time_s.back()
                    .back();
            REQUIRE(rise.branch >= 0);
            const double time_s =
                cell.resistance.branches.at(static_cast<std::size_t>(rise.branch)).time_s[0].back();
            CAPTURE(true_s, time_s);
            CHECK(std::abs(time_s / true_s - 1) < 0.3);
        }
    }
}

TEST_CASE("one branch that is over within a minute makes no rise out of noise",
          "[charge_rise][fit]") {
    voltkeel_test::MadeCellShape shape;
    shape.branches = 1;
    const voltkeel::Cell truth = voltkeel_test::made_cell(shape);
    const voltkeel::Log slow = voltkeel_test::made_log(truth, voltkeel_test::slow_program(5),
                                                       {"slow", 1, 25, 2e-3, 0, 35});
    const voltkeel::Log pulses = voltkeel_test::made_log(truth, voltkeel_test::pulse_program(5),
                                                         {"pulses", 1, 25, 2e-3, 0, 36});
    voltkeel::FitSettings settings;
    settings.choose_form = false;
    settings.pulses.branches = 1;
    settings.pulses.charge_transfer = false;
    settings.pulses.soc_nodes = 21;
    CHECK(fit_cell(slow, {pulses}, settings).cell.charge_rise.resistance_ohm == 0);
}

TEST_CASE("no rise is made up where the rest is short or there is no charge",
          "[charge_rise][fit][long]") {
    voltkeel_test::MadeCellShape shape;
    shape.charge_rise_ohm = 0.05;
    const voltkeel::Cell truth = voltkeel_test::made_cell(shape);
    const voltkeel::Log pulses =
        voltkeel_test::made_log(truth, voltkeel_test::pulse_program(5), {"pulses"});
    auto program = voltkeel_test::slow_program(5);
    program.back().duration_s = 1500;  // half an hour is needed
    CHECK(fit_cell(voltkeel_test::made_log(truth, program), {pulses})
              .cell.charge_rise.resistance_ohm == 0);
    program.resize(3);
    CHECK(fit_cell(voltkeel_test::made_log(truth, program), {pulses})
              .cell.charge_rise.resistance_ohm == 0);
}
