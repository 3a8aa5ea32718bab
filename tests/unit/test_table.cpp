// Where a value lies on an axis: inside, on nodes, at the ends, outside.

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/table.hpp"

using voltkeel::AxisPosition;
using voltkeel::locate;
using voltkeel::uniform_axis;
using voltkeel::UniformAxis;
using voltkeel_test::apart;

TEMPLATE_TEST_CASE("an axis is laid out from end to end", "[table]", VOLTKEEL_SCALARS) {
    constexpr UniformAxis<TestType> axis = uniform_axis(TestType(-20), TestType(45), 14);
    STATIC_REQUIRE(axis.count == 14);
    CHECK(axis.first == TestType(-20));
    CHECK(std::abs(axis.step - TestType(5)) < TestType(1e-6));
    CHECK(std::abs(axis.inverse_step - TestType(0.2)) < TestType(1e-7));
    CHECK(std::abs(axis.last() - TestType(45)) < TestType(1e-5));
}

TEMPLATE_TEST_CASE("a place inside has its interval and fraction", "[table]", VOLTKEEL_SCALARS) {
    const auto axis = uniform_axis(TestType(0), TestType(1), 5);
    const AxisPosition<TestType> middle = locate(axis, TestType(0.625));
    CHECK(middle.index == 2);
    CHECK(middle.fraction == TestType(0.5));
    CHECK(middle.inside);
    const AxisPosition<TestType> node = locate(axis, TestType(0.75));
    CHECK(node.index == 3);
    CHECK(node.fraction == TestType(0));
    CHECK(node.inside);
}

TEMPLATE_TEST_CASE("outside an axis the nearest end is given", "[table]", VOLTKEEL_SCALARS) {
    using limits = std::numeric_limits<TestType>;
    const auto axis = uniform_axis(TestType(-20), TestType(40), 4);
    for (const TestType value : {TestType(-20.01), TestType(-1e30), -limits::infinity(),
                                 -limits::max(), limits::quiet_NaN()}) {
        CAPTURE(value);
        const AxisPosition<TestType> low = locate(axis, value);
        CHECK(low.index == 0);
        CHECK(low.fraction == TestType(0));
        CHECK_FALSE(low.inside);
    }
    for (const TestType value :
         {TestType(40.01), TestType(1e30), limits::infinity(), limits::max()}) {
        CAPTURE(value);
        const AxisPosition<TestType> high = locate(axis, value);
        CHECK(high.index == 2);
        CHECK(high.fraction == TestType(1));
        CHECK_FALSE(high.inside);
    }
    // The smallest table: one interval.
    const auto shortest = uniform_axis(TestType(0), TestType(1), 2);
    CHECK(locate(shortest, TestType(2)).index == 0);
    CHECK(locate(shortest, TestType(2)).fraction == TestType(1));
}

TEMPLATE_TEST_CASE("both ends of an axis are inside, whatever its number of nodes", "[table]",
                   VOLTKEEL_SCALARS) {
    // A sensor that reads exactly the last temperature of a table is no fault.
    const double ends[][2] = {{0, 1}, {-20, 45}, {-30, 60}, {0.05, 0.95}, {-40, 85}};
    for (const auto& end : ends) {
        for (int count = 2; count <= 201; ++count) {
            const TestType first = static_cast<TestType>(end[0]);
            const TestType last = static_cast<TestType>(end[1]);
            const auto axis = uniform_axis(first, last, count);
            CAPTURE(first, last, count);
            const AxisPosition<TestType> low = locate(axis, first);
            CHECK(low.inside);
            CHECK(low.index == 0);
            CHECK(low.fraction == TestType(0));
            const AxisPosition<TestType> high = locate(axis, last);
            CHECK(high.inside);
            CHECK(apart(high.fraction, count - 1 - high.index) < 2e-5);
        }
    }
}

TEMPLATE_TEST_CASE("index and fraction lead back to the value", "[table]", VOLTKEEL_SCALARS) {
    voltkeel_test::Random random(1);
    for (int k = 0; k < 20000; ++k) {
        const double first = random.uniform(-50, 50);
        const double length = random.uniform(0.1, 200);
        const auto axis = uniform_axis(static_cast<TestType>(first),
                                       static_cast<TestType>(first + length), random.whole(2, 60));
        const TestType value = static_cast<TestType>(first + length * random.uniform(0.001, 0.999));
        const AxisPosition<TestType> place = locate(axis, value);
        CAPTURE(axis.first, axis.step, axis.count, value);
        REQUIRE(place.inside);
        REQUIRE(place.index >= 0);
        REQUIRE(place.index <= axis.count - 2);
        REQUIRE(place.fraction >= TestType(0));
        REQUIRE(place.fraction <= TestType(1));
        const TestType back =
            axis.first + axis.step * (static_cast<TestType>(place.index) + place.fraction);
        REQUIRE(std::abs(back - value) <=
                8 * std::numeric_limits<TestType>::epsilon() * static_cast<TestType>(300));
    }
}
