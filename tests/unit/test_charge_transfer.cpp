// The charge-transfer branch: against an independent integration of its equation, its derivatives
// against differences, its limits for small and large currents.

#include <boost/numeric/odeint.hpp>
#include <catch2/catch.hpp>
#include <cmath>

#include "support/example_cell.hpp"
#include "voltkeel/cell/charge_transfer.hpp"

using voltkeel::charge_transfer_end_V;
using voltkeel::charge_transfer_step;
using voltkeel::ChargeTransfer;
using voltkeel::ChargeTransferStep;

namespace {

struct Case {
    ChargeTransfer<double> at;
    double voltage_V;
    double current_A;
    double dt_s;
};

Case random_case(voltkeel_test::Random& random) {
    Case c;
    c.at = {random.uniform(0.02, 0.25), random.uniform(0.1, 20.0), random.uniform(0.02, 5.0)};
    c.voltage_V = c.at.scale_V * random.uniform(-4, 4);
    c.current_A = random.uniform(-40, 40);
    c.dt_s = std::pow(10.0, random.uniform(-3, 2));
    return c;
}

template <class Change>
double slope(const Change& of, double h) {
    return (of(h) - of(-h)) / (2 * h);
}

}  // namespace

// The equation itself, written once more: tau w' = (s / I0) (I - I0 sinh(w / s)).
TEST_CASE("the step is the solution of its equation (Boost.Odeint, controlled Dormand-Prince)",
          "[charge_transfer]") {
    voltkeel_test::Random random(31);
    namespace odeint = boost::numeric::odeint;
    for (int n = 0; n < 300; ++n) {
        const Case c = random_case(random);
        CAPTURE(n, c.at.scale_V, c.at.exchange_current_A, c.at.time_s, c.voltage_V, c.current_A,
                c.dt_s);
        double w = c.voltage_V;
        const auto rate = [&](const double& x, double& dxdt, double) {
            dxdt = c.at.scale_V / c.at.exchange_current_A / c.at.time_s *
                   (c.current_A - c.at.exchange_current_A * std::sinh(x / c.at.scale_V));
        };
        odeint::integrate_adaptive(
            odeint::make_controlled<odeint::runge_kutta_dopri5<double, double, double, double,
                                                               odeint::vector_space_algebra>>(
                1e-13, 1e-12),
            rate, w, 0.0, c.dt_s, 1e-6 * c.dt_s);
        const double step_V =
            charge_transfer_step(c.at, c.voltage_V, c.current_A, c.dt_s).voltage_V;
        CHECK(std::abs(step_V - w) < 1e-9 * c.at.scale_V * 10);
    }
}

TEST_CASE("one long step is many short ones, and the end is s asinh(I / I0)", "[charge_transfer]") {
    voltkeel_test::Random random(32);
    for (int n = 0; n < 2000; ++n) {
        const Case c = random_case(random);
        CAPTURE(n, c.at.scale_V, c.at.exchange_current_A, c.at.time_s, c.voltage_V, c.current_A,
                c.dt_s);
        const auto whole = charge_transfer_step(c.at, c.voltage_V, c.current_A, c.dt_s);
        double w = c.voltage_V;
        for (int k = 0; k < 10; ++k)
            w = charge_transfer_step(c.at, w, c.current_A, c.dt_s / 10).voltage_V;
        CHECK(std::abs(w - whole.voltage_V) < 1e-12);
        const double end_V = c.at.scale_V * std::asinh(c.current_A / c.at.exchange_current_A);
        CHECK(std::abs(whole.end_V - end_V) < 1e-14);
        CHECK(std::abs(charge_transfer_end_V(c.at, c.current_A) - end_V) < 1e-14);
        CHECK(std::abs(charge_transfer_step(c.at, c.voltage_V, c.current_A, 1e6).voltage_V -
                       end_V) < 1e-13);
        CHECK(std::abs(charge_transfer_step(c.at, c.voltage_V, c.current_A, 0.0).voltage_V -
                       c.voltage_V) < 1e-15);
        // Odd in current and voltage.
        CHECK(charge_transfer_step(c.at, -c.voltage_V, -c.current_A, c.dt_s).voltage_V ==
              -whole.voltage_V);
    }
}

