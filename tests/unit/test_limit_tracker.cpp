// Limits over time: closing, opening, band, grace ramp, and the budget of pulses.

#include "support/scalars.hpp"
#include "voltkeel/limits/tracker.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>

#include "support/example_cell.hpp"
#include "support/seed.hpp"

namespace {

using voltkeel::LimitReason;
using voltkeel::LimitTracker;
using voltkeel::PackHorizonLimit;
using voltkeel::Status;
using voltkeel::TrackerSettings;

/// Limits of 10 s and for ever, of a pack of 100 V and 0.1 ohm.
template <class Real>
struct Raw {
    PackHorizonLimit<Real> limit[2];

    Raw(double pulse_A, double lasting_A) {
        for (int k = 0; k < 2; ++k) {
            const double size_A = k == 0 ? pulse_A : lasting_A;
            limit[k].horizon_s = k == 0 ? Real(10) : voltkeel::continuous_horizon_s<Real>;
            for (const double sign : {1.0, -1.0}) {
                auto& d = sign > 0 ? limit[k].charge : limit[k].discharge;
                d.current_A = static_cast<Real>(sign * size_A);
                d.rest_voltage_V = Real(100);
                d.end_voltage_V = static_cast<Real>(100 + sign * 0.1 * size_A);
                d.power_W = d.current_A * d.end_voltage_V;
                d.reason = LimitReason::voltage;
            }
        }
    }
};

template <class Real>
TrackerSettings<Real> plain_settings() {
    TrackerSettings<Real> s;
    s.opening_time_s = Real(5);
    s.band = Real(0);
    s.grace_s = Real(2);
    return s;
}

template <class Real>
struct Follow {
    LimitTracker<Real, 2> tracker;
    PackHorizonLimit<Real> out[2];

    explicit Follow(const TrackerSettings<Real>& settings) {
        REQUIRE(tracker.set(settings) == Status::ok);
    }
    /// Discharge limit of 10 s after a tick (magnitude).
    double tick(const Raw<Real>& raw, double current_A = 0, double dt_s = 0.1) {
        REQUIRE(tracker.update(raw.limit, 2, static_cast<Real>(current_A), static_cast<Real>(dt_s),
                               out) == Status::ok);
        return -double(out[0].discharge.current_A);
    }
};

}  // namespace

TEMPLATE_TEST_CASE("a limit closes at once and opens at its rate", "[limits][tracker]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Follow<Real> f(plain_settings<Real>());
    CHECK(f.tick({200, 100}) == Approx(200));
    CHECK(f.tick({150, 100}) == Approx(150));
    CHECK(f.tick({80, 60}) == Approx(80));
    double before = 80;
    for (int k = 0; k < 29; ++k) {  // 200 A in 5 s are 4 A a tick
        const double now = f.tick({200, 100});
        CHECK(now == Approx(before + 4).epsilon(1e-5));
        CHECK(f.out[0].discharge.reason == LimitReason::opening);
        CHECK(double(f.out[0].discharge.binding_value) == Approx(200));
        // The voltage follows the current, the power both.
        CHECK(double(f.out[0].discharge.end_voltage_V) == Approx(100 - 0.1 * now).epsilon(1e-5));
        CHECK(double(f.out[0].discharge.power_W) == Approx(-now * (100 - 0.1 * now)).epsilon(1e-5));
        before = now;
    }
    CHECK(f.tick({200, 100}) == Approx(200).epsilon(1e-5));
    CHECK(f.out[0].discharge.reason == LimitReason::voltage);
}

TEMPLATE_TEST_CASE("a limit does not chatter around a constraint", "[limits][tracker][property]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto settings = plain_settings<Real>();
    settings.band = Real(0.04);
    voltkeel_test::Random random(31);
    CAPTURE(voltkeel_test::seed());
    Follow<Real> f(settings);
    for (int k = 0; k < 200; ++k)
        f.tick({100 * random.uniform(0.99, 1.01), 60});
    // Noise of 1 % stays in the band of 4 %: after it has settled nothing opens any more.
    double settled = f.tick({100, 60});
    CHECK(settled > 96);
    CHECK(settled <= 100);
    for (int k = 0; k < 500; ++k) {
        const auto found = static_cast<Real>(100 * random.uniform(0.99, 1.01));
        const double now = f.tick({static_cast<double>(found), 60});
        CHECK(now <= static_cast<double>(found));
        CHECK(now <= settled);
        CHECK(now >= 98.9);  // it closes on the lowest of the noise and stays
        settled = now;
    }
}

TEMPLATE_TEST_CASE("a window that is left ends in nothing after the grace time",
                   "[limits][tracker]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    Follow<Real> f(plain_settings<Real>());
    f.tick({100, 60});
    Raw<Real> empty(0, 0);
    for (auto& limit : empty.limit)
        limit.discharge.reason = LimitReason::soc;
    for (int k = 1; k <= 20; ++k) {
        const double now = f.tick(empty);
        CHECK(now == Approx(std::max(0.0, 100 - 5.0 * k)).margin(1e-4));
        CHECK(double(f.out[1].discharge.current_A) <= 0);
    }
    CHECK(f.tick(empty) == 0);
    CHECK(double(f.out[0].discharge.power_W) == 0);
    // Back inside: it opens at its rate again.
    CHECK(f.tick({100, 60}) == Approx(2));
    // A part beside the cells that allows nothing ends it at once.
    Raw<Real> open(0, 0);
    for (auto& limit : open.limit)
        limit.discharge.reason = LimitReason::contactor;
    CHECK(f.tick(open) == 0);
}

