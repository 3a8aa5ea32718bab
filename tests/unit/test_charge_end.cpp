// The end of a charge to full: when it is told, when it is not, and what it makes of the capacity.

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <limits>
#include <string>

#include "support/error_text.hpp"
#include "support/made_tests.hpp"
#include "support/scalars.hpp"
#include "voltkeel/estimate/charge_end.hpp"
#include "voltkeel/io/age_of_log.hpp"

using voltkeel::ChargeEndDetector;
using voltkeel::ChargeEndSettings;
using voltkeel::Status;

namespace {

template <class Real>
ChargeEndSettings<Real> usual() {
    ChargeEndSettings<Real> settings;
    settings.voltage_V = Real(4.2);
    settings.end_current_A = Real(0.1);
    return settings;
}

/// How often a charge ends full whose last sample before it stops is this.
template <class Real>
int ends(double current_A, double voltage_V, double temperature_degC) {
    ChargeEndDetector<Real> detector;
    REQUIRE(detector.configure(usual<Real>()) == Status::ok);
    int count = 0;
    for (const double held_A : {2.0, 1.0, 0.5, current_A, 0.0, 0.0}) {
        count += detector.step(static_cast<Real>(held_A),
                               static_cast<Real>(held_A > 0 ? voltage_V : voltage_V - 0.02),
                               static_cast<Real>(temperature_degC))
                     ? 1
                     : 0;
    }
    return count;
}

}  // namespace

TEMPLATE_TEST_CASE("a charge has ended full where the current fell at the held voltage",
                   "[charge_end]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    CHECK(ends<Real>(0.1, 4.2, 25) == 1);
    CHECK(ends<Real>(0.105, 4.195, 25) == 1);
    CHECK(ends<Real>(0.08, 4.2, 25) == 1);
    CHECK(ends<Real>(0.15, 4.2, 25) == 0);  // stopped before
    CHECK(ends<Real>(0.1, 4.1, 25) == 0);   // at another voltage
    CHECK(ends<Real>(0.1, 4.2, 5) == 0);    // in the cold
    CHECK(ends<Real>(-3, 4.2, 25) == 0);    // driven off in mid-charge
    CHECK(ends<Real>(0.1, std::numeric_limits<double>::quiet_NaN(), 25) == 0);

    ChargeEndDetector<Real> detector;
    REQUIRE(detector.configure(usual<Real>()) == Status::ok);
    CHECK(detector.soc() == Real(1));
    CHECK(detector.soc_std() == Real(0.005));
    ChargeEndSettings<Real> bad = usual<Real>();
    bad.end_current_A = Real(0);
    CHECK(detector.configure(bad) == Status::out_of_range);
    CHECK(validate(bad).field == std::string("end_current_A"));
    bad.end_current_A = std::numeric_limits<Real>::quiet_NaN();
    CHECK(detector.configure(bad) == Status::not_finite);
    CHECK(detector.settings().end_current_A == Real(0.1));
}

TEST_CASE("charges to full tell the capacity where a full cell never rests", "[charge_end][age]") {
    // The tested cell is full at the end of its charge: the held voltage is what that takes.
    voltkeel::Cell tested = voltkeel_test::made_cell();
    tested.thermal.core_resistance_K_per_W = 0;
    tested.thermal.core_heat_capacity_J_per_K = 0;
    for (const double capacity_scale : {1.0, 0.88}) {
        voltkeel::Cell cell = tested;
        cell.capacity_Ah *= capacity_scale;
        voltkeel_test::Random random(8);
        voltkeel::Log log;
        log.source = "days.csv";
        voltkeel::AgeSettings settings;
        ChargeEndSettings<double>& full = settings.charge_end.emplace();
        full.end_current_A = 0.01 * tested.capacity_Ah;  // hardly any overvoltage is left
        voltkeel::with_form(cell, [&](auto form) {
            using Form = decltype(form);
            const voltkeel::CellTables<double, Form::branches, Form::transfer> tables(cell);
            const auto parameters = tables.parameters();
            voltkeel::CellState<double, Form::branches, Form::transfer> state;
            const auto at_full = voltkeel::resistance_at(parameters.resistance, 1.0, 20.0).value;
            const auto ocv = voltkeel::ocv_at(parameters.ocv, 1.0, 20.0);
            full.voltage_V = ocv.mean_V + ocv.half_gap_V +
                             full.end_current_A * direct_current_resistance_ohm(at_full);
            double time_s = 0;
            const auto row = [&](double current_A, double row_s) {
                voltkeel::step(parameters, {current_A, row_s, 20}, state);
                time_s += row_s;
                log.time_s.push_back(time_s);
                log.current_A.push_back(current_A);
                log.voltage_V.push_back(
                    voltkeel::voltage_at(parameters, state, current_A, 20.0).voltage_V +
                    0.0005 * random.normal());
                log.temperature_degC.push_back(20);
            };
            const auto rest = [&](double duration_s) {
                for (double t = 0; t < duration_s; t += 10)
                    row(0, 10);
            };
            state.soc = 0.3;
            rest(7200);
            for (int cycle = 0; cycle < 3; ++cycle) {
                double current_A = 0.7 * tested.capacity_Ah;
                while (current_A > full.end_current_A) {
                    row(current_A, 10);
                    const auto now = voltkeel::voltage_at(parameters, state, current_A, 20.0);
                    const double over_V = now.voltage_V - full.voltage_V;
                    if (over_V > 0) current_A -= over_V / now.by_current;
                }
                rest(60);
                CHECK(std::abs(state.soc - 1) < 0.008);
                const double low = random.uniform(0.15, 0.4);
                while (state.soc > low)
                    row(-random.uniform(0.1, 1) * tested.capacity_Ah, 10);
                rest(7200);
            }
        });
        const voltkeel::AgeOfLog found = voltkeel::age_of_log(tested, log, {}, settings);
        std::printf("capacity from charges to full: %.3f (std %.3f, true %.2f), %d rests\n",
                    found.age.capacity_scale, found.age.capacity_log_std, capacity_scale,
                    found.rests);
        CAPTURE(voltkeel_test::seed(), capacity_scale, found.age.capacity_scale);
        CHECK(found.full_charges == 3);
        CHECK(found.rests == 4);
        CHECK(found.capacity_intervals == 6);
        CHECK(std::abs(found.age.capacity_scale / capacity_scale - 1) < 0.015);
        CHECK(std::abs(std::log(found.age.capacity_scale / capacity_scale)) <
              3 * found.age.capacity_log_std);
        // Without them the rests at the low end say next to nothing.
        settings.charge_end->voltage_V += 0.1;
        const voltkeel::AgeOfLog blind = voltkeel::age_of_log(tested, log, {}, settings);
        CHECK(blind.full_charges == 0);
        CHECK(blind.capacity_intervals < 3);
        settings.charge_end->end_current_A = -1;
        CHECK_THAT(voltkeel_test::error_text(
                       [&] { (void)voltkeel::age_of_log(tested, log, {}, settings); }),
                   Catch::Contains("end_current_A") && Catch::Contains("-1"));
    }
}
