// What completed charges teach about the taper: exponential tapers, whose times are known, noise,
// pauses, and what is refused.

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>

#include "support/scalars.hpp"
#include "support/seed.hpp"
#include "voltkeel/charge/taper.hpp"

namespace {

using voltkeel::Status;
using voltkeel::TaperLearner;
using voltkeel::TaperTime;

template <class Real>
TaperLearner<Real> learner(double memory_charges = 4) {
    voltkeel::TaperSettings<Real> settings;
    settings.capacity_Ah = Real(3);
    settings.memory_charges = static_cast<Real>(memory_charges);
    TaperLearner<Real> made;
    REQUIRE(made.configure(settings) == Status::ok);
    return made;
}

/// A taper from 3 A to 0.15 A that falls as exp(-t / tau), with noise of a share of the current.
template <class Real>
void charge(TaperLearner<Real>& taper, double tau_s, double dt_s, double noise = 0,
            std::uint64_t seed = 1) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> gauss;
    taper.begin();
    for (int k = 0; k < 30; ++k)
        REQUIRE(taper.step(Real(3), false, static_cast<Real>(dt_s)) == Status::ok);
    for (double t_s = 0;; t_s += dt_s) {
        const double current_A = 3 * std::exp(-t_s / tau_s);
        REQUIRE(taper.step(static_cast<Real>(current_A * (1 + noise * gauss(random))), true,
                           static_cast<Real>(dt_s)) == Status::ok);
        if (current_A <= 0.15) break;
    }
}

template <class Real>
TaperTime<Real> left(const TaperLearner<Real>& taper, double from_A, double end_A) {
    TaperTime<Real> time;
    REQUIRE(taper.time_left(static_cast<Real>(from_A), static_cast<Real>(end_A), time) ==
            Status::ok);
    return time;
}

}  // namespace

TEMPLATE_TEST_CASE("an exponential taper is learned whatever the samples", "[taper]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    for (const double dt_s : {0.5, 7.0, 60.0, 400.0}) {
        auto taper = learner<Real>();
        charge(taper, 800, dt_s);
        REQUIRE(taper.complete() == Status::ok);
        CAPTURE(dt_s);
        for (const double from_A : {2.9, 1.1, 0.4})
            CHECK(double(left(taper, from_A, 0.15).time_s) ==
                  Approx(800 * std::log(from_A / 0.15)).epsilon(1e-3));
        CHECK(left(taper, 0.1, 0.15).time_s == Real(0));
        CHECK(left(taper, 1, 0.15).charges == 1);
        // Known to a tenth from one charge.
        CHECK(double(left(taper, 1, 0.15).std_s) ==
              Approx(0.1 * double(left(taper, 1, 0.15).time_s)).epsilon(1e-2));
    }
}

TEMPLATE_TEST_CASE("noise on the current moves the times little", "[taper]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const std::uint64_t seed = voltkeel_test::seed();
    CAPTURE(seed);
    auto taper = learner<Real>();
    charge(taper, 800, 1, 0.003, seed);
    REQUIRE(taper.complete() == Status::ok);
    CHECK(double(left(taper, 2.5, 0.15).time_s) ==
          Approx(800 * std::log(2.5 / 0.15)).epsilon(0.01));
}

TEMPLATE_TEST_CASE("charges are weighed by their age, and their spread is told", "[taper]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto taper = learner<Real>(2);
    charge(taper, 800, 1);
    REQUIRE(taper.complete() == Status::ok);
    charge(taper, 900, 1);
    REQUIRE(taper.complete() == Status::ok);
    const double old = std::exp(-0.5);
    const double mean_s = (old * 800 + 900) / (old + 1);
    const double time_s = mean_s * std::log(2 / 0.15);
    CHECK(double(left(taper, 2, 0.15).time_s) == Approx(time_s).epsilon(1e-3));
    const double seen2 = (old * 800 * 800 + 900 * 900) / (old + 1) - mean_s * mean_s;
    const double std_s = std::sqrt(seen2 + 0.01 * mean_s * mean_s / (old + 1)) * std::log(2 / 0.15);
    CHECK(double(left(taper, 2, 0.15).std_s) == Approx(std_s).epsilon(0.02));
    for (int k = 0; k < 12; ++k) {
        charge(taper, 1000, 1);
        REQUIRE(taper.complete() == Status::ok);
    }
    CHECK(double(left(taper, 2, 0.15).time_s) == Approx(1000 * std::log(2 / 0.15)).epsilon(2e-3));
    CHECK(taper.state().charges == 14);
}

