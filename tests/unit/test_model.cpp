// The cell model, every scalar and number of branches: the step is exact, the derivatives are the
// derivatives, hysteresis keeps its bounds, counting loses nothing.

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/model.hpp"

using voltkeel::CellInput;
using voltkeel::CellParameters;
using voltkeel::CellState;
using voltkeel::StepJacobian;
using voltkeel::voltage_at;
using voltkeel_test::apart;
using voltkeel_test::LinearShape;
using voltkeel_test::Random;

namespace {

template <class To, class From, int Branches>
CellState<To, Branches> state_cast(const CellState<From, Branches>& from) {
    CellState<To, Branches> to;
    to.soc = static_cast<To>(from.soc);
    for (int i = 0; i < Branches; ++i)
        to.branch_V[i] = static_cast<To>(from.branch_V[i]);
    to.hysteresis = static_cast<To>(from.hysteresis);
    to.resistance_scale = static_cast<To>(from.resistance_scale);
    return to;
}

/// A state anywhere, and an input whose half-way SOC lies clear of the kinks of all tables.
template <int Branches>
void random_point(Random& random, const voltkeel_test::OwnedCell<double, Branches>& cell,
                  CellState<double, Branches>& state, CellInput<double>& input) {
    const auto clear_of_nodes = [](double soc, int count) {
        const double t = soc * (count - 1);
        return std::abs(t - std::round(t)) > 0.01;
    };
    const int r_count = cell.scalars.resistance.soc.count;
    const int ocv_count = static_cast<int>(cell.ocv.size());
    double half_gain = 0;
    do {
        state.soc = random.uniform(0.02, 0.98);
        input.current_A = random.uniform(-3, 3) * cell.scalars.capacity_Ah;
        input.dt_s = std::pow(10.0, random.uniform(-2, 1.5));
        half_gain = 0.5 * voltkeel::soc_gain(cell.view(), input.current_A, input.dt_s);
    } while (!clear_of_nodes(state.soc, r_count) || !clear_of_nodes(state.soc, ocv_count) ||
             !clear_of_nodes(state.soc + half_gain, r_count) || state.soc + half_gain < 0 ||
             std::abs(state.soc + half_gain - cell.scalars.charge_rise.soc_start) < 1e-3 ||
             state.soc + half_gain > 1);
    for (double& u : state.branch_V)
        u = random.uniform(-0.1, 0.1);
    state.hysteresis = random.uniform(-1, 1);
    state.resistance_scale = random.uniform(0.8, 2);
    input.temperature_degC = random.uniform(-15, 40);
}

template <class Real, int Branches>
CellState<Real, Branches> stepped(const CellParameters<Real, Branches>& cell,
                                  const CellInput<Real>& input, CellState<Real, Branches> state) {
    voltkeel::step(cell, input, state);
    return state;
}

}  // namespace

TEMPLATE_LIST_TEST_CASE("one long step is many short ones while parameters stay", "[model]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(1);
    LinearShape shape;
    shape.hysteresis_rate = 40;
    shape.half_gap_V = 0.01;
    auto owned = voltkeel_test::linear_cell<Real, branches>(shape);
    owned.scalars.self_discharge_per_s = Real(1e-8);
    owned.scalars.coulombic_efficiency = Real(0.99);
    const auto cell = owned.view();
    const double bound = std::is_same_v<Real, float> ? 2e-6 : 1e-13;
    for (int k = 0; k < 300; ++k) {
        CellState<Real, branches> state;
        state.soc = static_cast<Real>(random.uniform(0.3, 0.7));
        for (Real& u : state.branch_V)
            u = static_cast<Real>(random.uniform(-0.1, 0.1));
        state.hysteresis = static_cast<Real>(random.uniform(-1, 1));
        const Real dt_s = static_cast<Real>(std::pow(10.0, random.uniform(-1, 3)));
        const Real current_A = static_cast<Real>(random.uniform(-0.7, 0.7));
        const int parts = random.whole(2, 64);
        const auto once = stepped(cell, CellInput<Real>{current_A, dt_s, Real(25)}, state);
        auto often = state;
        for (int n = 0; n < parts; ++n)
            voltkeel::step(cell, {current_A, dt_s / static_cast<Real>(parts), Real(25)}, often);
        CAPTURE(k, dt_s, current_A, parts);
        REQUIRE(apart(once.soc, often.soc) < bound);
        REQUIRE(apart(once.hysteresis, often.hysteresis) < bound * 10);
        for (int i = 0; i < branches; ++i) {
            CAPTURE(i);
            REQUIRE(apart(once.branch_V[i], often.branch_V[i]) < bound);
            // The closed form itself, by the C library in double.
            const double a = std::exp(-static_cast<double>(dt_s) / shape.branch_time_s[i]);
            const double u = a * static_cast<double>(state.branch_V[i]) +
                             (1 - a) * shape.branch_ohm[i] * static_cast<double>(current_A);
            REQUIRE(apart(once.branch_V[i], u) < bound);
        }
        const double efficiency = current_A > Real(0) ? 0.99 : 1;
        const double soc = static_cast<double>(state.soc) +
                           static_cast<double>(dt_s) *
                               (efficiency * static_cast<double>(current_A) / (3600 * 3) - 1e-8);
        REQUIRE(apart(once.soc, soc) < bound);
    }
}