TEMPLATE_TEST_CASE("a limit of 10 s used for 10 s is used up, and recovers", "[limits][tracker]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto settings = plain_settings<Real>();
    settings.opening_time_s = Real(0);
    settings.recovery_ratio = Real(4);
    Follow<Real> f(settings);
    const Raw<Real> raw(200, 100);
    f.tick(raw);
    for (int k = 0; k < 50; ++k)
        f.tick(raw, -200);
    CHECK(double(f.tracker.discharge_used(0)) == Approx(0.5).epsilon(1e-4));
    // Half used: the mean of the squares.
    CHECK(-double(f.out[0].discharge.current_A) ==
          Approx(std::sqrt(0.5 * (200.0 * 200 + 100.0 * 100))).epsilon(1e-4));
    CHECK(f.out[0].discharge.reason == LimitReason::pulse_used);
    double now = 0;
    for (int k = 0; k < 50; ++k)
        now = f.tick(raw, -200);
    CHECK(double(f.tracker.discharge_used(0)) == Approx(1).epsilon(1e-4));
    CHECK(now == Approx(100).epsilon(1e-3));  // what flows for ever is left
    CHECK(-double(f.out[1].discharge.current_A) == Approx(100));
    CHECK(double(f.tracker.charge_used(0)) == 0);  // the other direction was not touched
    // At rest it recovers in four horizons; at the continuous limit it does not.
    for (int k = 0; k < 100; ++k)
        now = f.tick(raw, -100);
    CHECK(now == Approx(100).epsilon(1e-3));
    for (int k = 0; k < 200; ++k)
        now = f.tick(raw, 0);
    CHECK(double(f.tracker.discharge_used(0)) == Approx(0.5).epsilon(1e-3));
    for (int k = 0; k < 200; ++k)
        now = f.tick(raw, 0);
    CHECK(double(f.tracker.discharge_used(0)) == Approx(0).margin(1e-3));
    CHECK(now == Approx(200).epsilon(1e-3));
}

TEMPLATE_TEST_CASE("who follows the shrinking limit never uses the pulse up", "[limits][tracker]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto settings = plain_settings<Real>();
    settings.opening_time_s = Real(0);
    Follow<Real> f(settings);
    const Raw<Real> raw(200, 100);
    double current_A = f.tick(raw);
    for (int k = 0; k < 100; ++k)
        current_A = f.tick(raw, -current_A);
    // b' = (1 - b) / h: after one horizon 1 - 1/e.
    CHECK(double(f.tracker.discharge_used(0)) == Approx(1 - std::exp(-1)).epsilon(0.01));
    for (int k = 0; k < 3000; ++k) {
        const double next_A = f.tick(raw, -current_A);
        CHECK(next_A <= current_A * (1 + 1e-6));
        CHECK(next_A >= 100 * (1 - 1e-6));
        current_A = next_A;
    }
}

TEMPLATE_TEST_CASE("whatever comes in, the limits stay in order and below what was found",
                   "[limits][tracker][property]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    voltkeel_test::Random random(32);
    CAPTURE(voltkeel_test::seed());
    TrackerSettings<Real> settings;
    settings.grace_s = Real(0);
    Follow<Real> f(settings);
    for (int k = 0; k < 5000; ++k) {
        const double pulse_A = random.uniform(0, 1) < 0.1 ? 0 : random.uniform(0, 300);
        const Raw<Real> raw(pulse_A, pulse_A * random.uniform(0, 1));
        f.tick(raw, random.uniform(-400, 400), random.uniform(0, 3));
        for (int h = 0; h < 2; ++h) {
            CHECK(f.out[h].charge.current_A >= Real(0));
            CHECK(f.out[h].charge.current_A <= raw.limit[h].charge.current_A * Real(1.00001));
            CHECK(f.out[h].discharge.current_A <= Real(0));
            CHECK(f.out[h].discharge.current_A >= raw.limit[h].discharge.current_A * Real(1.00001));
        }
        CHECK(f.out[0].charge.current_A >= f.out[1].charge.current_A * Real(0.99999));
        CHECK(f.out[0].discharge.current_A <= f.out[1].discharge.current_A * Real(0.99999));
        CHECK(f.tracker.charge_used(0) >= Real(0));
        CHECK(f.tracker.charge_used(0) <= Real(1));
    }
}

TEST_CASE("a tracker refuses what it cannot use and stays as it was", "[limits][tracker]") {
    Follow<double> f(plain_settings<double>());
    f.tick({100, 60});
    const double nan = std::numeric_limits<double>::quiet_NaN();
    Raw<double> raw(50, 30);
    PackHorizonLimit<double> out[2];
    CHECK(f.tracker.update(raw.limit, 2, nan, 0.1, out) == Status::sample_not_finite);
    CHECK(f.tracker.update(raw.limit, 2, 0, nan, out) == Status::sample_not_finite);
    CHECK(f.tracker.update(raw.limit, 2, 0, -0.1, out) == Status::time_step_invalid);
    CHECK(f.tracker.update(raw.limit, 2, 0, 11, out) == Status::time_step_invalid);
    CHECK(f.tracker.update(raw.limit, 3, 0, 0.1, out) == Status::out_of_range);
    CHECK(f.tracker.update(nullptr, 2, 0, 0.1, out) == Status::out_of_range);
    raw.limit[1].charge.current_A = nan;
    CHECK(f.tracker.update(raw.limit, 2, 0, 0.1, out) == Status::sample_not_finite);
    CHECK(f.tick({100, 60}) == Approx(100));
    TrackerSettings<double> bad;
    bad.band = nan;
    CHECK(f.tracker.set(bad) == Status::not_finite);
    bad.band = 0.6;
    CHECK(std::string(voltkeel::validate(bad).field) == "band");
    f.tracker.restart();
    CHECK(f.tick({300, 60}) == Approx(300));
}
