// The SOC filter: bad input, bookkeeping, the equations against a second derivation, and whether
// its spread means what it says.

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>
#include <type_traits>
#include <vector>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/estimate/soc_filter.hpp"

using voltkeel::CellSample;
using voltkeel::CellState;
using voltkeel::SocEstimate;
using voltkeel::SocFilter;
using voltkeel::SocFilterSettings;
using voltkeel::SocFilterState;
using voltkeel::Status;
using voltkeel::UseAround;
using voltkeel_test::apart;
using voltkeel_test::LinearShape;
using voltkeel_test::OwnedCell;
using voltkeel_test::Random;

namespace {

/// Settings of these tests: every number is stated, none is a default of the library.
template <class Real>
SocFilterSettings<Real> test_settings() {
    SocFilterSettings<Real> s;
    s.voltage_std_V = Real(0.005);
    s.overvoltage_share_std = Real(0.05);
    s.update_interval_s = Real(1);
    s.gate = Real(5);
    s.reset_after_s = Real(60);
    s.reset_soc_std = Real(0.2);
    s.soc_std_per_sqrt_h = Real(0.01);
    s.branch_share_std = Real(0.05);
    s.log_scale_std_per_sqrt_h = Real(0.05);
    s.log_scale_std_initial = Real(0.1);
    s.hysteresis_std_initial = Real(0.3);
    s.hysteresis_std_walked = Real(0.03);
    s.rest_std_V = Real(0.002);
    s.soc_std_floor = Real(0.003);
    s.low_soc = Real(0.25);
    s.low_soc_growth = Real(2);
    s.longest_step_s = Real(86400);
    return s;
}

template <class Real>
bool is_finite(Real x) {
    return std::isfinite(x);
}

template <class Real, int Branches>
bool all_finite(const SocFilterState<Real, Branches>& s) {
    bool good = is_finite(s.cell.soc) && is_finite(s.cell.soc_carry) &&
                is_finite(s.cell.hysteresis) && is_finite(s.cell.resistance_scale) &&
                is_finite(s.log_scale) && is_finite(s.since_update_s) &&
                is_finite(s.since_accepted_s) && is_finite(s.last_current_A) &&
                is_finite(s.last_temperature_degC) && is_finite(s.last_reset_soc_std);
    for (const Real u : s.cell.branch_V)
        good = good && is_finite(u);
    for (const Real p : s.spread.lower)
        good = good && is_finite(p);
    return good;
}

/// Everything the filter keeps except counters and clocks.
template <class Real, int Branches>
bool same_belief(const SocFilterState<Real, Branches>& a, const SocFilterState<Real, Branches>& b) {
    bool same = a.cell.soc == b.cell.soc && a.cell.soc_carry == b.cell.soc_carry &&
                a.cell.hysteresis == b.cell.hysteresis &&
                a.cell.resistance_scale == b.cell.resistance_scale && a.log_scale == b.log_scale;
    for (int i = 0; i < Branches; ++i)
        same = same && a.cell.branch_V[i] == b.cell.branch_V[i];
    for (int i = 0; i < SocFilterState<Real, Branches>::size; ++i) {
        for (int k = 0; k < SocFilterState<Real, Branches>::size; ++k)
            same = same && a.covariance(i, k) == b.covariance(i, k);
    }
    return same;
}

template <class Real, int Branches>
bool same_state(const SocFilterState<Real, Branches>& a, const SocFilterState<Real, Branches>& b) {
    return same_belief(a, b) && a.since_update_s == b.since_update_s &&
           a.since_accepted_s == b.since_accepted_s && a.last_current_A == b.last_current_A &&
           a.last_temperature_degC == b.last_temperature_degC && a.update_count == b.update_count &&
           a.rejected_count == b.rejected_count && a.reset_count == b.reset_count &&
           a.last_reset_soc_std == b.last_reset_soc_std && a.started == b.started;
}

/// Smallest eigenvalue of the covariance scaled to a unit diagonal; negative infinity when the
/// diagonal is not positive.
template <class Real, int Branches>
double smallest_scaled_eigenvalue(const SocFilterState<Real, Branches>& s) {
    constexpr int size = SocFilterState<Real, Branches>::size;
    Eigen::MatrixXd scaled(size, size);
    for (int i = 0; i < size; ++i) {
        if (!(s.covariance(i, i) > Real(0))) return -std::numeric_limits<double>::infinity();
        for (int k = 0; k < size; ++k) {
            scaled(i, k) = static_cast<double>(s.covariance(i, k)) /
                           std::sqrt(static_cast<double>(s.covariance(i, i))) /
                           std::sqrt(static_cast<double>(s.covariance(k, k)));
        }
    }
    return Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(scaled, Eigen::EigenvaluesOnly)
        .eigenvalues()(0);
}

/// True when no table has a kink within a few differences of `soc`.
template <int Branches>
bool clear_of_kinks(const voltkeel::CellParameters<double, Branches>& cell, double soc) {
    const auto clear = [](double t) { return std::abs(t - std::round(t)) > 1e-4; };
    return clear(soc * (cell.ocv.count - 1)) && clear(soc * (cell.resistance.soc.count - 1)) &&
           std::abs(soc - cell.charge_rise.soc_start) > 1e-5;
}

/// Load of a vehicle in C: pulses either way over a mean, deterministic in time.
double load_C(double time_s) {
    return 0.8 * std::sin(time_s / 7) + 0.6 * std::sin(time_s / 41 + 1) +
           0.4 * std::sin(time_s / 433 + 2) - 0.15;
}

/// A cell walked along the model, measured with noise.
template <int Branches>
struct Truth {
    const OwnedCell<double, Branches>& cell;
    CellState<double, Branches> state{};
    Random& random;
    double voltage_std_V{0.005};

    CellSample<double> sample(double current_A, double temperature_degC, double dt_s) {
        if (dt_s > 0) voltkeel::step(cell.view(), {current_A, dt_s, temperature_degC}, state);
        const auto point = voltkeel::voltage_at(cell.view(), state, current_A, temperature_degC);
        return {current_A, point.voltage_V + voltage_std_V * random.normal(), temperature_degC,
                dt_s};
    }
};

template <class Real>
CellSample<Real> sample_cast(const CellSample<double>& s) {
    return {static_cast<Real>(s.current_A), static_cast<Real>(s.voltage_V),
            static_cast<Real>(s.temperature_degC), static_cast<Real>(s.dt_s)};
}

/// A filter on `owned`, started; fails the test when it cannot be.
template <class Real, int Branches>
SocFilter<Real, Branches> started_filter(const OwnedCell<Real, Branches>& owned,
                                         const SocFilterSettings<Real>& settings, double soc,
                                         double soc_std) {
    SocFilter<Real, Branches> filter;
    REQUIRE(filter.configure(owned.view(), settings) == Status::ok);
    REQUIRE(filter.start(static_cast<Real>(soc), static_cast<Real>(soc_std), Real(25)) ==
            Status::ok);
    return filter;
}

}  // namespace

// ---------------------------------------------------------------------------------------------
// Whatever comes in

TEMPLATE_LIST_TEST_CASE("no sample makes the filter lose its numbers", "[soc_filter]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    using limits = std::numeric_limits<Real>;
    constexpr int branches = TestType::branches;
    const int samples = branches == 3 ? 100000 : 20000;
    Random random(1);
    const auto owned = voltkeel_test::cell_cast<Real>(voltkeel_test::random_cell<branches>(random));
    auto filter = started_filter(owned, test_settings<Real>(), 0.6, 0.1);
    const Real special[] = {limits::quiet_NaN(), limits::infinity(), -limits::infinity()};
    // What a broken sensor or a parser gone wrong delivers, short of overflowing the arithmetic.
    const Real most_A = Real(999) * filter.cell().capacity_Ah;  // just possible
    const Real huge[] = {Real(1e6), Real(-1e4), most_A, -most_A};
    const double eigenvalue_bound = std::is_same_v<Real, float> ? -1e-4 : -1e-10;
    double lowest = 1;
    int updates = 0;
    for (int k = 0; k < samples; ++k) {
        CellSample<Real> s;
        const Real soc = filter.state().cell.soc;
        const Real ocv_V = voltkeel::ocv_at(filter.cell().ocv, soc, Real(20)).mean_V;
        s.current_A = static_cast<Real>(random.uniform(-3, 3)) * filter.cell().capacity_Ah;
        s.voltage_V = ocv_V + static_cast<Real>(random.uniform(-0.1, 0.1));
        s.temperature_degC = static_cast<Real>(random.uniform(-30, 60));
        s.dt_s = static_cast<Real>(std::pow(10.0, random.uniform(-3, 1)));
        for (Real* value : {&s.current_A, &s.voltage_V, &s.temperature_degC, &s.dt_s}) {
            const int kind = random.whole(0, 49);
            if (kind < 3) *value = special[kind];
            if (kind >= 3 && kind < 7 && random.whole(0, 3) == 0) *value = huge[kind - 3];
            if (kind == 7) *value = -*value;
            if (kind == 8) *value = Real(0);
        }
        const SocEstimate<Real>& e = filter.step(s);
        updates += e.updated ? 1 : 0;
        CAPTURE(k, s.current_A, s.voltage_V, s.temperature_degC, s.dt_s, e.fault_bits);
        REQUIRE(all_finite(filter.state()));
        REQUIRE(e.soc >= Real(0));
        REQUIRE(e.soc <= Real(1));
        REQUIRE(is_finite(e.soc_std));
        REQUIRE(e.soc_std > Real(0));
        REQUIRE(is_finite(e.voltage_predicted_V));
        REQUIRE(is_finite(e.innovation_V));
        REQUIRE(is_finite(e.innovation_std_V));
        REQUIRE(is_finite(e.log_scale_std));
        REQUIRE(std::abs(filter.state().cell.hysteresis) <= Real(1));
        if (k % 23 == 0) {
            const double eigenvalue = smallest_scaled_eigenvalue(filter.state());
            lowest = std::min(lowest, eigenvalue);
            REQUIRE(eigenvalue > eigenvalue_bound);
        }
    }
    CAPTURE(lowest, updates, filter.state().rejected_count, filter.state().reset_count);
    CHECK(updates > samples / 20);  // the noise did not keep the filter from being exercised
    CHECK(filter.state().rejected_count > 0);
    CHECK(filter.state().reset_count > 0);
}