TEMPLATE_LIST_TEST_CASE("step derivatives are central differences of the step", "[model]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(2);
    // Differences are taken in double; the float derivatives are compared with the same numbers.
    const double bound = std::is_same_v<Real, float> ? 2e-4 : 2e-7;
    for (int k = 0; k < 200; ++k) {
        const auto exact = voltkeel_test::random_cell<branches>(random);
        const auto own = voltkeel_test::cell_cast<Real>(exact);
        CellState<double, branches> state;
        CellInput<double> input;
        random_point(random, exact, state, input);
        const auto cell = exact.view();

        StepJacobian<Real, branches> j;
        auto moved = state_cast<Real>(state);
        voltkeel::step(own.view(),
                       {static_cast<Real>(input.current_A), static_cast<Real>(input.dt_s),
                        static_cast<Real>(input.temperature_degC)},
                       moved, &j);
        CAPTURE(k, state.soc, input.current_A, input.dt_s, input.temperature_degC);
        // Units differ between derivatives: each is compared at the size of its own terms.
        const auto agree = [&](const char* name, double analytic, double up, double down,
                               double step, double size) {
            const double difference = (up - down) / (2 * step);
            CAPTURE(name, analytic, difference, size);
            REQUIRE(std::abs(analytic - difference) <= bound * (std::abs(difference) + size));
        };
        const auto resized = [&](auto change) {
            auto changed = exact;
            change(changed);
            return stepped(changed.view(), input, state);
        };
        const double e = 1e-6;
        // The gain in SOC from an empty cell, where the difference keeps its digits.
        const auto gained = [&](double capacity_Ah, double current_A) {
            auto changed = exact;
            changed.scalars.capacity_Ah = capacity_Ah;
            auto in = input;
            in.current_A = current_A;
            auto empty = state;
            empty.soc = 0;
            return stepped(changed.view(), in, empty).soc;
        };
        const double capacity_Ah = exact.scalars.capacity_Ah;
        const double dq = 1e-4 * capacity_Ah;
        const double di = 1e-4 * input.current_A;
        agree("soc_by_capacity", static_cast<double>(j.soc_by_capacity),
              gained(capacity_Ah + dq, input.current_A), gained(capacity_Ah - dq, input.current_A),
              dq, 0);
        agree("soc_by_current", static_cast<double>(j.soc_by_current),
              gained(capacity_Ah, input.current_A + di), gained(capacity_Ah, input.current_A - di),
              di, 0);
        {
            auto up = state;
            auto down = state;
            up.hysteresis += e;
            down.hysteresis -= e;
            agree("hysteresis_by_hysteresis", static_cast<double>(j.hysteresis_by_hysteresis),
                  stepped(cell, input, up).hysteresis, stepped(cell, input, down).hysteresis, e,
                  1e-3);
        }
        auto soc_up = state;
        auto soc_down = state;
        soc_up.soc += e;
        soc_down.soc -= e;
        const auto at_soc_up = stepped(cell, input, soc_up);
        const auto at_soc_down = stepped(cell, input, soc_down);
        const double middle_soc =
            state.soc + 0.5 * voltkeel::soc_gain(cell, input.current_A, input.dt_s);
        auto middle = voltkeel::resistance_at(cell.resistance, middle_soc, input.temperature_degC);
        const auto& rise = exact.scalars.charge_rise;
        if (input.current_A > 0 && middle_soc > rise.soc_start) {
            const double way = (middle_soc - rise.soc_start) / (1 - rise.soc_start);
            middle.value.branch_ohm[branches - 1] += rise.resistance_ohm * way * way;
        }
        for (int i = 0; i < branches; ++i) {
            CAPTURE(i);
            auto up = state;
            auto down = state;
            up.branch_V[i] += e;
            down.branch_V[i] -= e;
            const double end_V = middle.value.branch_ohm[i] * input.current_A;
            REQUIRE(apart(j.branch_end_V[i], end_V) <= bound * (std::abs(end_V) + 1e-6));
            agree("branch_by_branch", static_cast<double>(j.branch_by_branch[i]),
                  stepped(cell, input, up).branch_V[i], stepped(cell, input, down).branch_V[i], e,
                  1e-3);
            agree("branch_by_soc", static_cast<double>(j.branch_by_soc[i]), at_soc_up.branch_V[i],
                  at_soc_down.branch_V[i], e, std::abs(end_V) + 0.01);
            const double dr = 0.5 * middle.value.branch_ohm[i];  // linear: no need to be small
            const auto with_ohm = [&](double d) {
                return resized([&](auto& c) {
                           for (auto& n : c.resistance)
                               n.branch_ohm[i] += d;
                       })
                    .branch_V[i];
            };
            agree("branch_by_resistance", static_cast<double>(j.branch_by_resistance[i]),
                  with_ohm(dr), with_ohm(-dr), dr, 1e-3 * std::abs(input.current_A));
            const double dtau = 1e-4 * middle.value.branch_time_s[i];
            const auto with_time = [&](double d) {
                return resized([&](auto& c) {
                           for (auto& n : c.resistance)
                               n.branch_time_s[i] += d;
                       })
                    .branch_V[i];
            };
            agree("branch_by_time", static_cast<double>(j.branch_by_time[i]), with_time(dtau),
                  with_time(-dtau), dtau, (std::abs(end_V) + 0.1) / middle.value.branch_time_s[i]);
            // At frozen resistance, as the header says: the difference is taken on a cell that has
            // this node everywhere.
            const auto frozen = [&](double current_A) {
                auto changed = exact;
                changed.scalars.charge_rise = {};
                for (auto& n : changed.resistance)
                    n = middle.value;
                auto in = input;
                in.current_A = current_A;
                return stepped(changed.view(), in, state).branch_V[i];
            };
            agree("branch_by_current", static_cast<double>(j.branch_by_current[i]),
                  frozen(1.5 * input.current_A), frozen(0.5 * input.current_A),
                  0.5 * input.current_A, 1e-3 * middle.value.branch_ohm[i]);
        }
    }
}

