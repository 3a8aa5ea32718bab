// The SOC filter on a cell with charge transfer: its equations against dense matrices made of
// differences, its convergence, and what it does with bad input.

#include <Eigen/Dense>
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <type_traits>

#include "support/scalars.hpp"
#include "support/transfer_cell.hpp"
#include "voltkeel/estimate/soc_filter.hpp"

using voltkeel::CellSample;
using voltkeel::CellState;
using voltkeel::SocFilter;
using voltkeel::SocFilterSettings;
using voltkeel::SocFilterState;
using voltkeel::Status;
using voltkeel_test::apart;
using voltkeel_test::Random;
using voltkeel_test::TransferCell;

namespace {

constexpr int branches = 2;
constexpr int lags = branches + 1;
constexpr int size = lags + 3;
constexpr int at_hysteresis = lags + 1;
constexpr int at_scale = lags + 2;

template <class Real>
using Filter = SocFilter<Real, branches, true>;
template <class Real>
using Belief = SocFilterState<Real, branches, true>;
using State = CellState<double, branches, true>;
using Cell = TransferCell<double, branches>;

static_assert(Filter<float>::size == size);
static_assert(SocFilter<float, branches, false>::size == size - 1);

/// Settings of these tests: every number that the dense matrices need is stated.
template <class Real>
SocFilterSettings<Real> test_settings() {
    SocFilterSettings<Real> s;
    s.voltage_std_V = Real(0.01);
    s.overvoltage_share_std = Real(0.05);
    s.update_interval_s = Real(1);
    s.soc_std_per_sqrt_h = Real(0.01);
    s.branch_share_std = Real(0.05);
    s.log_scale_std_per_sqrt_h = Real(0.05);
    s.log_scale_std_initial = Real(0.1);
    s.hysteresis_std_initial = Real(0.3);
    s.hysteresis_std_walked = Real(0.03);
    s.rest_std_V = Real(0.002);
    s.soc_std_floor = Real(0.003);
    return s;
}

/// The cell of the filter's scalar, made from the exact one.
[[maybe_unused]] TransferCell<double, branches> as(const Cell& cell, double /*scalar*/) {
    return cell;
}
TransferCell<float, branches> as(const Cell& cell, float /*scalar*/) {
    return voltkeel_test::in_float(cell);
}

/// Load of a vehicle in C: pulses either way over a mean, deterministic in time.
double load_C(double time_s) {
    return 1.2 * std::sin(time_s / 7) + 0.8 * std::sin(time_s / 41 + 1) +
           0.4 * std::sin(time_s / 433 + 2) - 0.15;
}

template <class Real>
CellSample<Real> sample_cast(const CellSample<double>& s) {
    return {static_cast<Real>(s.current_A), static_cast<Real>(s.voltage_V),
            static_cast<Real>(s.temperature_degC), static_cast<Real>(s.dt_s)};
}

/// A cell walked along the model, measured with noise.
struct Truth {
    const Cell& cell;
    Random& random;
    double voltage_std_V{0.003};
    State state{};

