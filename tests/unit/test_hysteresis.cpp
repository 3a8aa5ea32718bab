// The hysteresis rate, from logs of cells whose rate is known; and what is said when a log cannot
// tell it.

#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <vector>

#include "support/coverage.hpp"
#include "support/made_tests.hpp"
#include "support/seed.hpp"
#include "voltkeel/fit/fit_cell.hpp"
#include "voltkeel/fit/hysteresis.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::fit_hysteresis_rate;
using voltkeel::HysteresisRateFit;
using voltkeel::HysteresisSettings;
using voltkeel::Log;
using voltkeel_test::Band;
using voltkeel_test::error_text;
using voltkeel_test::HeldCurrent;
using voltkeel_test::made_cell;
using voltkeel_test::made_log;
using voltkeel_test::MadeCellShape;
using voltkeel_test::pulse_program;
using voltkeel_test::Random;
using voltkeel_test::slow_program;
using voltkeel_test::Tally;
using voltkeel_test::text_of;

namespace {

/// A full slow cycle, then two turns half-way: down to 60 %, up to 75 %, down to 50 %.
std::vector<HeldCurrent> partial_program(double capacity_Ah) {
    std::vector<HeldCurrent> program = slow_program(capacity_Ah);
    const double current_A = capacity_Ah / 20;
    for (const double share : {-0.4, 0.15, -0.25}) {
        program.push_back({share < 0 ? -current_A : current_A, std::abs(share) * 72000, 60, 60});
        program.push_back({0, 3600, 60, 60});
    }
    return program;
}

Cell with_rate(double half_gap_V, double rate) {
    MadeCellShape shape;
    shape.half_gap_V = half_gap_V;
    Cell cell = made_cell(shape);
    cell.hysteresis_rate = rate;
    return cell;
}

}  // namespace

TEST_CASE("a turn half-way tells the hysteresis rate, within its spread",
          "[hysteresis][property]") {
    Random random(301);
    Tally tally;
    constexpr int cases = 400;
    for (int n = 0; n < cases; ++n) {
        const double half_gap_V = random.uniform(0.005, 0.03);
        const double rate = std::exp(random.uniform(std::log(10.0), std::log(120.0)));
        const Cell truth = with_rate(half_gap_V, rate);
        const Log log = made_log(truth, partial_program(5),
                                 {"partial.csv", 1, 25, 1e-3, 0, 310U + static_cast<unsigned>(n)});
        Cell cell = with_rate(half_gap_V, 30);
        // The resistances are no better known than a fit knows them.
        for (auto& row : cell.resistance.r0_ohm) {
            for (double& r0_ohm : row)
                r0_ohm *= random.uniform(0.9, 1.1);
        }
        const HysteresisRateFit fit = fit_hysteresis_rate({log}, cell);
        CAPTURE(voltkeel_test::seed(), n, half_gap_V, rate, fit.rate, fit.rate_log_std, fit.note);
        CHECK(fit.told);
        CHECK(fit.turns == 2);
        const double off = std::log(fit.rate / rate);
        CHECK(std::abs(off) < 0.4);
        CHECK(std::abs(off) < 5 * fit.rate_log_std);
        tally.add(off, fit.rate_log_std);
        CHECK_THAT(fit.note, Contains("is fitted to 2 turns"));
    }
    WARN(text_of("95 % intervals", {{"hysteresis rate", tally}}));
    const Band band(tally.cases);
    CAPTURE(voltkeel_test::seed(), tally.inside, band.low, band.high);
    CHECK(tally.inside >= band.low);
    CHECK(tally.inside <= band.high);
}