TEMPLATE_LIST_TEST_CASE("not even the largest numbers there are", "[soc_filter]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    using limits = std::numeric_limits<Real>;
    constexpr int branches = TestType::branches;
    Random random(2);
    const auto owned = voltkeel_test::cell_cast<Real>(voltkeel_test::random_cell<branches>(random));
    const Real root = std::sqrt(limits::max());
    for (const Real size : {Real(1e9), root / Real(1e6), root, root * Real(1e6), limits::max()}) {
        for (const Real sign : {Real(1), Real(-1)}) {
            for (int which = 0; which < 4; ++which) {
                auto filter = started_filter(owned, test_settings<Real>(), 0.6, 0.1);
                CellSample<Real> s{Real(1), Real(3.7), Real(20), Real(1)};
                Real* const values[] = {&s.current_A, &s.voltage_V, &s.temperature_degC, &s.dt_s};
                (void)filter.step(s);
                *values[which] = sign * size;
                (void)filter.step(s);
                CAPTURE(which, s.current_A, s.voltage_V, s.temperature_degC, s.dt_s);
                CHECK(all_finite(filter.state()));
                CHECK(is_finite(filter.estimate().voltage_predicted_V));
                CHECK(is_finite(filter.estimate().innovation_std_V));
                // Two ordinary samples later the numbers are still numbers.
                (void)filter.step({Real(1), Real(3.7), Real(20), Real(1)});
                (void)filter.step({Real(-1), Real(3.6), Real(20), Real(1)});
                CHECK(all_finite(filter.state()));
                CHECK(is_finite(filter.estimate().soc_std));
            }
        }
    }
}

TEMPLATE_TEST_CASE("hard work for days does not wear the variances down to subnormal numbers",
                   "[soc_filter]", VOLTKEEL_SCALARS) {
    // A processor takes ten to twenty times as long for a step on subnormal numbers.
    const auto owned = voltkeel_test::linear_cell<TestType, 2>([] {
        LinearShape shape;
        shape.half_gap_V = 0.01;
        shape.hysteresis_rate = 50;
        return shape;
    }());
    auto filter = started_filter(owned, test_settings<TestType>(), 0.5, 0.05);
    for (int k = 0; k < 20000; ++k) {
        const double current_A = k / 60 % 2 == 0 ? 6 : -6;
        (void)filter.step(
            {static_cast<TestType>(current_A), TestType(3.8), TestType(25), TestType(10)});
        for (const TestType p : filter.state().spread.lower) {
            CAPTURE(k, p);
            REQUIRE(std::fpclassify(p) != FP_SUBNORMAL);
        }
    }
}

TEMPLATE_TEST_CASE("each bad input raises its own fault bit", "[soc_filter]", VOLTKEEL_SCALARS) {
    using limits = std::numeric_limits<TestType>;
    const auto owned = voltkeel_test::linear_cell<TestType, 2>();
    const TestType nan = limits::quiet_NaN();
    const TestType infinity = limits::infinity();
    const CellSample<TestType> good{TestType(-1), TestType(3.8), TestType(25), TestType(1)};
    const auto with = [&](auto member, TestType value) {
        CellSample<TestType> s = good;
        s.*member = value;
        return s;
    };
    struct Row {
        CellSample<TestType> sample;
        std::uint32_t bits;
    };
    using Sample = CellSample<TestType>;
    const std::vector<Row> rows = {
        {good, 0},
        {with(&Sample::current_A, nan), voltkeel::fault_current_not_finite},
        {with(&Sample::current_A, infinity), voltkeel::fault_current_not_finite},
        {with(&Sample::voltage_V, nan), voltkeel::fault_voltage_not_finite},
        {with(&Sample::voltage_V, -infinity), voltkeel::fault_voltage_not_finite},
        {with(&Sample::temperature_degC, nan), voltkeel::fault_temperature_not_finite},
        {with(&Sample::temperature_degC, infinity), voltkeel::fault_temperature_not_finite},
        // Numbers that no cell of 3 Ah can have count as no numbers.
        {with(&Sample::current_A, TestType(3001)), voltkeel::fault_current_not_finite},
        {with(&Sample::current_A, TestType(-3001)), voltkeel::fault_current_not_finite},
        {with(&Sample::voltage_V, TestType(1001)), voltkeel::fault_voltage_not_finite},
        {with(&Sample::voltage_V, TestType(-1001)), voltkeel::fault_voltage_not_finite},
        {with(&Sample::temperature_degC, TestType(-101)), voltkeel::fault_temperature_not_finite},
        {with(&Sample::temperature_degC, TestType(201)), voltkeel::fault_temperature_not_finite},
        {with(&Sample::temperature_degC, TestType(-20.5)), voltkeel::fault_temperature_outside},
        {with(&Sample::temperature_degC, TestType(61)), voltkeel::fault_temperature_outside},
        {with(&Sample::dt_s, nan), voltkeel::fault_time_step_invalid},
        {with(&Sample::dt_s, TestType(-0.1)), voltkeel::fault_time_step_invalid},
        {with(&Sample::dt_s, -infinity), voltkeel::fault_time_step_invalid},
        {with(&Sample::voltage_V, TestType(5)), voltkeel::fault_voltage_rejected},
        {with(&Sample::voltage_V, TestType(0)), voltkeel::fault_voltage_rejected},
        {{nan, nan, nan, nan},
         voltkeel::fault_current_not_finite | voltkeel::fault_voltage_not_finite |
             voltkeel::fault_temperature_not_finite | voltkeel::fault_time_step_invalid},
    };
    for (std::size_t k = 0; k < rows.size(); ++k) {
        auto filter = started_filter(owned, test_settings<TestType>(), 0.5, 0.02);
        CAPTURE(k);
        CHECK(filter.step(rows[k].sample).fault_bits == rows[k].bits);
        // The bits are those of one sample.
        CHECK(filter.step(good).fault_bits == 0);
    }
    // A step longer than the bound is cut to it: 2 h at 0.3 A of 3 Ah, cut to 1 h, is 10 %.
    auto settings = test_settings<TestType>();
    settings.longest_step_s = TestType(3600);
    for (const TestType dt_s : {TestType(7200), infinity}) {
        auto filter = started_filter(owned, settings, 0.5, 0.02);
        CHECK(filter.step({TestType(0.3), nan, TestType(25), dt_s}).fault_bits ==
              (voltkeel::fault_time_step_invalid | voltkeel::fault_voltage_not_finite));
        CHECK(apart(filter.estimate().soc, 0.6) < 1e-6);
    }
}

TEMPLATE_TEST_CASE("a doubt about the current that is no number is none", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    using limits = std::numeric_limits<TestType>;
    const auto owned = voltkeel_test::linear_cell<TestType, 2>();
    for (const TestType doubt_A : {limits::quiet_NaN(), limits::infinity(), TestType(-1),
                                   TestType(1001) * owned.view().capacity_Ah}) {
        auto doubting = started_filter(owned, test_settings<TestType>(), 0.5, 0.02);
        auto sure = started_filter(owned, test_settings<TestType>(), 0.5, 0.02);
        for (int k = 0; k < 20; ++k) {
            (void)doubting.step({TestType(-1), TestType(3.8), TestType(25), TestType(1), doubt_A});
            (void)sure.step({TestType(-1), TestType(3.8), TestType(25), TestType(1)});
        }
        CAPTURE(doubt_A);
        CHECK(same_state(doubting.state(), sure.state()));
        CHECK(doubting.estimate().soc_std == sure.estimate().soc_std);
        (void)doubting.step(
            {TestType(-1), TestType(3.8), TestType(25), TestType(1), TestType(0.5)});
        (void)sure.step({TestType(-1), TestType(3.8), TestType(25), TestType(1)});
        CHECK(doubting.estimate().soc_std > sure.estimate().soc_std);
    }
}

TEMPLATE_TEST_CASE("a bad current or temperature is replaced by the last good one", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    const TestType nan = std::numeric_limits<TestType>::quiet_NaN();
    Random random(3);
    const auto owned = voltkeel_test::cell_cast<TestType>(voltkeel_test::random_cell<3>(random));
    auto filter = started_filter(owned, test_settings<TestType>(), 0.5, 0.02);
    auto twin = filter;
    const CellSample<TestType> first{TestType(2), nan, TestType(11), TestType(5)};
    (void)filter.step(first);
    (void)twin.step(first);
    (void)filter.step({nan, TestType(3.6), nan, TestType(5)});
    (void)twin.step({TestType(2), TestType(3.6), TestType(11), TestType(5)});
    CHECK(same_state(filter.state(), twin.state()));
}

