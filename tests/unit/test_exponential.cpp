// How far a first-order lag gets: against the C library in a wider type, over every size of step.

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/exponential.hpp"

using voltkeel::relaxed_fraction;

namespace {

/// The scalar with more digits than the one under test.
[[maybe_unused]] long double wider(double x) {
    return static_cast<long double>(x);
}
double wider(float x) {
    return static_cast<double>(x);
}

/// Distance from the exact value in units of its last place.
template <class Real>
double error_in_last_places(Real x) {
    const auto exact = -std::expm1(-wider(x));
    const Real rounded = static_cast<Real>(exact);
    const auto last_place = wider(std::nextafter(rounded, Real(2))) - wider(rounded);
    return static_cast<double>(std::abs(wider(relaxed_fraction(x)) - exact) / last_place);
}

}  // namespace

TEMPLATE_TEST_CASE("relaxed fraction agrees with expm1 to four units in the last place",
                   "[exponential]", VOLTKEEL_SCALARS) {
    voltkeel_test::Random random(1);
    double worst = 0;
    TestType worst_at = 0;
    const auto look = [&](TestType x) {
        const double error = error_in_last_places(x);
        if (error > worst) {
            worst = error;
            worst_at = x;
        }
    };
    for (int k = 0; k < 100000; ++k)
        look(static_cast<TestType>(std::pow(10.0, random.uniform(-12, 2))));
    // Both sides of every change of formula: half a ln 2, each new power of two, saturation.
    for (int k = 0; k < 64; ++k) {
        TestType x = static_cast<TestType>((k + 0.5) * std::log(2.0));
        for (int n = 0; n < 8; ++n)
            x = std::nextafter(x, TestType(0));
        for (int n = 0; n < 16; ++n, x = std::nextafter(x, TestType(100)))
            look(x);
    }
    for (const double x : {17.9999, 18.0, 18.0001, 36.7, 39.9999, 40.0, 40.0001})
        look(static_cast<TestType>(x));
    CAPTURE(worst_at);
    CHECK(worst < 4);
    CHECK(worst > 0);  // zero everywhere would mean that nothing was compared
}

TEMPLATE_TEST_CASE("relaxed fraction at its ends", "[exponential]", VOLTKEEL_SCALARS) {
    using limits = std::numeric_limits<TestType>;
    CHECK(relaxed_fraction(TestType(0)) == TestType(0));
    CHECK(relaxed_fraction(TestType(-1)) == TestType(0));
    CHECK(relaxed_fraction(-limits::infinity()) == TestType(0));
    CHECK(relaxed_fraction(limits::quiet_NaN()) == TestType(0));
    CHECK(relaxed_fraction(limits::infinity()) == TestType(1));
    CHECK(relaxed_fraction(limits::max()) == TestType(1));
    CHECK(relaxed_fraction(limits::min()) == limits::min());
}

TEMPLATE_TEST_CASE("two relaxations in a row are one of the summed length", "[exponential]",
                   VOLTKEEL_SCALARS) {
    voltkeel_test::Random random(2);
    for (int k = 0; k < 20000; ++k) {
        const TestType x = static_cast<TestType>(std::pow(10.0, random.uniform(-6, 1)));
        const TestType y = static_cast<TestType>(std::pow(10.0, random.uniform(-6, 1)));
        const TestType f = relaxed_fraction(x);
        const TestType together = f + (TestType(1) - f) * relaxed_fraction(y);
        CAPTURE(x, y);
        REQUIRE(std::abs(together - relaxed_fraction(x + y)) <=
                8 * std::numeric_limits<TestType>::epsilon() * relaxed_fraction(x + y));
        REQUIRE(together >= TestType(0));
        REQUIRE(together <= TestType(1));
    }
}

TEST_CASE("relaxed fraction at times every engineer knows", "[exponential]") {
    // 95.02 % after 3, 98.99 % after 4.6 and 99.33 % after 5 time constants: precharge design
    // guide TIDUF73 (2024), to the digits printed there.
    CHECK(std::abs(relaxed_fraction(3.0) - 0.9502) < 5.1e-5);
    CHECK(std::abs(relaxed_fraction(4.6) - 0.9899) < 5.1e-5);
    CHECK(std::abs(relaxed_fraction(5.0) - 0.9933) < 5.1e-5);
    // 1 - 1/e and 1 - 1/sqrt(e): Abramowitz and Stegun, table 4.4 (from memory, not re-read).
    CHECK(std::abs(relaxed_fraction(1.0) - 0.632120558828557678) < 4e-16);
    CHECK(std::abs(relaxed_fraction(0.5) - 0.393469340287366576) < 3e-16);
}

TEMPLATE_TEST_CASE("modest exponential agrees with the C library to ten units in the last place",
                   "[exponential]", VOLTKEEL_SCALARS) {
    voltkeel_test::Random random(2);
    double worst = 0;
    TestType worst_at = 0;
    for (int k = 0; k < 100000; ++k) {
        const auto x = static_cast<TestType>(random.uniform(-1.5, 1.5));
        const auto exact = std::exp(wider(x));
        const auto relative = std::abs(wider(voltkeel::modest_exponential(x)) - exact) / exact;
        const double error =
            static_cast<double>(relative / wider(std::numeric_limits<TestType>::epsilon()));
        if (error > worst) {
            worst = error;
            worst_at = x;
        }
    }
    CAPTURE(worst_at);
    CHECK(worst < 10);  // the fourth power makes four of every unit
    CHECK(worst > 0);
    CHECK(voltkeel::modest_exponential(TestType(0)) == TestType(1));
}

TEMPLATE_TEST_CASE("exponential and logarithm agree with the C library", "[exponential]",
                   VOLTKEEL_SCALARS) {
    using voltkeel::exponential;
    using voltkeel::logarithm;
    voltkeel_test::Random random(3);
    const auto last_place = wider(std::numeric_limits<TestType>::epsilon());
    for (int k = 0; k < 100000; ++k) {
        const auto x = static_cast<TestType>(random.uniform(-60, 60));
        CAPTURE(x);
        const auto exact = std::exp(wider(x));
        REQUIRE(std::abs(wider(exponential(x)) - exact) < 4 * last_place * exact);
        const TestType y = exponential(x);
        const auto size = std::max(std::abs(std::log(wider(y))), wider(TestType(1)));
        REQUIRE(std::abs(wider(logarithm(y)) - std::log(wider(y))) < 4 * last_place * size);
    }
    CHECK(exponential(TestType(0)) == TestType(1));
    CHECK(logarithm(TestType(1)) == TestType(0));
    CHECK(exponential(TestType(1000)) == exponential(TestType(80)));
    CHECK(exponential(TestType(-1000)) > TestType(0));
}
