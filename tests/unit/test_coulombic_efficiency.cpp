// Coulombic efficiency from cycles that come back to full, of cells whose efficiency and whose
// sensor are known.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <vector>

#include "support/coverage.hpp"
#include "support/made_tests.hpp"
#include "support/seed.hpp"
#include "voltkeel/fit/coulombic_efficiency.hpp"

using Catch::Contains;
using voltkeel::CoulombicEfficiencyFit;
using voltkeel::CoulombicEfficiencySettings;
using voltkeel::fit_coulombic_efficiency;
using voltkeel::Log;
using voltkeel_test::Band;
using voltkeel_test::error_text;
using voltkeel_test::made_ocv_V;
using voltkeel_test::Random;
using voltkeel_test::Tally;
using voltkeel_test::text_of;

namespace {

struct Sensor {
    double efficiency{1};
    double offset_A{0};  ///< What is read less what flows, while current flows.
    double gain{1};
    double full_std{0};  ///< How well full repeats, as a share of the capacity.
};

/// Cycles of a 5 Ah cell: from 20 %: a charge, then discharges to 10 %, then constant current
/// to 4.15 V, then that voltage down to C/50; a rest between. \param rates of the cycles, in 1/h
Log cycles(const std::vector<double>& rates, const Sensor& sensor, Random& random) {
    constexpr double capacity_Ah = 5;
    constexpr double ohm = 0.03;
    constexpr double full_V = 4.1;
    constexpr double dt_s = 30;
    Log log;
    log.source = "cycles.csv";
    double soc = 0.2;
    double time_s = 0;
    double before_A = 0;
    const auto row = [&](double current_A) {
        // An edge lies somewhere about the start of the row it is logged with.
        const bool edge = std::abs(current_A - before_A) > 0.2;
        const double flowed_s = dt_s * (edge ? random.uniform(0.5, 1.5) : 1);
        const double rate = current_A > 0 ? sensor.efficiency : 1;
        soc += rate * current_A * flowed_s / 3600 / capacity_Ah;
        before_A = current_A;
        time_s += dt_s;
        log.time_s.push_back(time_s);
        log.current_A.push_back(current_A == 0 ? 0 : sensor.gain * current_A + sensor.offset_A);
        log.voltage_V.push_back(made_ocv_V(soc) + ohm * current_A);
        log.temperature_degC.push_back(25);
    };
    const auto charge = [&](double current_A) {
        // How the state at the end of a charge scatters.
        constexpr double slope_V = 0.72;  // of the OCV there
        const double end_V = full_V + slope_V * sensor.full_std * random.normal();
        while (made_ocv_V(soc) + ohm * current_A < end_V)
            row(current_A);
        for (double flowing_A = current_A; flowing_A > 0.1;) {
            flowing_A = (end_V - made_ocv_V(soc)) / ohm;
            row(flowing_A);
        }
        for (int k = 0; k < 60; ++k)
            row(0);
    };
    charge(2.5);
    for (const double rate : rates) {
        while (soc > 0.1)
            row(-rate * capacity_Ah);
        for (int k = 0; k < 60; ++k)
            row(0);
        charge(rate * capacity_Ah);
    }
    return log;
}

CoulombicEfficiencySettings of_capacity() {
    CoulombicEfficiencySettings settings;
    settings.balance.steps.capacity_Ah = 5;
    settings.balance.full_share_std = 0.001;
    return settings;
}

}  // namespace

TEST_CASE("cycles at different rates tell efficiency and offset apart", "[efficiency][property]") {
    Random random(401);
    Tally efficiency;
    Tally offset;
    int told = 0;
    constexpr int cases = 400;
    for (int n = 0; n < cases; ++n) {
        Sensor sensor;
        sensor.efficiency = random.uniform(0.992, 1);
        sensor.offset_A = random.uniform(-0.01, 0.01);
        sensor.gain = random.uniform(0.995, 1.005);
        sensor.full_std = 0.001;
        const Log log = cycles({0.5, 0.5, 0.05, 0.5, 0.5, 0.05, 0.5, 0.5}, sensor, random);
        const CoulombicEfficiencyFit fit = fit_coulombic_efficiency({log}, of_capacity());
        CAPTURE(voltkeel_test::seed(), n, sensor.efficiency, sensor.offset_A, fit.efficiency,
                fit.efficiency_std, fit.note);
        CHECK(fit.balances == 8);
        // From the end of the first charge to that of the last, half an hour of rest behind it.
        const auto first_charge = static_cast<std::size_t>(
            std::find(log.current_A.begin(), log.current_A.end(), 0.0) - log.current_A.begin());
        REQUIRE(fit.rows.size() == 1);
        CHECK(fit.rows[0] == log.size() - 60 - first_charge + 1);
        if (!fit.told) {  // the ends happened to scatter by more than they should
            CHECK(fit.efficiency == 1);
            continue;
        }
        ++told;
        const double off = fit.efficiency - sensor.efficiency;
        CHECK(std::abs(off) < 4 * fit.efficiency_std);
        CHECK(fit.efficiency_std < 0.002);
        CHECK(std::abs(fit.current_offset_A + sensor.offset_A) <
              4 * fit.current_offset_A_std + 1e-4);
        efficiency.add(off, fit.efficiency_std);
        offset.add(fit.current_offset_A + sensor.offset_A, fit.current_offset_A_std);
    }
    WARN(text_of("95 % intervals", {{"efficiency", efficiency}, {"current offset", offset}}));
    CAPTURE(voltkeel_test::seed(), told, efficiency.inside, offset.inside);
    CHECK(told >= 0.9 * cases);
    for (const Tally& tally : {efficiency, offset}) {
        const Band band(tally.cases);
        CAPTURE(band.low, band.high);
        CHECK(tally.inside >= band.low);
        CHECK(tally.inside <= band.high);
    }
}