TEMPLATE_TEST_CASE("SOC is held at its bounds and said to be", "[soc_filter]", VOLTKEEL_SCALARS) {
    const TestType nan = std::numeric_limits<TestType>::quiet_NaN();
    const auto owned = voltkeel_test::linear_cell<TestType, 1>();
    for (const double current_A : {3.0, -3.0}) {
        const double start = current_A > 0 ? 0.99 : 0.01;
        auto filter = started_filter(owned, test_settings<TestType>(), start, 0.02);
        const auto& e =
            filter.step({static_cast<TestType>(current_A), nan, TestType(25), TestType(600)});
        CHECK(e.fault_bits == (voltkeel::fault_soc_bounded | voltkeel::fault_voltage_not_finite));
        CHECK(e.soc == TestType(current_A > 0 ? 1 : 0));
        CHECK(apart(filter.state().cell.soc, e.soc) < 0.0501);
        // It comes back at once when the current turns: nothing is wound up.
        (void)filter.step({static_cast<TestType>(-current_A), nan, TestType(25), TestType(600)});
        CHECK(apart(filter.estimate().soc, current_A > 0 ? 0.855 : 0.145) < 0.026);
    }
}

TEMPLATE_TEST_CASE("what SOC cannot explain at its bound the branches do", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    auto settings = test_settings<Real>();
    settings.log_scale_std_initial = Real(0);
    settings.overvoltage_share_std = Real(0);
    SocFilter<Real, 2> filter;
    REQUIRE(filter.configure(cell.view(), settings) == Status::ok);
    // Full and rested, but told to be in the middle of hard use: branches well below nothing.
    UseAround<Real> use{Real(-4), Real(6)};
    REQUIRE(filter.start_under_load(Real(1), Real(0.2), use, Real(20)) == Status::ok);
    const auto full_V = voltkeel::ocv_at(cell.view().ocv, Real(1), Real(20)).mean_V;
    const auto branches_V = [&] {
        return static_cast<double>(filter.state().cell.branch_V[0] +
                                   filter.state().cell.branch_V[1]);
    };
    const double assumed_V = branches_V();
    REQUIRE(assumed_V < -0.05);
    const auto& e = filter.step({Real(0), full_V, Real(20), Real(0)});
    REQUIRE((e.fault_bits & voltkeel::fault_soc_bounded) != 0);
    CAPTURE(assumed_V, branches_V());
    // The straight filter as it stands beside its bound: P e_u / P_soc of the way back.
    const double excess_V = branches_V() + 0.02 * voltkeel_test::LinearShape{}.ocv_full_V -
                            0.02 * voltkeel_test::LinearShape{}.ocv_empty_V;
    CHECK(std::abs(excess_V) < 0.1 * std::abs(assumed_V));
    // However far a step runs over the bound, the branches stay where a cell has them.
    for (int tick = 0; tick < 20; ++tick) {
        (void)filter.step({Real(30), std::numeric_limits<Real>::quiet_NaN(), Real(20), Real(3600)});
        CHECK(std::isfinite(branches_V()));
    }
    const auto node = voltkeel::resistance_at(cell.view().resistance, Real(1), Real(20)).value;
    const double end_V = 30 * static_cast<double>(node.branch_ohm[0] + node.branch_ohm[1]);
    CHECK(branches_V() == Approx(end_V).epsilon(0.3));
}

TEMPLATE_TEST_CASE("a bad call of configure or start changes nothing", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    using limits = std::numeric_limits<TestType>;
    const TestType nan = limits::quiet_NaN();
    const TestType infinity = limits::infinity();
    const auto owned = voltkeel_test::linear_cell<TestType, 2>();
    const auto settings = test_settings<TestType>();

    SocFilter<TestType, 2> fresh;
    CHECK(fresh.start(TestType(0.5), TestType(0.1), TestType(25)) == Status::missing_table);
    CHECK(fresh.start_from_voltage(TestType(3.7), TestType(0), TestType(25)) ==
          Status::missing_table);
    CHECK_FALSE(fresh.state().started);
    const auto& idle = fresh.step({TestType(1), TestType(3.7), TestType(25), TestType(1)});
    CHECK(idle.fault_bits == voltkeel::fault_not_started);
    CHECK_FALSE(idle.updated);
    CHECK(same_state(fresh.state(), SocFilterState<TestType, 2>{}));

    auto filter = started_filter(owned, settings, 0.5, 0.02);
    (void)filter.step({TestType(-2), TestType(3.7), TestType(20), TestType(3)});
    const auto state = filter.state();
    const auto estimate = filter.estimate();
    const auto unchanged = [&] {
        return same_state(filter.state(), state) && filter.estimate().soc == estimate.soc &&
               filter.estimate().soc_std == estimate.soc_std &&
               filter.estimate().fault_bits == estimate.fault_bits &&
               filter.settings().gate == settings.gate &&
               filter.cell().capacity_Ah == owned.scalars.capacity_Ah;
    };
    const TestType half = TestType(0.5);
    const TestType room = TestType(25);
    for (const TestType bad : {nan, infinity, -infinity}) {
        CAPTURE(bad);
        CHECK(filter.start(bad, half, room) == Status::sample_not_finite);
        CHECK(filter.start(half, bad, room) == Status::sample_not_finite);
        CHECK(filter.start(half, half, bad) == Status::sample_not_finite);
        CHECK(filter.start_from_voltage(bad, TestType(0), room) == Status::sample_not_finite);
        CHECK(filter.start_from_voltage(TestType(3.7), bad, room) == Status::sample_not_finite);
        CHECK(filter.start_from_voltage(TestType(3.7), TestType(0), bad) ==
              Status::sample_not_finite);
        CHECK(unchanged());
    }
    for (const TestType bad : {TestType(-0.001), TestType(1.001)}) {
        CAPTURE(bad);
        CHECK(filter.start(bad, half, room) == Status::out_of_range);
        CHECK(filter.start(half, bad, room) == Status::out_of_range);
        CHECK(unchanged());
    }
    auto bad_cell = owned.view();
    bad_cell.capacity_Ah = TestType(-1);
    CHECK(filter.configure(bad_cell, settings) == Status::out_of_range);
    CHECK(unchanged());
    auto bad_settings = settings;
    bad_settings.gate = nan;
    CHECK(filter.configure(owned.view(), bad_settings) == Status::not_finite);
    CHECK(unchanged());
    // A good one starts afresh.
    CHECK(filter.configure(owned.view(), settings) == Status::ok);
    CHECK_FALSE(filter.state().started);
}

TEMPLATE_TEST_CASE("every setting that is bad alone is found and named", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    using Settings = SocFilterSettings<TestType>;
    struct Field {
        const char* name;
        TestType Settings::*of;
        bool zero_allowed;
    };
    const Field fields[] = {
        {"voltage_std_V", &Settings::voltage_std_V, false},
        {"overvoltage_share_std", &Settings::overvoltage_share_std, true},
        {"update_interval_s", &Settings::update_interval_s, true},
        {"gate", &Settings::gate, false},
        {"reset_after_s", &Settings::reset_after_s, false},
        {"reset_soc_std", &Settings::reset_soc_std, true},
        {"soc_std_per_sqrt_h", &Settings::soc_std_per_sqrt_h, true},
        {"branch_share_std", &Settings::branch_share_std, true},
        {"log_scale_std_per_sqrt_h", &Settings::log_scale_std_per_sqrt_h, true},
        {"log_scale_initial", &Settings::log_scale_initial, true},
        {"log_scale_std_initial", &Settings::log_scale_std_initial, true},
        {"hysteresis_std_initial", &Settings::hysteresis_std_initial, true},
        {"hysteresis_std_walked", &Settings::hysteresis_std_walked, true},
        {"rest_std_V", &Settings::rest_std_V, true},
        {"soc_std_floor", &Settings::soc_std_floor, true},
        {"low_soc", &Settings::low_soc, false},
        {"low_soc_growth", &Settings::low_soc_growth, true},
        {"longest_step_s", &Settings::longest_step_s, false},
    };
    // A setting added to the struct needs a row here.
    // And trace_every_sample, which cannot be bad.
    STATIC_REQUIRE(sizeof(Settings) == (sizeof(fields) / sizeof(fields[0]) + 1) * sizeof(TestType));
    CHECK(validate(Settings{}).status == Status::ok);
    CHECK(validate(test_settings<TestType>()).status == Status::ok);
    const TestType infinity = std::numeric_limits<TestType>::infinity();
    for (const Field& field : fields) {
        for (const TestType bad : {TestType(-2), TestType(1e30), infinity, -infinity,
                                   std::numeric_limits<TestType>::quiet_NaN()}) {
            Settings s = test_settings<TestType>();
            s.*field.of = bad;
            const auto finding = validate(s);
            CAPTURE(field.name, bad, finding.field);
            CHECK(finding.status ==
                  (std::isfinite(bad) ? Status::out_of_range : Status::not_finite));
            CHECK(std::string(finding.field) == field.name);
        }
        Settings s = test_settings<TestType>();
        s.*field.of = TestType(0);
        CAPTURE(field.name);
        CHECK((validate(s).status == Status::ok) == field.zero_allowed);
    }
}

// ---------------------------------------------------------------------------------------------
// Gate, reset, coasting, rhythm