TEST_CASE("the fit of a cell takes the rate of the slow test, or says that it is assumed",
          "[fit][hysteresis]") {
    const Cell truth = with_rate(0.012, 80);
    voltkeel::FitSettings settings;
    settings.choose_form = false;
    settings.passes = 2;
    settings.pulses.charge_transfer = false;
    settings.pulses.soc_nodes = 21;
    const Log pulses = made_log(truth, pulse_program(5), {"pulses.csv", 1, 25, 5e-4, 0, 341});
    const Log partial = made_log(truth, partial_program(5), {"partial.csv", 1, 25, 5e-4, 0, 342});
    const auto told = fit_cell(partial, {pulses}, settings);
    CAPTURE(told.hysteresis.note);
    REQUIRE(told.hysteresis.told);
    CHECK(told.cell.hysteresis_rate == told.hysteresis.rate);
    CHECK(std::abs(std::log(told.cell.hysteresis_rate / 80)) < 0.35);

    const Log whole = made_log(truth, slow_program(5), {"whole.csv", 1, 25, 5e-4, 0, 343});
    const auto assumed = fit_cell(whole, {pulses}, settings);
    CHECK_FALSE(assumed.hysteresis.told);
    CHECK(assumed.cell.hysteresis_rate == 30);
    std::string notes;
    for (const std::string& note : assumed.cell.provenance.notes)
        notes += note + "\n";
    CHECK_THAT(notes, Contains("Assumed: hysteresis_rate 30."));
}

TEST_CASE("a log that cannot tell the rate says why", "[hysteresis]") {
    const Cell cell = with_rate(0.012, 30);
    const Log whole = made_log(cell, slow_program(5), {"whole.csv", 1, 25, 1e-3, 0, 351});
    const HysteresisRateFit at_the_ends = fit_hysteresis_rate({whole}, cell);
    CHECK_FALSE(at_the_ends.told);
    CHECK(at_the_ends.rate == 30);
    CHECK(std::isinf(at_the_ends.rate_log_std));
    CHECK_THAT(at_the_ends.note,
               Contains("Assumed: hysteresis_rate 30") && Contains("between 8 and 92 % SOC"));

    const Cell no_gap = with_rate(0, 30);
    const Log partial = made_log(no_gap, partial_program(5), {"p.csv", 1, 25, 1e-3, 0, 352});
    CHECK_THAT(fit_hysteresis_rate({partial}, no_gap).note,
               Contains("branches of the OCV are one"));

    // A gap of a tenth of a millivolt hides in the noise.
    const Cell hidden = with_rate(5e-5, 30);
    const HysteresisRateFit open = fit_hysteresis_rate(
        {made_log(hidden, partial_program(5), {"p.csv", 1, 25, 1e-3, 0, 353})}, hidden);
    CAPTURE(open.note, open.rate, open.rate_log_std);
    CHECK_FALSE(open.told);
    CHECK_THAT(open.note, Contains("The tests do not tell") && Contains("within a factor of"));
}

TEST_CASE("a hysteresis fit refuses what it cannot use", "[hysteresis]") {
    const Cell cell = with_rate(0.012, 30);
    const Log log = made_log(cell, partial_program(5), {"partial.csv"});
    CHECK_THAT(error_text([&] { (void)fit_hysteresis_rate({}, cell); }),
               Contains("at least one log"));
    CHECK_THAT(error_text([&] {
                   (void)fit_hysteresis_rate({log}, cell, {1, 1});
               }),
               Contains("2 values for 1 logs"));
    CHECK_THAT(error_text([&] { (void)fit_hysteresis_rate({log}, cell, {7}); }),
               Contains("initial_soc[0]: 7"));
    CHECK_THAT(error_text([&] { (void)fit_hysteresis_rate({log}, Cell{}); }),
               Contains("capacity_Ah"));
    HysteresisSettings settings;
    settings.rate_high = 1;
    CHECK_THAT(error_text([&] { (void)fit_hysteresis_rate({log}, cell, {}, settings); }),
               Contains("rate_high"));
    settings = {};
    settings.window_soc = std::nan("");
    CHECK_THAT(error_text([&] { (void)fit_hysteresis_rate({log}, cell, {}, settings); }),
               Contains("window_soc"));
}