TEST_CASE("cycles of one rate cannot tell the efficiency unless the offset is known",
          "[efficiency]") {
    Random random(402);
    Sensor sensor;
    sensor.efficiency = 0.995;
    sensor.full_std = 0.0005;
    const Log one = cycles({0.2, 0.2, 0.2, 0.2}, sensor, random);
    const CoulombicEfficiencyFit open = fit_coulombic_efficiency({one}, of_capacity());
    CAPTURE(open.note, open.efficiency_std);
    CHECK_FALSE(open.told);
    CHECK(open.efficiency == 1);
    CHECK(open.efficiency_std == 0.003);
    CHECK_THAT(open.note, Contains("Assumed: coulombic efficiency 1") &&
                              Contains("cycles of different duration"));

    CoulombicEfficiencySettings known = of_capacity();
    known.offset_std_A = 0.0;
    const CoulombicEfficiencyFit told = fit_coulombic_efficiency({one}, known);
    CAPTURE(told.note);
    REQUIRE(told.told);
    CHECK(std::abs(told.efficiency - 0.995) < 3 * told.efficiency_std);
    CHECK(told.current_offset_A == 0);
    CHECK_THAT(told.note, Contains("taken as known"));

    // 0.5 mA are worth 4.5 mAh in the nine hours of a cycle, a thousandth of its charge.
    known.offset_std_A = 0.0005;
    const CoulombicEfficiencyFit roughly = fit_coulombic_efficiency({one}, known);
    REQUIRE(roughly.told);
    CHECK(roughly.efficiency_std > told.efficiency_std);
    CHECK(std::abs(roughly.efficiency - 0.995) < 3 * roughly.efficiency_std);

    // The same offset in several logs of one tester.
    sensor.offset_A = 0.004;
    const Log slow = cycles({0.05, 0.05}, sensor, random);
    const Log fast = cycles({0.5, 0.5, 0.5, 0.5}, sensor, random);
    const CoulombicEfficiencyFit both = fit_coulombic_efficiency({slow, fast}, of_capacity());
    CAPTURE(both.note);
    REQUIRE(both.told);
    CHECK(both.balances == 6);
    CHECK(std::abs(both.efficiency - 0.995) < 3 * both.efficiency_std);
}

TEST_CASE("an efficiency that no cell has is not taken", "[efficiency]") {
    Random random(403);
    CoulombicEfficiencySettings known = of_capacity();
    known.offset_std_A = 0.0;
    Sensor sensor;
    sensor.offset_A = -0.05;  // wrongly said to be known
    for (const double sign : {1.0, -1.0}) {
        sensor.offset_A *= sign;
        const CoulombicEfficiencyFit fit =
            fit_coulombic_efficiency({cycles({0.05, 0.05}, sensor, random)}, known);
        CAPTURE(sensor.offset_A, fit.note);
        CHECK_FALSE(fit.told);
        CHECK(fit.efficiency == 1);
        CHECK_THAT(fit.note, Contains("which no cell does"));
    }
}

TEST_CASE("an efficiency fit refuses what it cannot use, and says what is missing",
          "[efficiency]") {
    Random random(404);
    CHECK_THAT(error_text([] { (void)fit_coulombic_efficiency({}); }),
               Contains("at least one log"));
    const Log log = cycles({0.5}, {}, random);
    const auto said = [&](void (*change)(CoulombicEfficiencySettings&)) {
        CoulombicEfficiencySettings settings = of_capacity();
        change(settings);
        return error_text([&] { (void)fit_coulombic_efficiency({log}, settings); });
    };
    CHECK_THAT(said([](auto& s) { s.offset_std_A = -1.0; }), Contains("offset_std_A"));
    CHECK_THAT(said([](auto& s) { s.largest_std = 0; }), Contains("largest_std"));
    CHECK_THAT(said([](auto& s) { s.assumed_std = std::nan(""); }), Contains("assumed_std"));
    CHECK_THAT(said([](auto& s) { s.balance.gap_s = -1; }), Contains("gap_s"));
    const Log never_full = voltkeel_test::made_log(
        voltkeel_test::made_cell(), {{0, 300}, {-1, 3600}, {0, 3600}, {-1, 3600}}, {"down.csv"});
    CHECK_THAT(fit_coulombic_efficiency({never_full}).note, Contains("No log comes back to full"));
}