TEMPLATE_LIST_TEST_CASE("a rejected voltage leaves the predicted state alone", "[soc_filter]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    Random random(4);
    for (int run = 0; run < 20; ++run) {
        const auto owned =
            voltkeel_test::cell_cast<Real>(voltkeel_test::random_cell<branches>(random));
        auto filter = started_filter(owned, test_settings<Real>(), 0.5, 0.05);
        const Real current_A = static_cast<Real>(random.uniform(-2, 2)) * filter.cell().capacity_Ah;
        (void)filter.step({current_A, Real(3.6), Real(10), Real(2)});
        auto coasting = filter;
        const auto& e = filter.step({current_A, Real(7), Real(10), Real(2)});
        (void)coasting.step({current_A, nan, Real(10), Real(2)});
        CAPTURE(run);
        CHECK((e.fault_bits & voltkeel::fault_voltage_rejected) != 0);
        CHECK_FALSE(e.updated);
        CHECK(e.test_ratio > Real(1));
        CHECK(same_belief(filter.state(), coasting.state()));
        CHECK(filter.state().rejected_count == coasting.state().rejected_count + 1);
        CHECK(filter.state().update_count == coasting.state().update_count);
    }
}

TEMPLATE_TEST_CASE("the gate opens exactly where it says", "[soc_filter]", VOLTKEEL_SCALARS) {
    const auto owned = voltkeel_test::linear_cell<TestType, 1>();
    auto settings = test_settings<TestType>();
    settings.gate = TestType(3);
    for (const double deviations : {2.99, 3.01, -2.99, -3.01}) {
        auto filter = started_filter(owned, settings, 0.5, 0.02);
        auto probe = filter;
        const auto& p = probe.step({TestType(0), TestType(3.8), TestType(25), TestType(0)});
        const TestType voltage_V =
            p.voltage_predicted_V + static_cast<TestType>(deviations) * p.innovation_std_V;
        const auto& e = filter.step({TestType(0), voltage_V, TestType(25), TestType(0)});
        CAPTURE(deviations);
        CHECK(e.updated == (std::abs(deviations) < 3));
        CHECK(apart(e.test_ratio, deviations * deviations / 9) < 1e-3);
        CHECK(apart(e.innovation_V, voltage_V - p.voltage_predicted_V) < 1e-6);
    }
}

TEMPLATE_TEST_CASE("after too many refusals the spread is opened, counted and said", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    Random random(5);
    const auto exact = voltkeel_test::linear_cell<double, 2>();
    const auto owned = voltkeel_test::cell_cast<TestType>(exact);
    auto settings = test_settings<TestType>();
    settings.reset_after_s = TestType(60);
    auto filter = started_filter(owned, settings, 0.9, 0.002);  // sure of itself, and wrong
    Truth<2> truth{exact, {}, random};
    truth.state.soc = 0.5;
    int reset_at = -1;
    TestType std_before = 0;
    for (int k = 0; k < 600; ++k) {
        const TestType spread = std::sqrt(filter.state().covariance(0, 0));
        const auto& e =
            filter.step(sample_cast<TestType>(truth.sample(load_C(k), 25, k == 0 ? 0 : 1)));
        if ((e.fault_bits & voltkeel::fault_reset) != 0 && reset_at < 0) {
            reset_at = k;
            std_before = spread;
            CHECK((e.fault_bits & voltkeel::fault_voltage_rejected) != 0);
            CHECK_FALSE(e.updated);
            CHECK(filter.state().reset_count == 1);
            CHECK(apart(filter.state().last_reset_soc_std, std_before) < 1e-4);
            CHECK(filter.state().since_accepted_s == TestType(0));
            CHECK(apart(std::sqrt(filter.state().covariance(0, 0)), 0.2) < 1e-6);
            for (int i = 1; i < 5; ++i)
                CHECK(filter.state().covariance(0, i) == TestType(0));
        }
    }
    CHECK(reset_at == 61);  // the first try later than 60 s after the start
    CHECK(filter.state().rejected_count >= 61);
    CHECK(filter.state().update_count > 500);
    CHECK(apart(filter.estimate().soc, truth.state.soc) < 0.01);
}

TEMPLATE_LIST_TEST_CASE("without a voltage the spread of the SOC grows and says how fast",
                        "[soc_filter]", voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    const auto owned = voltkeel_test::linear_cell<Real, branches>();
    auto settings = test_settings<Real>();
    settings.soc_std_per_sqrt_h = Real(0.02);
    settings.soc_std_floor = Real(0.004);
    auto filter = started_filter(owned, settings, 0.5, 0.01);
    Real before = filter.estimate().soc_std;
    CHECK(apart(before, std::hypot(0.01, 0.004)) < 1e-7);
    for (int k = 0; k < 3600; ++k) {
        const auto& e = filter.step({Real(k % 2 == 0 ? 1 : -1), nan, Real(25), Real(4)});
        REQUIRE(e.soc_std > before);
        REQUIRE_FALSE(e.updated);
        before = e.soc_std;
    }
    // Variances add: four hours of a random walk of 0.02 per root hour.
    CHECK(apart(before, std::sqrt(0.01 * 0.01 + 4 * 0.02 * 0.02 + 0.004 * 0.004)) < 1e-5);
    // A year without a voltage: "anywhere", and still a number.
    for (int day = 0; day < 365; ++day)
        (void)filter.step({Real(0), nan, Real(25), Real(86400)});
    CHECK(apart(filter.estimate().soc_std, std::hypot(0.5, 0.004)) < 1e-6);
    CHECK(smallest_scaled_eigenvalue(filter.state()) > -1e-6);
}

TEMPLATE_LIST_TEST_CASE("one update a second out of steps of a tenth", "[soc_filter]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    const auto owned = voltkeel_test::linear_cell<Real, branches>();
    auto filter = started_filter(owned, test_settings<Real>(), 0.5, 0.02);
    int last = 0;
    CHECK(filter.step({Real(0), Real(3.8), Real(25), Real(0)}).updated);  // the first sample counts
    for (int k = 1; k <= 36000; ++k) {
        const auto& e = filter.step({Real(0), Real(3.8), Real(25), Real(0.1)});
        if (!e.updated) continue;
        CAPTURE(k);
        REQUIRE(k - last == 10);
        last = k;
    }
    CHECK(filter.state().update_count == 3601);
}

TEMPLATE_TEST_CASE("a trace changes nothing but what is seen between the updates", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    Random random(31);
    const auto exact = voltkeel_test::random_cell<3>(random);
    const auto owned = voltkeel_test::cell_cast<TestType>(exact);
    auto settings = test_settings<TestType>();
    settings.update_interval_s = TestType(GENERATE(0, 1, 20));
    auto plain = started_filter(owned, settings, 0.7, 0.1);
    settings.trace_every_sample = true;
    auto traced = started_filter(owned, settings, 0.7, 0.1);
    voltkeel::CellState<double, 3> truth;
    truth.soc = 0.65;
    constexpr double tolerance = sizeof(TestType) == sizeof(float) ? 2e-4 : 2e-5;
    // What the SOC walks by between two updates reaches the branches with the next update only: of
    // its spread here, a part in a thousand in 20 s.
    constexpr double covariance_tolerance = 2e-3;
    CAPTURE(settings.update_interval_s);
    for (int k = 0; k < 3000; ++k) {
        const double current_A = load_C(0.1 * k) * exact.scalars.capacity_Ah;
        voltkeel::step(exact.view(), {current_A, 0.1, 20}, truth);
        const double voltage_V =
            voltkeel::voltage_at(exact.view(), truth, current_A, 20.0).voltage_V +
            0.002 * random.normal();
        const auto sample = sample_cast<TestType>({current_A, voltage_V, 20, 0.1});
        const auto& a = plain.step(sample);
        const auto& b = traced.step(sample);
        CAPTURE(k);
        REQUIRE(a.updated == b.updated);
        REQUIRE(apart(a.soc, b.soc) < tolerance);
        REQUIRE(apart(a.soc_std, b.soc_std) < tolerance);
        if (a.updated) REQUIRE(apart(a.innovation_V, b.innovation_V) < tolerance);
        const auto& s = plain.state();
        const auto& t = traced.state();
        for (int i = 0; i < s.size; ++i) {
            for (int c = 0; c <= i; ++c) {
                CAPTURE(i, c);
                const double scale =
                    std::sqrt(double(t.covariance(i, i)) * double(t.covariance(c, c)));
                REQUIRE(apart(s.covariance(i, c), t.covariance(i, c)) <
                        covariance_tolerance * scale);
            }
        }
    }
}

TEMPLATE_TEST_CASE("with no interval every sample is fused", "[soc_filter]", VOLTKEEL_SCALARS) {
    const auto owned = voltkeel_test::linear_cell<TestType, 1>();
    auto settings = test_settings<TestType>();
    settings.update_interval_s = TestType(0);
    auto filter = started_filter(owned, settings, 0.5, 0.02);
    for (int k = 0; k < 100; ++k)
        CHECK(filter.step({TestType(0), TestType(3.8), TestType(25), TestType(0.01)}).updated);
    CHECK(filter.state().update_count == 100);
}

// ---------------------------------------------------------------------------------------------
// Start