TEMPLATE_TEST_CASE("what was not completed, or was interrupted, teaches nothing", "[taper]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto taper = learner<Real>();
    TaperTime<Real> time;
    time.time_s = Real(-7);
    CHECK(taper.time_left(Real(1), Real(0.15), time) == Status::not_reached);
    charge(taper, 800, 1);
    taper.begin();  // unplugged before the end
    CHECK(taper.complete() == Status::not_reached);
    charge(taper, 800, 1);
    REQUIRE(taper.step(Real(0), true, Real(1)) == Status::ok);  // a pause: the cell relaxes
    CHECK(taper.complete() == Status::not_reached);
    charge(taper, 800, 1);
    CHECK(taper.step(std::numeric_limits<Real>::quiet_NaN(), true, Real(1)) ==
          Status::sample_not_finite);
    CHECK(taper.complete() == Status::not_reached);
    CHECK(taper.step(Real(1), true, Real(-1)) == Status::time_step_invalid);
    CHECK(taper.state().charges == 0);
    // Down to 0.15 A nothing says how long it takes to 0.01 A.
    charge(taper, 800, 1);
    REQUIRE(taper.complete() == Status::ok);
    CHECK(taper.time_left(Real(1), Real(0.01), time) == Status::not_reached);
    CHECK(taper.time_left(Real(0), Real(0.15), time) == Status::out_of_range);
    CHECK(taper.time_left(Real(100), Real(0.15), time) == Status::out_of_range);
    CHECK(time.time_s == Real(-7));

    TaperLearner<Real> other;
    CHECK(other.step(Real(1), true, Real(1)) == Status::not_started);
    CHECK(other.complete() == Status::not_started);
    CHECK(other.time_left(Real(1), Real(0.15), time) == Status::not_started);
    CHECK(other.restore(taper.state()) == Status::not_started);
    CHECK(other.configure({}) == Status::out_of_range);
    other = learner<Real>();
    auto broken = taper.state();
    broken.weight[3] = Real(-1);
    CHECK(other.restore(broken) == Status::out_of_range);
    REQUIRE(other.restore(taper.state()) == Status::ok);
    CHECK(left(other, 1, 0.15).time_s == left(taper, 1, 0.15).time_s);
}

TEMPLATE_TEST_CASE("a forecast takes the learned taper for its own", "[taper]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto taper = learner<Real>();
    voltkeel::ChargeForecast<Real> forecast;
    forecast.reached = true;
    forecast.time_s = Real(5000);
    forecast.taper_s = Real(3000);
    forecast.taper_from_A = Real(2);
    forecast.end_current_A = Real(0.15);
    TaperTime<Real> time;
    CHECK(voltkeel::learned_time(taper, forecast, Real(0), time) == Status::not_reached);
    CHECK(time.time_s == Real(5000));
    CHECK(time.charges == 0);
    charge(taper, 800, 1);
    REQUIRE(taper.complete() == Status::ok);
    REQUIRE(voltkeel::learned_time(taper, forecast, Real(0), time) == Status::ok);
    CHECK(double(time.time_s) == Approx(2000 + 800 * std::log(2 / 0.15)).epsilon(1e-3));
    // Already at the held voltage, with a current of its own.
    forecast.time_s = Real(3000);
    REQUIRE(voltkeel::learned_time(taper, forecast, Real(0.5), time) == Status::ok);
    CHECK(double(time.time_s) == Approx(800 * std::log(0.5 / 0.15)).epsilon(1e-3));
    forecast.reached = false;
    CHECK(voltkeel::learned_time(taper, forecast, Real(0.5), time) == Status::not_reached);
    CHECK(time.time_s == Real(3000));
}

TEMPLATE_TEST_CASE("the charge under way goes on as it fell last", "[taper]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    for (const double dt_s : {0.5, 7.0, 60.0}) {
        CAPTURE(dt_s);
        auto taper = learner<Real>();
        TaperTime<Real> time;
        time.time_s = Real(-7);
        CHECK(taper.time_left_as_now(Real(0.15), time) == Status::not_reached);
        double current_A = 3;
        for (double t_s = 0; current_A > 0.6; t_s += dt_s) {
            current_A = 3 * std::exp(-t_s / 800);
            REQUIRE(taper.step(static_cast<Real>(current_A), true, static_cast<Real>(dt_s)) ==
                    Status::ok);
            if (current_A > 1.6) {
                // One whole fall tells nothing yet.
                CHECK(taper.time_left_as_now(Real(0.15), time) == Status::not_reached);
            }
        }
        CHECK(time.time_s == Real(-7));
        REQUIRE(taper.time_left_as_now(Real(0.15), time) == Status::ok);
        const double left_s = 800 * std::log(current_A / 0.15);
        CHECK(double(time.time_s) == Approx(left_s).epsilon(2e-3));
        CHECK(time.this_charge);
        CHECK(time.charges == 0);
        // As much again as was seen from the first edge below the start: the spread of 0.1.
        const double seen = std::log(3 / std::sqrt(2.0) / current_A);
        CHECK(double(time.std_s) ==
              Approx(0.1 * left_s * std::log(current_A / 0.15) / seen).epsilon(0.2));
        REQUIRE(taper.time_left_as_now(Real(1), time) == Status::ok);
        CHECK(time.time_s == Real(0));
        // While the current stays, the time passes.
        REQUIRE(taper.time_left_as_now(Real(0.15), time) == Status::ok);
        const double before_s = double(time.time_s);
        REQUIRE(taper.step(static_cast<Real>(current_A), true, Real(100)) == Status::ok);
        REQUIRE(taper.time_left_as_now(Real(0.15), time) == Status::ok);
        CHECK(double(time.time_s) == Approx(before_s - 100).epsilon(1e-4));
        const double kept_s = double(time.time_s);
        CHECK(taper.time_left_as_now(Real(0), time) == Status::out_of_range);
        CHECK(taper.time_left_as_now(std::numeric_limits<Real>::quiet_NaN(), time) ==
              Status::sample_not_finite);
        CHECK(double(time.time_s) == kept_s);
    }
    TaperTime<Real> time;
    CHECK(TaperLearner<Real>().time_left_as_now(Real(0.15), time) == Status::not_started);
}