TEMPLATE_LIST_TEST_CASE("asking for derivatives does not change the step", "[model]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(3);
    for (int k = 0; k < 100; ++k) {
        const auto exact = voltkeel_test::random_cell<branches>(random);
        CellState<double, branches> state;
        CellInput<double> input;
        random_point(random, exact, state, input);
        const auto own = voltkeel_test::cell_cast<Real>(exact);
        const CellInput<Real> in{static_cast<Real>(input.current_A), static_cast<Real>(input.dt_s),
                                 static_cast<Real>(input.temperature_degC)};
        auto with = state_cast<Real>(state);
        StepJacobian<Real, branches> j;
        voltkeel::step(own.view(), in, with, &j);
        const auto without = stepped(own.view(), in, state_cast<Real>(state));
        REQUIRE(with.soc == without.soc);
        REQUIRE(with.hysteresis == without.hysteresis);
        for (int i = 0; i < branches; ++i)
            REQUIRE(with.branch_V[i] == without.branch_V[i]);
        REQUIRE(with.resistance_scale == static_cast<Real>(state.resistance_scale));
    }
}

TEMPLATE_LIST_TEST_CASE("voltage derivatives are central differences of the voltage", "[model]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(4);
    const double bound = std::is_same_v<Real, float> ? 1e-4 : 2e-7;
    for (int k = 0; k < 300; ++k) {
        const auto exact = voltkeel_test::random_cell<branches>(random);
        const auto own = voltkeel_test::cell_cast<Real>(exact);
        CellState<double, branches> state;
        CellInput<double> input;
        random_point(random, exact, state, input);
        if (k % 10 == 0) state.soc = -0.015;  // a little outside, where a filter may be
        if (k % 10 == 1) state.soc = 1.015;
        const auto cell = exact.view();
        const auto point =
            voltage_at(own.view(), state_cast<Real>(state), static_cast<Real>(input.current_A),
                       static_cast<Real>(input.temperature_degC));
        CAPTURE(k, state.soc, input.current_A, input.temperature_degC);
        const auto volts = [&](const CellState<double, branches>& s, double current_A) {
            return voltage_at(cell, s, current_A, input.temperature_degC).voltage_V;
        };
        const double e = 1e-6;
        const auto agree = [&](const char* name, Real analytic, auto change, double size) {
            auto up = state;
            auto down = state;
            change(up, e);
            change(down, -e);
            const double difference =
                (volts(up, input.current_A) - volts(down, input.current_A)) / (2 * e);
            CAPTURE(name, analytic, difference);
            REQUIRE(apart(analytic, difference) <= bound * (std::abs(difference) + size));
        };
        using State = CellState<double, branches>;
        agree(
            "by_soc", point.by_soc, [](State& s, double d) { s.soc += d; }, 1);
        for (int i = 0; i < branches; ++i) {
            agree(
                "by_branch", point.by_branch, [i](State& s, double d) { s.branch_V[i] += d; },
                1e-3);
        }
        agree(
            "by_hysteresis", point.by_hysteresis, [](State& s, double d) { s.hysteresis += d; },
            1e-2);
        agree(
            "by_log_scale", point.by_log_scale,
            [](State& s, double d) { s.resistance_scale *= std::exp(d); }, 0.1);
        const double di = 1e-3;
        const double by_current =
            (volts(state, input.current_A + di) - volts(state, input.current_A - di)) / (2 * di);
        REQUIRE(apart(point.by_current, by_current) <= bound * std::abs(by_current) + 1e-10);
        const auto with_r0 = [&](double d) {
            auto changed = exact;
            for (auto& n : changed.resistance)
                n.r0_ohm += d;
            return voltage_at(changed.view(), state, input.current_A, input.temperature_degC)
                .voltage_V;
        };
        const double by_r0 = (with_r0(e) - with_r0(-e)) / (2 * e);
        REQUIRE(apart(point.by_r0, by_r0) <= bound * (std::abs(by_r0) + 1));
        REQUIRE(std::abs(point.voltage_V - (point.ocv_V + point.overvoltage_V)) <=
                4 * std::numeric_limits<Real>::epsilon() * std::abs(point.voltage_V));
        const auto ocv = voltkeel::ocv_at(cell.ocv, state.soc, input.temperature_degC);
        REQUIRE(std::abs(static_cast<double>(point.ocv_V) - ocv.mean_V -
                         state.hysteresis * ocv.half_gap_V) < 5e-6);
        REQUIRE(apart(point.entropy_V_per_K, ocv.entropy_V_per_K) < 1e-8);
    }
}