TEMPLATE_TEST_CASE("a rested voltage gives the SOC, a voltage outside the nearest end",
                   "[soc_filter]", VOLTKEEL_SCALARS) {
    LinearShape shape;
    shape.half_gap_V = 0.01;
    const auto owned = voltkeel_test::linear_cell<TestType, 2>(shape);
    SocFilter<TestType, 2> filter;
    REQUIRE(filter.configure(owned.view(), test_settings<TestType>()) == Status::ok);
    REQUIRE(filter.start_from_voltage(TestType(3.72), TestType(0), TestType(25)) == Status::ok);
    CHECK(apart(filter.estimate().soc, 0.4) < 1e-6);
    // Sensor 5 mV and half the gap 10 mV, over a slope of 0.8 V, and the floor.
    CHECK(apart(filter.estimate().soc_std, std::hypot(std::hypot(0.005, 0.01) / 0.8, 0.003)) <
          1e-6);
    REQUIRE(filter.start_from_voltage(TestType(5), TestType(0), TestType(25)) == Status::ok);
    CHECK(filter.estimate().soc == TestType(1));
    REQUIRE(filter.start_from_voltage(TestType(2), TestType(0), TestType(25)) == Status::ok);
    CHECK(filter.estimate().soc == TestType(0));
}

TEMPLATE_TEST_CASE("a rested voltage of a flat curve is no surer than the way between the branches",
                   "[soc_filter]", VOLTKEEL_SCALARS) {
    // Iron phosphate as a truth: two plateaus, a step between them, ends that bend, branches 10 to
    // 30 mV apart. Invented.
    Random random(67);
    CAPTURE(voltkeel_test::seed());
    int inside = 0;
    int on_the_step = 0;
    int sure_and_wrong = 0;  // by the slope at the place alone
    constexpr int draws = 4000;
    for (int draw = 0; draw < draws; ++draw) {
        auto exact = voltkeel_test::linear_cell<double, 2>();
        const double half_gap_V = random.uniform(0.005, 0.015);
        exact.ocv.clear();
        for (int k = 0; k <= 50; ++k) {
            const double soc = k / 50.0;
            exact.ocv.push_back({3.27 + 0.02 * soc + 0.04 / (1 + std::exp(-(soc - 0.65) / 0.02)) -
                                     0.5 * std::exp(-soc / 0.04) + 0.2 * std::exp((soc - 1) / 0.02),
                                 half_gap_V, 0});
        }
        const auto owned = voltkeel_test::cell_cast<TestType>(exact);
        SocFilter<TestType, 2> filter;
        REQUIRE(filter.configure(owned.view(), test_settings<TestType>()) == Status::ok);
        CellState<double, 2> state;
        state.soc = random.uniform(0.02, 0.99);
        state.hysteresis = random.uniform(-1, 1);
        const double voltage_V = voltkeel::voltage_at(exact.view(), state, 0.0, 25.0).voltage_V +
                                 0.005 * random.normal();
        REQUIRE(filter.start_from_voltage(static_cast<TestType>(voltage_V), TestType(0),
                                          TestType(25)) == Status::ok);
        const double off = apart(filter.estimate().soc, state.soc);
        inside += off < 1.96 * static_cast<double>(filter.estimate().soc_std) ? 1 : 0;
        CHECK(filter.estimate().soc_std <= TestType(0.31));
        const auto at =
            voltkeel::ocv_at(exact.view().ocv, static_cast<double>(filter.estimate().soc), 25.0);
        if (at.slope_V > 0.3 && filter.estimate().soc > TestType(0.5) &&
            filter.estimate().soc < TestType(0.8)) {
            ++on_the_step;
            sure_and_wrong += off > 1.96 * std::hypot(0.005, half_gap_V) / at.slope_V ? 1 : 0;
        }
    }
    CAPTURE(inside, on_the_step, sure_and_wrong);
    CHECK(inside > 0.95 * draws);
    // So that the case is there to be met.
    REQUIRE(on_the_step > 100);
    CHECK(sure_and_wrong > 0.2 * on_the_step);
}

TEMPLATE_LIST_TEST_CASE("started under load without history the truth is within the spread",
                        "[soc_filter]", voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(6);
    int within_two = 0;
    for (int run = 0; run < 60; ++run) {
        auto exact = voltkeel_test::random_cell<branches>(random);
        const bool level = run % 3 == 0;
        if (level) {
            exact.resistance.assign(
                exact.resistance.size(),
                voltkeel::resistance_at(exact.view().resistance, 0.5, 20.0).value);
        }
        const auto owned = voltkeel_test::cell_cast<Real>(exact);
        SocFilter<Real, branches> filter;
        REQUIRE(filter.configure(owned.view(), test_settings<Real>()) == Status::ok);
        const double current_A = random.uniform(-1, 1) * exact.scalars.capacity_Ah;
        CellState<double, branches> state;
        state.soc = random.uniform(0.2, 0.8);
        const bool long_on = run % 2 == 0;
        const auto r = voltkeel::resistance_at(exact.view().resistance, state.soc, 20.0);
        for (int i = 0; i < branches && long_on; ++i)
            state.branch_V[i] = r.value.branch_ohm[i] * current_A;
        state.hysteresis = random.uniform(-1, 1);
        const double voltage_V =
            voltkeel::voltage_at(exact.view(), state, current_A, 20.0).voltage_V;
        REQUIRE(filter.start_from_voltage(static_cast<Real>(voltage_V),
                                          static_cast<Real>(current_A), Real(20)) == Status::ok);
        CAPTURE(run, long_on, current_A, state.soc, filter.estimate().soc,
                filter.estimate().soc_std);
        // Where resistances are the same everywhere the answer is off, in volts, by what it cannot
        // know and no more: the state of the branches and the hysteresis.
        const auto view = exact.view();
        const double found_soc = static_cast<double>(filter.estimate().soc);
        const auto here = voltkeel::resistance_at(view.resistance, found_soc, 20.0).value;
        const double taken_V =
            current_A *
            (here.r0_ohm + 0.5 * (voltkeel::direct_current_resistance_ohm(here) - here.r0_ohm));
        double real_V = current_A * r.value.r0_ohm;
        for (const double u : state.branch_V)
            real_V += u;
        const auto real_ocv = voltkeel::ocv_at(view.ocv, state.soc, 20.0);
        const double unknown_V = std::abs(real_V - taken_V) + real_ocv.half_gap_V;
        const double off_V =
            apart(real_ocv.mean_V, voltkeel::ocv_at(view.ocv, found_soc, 20.0).mean_V);
        CAPTURE(off_V, unknown_V);
        if (level && found_soc > 0 && found_soc < 1) CHECK(off_V < unknown_V + 1e-5);
        within_two +=
            apart(found_soc, state.soc) < 2 * static_cast<double>(filter.estimate().soc_std) ? 1
                                                                                             : 0;
        CHECK(filter.estimate().soc_std <= Real(0.31));
    }
    CHECK(within_two >= 50);  // five in six
}

TEMPLATE_LIST_TEST_CASE("started in the middle of use the branches are within their spread",
                        "[soc_filter]", voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(16);
    for (int run = 0; run < 30; ++run) {
        const auto exact = voltkeel_test::random_cell<branches>(random);
        const auto owned = voltkeel_test::cell_cast<Real>(exact);
        SocFilter<Real, branches> filter;
        REQUIRE(filter.configure(owned.view(), test_settings<Real>()) == Status::ok);
        const double mean_A = random.uniform(-1, 1) * exact.scalars.capacity_Ah;
        const double soc = random.uniform(0.2, 0.8);
        REQUIRE(filter.start_under_load(static_cast<Real>(soc), Real(0.2),
                                        {static_cast<Real>(mean_A)}, Real(20)) == Status::ok);
        CHECK(static_cast<double>(filter.state().covariance(0, 0)) == Approx(0.04));
        const auto r = voltkeel::resistance_at(exact.view().resistance, soc, 20.0).value;
        for (int i = 0; i < branches; ++i) {
            // After use of any length from a time constant on a branch is between 63 % and all of
            // where its current leads.
            const double end_V = r.branch_ohm[i] * mean_A;
            const double middle_V = static_cast<double>(filter.state().cell.branch_V[i]);
            const double std_V =
                std::sqrt(static_cast<double>(filter.state().covariance(1 + i, 1 + i)));
            CAPTURE(run, i, end_V, middle_V, std_V);
            for (const double share : {0.63, 1.0})
                CHECK(apart(share * end_V, middle_V) < 1.96 * std_V);
            CHECK(std_V < 0.5 * std::abs(end_V) + r.branch_ohm[i] * exact.scalars.capacity_Ah);
        }
        // Refused, and nothing changed: the same values as `start`, and a current that cannot be.
        const auto before = filter.state();
        const Real nan = std::numeric_limits<Real>::quiet_NaN();
        CHECK(filter.start_under_load(Real(1.1), Real(0.1), {Real(0)}, Real(20)) ==
              Status::out_of_range);
        CHECK(filter.start_under_load(Real(0.5), nan, {Real(0)}, Real(20)) ==
              Status::sample_not_finite);
        CHECK(filter.start_under_load(Real(0.5), Real(0.1), {nan}, Real(20)) ==
              Status::sample_not_finite);
        CHECK(filter.start_under_load(Real(0.5), Real(0.1), {Real(1e9)}, Real(20)) ==
              Status::sample_not_finite);
        CHECK(filter.state().cell.branch_V[0] == before.cell.branch_V[0]);
        CHECK(filter.state().covariance(0, 0) == before.covariance(0, 0));
    }
    SocFilter<Real, branches> never_configured;
    CHECK(never_configured.start_under_load(Real(0.5), Real(0.1), {Real(0)}, Real(20)) ==
          Status::missing_table);
}

