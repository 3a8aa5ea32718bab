// Parts beside the cells: rating, I2t and time-current curve against the heat balance of one mass.

#include "support/scalars.hpp"
#include "voltkeel/limits/component.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>

namespace {

using voltkeel::component_current_A;
using voltkeel::LimitComponent;
using voltkeel::LimitReason;
using voltkeel::Status;
using voltkeel::TimeCurrentPoint;
using voltkeel::warmth_after;

template <class Real>
LimitComponent<Real> fuse() {
    LimitComponent<Real> part;
    part.kind = LimitReason::fuse;
    part.rated_A = Real(100);
    part.i2t_A2s = Real(200000);  // tau 20 s
    part.used_share = Real(0.8);
    return part;
}

}  // namespace

TEMPLATE_TEST_CASE("a part without I2t carries its rating, and never more than its ceilings",
                   "[limits][component]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    LimitComponent<Real> part;
    part.rated_A = Real(80);
    CHECK(component_current_A(part, true, Real(1)) == Real(80));
    part.charge_A = Real(30);
    CHECK(component_current_A(part, true, Real(1)) == Real(30));
    CHECK(component_current_A(part, false, Real(1)) == Real(80));
    CHECK(warmth_after(part, Real(500), Real(10)) == Real(0));
}

TEMPLATE_TEST_CASE("at short times a fuse carries what its I2t says, for ever its rating",
                   "[limits][component]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto part = fuse<Real>();
    // I^2 t = 0.8 I2t where no heat leaves in that time: 10 ms are 1/2000 of the time constant.
    const Real short_A = component_current_A(part, false, Real(0.01));
    CHECK(double(short_A) == Approx(std::sqrt(0.8 * 200000 / 0.01)).epsilon(5e-4));
    const Real lasting_A = component_current_A(part, false, std::numeric_limits<Real>::infinity());
    CHECK(double(lasting_A) == Approx(100 * std::sqrt(0.8)).epsilon(1e-5));
    CHECK(component_current_A(part, true, Real(0)) == LimitComponent<Real>::unlimited);
}

TEMPLATE_TEST_CASE("the allowed current held over the horizon ends at the used share",
                   "[limits][component]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    for (const double warmth : {0.0, 0.3, 0.7}) {
        for (const double horizon_s : {0.5, 2.0, 10.0, 30.0, 300.0}) {
            auto part = fuse<Real>();
            part.warmth = static_cast<Real>(warmth);
            const Real allowed_A = component_current_A(part, false, static_cast<Real>(horizon_s));
            // Euler's rule with many steps: own second way through the heat balance.
            double w = warmth;
            constexpr int steps = 200000;
            for (int k = 0; k < steps; ++k) {
                const double per_rated = double(allowed_A) / 100;
                w += horizon_s / steps / 20 * (per_rated * per_rated - w);
            }
            CAPTURE(warmth, horizon_s, double(allowed_A));
            CHECK(w == Approx(0.8).epsilon(1e-3));
            CHECK(double(warmth_after(part, allowed_A, static_cast<Real>(horizon_s))) ==
                  Approx(0.8).epsilon(1e-5));
        }
    }
    auto part = fuse<Real>();
    part.warmth = Real(0.95);
    CHECK(component_current_A(part, false, Real(0.1)) == Real(0));
}

TEMPLATE_TEST_CASE("a time-current curve is read on straight lines of the logarithms",
                   "[limits][component]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const TimeCurrentPoint<Real> curve[] = {
        {Real(0.01), Real(1000)}, {Real(1), Real(400)}, {Real(100), Real(160)}};
    LimitComponent<Real> part;
    part.kind = LimitReason::cable;
    part.rated_A = Real(100);
    part.curve = curve;
    part.curve_count = 3;
    part.used_share = Real(1);
    CHECK(double(component_current_A(part, true, Real(0.001))) == Approx(1000));
    CHECK(double(component_current_A(part, true, Real(1))) == Approx(400));
    CHECK(double(component_current_A(part, true, Real(10))) ==
          Approx(std::sqrt(400.0 * 160.0)).epsilon(1e-5));
    CHECK(double(component_current_A(part, true, Real(0.1))) ==
          Approx(std::sqrt(1000.0 * 400.0)).epsilon(1e-5));
    CHECK(component_current_A(part, true, Real(101)) == Real(100));
    part.used_share = Real(0.25);
    CHECK(double(component_current_A(part, true, Real(1))) == Approx(200));
    // The share never takes it below what it carries for ever.
    CHECK(component_current_A(part, true, Real(100)) == Real(100));
    part.i2t_A2s = Real(10000);  // the stricter of both
    CHECK(component_current_A(part, true, Real(1)) < Real(200));
}

TEST_CASE("parts that cannot be are refused, with field, value and bound", "[limits][component]") {
    const auto bad = [](auto&& change, const char* field, Status status = Status::out_of_range) {
        auto part = fuse<double>();
        change(part);
        const auto finding = voltkeel::validate(part, 4);
        CHECK(finding.status == status);
        CHECK(std::string(finding.field) == field);
    };
    const double nan = std::numeric_limits<double>::quiet_NaN();
    using Part = LimitComponent<double>;
    CHECK(voltkeel::validate(fuse<double>()).status == Status::ok);
    bad([](Part& p) { p.kind = LimitReason::voltage; }, "kind");
    bad([](Part& p) { p.string = -2; }, "string");
    bad([&](Part& p) { p.charge_A = nan; }, "charge_A");
    bad([](Part& p) { p.discharge_A = -1; }, "discharge_A");
    bad([](Part& p) { p.rated_A = 0; }, "rated_A");
    bad([](Part& p) { p.rated_A = Part::unlimited; }, "rated_A");
    bad([&](Part& p) { p.i2t_A2s = nan; }, "i2t_A2s", Status::not_finite);
    bad([](Part& p) { p.used_share = 0; }, "used_share");
    bad([](Part& p) { p.warmth = -0.1; }, "warmth");
    TimeCurrentPoint<double> curve[] = {{1, 400}, {1, 300}};
    const auto with_curve = [&](Part& p) {
        p.curve = curve;
        p.curve_count = 2;
    };
    bad(with_curve, "curve.time_s", Status::not_increasing);
    curve[1] = {2, 500};
    bad(with_curve, "curve.current_A");
    curve[1] = {2, nan};
    bad(with_curve, "curve", Status::not_finite);
    bad([&](Part& p) { p.curve = curve, p.curve_count = 1; }, "curve", Status::missing_table);
}