TEMPLATE_TEST_CASE("near full a charge meets more resistance in the slowest branch", "[model]",
                   VOLTKEEL_SCALARS) {
    auto owned = voltkeel_test::linear_cell<TestType, 2>();
    owned.scalars.charge_rise = {TestType(0.8), TestType(0.05)};
    const auto with = owned.view();
    auto without = with;
    without.charge_rise = {};
    // So long a step that every branch arrives, at so little current that the SOC stays.
    for (const double current_A : {1e-4, -1e-4}) {
        for (const double soc : {0.5, 0.9}) {
            CellState<TestType, 2> state;
            state.soc = static_cast<TestType>(soc);
            const CellInput<TestType> input{static_cast<TestType>(current_A), TestType(1e4),
                                            TestType(25)};
            const auto a = stepped(with, input, state);
            const auto b = stepped(without, input, state);
            const bool rises = current_A > 0 && soc > 0.8;
            CAPTURE(current_A, soc);
            CHECK(a.branch_V[0] == b.branch_V[0]);
            // Half-way from 0.8 to full, and half the 0.009 % that the step charges.
            const double way = (soc + 0.5 * 1e-4 * 1e4 / (3600 * 3) - 0.8) / 0.2;
            const double extra_ohm = 0.05 * way * way;
            CHECK(apart(a.branch_V[1] - b.branch_V[1], rises ? extra_ohm * current_A : 0) < 1e-11);
        }
    }
}