/// A cell in the middle of use: the truth, and what a start gets to know of it.
template <int Branches>
struct CellInUse {
    CellState<double, Branches> truth;
    UseAround<double> use;
};

/// Two hours of random currents that last 5 to 60 s each; the minutes around are the last two.
template <int Branches>
CellInUse<Branches> used_cell(const OwnedCell<double, Branches>& cell, double soc, Random& random) {
    CellInUse<Branches> in;
    in.truth.soc = soc;
    const double capacity_Ah = cell.scalars.capacity_Ah;
    const double level_A = random.uniform(-0.6, 0.2) * capacity_Ah;
    const double swing_A = random.uniform(0.1, 0.8) * capacity_Ah;
    double charge_As = 0;
    double square_A2s = 0;
    double current_A = 0;
    double held_s = 0;
    for (int t = 0; t < 7200; ++t, held_s -= 1) {
        if (held_s <= 0) {
            current_A = level_A + swing_A * random.normal();
            held_s = random.uniform(5, 60);
        }
        voltkeel::step(cell.view(), voltkeel::CellInput<double>{current_A, 1, 20}, in.truth);
        in.truth.soc = soc;  // only the branches are of interest
        if (t < 7080) continue;
        charge_As += current_A;
        square_A2s += current_A * current_A;
    }
    in.truth.soc_carry = 0;
    in.use.mean_current_A = charge_As / 120;
    in.use.rms_current_A = std::sqrt(square_A2s / 120);
    in.use.current_A = current_A;
    in.use.voltage_V = voltkeel::voltage_at(cell.view(), in.truth, current_A, 20.0).voltage_V;
    return in;
}

template <class Real>
UseAround<Real> use_cast(const UseAround<double>& use) {
    return {static_cast<Real>(use.mean_current_A), static_cast<Real>(use.rms_current_A),
            static_cast<Real>(use.voltage_V), static_cast<Real>(use.current_A)};
}

TEMPLATE_LIST_TEST_CASE("a start in the middle of use is as far off as it says", "[soc_filter]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(17);
    CAPTURE(voltkeel_test::seed());
    constexpr int runs = 150;
    int inside = 0;
    double told2 = 0;
    double found2 = 0;
    for (int run = 0; run < runs; ++run) {
        const auto exact = voltkeel_test::random_cell<branches>(random);
        const auto owned = voltkeel_test::cell_cast<Real>(exact);
        SocFilter<Real, branches> filter;
        REQUIRE(filter.configure(owned.view(), test_settings<Real>()) == Status::ok);
        const double soc = random.uniform(0.15, 0.85);
        CellInUse<branches> in = used_cell(exact, soc, random);
        in.use.voltage_V += 0.005 * random.normal();
        const double told = std::min(1.0, std::max(0.0, soc + 0.2 * random.normal()));
        REQUIRE(filter.start_under_load(static_cast<Real>(told), Real(0.2), use_cast<Real>(in.use),
                                        Real(20)) == Status::ok);
        const double error = static_cast<double>(filter.estimate().soc) - soc;
        const double std = static_cast<double>(filter.estimate().soc_std);
        told2 += (told - soc) * (told - soc);
        found2 += error * error;
        inside += std::abs(error) < 1.96 * std ? 1 : 0;
        CHECK(std < 0.2);
        // The reading is used up: it is not fused once more by a first step that brings it again.
        CHECK_FALSE(filter
                        .step({static_cast<Real>(in.use.current_A),
                               static_cast<Real>(in.use.voltage_V), Real(20), Real(0)})
                        .updated);
    }
    CAPTURE(inside, std::sqrt(told2 / runs), std::sqrt(found2 / runs));
    CHECK(inside >= 0.9 * runs);
    CHECK(found2 < 0.25 * told2);
}

TEMPLATE_TEST_CASE("a start in the middle of use looks where SOC and reading agree", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    // Next to nothing is off in the lower half, a great deal in the upper: where the SOC is told
    // too high, the branches there explain a voltage that the true SOC has by itself.
    auto cell = voltkeel_test::linear_cell<Real, 2>();
    constexpr std::size_t points = 11;
    cell.scalars.resistance.soc = voltkeel::uniform_axis(Real(0), Real(1), points);
    cell.resistance.assign(2 * points, cell.resistance.front());
    for (std::size_t k = 0; k < cell.resistance.size(); ++k) {
        if (k % points < points / 2) continue;
        cell.resistance[k].branch_ohm[0] *= Real(8);
        cell.resistance[k].branch_ohm[1] *= Real(8);
    }
    SocFilter<Real, 2> filter;
    REQUIRE(filter.configure(cell.view(), test_settings<Real>()) == Status::ok);
    CellState<Real, 2> truth;
    truth.soc = Real(0.3);
    const Real current_A = Real(-2);
    const auto node = voltkeel::resistance_at(cell.view().resistance, truth.soc, Real(20)).value;
    for (int i = 0; i < 2; ++i)
        truth.branch_V[i] = node.branch_ohm[i] * current_A;
    UseAround<Real> use{current_A, -current_A};
    use.current_A = current_A;
    use.voltage_V = voltkeel::voltage_at(cell.view(), truth, current_A, Real(20)).voltage_V;
    for (const double told : {0.1, 0.3, 0.7}) {
        REQUIRE(filter.start_under_load(static_cast<Real>(told), Real(0.2), use, Real(20)) ==
                Status::ok);
        CAPTURE(told, filter.estimate().soc, filter.estimate().soc_std);
        CHECK(apart(static_cast<double>(filter.estimate().soc), 0.3) < 0.05);
    }
    // Without a voltage the SOC is that told, and the branches are those there.
    use.voltage_V = std::numeric_limits<Real>::quiet_NaN();
    REQUIRE(filter.start_under_load(Real(0.7), Real(0.2), use, Real(20)) == Status::ok);
    CHECK(filter.state().cell.soc == Real(0.7));
    CHECK(filter.step({current_A, Real(3.7), Real(20), Real(0)}).updated);
    // A SOC that is told for sure stays.
    use.voltage_V = Real(3.6);
    REQUIRE(filter.start_under_load(Real(0.7), Real(0), use, Real(20)) == Status::ok);
    CHECK(apart(static_cast<double>(filter.state().cell.soc), 0.7) < 1e-6);
    // What the gate refuses is not taken, and the next voltage is looked at.
    use.voltage_V = Real(900);
    REQUIRE(filter.start_under_load(Real(0.7), Real(0.2), use, Real(20)) == Status::ok);
    CHECK(filter.state().cell.soc == Real(0.7));
    CHECK(filter.step({current_A, Real(3.7), Real(20), Real(0)}).updated);
    // Refused: numbers that no cell has.
    const auto before = filter.state();
    for (const Real bad : {std::numeric_limits<Real>::quiet_NaN(), Real(1e9)}) {
        UseAround<Real> wrong = use;
        wrong.rms_current_A = bad;
        CHECK(filter.start_under_load(Real(0.5), Real(0.1), wrong, Real(20)) ==
              Status::sample_not_finite);
        wrong = use;
        wrong.current_A = bad;
        CHECK(filter.start_under_load(Real(0.5), Real(0.1), wrong, Real(20)) ==
              Status::sample_not_finite);
    }
    CHECK(filter.state().cell.soc == before.cell.soc);
}

TEMPLATE_TEST_CASE("a cell that is known to have aged starts with its resistance", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    auto settings = test_settings<Real>();
    settings.log_scale_initial = static_cast<Real>(std::log(1.5));
    SocFilter<Real, 2> filter;
    REQUIRE(filter.configure(cell.view(), settings) == Status::ok);
    REQUIRE(filter.start(Real(0.5), Real(0.1), Real(20)) == Status::ok);
    CHECK(static_cast<double>(filter.estimate().resistance_scale) == Approx(1.5));
    // From a voltage under load the resistance that is taken off is the aged one.
    const auto node = voltkeel::resistance_at(cell.view().resistance, Real(0.5), Real(20)).value;
    const double ohmic_V = -3 * static_cast<double>(node.r0_ohm);
    const double branches_V = -1.5 * static_cast<double>(node.branch_ohm[0] + node.branch_ohm[1]);
    const double rested_V =
        static_cast<double>(voltkeel::ocv_at(cell.view().ocv, Real(0.5), Real(20)).mean_V);
    const auto voltage_V = static_cast<Real>(rested_V + 1.5 * (ohmic_V + branches_V));
    REQUIRE(filter.start_from_voltage(voltage_V, Real(-3), Real(20)) == Status::ok);
    CHECK(static_cast<double>(filter.estimate().soc) == Approx(0.5).margin(1e-3));
}