    CellSample<double> sample(double current_A, double temperature_degC, double dt_s) {
        if (dt_s > 0) voltkeel::step(cell.view(), {current_A, dt_s, temperature_degC}, state);
        const auto point = voltkeel::voltage_at(cell.view(), state, current_A, temperature_degC);
        return {current_A, point.voltage_V + voltage_std_V * random.normal(), temperature_degC,
                dt_s};
    }
};

/// Smallest eigenvalue of the covariance scaled to a unit diagonal; negative infinity when the
/// diagonal is not positive.
template <class Real>
double smallest_scaled_eigenvalue(const Belief<Real>& s) {
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

template <class Real>
bool all_finite(const Belief<Real>& s) {
    bool good = std::isfinite(s.cell.soc) && std::isfinite(s.cell.hysteresis) &&
                std::isfinite(s.cell.resistance_scale) && std::isfinite(s.log_scale);
    for (const Real u : s.cell.branch_V)
        good = good && std::isfinite(u);
    for (const Real p : s.spread.lower)
        good = good && std::isfinite(p);
    return good;
}

bool clear_of_kinks(const Cell& cell, double soc) {
    const auto clear = [](double t) { return std::abs(t - std::round(t)) > 1e-4; };
    return clear(soc * (static_cast<double>(cell.ocv.size()) - 1)) &&
           clear(soc * (cell.scalars.resistance.soc.count - 1)) &&
           std::abs(soc - cell.scalars.charge_rise.soc_start) > 1e-5;
}

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;

State unpack(const Vector& x) {
    State s;
    s.soc = x(0);
    for (int i = 0; i < lags; ++i)
        s.branch_V[i] = x(1 + i);
    s.hysteresis = x(at_hysteresis);
    s.resistance_scale = std::exp(x(at_scale));
    return s;
}

Vector pack(const State& s, double log_scale) {
    Vector x(size);
    x(0) = s.soc;
    for (int i = 0; i < lags; ++i)
        x(1 + i) = s.branch_V[i];
    x(at_hysteresis) = s.hysteresis;
    x(at_scale) = log_scale;
    return x;
}

/// Derivatives of a function of the state by central differences, one column each.
template <class Of>
Matrix differences(const Of& of, const Vector& x) {
    Matrix slopes(of(x).size(), size);
    for (int c = 0; c < size; ++c) {
        Vector up = x;
        Vector down = x;
        up(c) += 1e-6;
        down(c) -= 1e-6;
        slopes.col(c) = (of(up) - of(down)) / 2e-6;
    }
    return slopes;
}

}  // namespace

TEST_CASE("with charge transfer every step equals the textbook filter in dense matrices",
          "[soc_filter][charge_transfer]") {
    Random random(71);
    int compared = 0;
    const auto square = [](double a) { return a * a; };
    for (int run = 0; run < 12; ++run) {
        const Cell owned = voltkeel_test::random_transfer_cell<branches>(random);
        const auto cell = owned.view();
        const auto settings = test_settings<double>();
        Filter<double> filter;
        REQUIRE(filter.configure(cell, settings) == Status::ok);
        REQUIRE(filter.start(random.uniform(0.2, 0.9), 0.03, 18) == Status::ok);
        double time_s = 0;
        for (int k = 0; k < 40; ++k) {
            const double dt_s = random.uniform(1, 3);
            time_s += dt_s;
            const voltkeel::CellInput<double> in{load_C(time_s) * cell.capacity_Ah, dt_s, 18};
            // Each step on its own, from the filter's numbers.
            Vector x = pack(filter.state().cell, filter.state().log_scale);
            Matrix p(size, size);
            for (int i = 0; i < size; ++i) {
                for (int c = 0; c < size; ++c)
                    p(i, c) = filter.state().covariance(i, c);
            }
            const double gain_soc = voltkeel::soc_gain(cell, in.current_A, in.dt_s);
            const double middle_soc = x(0) + 0.5 * gain_soc;
            const auto transition = [&](const Vector& at) -> Vector {
                State s = unpack(at);
                voltkeel::step(cell, in, s);
                return pack(s, at(at_scale));
            };
            Matrix f = differences(transition, x);
            // What the resistances change over SOC tells the filter nothing of the SOC.
            f.col(0).segment(1, lags).setZero();
            const auto below_low_soc = [&](double soc) {
                return 1 + settings.low_soc_growth * std::max(0.0, 1 - soc / settings.low_soc);
            };
            Matrix q = Matrix::Zero(size, size);
            q(0, 0) = square(settings.soc_std_per_sqrt_h) * dt_s / 3600;
            q(at_scale, at_scale) = square(settings.log_scale_std_per_sqrt_h) * dt_s / 3600;
            const auto r = voltkeel::resistance_at(cell.resistance, middle_soc, 18.0).value;
            const double rise_ohm =
                in.current_A > 0 ? voltkeel::charge_rise_at(cell.charge_rise, middle_soc).value : 0;
            for (int i = 0; i < lags; ++i) {
                // Of a lag that keeps the share `d` of itself: the spread that its steady state
                // needs to stay as it is.
                const double d = f(1 + i, 1 + i);
                const double end_V =
                    i < branches
                        ? (r.branch_ohm[i] + (i == branches - 1 ? rise_ohm : 0)) * in.current_A
                        : r.transfer.scale_V *
                              std::asinh(in.current_A / r.transfer.exchange_current_A);
                q(1 + i, 1 + i) = (1 - d * d) * (square(settings.branch_share_std * end_V) +
                                                 square(settings.rest_std_V));
            }
            const double walked = std::exp(-cell.hysteresis_rate * std::abs(gain_soc));
            q(at_hysteresis, at_hysteresis) =
                (1 - walked * walked) * square(settings.hysteresis_std_walked);
            x = transition(x);
            p = f * p * f.transpose() + q;

            const auto volts = [&](const Vector& at) -> Vector {
                return Vector::Constant(
                    1, voltkeel::voltage_at(cell, unpack(at), in.current_A, 18.0).voltage_V);
            };
            const auto open_volts = [&](const Vector& at) -> Vector {
                return Vector::Constant(
                    1, voltkeel::voltage_at(cell, unpack(at), in.current_A, 18.0).ocv_V);
            };
            Eigen::RowVectorXd h = differences(volts, x);
            h(0) = differences(open_volts, x)(0, 0);
            const double predicted_V = volts(x)(0);
            const double predicted_soc = x(0);
            const double voltage_V = predicted_V + 0.004 * random.normal();
            const double overvoltage_V =
                voltkeel::voltage_at(cell, unpack(x), in.current_A, 18.0).overvoltage_V;
            const double measurement_var = square(below_low_soc(x(0))) *
                                           (square(settings.voltage_std_V) +
                                            square(settings.overvoltage_share_std * overvoltage_V));
            const double innovation_var = (h * p * h.transpose())(0) + measurement_var;
            const Vector gain = p * h.transpose() / innovation_var;
            const Matrix left = Matrix::Identity(size, size) - gain * h;
            p = left * p * left.transpose() + gain * measurement_var * gain.transpose();
            x += gain * (voltage_V - predicted_V);
            x(at_hysteresis) = std::clamp(x(at_hysteresis), -1.0, 1.0);

            const auto& e = filter.step({in.current_A, voltage_V, 18, dt_s});
            CAPTURE(run, k, time_s, in.current_A, dt_s);
            REQUIRE(e.updated);
            if (!clear_of_kinks(owned, predicted_soc) || !clear_of_kinks(owned, middle_soc))
                continue;  // a difference across a kink of a table is no derivative
            ++compared;
            const auto& s = filter.state();
            REQUIRE(apart(e.voltage_predicted_V, predicted_V) < 1e-9);
            REQUIRE(apart(e.innovation_std_V, std::sqrt(innovation_var)) <
                    1e-6 * std::sqrt(innovation_var));
            const Vector found = pack(s.cell, s.log_scale);
            for (int i = 0; i < size; ++i) {
                CAPTURE(i, found(i), x(i));
                REQUIRE(apart(found(i), x(i)) < 1e-6 * std::sqrt(p(i, i)) + 1e-9);
                for (int c = 0; c < size; ++c) {
                    CAPTURE(c, p(i, c), s.covariance(i, c));
                    REQUIRE(apart(s.covariance(i, c), p(i, c)) <
                            1e-5 * std::sqrt(p(i, i) * p(c, c)));
                }
            }
        }
    }
    CHECK(compared > 440);
}

TEMPLATE_TEST_CASE("a cell with charge transfer is found again from 20 points below",
                   "[soc_filter][charge_transfer]", VOLTKEEL_SCALARS) {
    Random random(72);
    const double eigenvalue_bound = std::is_same_v<TestType, float> ? -1e-4 : -1e-10;
    int looked = 0;
    int inside = 0;
    for (int run = 0; run < 10; ++run) {
        const Cell exact = voltkeel_test::random_transfer_cell<branches>(random);
        const auto owned = as(exact, TestType(0));
        Truth truth{exact, random};
        truth.state.soc = random.uniform(0.45, 0.8);
        truth.state.resistance_scale = random.uniform(0.9, 1.1);
        Filter<TestType> filter;
        auto settings = test_settings<TestType>();
        settings.voltage_std_V = TestType(0.015);  // room for the bend of the OCV over 20 points
        REQUIRE(filter.configure(owned.view(), settings) == Status::ok);
        REQUIRE(filter.start(static_cast<TestType>(truth.state.soc - 0.2), TestType(0.2),
                             TestType(20)) == Status::ok);
        double lowest = 1;
        double error = 0;
        for (int k = 0; k <= 1800; ++k) {
            (void)filter.step(sample_cast<TestType>(
                truth.sample(load_C(k) * exact.scalars.capacity_Ah, 20, k == 0 ? 0 : 1)));
            error = apart(filter.estimate().soc, truth.state.soc);
            lowest = std::min(lowest, smallest_scaled_eigenvalue(filter.state()));
            if (k >= 600) {
                ++looked;
                inside += error < 3 * static_cast<double>(filter.estimate().soc_std) ? 1 : 0;
            }
        }
        CAPTURE(run, truth.state.soc, error, filter.estimate().soc_std, lowest);
        CHECK(error < 0.03);
        CHECK(filter.estimate().soc_std < TestType(0.03));
        CHECK(lowest > eigenvalue_bound);
        // w itself comes out right as well, within the spread that the filter states.
        const double w_std_V =
            std::sqrt(static_cast<double>(filter.state().covariance(lags, lags)));
        CHECK(apart(filter.state().cell.branch_V[branches], truth.state.branch_V[branches]) <
              4 * w_std_V + 1e-4);
    }
    CAPTURE(inside, looked);
    CHECK(inside >= 0.99 * looked);
}

TEMPLATE_TEST_CASE("no sample makes the filter of a cell with charge transfer lose its numbers",
                   "[soc_filter][charge_transfer]", VOLTKEEL_SCALARS) {
    using limits = std::numeric_limits<TestType>;
    Random random(73);
    const auto owned = as(voltkeel_test::random_transfer_cell<branches>(random), TestType(0));
    Filter<TestType> filter;
    REQUIRE(filter.configure(owned.view(), test_settings<TestType>()) == Status::ok);
    REQUIRE(filter.start(TestType(0.6), TestType(0.1), TestType(25)) == Status::ok);
    const TestType most_A = TestType(999) * owned.scalars.capacity_Ah;  // just possible
    const TestType special[] = {limits::quiet_NaN(),
                                limits::infinity(),
                                -limits::infinity(),
                                limits::max(),
                                TestType(1e6),
                                most_A,
                                -most_A};
    const double eigenvalue_bound = std::is_same_v<TestType, float> ? -1e-4 : -1e-10;
    double lowest = 1;
    for (int k = 0; k < 30000; ++k) {
        const TestType soc = filter.state().cell.soc;
        CellSample<TestType> s;
        s.current_A = static_cast<TestType>(random.uniform(-3, 3)) * owned.scalars.capacity_Ah;
        s.voltage_V = voltkeel::ocv_at(filter.cell().ocv, soc, TestType(20)).mean_V +
                      static_cast<TestType>(random.uniform(-0.1, 0.1));
        s.temperature_degC = static_cast<TestType>(random.uniform(-30, 60));
        s.dt_s = static_cast<TestType>(std::pow(10.0, random.uniform(-3, 1)));
        for (TestType* value : {&s.current_A, &s.voltage_V, &s.temperature_degC, &s.dt_s}) {
            const int kind = random.whole(0, 69);
            if (kind < 7) *value = special[kind];
            if (kind == 7) *value = -*value;
            if (kind == 8) *value = TestType(0);
        }
        const auto& e = filter.step(s);
        CAPTURE(k, s.current_A, s.voltage_V, s.temperature_degC, s.dt_s, e.fault_bits);
        REQUIRE(all_finite(filter.state()));
        REQUIRE(e.soc >= TestType(0));
        REQUIRE(e.soc <= TestType(1));
        REQUIRE(std::isfinite(e.soc_std));
        REQUIRE(std::isfinite(e.voltage_predicted_V));
        REQUIRE(std::isfinite(e.innovation_std_V));
        if (std::isnan(s.voltage_V)) {
            REQUIRE((e.fault_bits & voltkeel::fault_voltage_not_finite) != 0);
            REQUIRE_FALSE(e.updated);
        }
        if (k % 23 == 0) {
            lowest = std::min(lowest, smallest_scaled_eigenvalue(filter.state()));
            REQUIRE(lowest > eigenvalue_bound);
        }
    }
    CHECK(filter.state().update_count > 1000);
    CHECK(filter.state().rejected_count > 0);
}

TEMPLATE_TEST_CASE(
    "started under load on a cell with charge transfer the truth is within the spread",
    "[soc_filter][charge_transfer]", VOLTKEEL_SCALARS) {
    Random random(74);
    int within_two = 0;
    constexpr int runs = 60;
    for (int run = 0; run < runs; ++run) {
        const Cell exact = voltkeel_test::random_transfer_cell<branches>(random);
        const auto owned = as(exact, TestType(0));
        Filter<TestType> filter;
        REQUIRE(filter.configure(owned.view(), test_settings<TestType>()) == Status::ok);
        const double current_A = random.uniform(-1, 1) * exact.scalars.capacity_Ah;
        State state;
        state.soc = random.uniform(0.2, 0.8);
        state.hysteresis = random.uniform(-1, 1);
        const bool long_on = run % 2 == 0;
        const auto r = voltkeel::resistance_at(exact.view().resistance, state.soc, 20.0).value;
        const double transfer_V =
            r.transfer.scale_V * std::asinh(current_A / r.transfer.exchange_current_A);
        // The charge transfer is over within seconds of either start.
        state.branch_V[branches] = transfer_V;
        for (int i = 0; i < branches && long_on; ++i)
            state.branch_V[i] = r.branch_ohm[i] * current_A;
        const double voltage_V =
            voltkeel::voltage_at(exact.view(), state, current_A, 20.0).voltage_V;
        REQUIRE(filter.start_from_voltage(static_cast<TestType>(voltage_V),
                                          static_cast<TestType>(current_A),
                                          TestType(20)) == Status::ok);
        const auto soc_std = static_cast<double>(filter.estimate().soc_std);
        CAPTURE(run, long_on, current_A, state.soc, filter.estimate().soc, soc_std);
        within_two += apart(filter.estimate().soc, state.soc) < 2 * soc_std ? 1 : 0;
        CHECK(soc_std <= 0.31);
        // w starts half-way, with the other half as its spread.
        const auto here = voltkeel::resistance_at(exact.view().resistance,
                                                  static_cast<double>(filter.estimate().soc), 20.0)
                              .value.transfer;
        const double half_V = 0.5 * here.scale_V * std::asinh(current_A / here.exchange_current_A);
        CHECK(apart(filter.state().cell.branch_V[branches], half_V) < 1e-5);
        CHECK(static_cast<double>(filter.state().covariance(lags, lags)) ==
              Approx(half_V * half_V + 0.002 * 0.002).epsilon(1e-3));
    }
    CHECK(within_two >= 50);  // five in six
}

TEST_CASE("with charge transfer float follows double for an hour",
          "[soc_filter][charge_transfer]") {
    Random random(75);
    for (int run = 0; run < 4; ++run) {
        const Cell exact = voltkeel_test::random_transfer_cell<branches>(random);
        const auto small = voltkeel_test::in_float(exact);
        Truth truth{exact, random};
        truth.state.soc = 0.7;
        Filter<double> wide;
        Filter<float> narrow;
        REQUIRE(wide.configure(exact.view(), test_settings<double>()) == Status::ok);
        REQUIRE(narrow.configure(small.view(), test_settings<float>()) == Status::ok);
        REQUIRE(wide.start(0.6, 0.1, 15) == Status::ok);
        REQUIRE(narrow.start(0.6F, 0.1F, 15.0F) == Status::ok);
        double worst_soc = 0;
        double worst_std = 0;
        for (int k = 0; k < 36000; ++k) {
            const auto s =
                truth.sample(load_C(0.1 * k) * exact.scalars.capacity_Ah, 15, k == 0 ? 0 : 0.1);
            const auto& a = wide.step(s);
            const auto& b = narrow.step(sample_cast<float>(s));
            worst_soc = std::max(worst_soc, apart(a.soc, b.soc));
            worst_std = std::max(worst_std, apart(a.soc_std, b.soc_std) / a.soc_std);
        }
        CAPTURE(run, worst_soc, worst_std);
        CHECK(wide.state().update_count == narrow.state().update_count);
        // The same bounds as without charge transfer, see test_soc_filter.cpp.
        CHECK(worst_soc < 1e-4);
        CHECK(worst_std < 1e-2);
        CHECK(worst_soc > 0);
    }
}
