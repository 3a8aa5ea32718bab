// Counting charge alone: exact, honest about what it cannot know, and worse than the filter.

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/estimate/coulomb_counter.hpp"

using voltkeel::CoulombCounter;
using voltkeel::CoulombCounterSettings;
using voltkeel::Status;

TEMPLATE_TEST_CASE("the counter counts to the last ampere-second", "[coulomb_counter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    CoulombCounterSettings<Real> settings;
    settings.capacity_Ah = Real(100);
    settings.coulombic_efficiency = Real(0.99);
    CoulombCounter<Real> counter;
    REQUIRE(counter.configure(settings) == Status::ok);
    REQUIRE(counter.start(Real(0.5), Real(0.01)) == Status::ok);
    // 1 A in steps of 10 ms adds nothing to a float of 0.5 by itself.
    for (int tick = 0; tick < 360000; ++tick)
        (void)counter.step({Real(-1), Real(0), Real(0), Real(0.01)});
    CHECK(static_cast<double>(counter.estimate().soc) == Approx(0.49).margin(1e-6));
    for (int tick = 0; tick < 3600; ++tick)
        (void)counter.step({Real(10), Real(0), Real(0), Real(1)});
    CHECK(static_cast<double>(counter.estimate().soc) == Approx(0.49 + 0.099).margin(1e-6));
}

TEMPLATE_TEST_CASE("the counter's spread is that of what it cannot know", "[coulomb_counter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    voltkeel_test::Random random(71);
    CAPTURE(voltkeel_test::seed());
    double squares = 0;
    const int lives = 2000;
    for (int life = 0; life < lives; ++life) {
        CoulombCounterSettings<Real> settings;
        settings.capacity_Ah = Real(10);
        settings.current_offset_std_A = Real(0.05);
        CoulombCounter<Real> counter;
        REQUIRE(counter.configure(settings) == Status::ok);
        const double start = 0.8;
        double truth = start + 0.01 * random.normal();
        REQUIRE(counter.start(static_cast<Real>(start), Real(0.01)) == Status::ok);
        const double capacity_Ah = 10 * (1 + 0.02 * random.normal());
        const double gain = 1 + 0.005 * random.normal();
        const double offset_A = 0.05 * random.normal();
        for (int minute = 0; minute < 120; ++minute) {
            const double current_A = minute % 3 == 0 ? 1 : -4;
            truth += current_A / 60 / capacity_Ah;
            (void)counter.step(
                {static_cast<Real>(current_A * gain + offset_A), Real(0), Real(0), Real(60)});
        }
        squares += std::pow((static_cast<double>(counter.estimate().soc) - truth) /
                                static_cast<double>(counter.estimate().soc_std),
                            2) /
                   lives;
    }
    CHECK(std::sqrt(squares) == Approx(1).margin(0.1));
}

TEMPLATE_TEST_CASE("bad input of the counter is flagged", "[coulomb_counter]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    CoulombCounterSettings<Real> settings;
    CoulombCounter<Real> counter;
    CHECK(counter.start(Real(0.5), Real(0.1)) == Status::missing_table);
    CHECK(counter.configure(settings) == Status::out_of_range);
    CHECK(validate(settings).field == std::string("capacity_Ah"));
    settings.capacity_Ah = Real(10);
    REQUIRE(counter.configure(settings) == Status::ok);
    CHECK(counter.step({}).fault_bits == voltkeel::fault_not_started);
    CHECK(counter.start(nan, Real(0.1)) == Status::sample_not_finite);
    CHECK(counter.start(Real(1.5), Real(0.1)) == Status::out_of_range);
    REQUIRE(counter.start(Real(0.5), Real(0.1)) == Status::ok);
    (void)counter.step({Real(-36), Real(0), Real(0), Real(10)});
    const auto& bad = counter.step({nan, nan, nan, Real(10)});
    CHECK(bad.fault_bits == voltkeel::fault_current_not_finite);
    CHECK(static_cast<double>(bad.soc) == Approx(0.5 - 0.02));  // the last good current
    CHECK(counter.step({Real(1), nan, nan, Real(-5)}).fault_bits ==
          voltkeel::fault_time_step_invalid);
    CHECK((counter.step({Real(100), nan, nan, Real(7200)}).fault_bits &
           voltkeel::fault_soc_bounded) != 0);
    CHECK(counter.estimate().soc == Real(1));
}