TEMPLATE_TEST_CASE("near empty the model is trusted less", "[soc_filter]", VOLTKEEL_SCALARS) {
    auto s = test_settings<TestType>();  // low_soc 0.25, growth 2
    CHECK(voltkeel::low_soc_factor(s, TestType(0.6)) == TestType(1));
    CHECK(voltkeel::low_soc_factor(s, TestType(0.25)) == TestType(1));
    CHECK(voltkeel::low_soc_factor(s, TestType(0.125)) == Approx(2));
    CHECK(voltkeel::low_soc_factor(s, TestType(0)) == Approx(3));
    CHECK(voltkeel::low_soc_factor(s, TestType(-0.025)) == Approx(3.2));
    const auto owned = voltkeel_test::linear_cell<TestType, 2>();
    const auto std_after = [&](TestType growth, TestType soc) {
        s.low_soc_growth = growth;
        SocFilter<TestType, 2> filter;
        REQUIRE(filter.configure(owned.view(), s) == Status::ok);
        REQUIRE(filter.start(soc, TestType(0.1), TestType(25)) == Status::ok);
        for (int k = 0; k < 30; ++k)
            (void)filter.step(
                {TestType(-1), filter.estimate().voltage_predicted_V, TestType(25), TestType(1)});
        return filter.estimate().soc_std;
    };
    CHECK(std_after(TestType(2), TestType(0.05)) > std_after(TestType(0), TestType(0.05)));
    CHECK(std_after(TestType(2), TestType(0.6)) == std_after(TestType(0), TestType(0.6)));
}

TEMPLATE_TEST_CASE("a start from absurd numbers is refused or finite", "[soc_filter]",
                   VOLTKEEL_SCALARS) {
    const auto owned = voltkeel_test::linear_cell<TestType, 2>();
    const TestType most = std::numeric_limits<TestType>::max();
    for (const TestType current_A : {TestType(1e9), std::sqrt(most), most, -most}) {
        for (const TestType voltage_V : {TestType(3.7), most, -most}) {
            SocFilter<TestType, 2> filter;
            REQUIRE(filter.configure(owned.view(), test_settings<TestType>()) == Status::ok);
            const Status status = filter.start_from_voltage(voltage_V, current_A, TestType(25));
            CAPTURE(current_A, voltage_V, static_cast<int>(status));
            CHECK((status != Status::ok || all_finite(filter.state())));
        }
    }
}

// ---------------------------------------------------------------------------------------------
// The equations

TEMPLATE_LIST_TEST_CASE("every step equals the textbook filter in dense matrices", "[soc_filter]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    constexpr int size = branches + 3;
    // Sizes are known when it runs: four fixed ones took the compiler as long as all else here.
    using Matrix = Eigen::MatrixXd;
    using Vector = Eigen::VectorXd;
    if constexpr (std::is_same_v<Real, float>) {
        return;  // float against double has its own test case, over hours
    } else {
        Random random(7);
        int compared = 0;
        for (int run = 0; run < 10; ++run) {
            const auto owned = voltkeel_test::random_cell<branches>(random);
            const auto cell = owned.view();
            const auto settings = test_settings<double>();
            const double start_soc = random.uniform(0.2, 0.9);
            auto filter = started_filter<double, branches>(owned, settings, start_soc, 0.03);
            const double capacity_Ah = cell.capacity_Ah;

            const auto unpack = [](const Vector& x) {
                CellState<double, branches> s;
                s.soc = x(0);
                for (int i = 0; i < branches; ++i)
                    s.branch_V[i] = x(1 + i);
                s.hysteresis = x(branches + 1);
                s.resistance_scale = std::exp(x(branches + 2));
                return s;
            };
            const auto transition = [&](const Vector& x, const voltkeel::CellInput<double>& in) {
                auto s = unpack(x);
                voltkeel::step(cell, in, s);
                Vector next = x;
                next(0) = s.soc;
                for (int i = 0; i < branches; ++i)
                    next(1 + i) = s.branch_V[i];
                next(branches + 1) = s.hysteresis;
                return next;
            };
            Vector x = Vector::Zero(size);
            x(0) = start_soc;
            Matrix p = Matrix::Zero(size, size);
            p(0, 0) = 0.03 * 0.03;
            for (int i = 0; i < branches; ++i)
                p(1 + i, 1 + i) = settings.rest_std_V * settings.rest_std_V;
            p(branches + 1, branches + 1) =
                settings.hysteresis_std_initial * settings.hysteresis_std_initial;
            p(branches + 2, branches + 2) =
                settings.log_scale_std_initial * settings.log_scale_std_initial;

            double time_s = 0;
            for (int k = 0; k < 40; ++k) {
                const double dt_s = random.uniform(1, 3);
                time_s += dt_s;
                const voltkeel::CellInput<double> in{load_C(time_s) * capacity_Ah, dt_s, 18};
                // Prediction, with the transition matrix by central differences of the model.
                Matrix f(size, size);
                for (int c = 0; c < size; ++c) {
                    Vector up = x;
                    Vector down = x;
                    up(c) += 1e-6;
                    down(c) -= 1e-6;
                    f.col(c) = (transition(up, in) - transition(down, in)) / 2e-6;
                }
                // What the resistances change over SOC tells the filter nothing of the SOC.
                f.col(0).segment(1, branches).setZero();
                const auto below_low_soc = [&](double soc) {
                    return 1 + settings.low_soc_growth * std::max(0.0, 1 - soc / settings.low_soc);
                };
                Matrix q = Matrix::Zero(size, size);
                q(0, 0) = settings.soc_std_per_sqrt_h * settings.soc_std_per_sqrt_h * dt_s / 3600;
                q(size - 1, size - 1) = settings.log_scale_std_per_sqrt_h *
                                        settings.log_scale_std_per_sqrt_h * dt_s / 3600;
                const double middle_soc =
                    x(0) + 0.5 * voltkeel::soc_gain(cell, in.current_A, in.dt_s);
                auto r = voltkeel::resistance_at(cell.resistance, middle_soc, 18.0);
                if (in.current_A > 0) {
                    r.value.branch_ohm[branches - 1] +=
                        voltkeel::charge_rise_at(cell.charge_rise, middle_soc).value;
                }
                for (int i = 0; i < branches; ++i) {
                    const double kept = std::exp(-dt_s / r.value.branch_time_s[i]);
                    const double share_V =
                        settings.branch_share_std * r.value.branch_ohm[i] * in.current_A;
                    q(1 + i, 1 + i) =
                        (1 - kept * kept) *
                        (share_V * share_V + settings.rest_std_V * settings.rest_std_V);
                }
                const double walked =
                    std::exp(-cell.hysteresis_rate *
                             std::abs(voltkeel::soc_gain(cell, in.current_A, in.dt_s)));
                q(branches + 1, branches + 1) = (1 - walked * walked) *
                                                settings.hysteresis_std_walked *
                                                settings.hysteresis_std_walked;
                x = transition(x, in);
                p = f * p * f.transpose() + q;
                // Update in Joseph form, with the measurement row by central differences.
                const auto volts = [&](const Vector& at) {
                    return voltkeel::voltage_at(cell, unpack(at), in.current_A, 18.0).voltage_V;
                };
                const auto open_volts = [&](const Vector& at) {
                    return voltkeel::voltage_at(cell, unpack(at), in.current_A, 18.0).ocv_V;
                };
                Eigen::RowVectorXd h(size);
                for (int c = 0; c < size; ++c) {
                    Vector up = x;
                    Vector down = x;
                    up(c) += 1e-6;
                    down(c) -= 1e-6;
                    h(c) = (c == 0 ? open_volts(up) - open_volts(down) : volts(up) - volts(down)) /
                           2e-6;
                }
                const double predicted_V = volts(x);
                const double predicted_soc = x(0);
                const double voltage_V = predicted_V + 0.004 * random.normal();
                const double overvoltage_V =
                    voltkeel::voltage_at(cell, unpack(x), in.current_A, 18.0).overvoltage_V;
                const double share_V = settings.overvoltage_share_std * overvoltage_V;
                const double measurement_var =
                    std::pow(below_low_soc(x(0)), 2) *
                    (settings.voltage_std_V * settings.voltage_std_V + share_V * share_V);
                const double innovation_var = (h * p * h.transpose())(0) + measurement_var;
                const Vector gain = p * h.transpose() / innovation_var;
                const Matrix left = Matrix::Identity(size, size) - gain * h;
                p = left * p * left.transpose() + gain * measurement_var * gain.transpose();
                x += gain * (voltage_V - predicted_V);
                x(branches + 1) = std::clamp(x(branches + 1), -1.0, 1.0);

                const auto& e = filter.step({in.current_A, voltage_V, 18, dt_s});
                CAPTURE(run, k, time_s);
                REQUIRE(e.updated);
                const auto& s = filter.state();
                // A difference across a kink of a table is no derivative: such a step is not
                // compared.
                if (clear_of_kinks(cell, predicted_soc) && clear_of_kinks(cell, middle_soc)) {
                    ++compared;
                    REQUIRE(apart(e.voltage_predicted_V, predicted_V) < 1e-7);
                    REQUIRE(apart(e.innovation_std_V, std::sqrt(innovation_var)) <
                            1e-6 * std::sqrt(innovation_var));
                    REQUIRE(apart(s.cell.soc, x(0)) < 1e-7);
                    for (int i = 0; i < branches; ++i)
                        REQUIRE(apart(s.cell.branch_V[i], x(1 + i)) < 1e-7);
                    REQUIRE(apart(s.cell.hysteresis, x(branches + 1)) < 1e-6);
                    REQUIRE(apart(s.log_scale, x(branches + 2)) < 1e-6);
                    REQUIRE(apart(s.cell.resistance_scale, std::exp(x(branches + 2))) < 1e-6);
                    for (int i = 0; i < size; ++i) {
                        for (int c = 0; c < size; ++c) {
                            CAPTURE(i, c, p(i, c), s.covariance(i, c));
                            REQUIRE(apart(s.covariance(i, c), p(i, c)) <
                                    1e-5 * std::sqrt(p(i, i) * p(c, c)));
                        }
                    }
                }
                // Each step is compared on its own: go on from the filter's numbers.
                x(0) = s.cell.soc;
                for (int i = 0; i < branches; ++i)
                    x(1 + i) = s.cell.branch_V[i];
                x(branches + 1) = s.cell.hysteresis;
                x(branches + 2) = s.log_scale;
                for (int i = 0; i < size; ++i) {
                    for (int c = 0; c < size; ++c)
                        p(i, c) = s.covariance(i, c);
                }
            }
        }
        CHECK(compared > 390);
    }
}

