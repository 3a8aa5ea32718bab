// Small numbers added to a large one: nothing may get lost on the way.

#include <catch2/catch.hpp>
#include <cmath>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/compensated_sum.hpp"

using voltkeel::add_compensated;

TEST_CASE("a float sum keeps increments below its last place", "[compensated_sum]") {
    // 1 A for 10 ms on 100 Ah.
    const float increment = 1.0F * 0.01F / (3600.0F * 100.0F);
    float naive = 0.5F;
    float sum = 0.5F;
    float carry = 0.0F;
    for (int k = 0; k < 360000; ++k) {
        naive += increment;
        add_compensated(sum, carry, increment);
    }
    CHECK(naive == 0.5F);
    // One hour of 1 A is 1 % of 100 Ah; half a last place of 0.51 is 3e-8.
    CHECK(std::abs(static_cast<double>(sum) - 0.51) < 6e-8);
}

TEMPLATE_TEST_CASE("random increments add up to the exact sum", "[compensated_sum]",
                   VOLTKEEL_SCALARS) {
    voltkeel_test::Random random(1);
    const double half_last_place = std::is_same_v<TestType, float> ? 6e-8 : 1.2e-16;
    for (int run = 0; run < 20; ++run) {
        TestType sum = TestType(0.7);
        TestType naive = sum;
        TestType carry = 0;
        long double exact = static_cast<long double>(sum);
        const double size = std::pow(10.0, random.uniform(-9, -3));
        for (int k = 0; k < 20000; ++k) {
            // Charge and discharge about in balance, so that the sum stays near one.
            const TestType increment = static_cast<TestType>(size * random.normal());
            add_compensated(sum, carry, increment);
            naive += increment;
            exact += static_cast<long double>(increment);
        }
        CAPTURE(run, size, naive);
        // Second-order term of Kahan's bound: the square of the last place times the sum of sizes.
        const double bound = 2 * half_last_place * (1 + std::abs(static_cast<double>(exact)));
        CHECK(std::abs(static_cast<double>(static_cast<long double>(sum) - exact)) < bound);
        // What was kept back has the sign the header states: sum - carry is closer still.
        const long double full = static_cast<long double>(sum) - static_cast<long double>(carry);
        // What is left is the rounding of increment minus carry, adding up like a random walk.
        CHECK(std::abs(static_cast<double>(full - exact)) <
              8 * half_last_place * (size + half_last_place) * std::sqrt(20000.0) + 3e-17);
    }
}

TEST_CASE("the carry is what the sum still owes", "[compensated_sum]") {
    float sum = 1.0F;
    float carry = 0.0F;
    add_compensated(sum, carry, 1e-9F);
    CHECK(sum == 1.0F);
    CHECK(carry == -1e-9F);
    add_compensated(sum, carry, 0.0F);
    CHECK(carry == -1e-9F);
    add_compensated(sum, carry, -1e-9F);
    CHECK(sum == 1.0F);
    CHECK(carry == 0.0F);
}