TEST_CASE("a small current sees a linear branch", "[charge_transfer]") {
    const ChargeTransfer<double> at{0.08, 4.0, 0.7};
    const double current_A = 1e-4;
    for (const double dt_s : {0.01, 0.3, 2.0, 30.0}) {
        const double linear_V =
            at.scale_V / at.exchange_current_A * current_A * -std::expm1(-dt_s / at.time_s);
        CHECK(charge_transfer_step(at, 0.0, current_A, dt_s).voltage_V ==
              Approx(linear_V).epsilon(1e-8));
    }
    CHECK(charge_transfer_step(ChargeTransfer<double>{}, 0.1, 3.0, 1.0).voltage_V == 0);
}

TEST_CASE("the derivatives of the step are those of differences", "[charge_transfer]") {
    voltkeel_test::Random random(33);
    constexpr double h = 1e-5;
    for (int n = 0; n < 2000; ++n) {
        const Case c = random_case(random);
        CAPTURE(n, c.at.scale_V, c.at.exchange_current_A, c.at.time_s, c.voltage_V, c.current_A,
                c.dt_s);
        const ChargeTransferStep<double> step =
            charge_transfer_step(c.at, c.voltage_V, c.current_A, c.dt_s);
        const auto with = [&](double log_scale, double log_exchange, double log_time) {
            const ChargeTransfer<double> at{c.at.scale_V * std::exp(log_scale),
                                            c.at.exchange_current_A * std::exp(log_exchange),
                                            c.at.time_s * std::exp(log_time)};
            return charge_transfer_step(at, c.voltage_V, c.current_A, c.dt_s).voltage_V;
        };
        const auto close = [](double analytic, double difference) {
            return std::abs(analytic - difference) < 1e-7 + 1e-5 * std::abs(difference);
        };
        CHECK(close(step.by_voltage, slope(
                                         [&](double d) {
                                             return charge_transfer_step(c.at, c.voltage_V + d,
                                                                         c.current_A, c.dt_s)
                                                 .voltage_V;
                                         },
                                         1e-6)));
        CHECK(close(step.by_current, slope(
                                         [&](double d) {
                                             return charge_transfer_step(c.at, c.voltage_V,
                                                                         c.current_A + d, c.dt_s)
                                                 .voltage_V;
                                         },
                                         h)));
        CHECK(close(step.by_log_scale, slope([&](double d) { return with(d, 0, 0); }, h)));
        CHECK(close(step.by_log_exchange, slope([&](double d) { return with(0, d, 0); }, h)));
        CHECK(close(step.by_log_time, slope([&](double d) { return with(0, 0, d); }, h)));
        CHECK(step.by_voltage >= 0);
        CHECK(step.by_voltage <= 1 + 1e-12);
    }
}

TEST_CASE("in float the branch stays within a part in a thousand of its scale",
          "[charge_transfer]") {
    voltkeel_test::Random random(34);
    double worst = 0;
    for (int n = 0; n < 20000; ++n) {
        const Case c = random_case(random);
        const ChargeTransfer<float> at{static_cast<float>(c.at.scale_V),
                                       static_cast<float>(c.at.exchange_current_A),
                                       static_cast<float>(c.at.time_s)};
        const double single = static_cast<double>(
            charge_transfer_step(at, static_cast<float>(c.voltage_V),
                                 static_cast<float>(c.current_A), static_cast<float>(c.dt_s))
                .voltage_V);
        const double full = charge_transfer_step(c.at, c.voltage_V, c.current_A, c.dt_s).voltage_V;
        worst = std::max(worst, std::abs(single - full) / c.at.scale_V);
    }
    CHECK(worst < 1e-3);
    CHECK(worst > 0);
}