TEMPLATE_TEST_CASE("20 points wrong at the start, 3 points right after ten minutes of driving",
                   "[soc_filter]", VOLTKEEL_SCALARS) {
    Random random(8);
    for (int run = 0; run < 12; ++run) {
        auto exact = voltkeel_test::random_cell<3>(random);
        const auto owned = voltkeel_test::cell_cast<TestType>(exact);
        Truth<3> truth{exact, {}, random};
        truth.state.soc = random.uniform(0.35, 0.65);
        const double wrong = truth.state.soc + (run % 2 == 0 ? 0.2 : -0.2);
        auto settings = test_settings<TestType>();
        settings.voltage_std_V = TestType(0.015);  // room for the bend of the OCV over 20 points
        auto filter = started_filter(owned, settings, wrong, 0.2);
        double error = 0;
        for (int k = 0; k <= 600; ++k) {
            (void)filter.step(sample_cast<TestType>(
                truth.sample(load_C(k) * exact.scalars.capacity_Ah, 20, k == 0 ? 0 : 1)));
            error = apart(filter.estimate().soc, truth.state.soc);
        }
        CAPTURE(run, wrong, truth.state.soc, error, filter.estimate().soc_std);
        // Hysteresis (up to 20 mV) is unknown at the start and half-learnt by then.
        CHECK(error < 0.03);
        CHECK(filter.estimate().soc_std < TestType(0.03));
    }
}

TEST_CASE("float follows double for two hours", "[soc_filter]") {
    Random random(9);
    for (int run = 0; run < 4; ++run) {
        const auto exact = voltkeel_test::random_cell<3>(random);
        const auto in_float = voltkeel_test::cell_cast<float>(exact);
        Truth<3> truth{exact, {}, random};
        truth.state.soc = 0.7;
        auto wide = started_filter(exact, test_settings<double>(), 0.6, 0.1);
        auto narrow = started_filter(in_float, test_settings<float>(), 0.6, 0.1);
        double worst_soc = 0;
        double worst_std = 0;
        for (int k = 0; k < 72000; ++k) {
            const auto s =
                truth.sample(load_C(0.1 * k) * exact.scalars.capacity_Ah, 15, k == 0 ? 0 : 0.1);
            const auto& a = wide.step(s);
            const auto& b = narrow.step(sample_cast<float>(s));
            worst_soc = std::max(worst_soc, apart(a.soc, b.soc));
            worst_std = std::max(worst_std, apart(a.soc_std, b.soc_std) / a.soc_std);
        }
        CAPTURE(run, worst_soc, worst_std, wide.estimate().soc_std);
        CHECK(wide.state().update_count == narrow.state().update_count);
        // A float voltage is good to 2.4e-7 V; both stay far below the spread (0.3 % and more).
        CHECK(worst_soc < 1e-4);
        CHECK(worst_std < 1e-2);
        CHECK(worst_soc > 0);
    }
}

// ---------------------------------------------------------------------------------------------
// Does the spread mean what it says? Bar-Shalom, Li, Kirubarajan, Estimation with Applications to
// Tracking and Navigation (2001), section 5.4: normalised squared errors of state and innovation
// over Monte-Carlo runs are chi-square (from memory, not re-read).

TEST_CASE("errors are as large as the filter says, over 200 runs", "[soc_filter]") {
    constexpr int branches = 2;
    constexpr int size = branches + 3;
    constexpr int runs = 200;
    constexpr int steps = 900;
    constexpr int looks = 6;
    Random random(10);
    // Slightly curved, so that the filter must linearise, but not beyond what an EKF can follow.
    OwnedCell<double, branches> owned = voltkeel_test::linear_cell<double, branches>();
    owned.ocv.clear();
    for (int k = 0; k <= 20; ++k) {
        const double soc = k / 20.0;
        owned.ocv.push_back({3.3 + 0.9 * soc - 0.1 * soc * (1 - soc), 0.01, 0.0001});
    }
    owned.scalars.hysteresis_rate = 5;
    auto settings = test_settings<double>();
    settings.gate = 100;  // a gate would cut the tails the test counts
    settings.soc_std_floor = 0;
    settings.low_soc_growth = 0;  // the truth below errs alike at every SOC
    settings.log_scale_std_initial = 0.05;
    settings.hysteresis_std_initial = 0.2;
    const auto cell = owned.view();

    std::array<double, looks> state_sum{};
    std::array<int, looks> inside{};
    double innovation_sum = 0;
    double innovation_product = 0;
    int innovations = 0;
    for (int run = 0; run < runs; ++run) {
        SocFilter<double, branches> filter;
        REQUIRE(filter.configure(cell, settings) == Status::ok);
        REQUIRE(filter.start(0.6, 0.03, 25) == Status::ok);
        CellState<double, branches> truth;
        truth.soc = 0.6 + 0.03 * random.normal();
        for (double& u : truth.branch_V)
            u = settings.rest_std_V * random.normal();
        truth.hysteresis = std::clamp(settings.hysteresis_std_initial * random.normal(), -1., 1.);
        double log_scale = settings.log_scale_std_initial * random.normal();
        double last = 0;
        for (int k = 1; k <= steps; ++k) {
            const double current_A = 3 * load_C(k + 17.0 * run);
            voltkeel::step(cell, {current_A, 1, 25}, truth);
            truth.soc += settings.soc_std_per_sqrt_h / 60 * random.normal();
            for (int i = 0; i < branches; ++i) {
                const double kept = std::exp(-1 / LinearShape{}.branch_time_s[i]);
                const double end_V = LinearShape{}.branch_ohm[i] * current_A;
                truth.branch_V[i] +=
                    std::sqrt(1 - kept * kept) *
                    std::hypot(settings.branch_share_std * end_V, settings.rest_std_V) *
                    random.normal();
            }
            const double walked = std::exp(-cell.hysteresis_rate *
                                           std::abs(voltkeel::soc_gain(cell, current_A, 1.0)));
            truth.hysteresis +=
                std::sqrt(1 - walked * walked) * settings.hysteresis_std_walked * random.normal();
            log_scale += settings.log_scale_std_per_sqrt_h / 60 * random.normal();
            truth.resistance_scale = std::exp(log_scale);
            const auto point = voltkeel::voltage_at(cell, truth, current_A, 25.0);
            const double voltage_std_V = std::hypot(
                settings.voltage_std_V, settings.overvoltage_share_std * point.overvoltage_V);
            const auto& e =
                filter.step({current_A, point.voltage_V + voltage_std_V * random.normal(), 25, 1});
            REQUIRE(e.updated);
            const double normalised = e.innovation_V / e.innovation_std_V;
            innovation_sum += normalised * normalised;
            innovation_product += normalised * last;
            last = normalised;
            ++innovations;
            if (k % (steps / looks) != 0) continue;
            const auto look = static_cast<std::size_t>(k / (steps / looks) - 1);
            const auto& s = filter.state();
            Eigen::VectorXd error(size);
            Eigen::MatrixXd p(size, size);
            error(0) = truth.soc - s.cell.soc;
            for (int i = 0; i < branches; ++i)
                error(1 + i) = truth.branch_V[i] - s.cell.branch_V[i];
            error(branches + 1) = truth.hysteresis - s.cell.hysteresis;
            error(branches + 2) = log_scale - s.log_scale;
            for (int i = 0; i < size; ++i) {
                for (int c = 0; c < size; ++c)
                    p(i, c) = s.covariance(i, c);
            }
            state_sum[look] += error.dot(p.ldlt().solve(error));
            inside[look] += std::abs(error(0)) < 1.959964 * e.soc_std ? 1 : 0;
        }
    }
    // One in a million on either side: any seed passes a sound filter, a spread 12 % off fails.
    const double tail = 1e-6;
    const boost::math::chi_squared state_law(runs * size);
    const boost::math::binomial inside_law(runs, 0.95);
    for (std::size_t look = 0; look < looks; ++look) {
        CAPTURE(look, state_sum[look] / (runs * size), inside[look]);
        CHECK(state_sum[look] > quantile(state_law, tail));
        CHECK(state_sum[look] < quantile(complement(state_law, tail)));
        CHECK(inside[look] >= quantile(inside_law, tail) - 1);
        CHECK(inside[look] <= quantile(complement(inside_law, tail)) + 1);
    }
    const boost::math::chi_squared innovation_law(innovations);
    CAPTURE(innovation_sum / innovations);
    CHECK(innovation_sum > quantile(innovation_law, tail));
    CHECK(innovation_sum < quantile(complement(innovation_law, tail)));
    // White: neighbours are uncorrelated within five standard deviations of the mean product.
    CHECK(std::abs(innovation_product / innovations) < 5 / std::sqrt(double(innovations)));
}