TEMPLATE_TEST_CASE("charging raises the voltage, discharging lowers it", "[model]",
                   VOLTKEEL_SCALARS) {
    const auto owned = voltkeel_test::linear_cell<TestType, 2>();
    const auto cell = owned.view();
    CellState<TestType, 2> state;
    state.soc = TestType(0.5);
    for (const double current_A : {3.0, -3.0}) {
        auto after = state;
        voltkeel::step(cell, {static_cast<TestType>(current_A), TestType(60), TestType(25)}, after);
        const auto point = voltage_at(cell, after, static_cast<TestType>(current_A), TestType(25));
        CHECK((point.overvoltage_V > TestType(0)) == (current_A > 0));
        CHECK((after.soc > state.soc) == (current_A > 0));
        // 3 A for a minute is 1/60 of 3 Ah.
        CHECK(std::abs(std::abs(static_cast<double>(after.soc) - 0.5) - 1.0 / 60) < 1e-6);
    }
}

TEMPLATE_TEST_CASE("hysteresis keeps its bounds and rests with the current", "[model]",
                   VOLTKEEL_SCALARS) {
    Random random(5);
    for (int run = 0; run < 20; ++run) {
        const auto owned =
            voltkeel_test::cell_cast<TestType>(voltkeel_test::random_cell<1>(random));
        const auto cell = owned.view();
        CellState<TestType, 1> state;
        state.soc = TestType(0.5);
        state.hysteresis = static_cast<TestType>(random.uniform(-1, 1));
        for (int k = 0; k < 1000; ++k) {
            const TestType before = state.hysteresis;
            const bool rest = random.whole(0, 3) == 0;
            const TestType current_A =
                rest ? TestType(0)
                     : static_cast<TestType>(random.uniform(-20, 20)) * cell.capacity_Ah;
            const TestType dt_s = static_cast<TestType>(std::pow(10.0, random.uniform(-2, 4)));
            voltkeel::step(cell, {current_A, dt_s, TestType(25)}, state);
            CAPTURE(run, k, current_A, dt_s, before);
            REQUIRE(state.hysteresis >= TestType(-1));
            REQUIRE(state.hysteresis <= TestType(1));
            if (rest) REQUIRE(state.hysteresis == before);
            if (current_A > TestType(0)) REQUIRE(state.hysteresis >= before);
            if (current_A < TestType(0)) REQUIRE(state.hysteresis <= before);
            state.soc = TestType(0.5);
        }
    }
}

TEST_CASE("hysteresis walks at the published rate", "[model]") {
    // exp(-|eta i gamma dt / Q|) for gamma 100, 3 Ah, 3 A, 1 s is 0.9726044771: computed from the
    // form of Plett, J. Power Sources 134 (2004) 262 (equation from memory, not re-read).
    LinearShape shape;
    shape.hysteresis_rate = 100;
    const auto owned = voltkeel_test::linear_cell<double, 1>(shape);
    for (const double current_A : {3.0, -3.0}) {
        CellState<double, 1> state;
        state.soc = 0.5;
        StepJacobian<double, 1> j;
        voltkeel::step(owned.view(), {current_A, 1, 25}, state, &j);
        CHECK(std::abs(j.hysteresis_by_hysteresis - 0.9726044771) < 5.1e-11);
        CHECK(std::abs(state.hysteresis - std::copysign(1 - 0.9726044771, current_A)) < 5.1e-11);
    }
}