TEMPLATE_TEST_CASE("model and charge under way are weighed by how sure each is", "[taper]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto taper = learner<Real>();
    voltkeel::ChargeForecast<Real> forecast;
    forecast.reached = true;
    forecast.time_s = forecast.taper_s = Real(2500);
    forecast.taper_from_A = Real(0.8);
    forecast.end_current_A = Real(0.15);
    // The model's taper is 2500 s from its own 0.8 A on. Another measured current says that its SOC
    // is wrong, and the taper shorter, or its overvoltage, and the taper 2500 s long: half of each,
    // and as far apart as they are, the surer is neither.
    const auto model_of = [](double current_A) {
        const double shorter_s = 2500 * std::log(current_A / 0.15) / std::log(0.8 / 0.15);
        const double middle_s = (2500 + shorter_s) / 2;
        return std::array<double, 2>{middle_s, std::hypot(0.2 * middle_s, 2500 - middle_s)};
    };
    TaperTime<Real> time;
    // Nothing seen of this charge.
    REQUIRE(voltkeel::learned_time(taper, forecast, Real(0.5), time) == Status::ok);
    CHECK(double(time.time_s) == Approx(model_of(0.5)[0]).epsilon(1e-5));
    CHECK_FALSE(time.this_charge);
    CHECK(double(time.std_s) == Approx(model_of(0.5)[1]).epsilon(1e-5));
    REQUIRE(voltkeel::learned_time(taper, forecast, Real(0.8), time) == Status::ok);
    CHECK(double(time.time_s) == Approx(2500).epsilon(1e-5));
    CHECK(double(time.std_s) == Approx(500).epsilon(1e-5));
    double current_A = 3;
    for (double t_s = 0; current_A > 0.5; t_s += 1) {
        current_A = 3 * std::exp(-t_s / 800);
        REQUIRE(taper.step(static_cast<Real>(current_A), true, Real(1)) == Status::ok);
    }
    TaperTime<Real> own;
    REQUIRE(taper.time_left_as_now(Real(0.15), own) == Status::ok);
    REQUIRE(voltkeel::learned_time(taper, forecast, static_cast<Real>(current_A), time) ==
            Status::ok);
    const auto [model_s, model_std_s] = model_of(current_A);
    const double model_weight = 1 / std::pow(model_std_s, 2);
    const double own_weight = 1 / std::pow(double(own.std_s), 2);
    CHECK(double(time.time_s) == Approx((model_weight * model_s + own_weight * double(own.time_s)) /
                                        (model_weight + own_weight))
                                     .epsilon(1e-4));
    CHECK(double(time.std_s) == Approx(1 / std::sqrt(model_weight + own_weight)).epsilon(1e-3));
    CHECK(time.this_charge);
    // A model that has the cell full already is no witness.
    forecast.time_s = forecast.taper_s = forecast.taper_from_A = Real(0);
    forecast.end_current_A = Real(0.02);
    REQUIRE(voltkeel::learned_time(taper, forecast, static_cast<Real>(current_A), time,
                                   Real(0.15)) == Status::ok);
    CHECK(time.time_s == own.time_s);
    // What completed charges showed comes first.
    REQUIRE(taper.complete() == Status::ok);
    charge(taper, 900, 1);
    REQUIRE(taper.complete() == Status::ok);
    REQUIRE(voltkeel::learned_time(taper, forecast, Real(0.4), time, Real(0.15)) == Status::ok);
    CHECK(time.charges == 2);
    CHECK_FALSE(time.this_charge);
}