TEMPLATE_TEST_CASE("minor loops stay inside the major loop", "[model]", VOLTKEEL_SCALARS) {
    LinearShape shape;
    shape.hysteresis_rate = 30;
    shape.half_gap_V = 0.02;
    const auto owned = voltkeel_test::linear_cell<TestType, 1>(shape);
    const auto cell = owned.view();
    const double slack_V = std::is_same_v<TestType, float> ? 2e-6 : 1e-12;
    // The major loop: from empty all the way up and back, without resistance in view.
    const auto major_V = [&](double soc, double sign) { return 3.4 + 0.8 * soc + sign * 0.02; };
    Random random(6);
    CellState<TestType, 1> state;
    state.soc = TestType(0.5);
    int turns = 0;
    double widest_V = 0;
    for (int k = 0; k < 5000; ++k) {
        TestType current_A = static_cast<TestType>(random.uniform(-3, 3));
        if (state.soc < TestType(0.1)) current_A = TestType(3);
        if (state.soc > TestType(0.9)) current_A = TestType(-3);
        const double soc_before = static_cast<double>(state.soc);
        const double h_before = static_cast<double>(state.hysteresis);
        const TestType dt_s = static_cast<TestType>(random.uniform(1, 200));
        voltkeel::step(cell, {current_A, dt_s, TestType(25)}, state);
        const double soc = static_cast<double>(state.soc);
        const double ocv_V =
            static_cast<double>(voltage_at(cell, state, TestType(0), TestType(25)).ocv_V);
        CAPTURE(k, soc, ocv_V);
        REQUIRE(ocv_V <= major_V(soc, 1) + slack_V);
        REQUIRE(ocv_V >= major_V(soc, -1) - slack_V);
        widest_V = std::max(widest_V, std::abs(ocv_V - major_V(soc, 0)));
        // Second derivation: h depends on the charge walked alone, not on time or current.
        const double sign = current_A > TestType(0) ? 1 : -1;
        const double h = sign + (h_before - sign) * std::exp(-30 * std::abs(soc - soc_before));
        REQUIRE(apart(state.hysteresis, h) < slack_V * 10);
        turns += (sign > 0) != (h_before > 0) ? 1 : 0;
    }
    CHECK(turns > 100);
    CHECK(widest_V > 0.015);
}

TEST_CASE("an hour of small current at 100 Hz counts in float as in double", "[model]") {
    // 0.5 A on 50 Ah moves the SOC 2.8e-8 per sample, below half a last place of a float near 0.9.
    LinearShape shape;
    shape.capacity_Ah = 50;
    const auto owned_float = voltkeel_test::linear_cell<float, 1>(shape);
    const auto owned_double = voltkeel_test::linear_cell<double, 1>(shape);
    CellState<float, 1> in_float;
    CellState<double, 1> in_double;
    in_float.soc = 0.9F;
    in_double.soc = 0.9;
    float naive = 0.9F;
    const auto cell_float = owned_float.view();
    const auto cell_double = owned_double.view();
    for (int k = 0; k < 360000; ++k) {
        voltkeel::step(cell_float, {0.5F, 0.01F, 25.0F}, in_float);
        voltkeel::step(cell_double, {0.5, 0.01, 25.0}, in_double);
        naive += voltkeel::soc_gain(cell_float, 0.5F, 0.01F);
    }
    CHECK(naive == 0.9F);
    CHECK(std::abs(in_double.soc - 0.91) < 1e-12);
    CHECK(apart(in_float.soc, in_double.soc) < 3e-7);
}

TEMPLATE_TEST_CASE("self-discharge and efficiency", "[model]", VOLTKEEL_SCALARS) {
    auto owned = voltkeel_test::linear_cell<TestType, 1>();
    // 0.2 % in a month of 30 days.
    owned.scalars.self_discharge_per_s = static_cast<TestType>(0.002 / (30 * 86400.0));
    owned.scalars.coulombic_efficiency = TestType(0.9);
    const auto cell = owned.view();
    CellState<TestType, 1> state;
    state.soc = TestType(0.5);
    for (int day = 0; day < 30; ++day)
        voltkeel::step(cell, {TestType(0), TestType(86400), TestType(25)}, state);
    CHECK(apart(state.soc, 0.498) < 1e-7);
    CHECK(apart(voltkeel::soc_gain(cell, TestType(3), TestType(360)), 0.09) < 1e-7);
    CHECK(apart(voltkeel::soc_gain(cell, TestType(-3), TestType(360)), -0.1) < 1e-7);
}

TEMPLATE_TEST_CASE("a step of no length changes nothing", "[model]", VOLTKEEL_SCALARS) {
    Random random(7);
    const auto owned = voltkeel_test::cell_cast<TestType>(voltkeel_test::random_cell<3>(random));
    CellState<TestType, 3> state;
    state.soc = TestType(0.4);
    state.branch_V[1] = TestType(0.02);
    state.hysteresis = TestType(-0.3);
    const auto after =
        stepped(owned.view(), CellInput<TestType>{TestType(7), TestType(0), TestType(5)}, state);
    CHECK(after.soc == state.soc);
    CHECK(after.branch_V[1] == state.branch_V[1]);
    CHECK(after.hysteresis == state.hysteresis);
}
