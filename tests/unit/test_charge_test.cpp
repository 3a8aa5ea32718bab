#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "voltkeel/fit/charge_test.hpp"
#include "voltkeel/fit/fit_cell.hpp"

using voltkeel::Cell;
using voltkeel::ChargeTestFit;
using voltkeel::ChargeTestSettings;
using voltkeel::fit_charge_rise;
using voltkeel::Log;
using voltkeel_test::error_text;
using voltkeel_test::made_cell;
using voltkeel_test::MadeCellShape;

namespace {

constexpr double capacity_Ah = 5;

/// A charge at `current_A` to 4.166 V, then held there to C/50; the current of each row is the one
/// that brings the model to the voltage at its end. Rows of 10 s; rest before and after.
Log charge_log(const Cell& truth, double initial_soc, double current_A, double noise_V,
               std::uint64_t salt, const std::string& source = "charge",
               double end_A = 0.02 * capacity_Ah) {
    return voltkeel::with_form(truth, [&](auto form) {
        using Form = decltype(form);
        const voltkeel::CellTables<double, Form::branches, Form::transfer> tables(truth);
        const auto cell = tables.parameters();
        voltkeel::CellState<double, Form::branches, Form::transfer> state;
        state.soc = initial_soc;
        state.hysteresis = -1;
        voltkeel_test::Random random(salt);
        Log log;
        log.source = source;
        double time_s = 0;
        constexpr double row_s = 10;
        constexpr double held_V = 4.166;  // a little above the OCV at SOC 1
        const auto advance = [&](double flowing_A) {
            if (!log.time_s.empty()) {
                voltkeel::step(cell, {flowing_A, row_s, 25}, state);
                time_s += row_s;
            }
            log.time_s.push_back(time_s);
            log.current_A.push_back(flowing_A);
            log.voltage_V.push_back(voltkeel::voltage_at(cell, state, flowing_A, 25.0).voltage_V +
                                    noise_V * random.normal());
            log.temperature_degC.push_back(25);
        };
        const auto end_V = [&](double flowing_A) {
            auto after = state;
            voltkeel::step(cell, {flowing_A, row_s, 25}, after);
            return voltkeel::voltage_at(cell, after, flowing_A, 25.0).voltage_V;
        };
        for (int k = 0; k < 30; ++k)
            advance(0);
        for (double flowing_A = current_A; flowing_A > end_A;) {
            if (end_V(current_A) > held_V) {
                double low_A = 0;
                double high_A = current_A;
                for (int turn = 0; turn < 50; ++turn) {
                    flowing_A = 0.5 * (low_A + high_A);
                    (end_V(flowing_A) > held_V ? high_A : low_A) = flowing_A;
                }
            }
            advance(flowing_A);
        }
        for (int k = 0; k < 60; ++k)
            advance(0);
        return log;
    });
}

/// The charge that makes the end of `log` full, so that truth and fit mean the same SOC.
Cell with_full_at_the_end(Cell cell, const Log& log, double initial_soc) {
    double charge_Ah = 0;
    for (std::size_t k = 1; k < log.size(); ++k)
        charge_Ah += log.current_A[k] * (log.time_s[k] - log.time_s[k - 1]) / 3600;
    cell.capacity_Ah_std =
        cell.capacity_Ah * std::abs(1 - initial_soc - charge_Ah / cell.capacity_Ah);
    return cell;
}

Cell rising_cell(double rise_ohm, double soc_start, bool transfer) {
    MadeCellShape shape;
    shape.capacity_Ah = capacity_Ah;
    shape.charge_rise_ohm = rise_ohm;
    shape.charge_transfer = transfer;
    Cell cell = made_cell(shape);
    cell.charge_rise.soc_start = soc_start;
    return cell;
}

}  // namespace

TEST_CASE("the rise that charges were made with comes back", "[charge_test]") {
    for (const bool transfer : {false, true}) {
        for (const double soc_start : {0.7, 0.85}) {
            for (const double rise_ohm : {0.02, 0.05}) {
                const Cell truth = rising_cell(rise_ohm, soc_start, transfer);
                const Log log = charge_log(truth, 0.1, 2.5, 5e-4, 41);
                Cell cell = with_full_at_the_end(truth, log, 0.1);
                cell.charge_rise = {};
                ChargeTestSettings settings;
                settings.voltage_std_V = 5e-4;  // no model errors here
                settings.overvoltage_share_std = 0.002;
                settings.full_soc_std = 0.02;
                const ChargeTestFit fit = fit_charge_rise({log}, cell, settings);
                CAPTURE(transfer, soc_start, rise_ohm, fit.rise.resistance_ohm,
                        fit.rise.resistance_ohm_std, fit.rise.soc_start, fit.soc_start_std,
                        fit.initial_soc[0]);
                CHECK(std::abs(fit.rise.resistance_ohm - rise_ohm) <
                      3 * fit.rise.resistance_ohm_std);
                CHECK(std::abs(fit.rise.soc_start - soc_start) < 3 * fit.soc_start_std);
                CHECK(std::abs(fit.rise.resistance_ohm / rise_ohm - 1) < 0.1);
                CHECK(fit.rise.resistance_ohm_std < 0.2 * rise_ohm);
                CHECK(std::abs(fit.initial_soc[0] - 0.1) < 3 * fit.initial_soc_std[0] + 1e-4);
                CHECK(fit.residual_rms_V[0] < 7e-4);
                CHECK(fit.residual_rms_V[0] < 0.2 * fit.residual_before_rms_V[0]);
                CHECK(fit.notes.empty());
            }
        }
    }
}

TEST_CASE("no rise in the charge gives next to none, and a spread that says so", "[charge_test]") {
    const Cell truth = rising_cell(0, 0.8, true);
    const Log log = charge_log(truth, 0.1, 2.5, 5e-4, 42);
    const ChargeTestFit fit = fit_charge_rise({log}, with_full_at_the_end(truth, log, 0.1));
    CAPTURE(fit.rise.soc_start, fit.rise.resistance_ohm, fit.rise.resistance_ohm_std);
    const voltkeel::ChargeRise<double> rise{fit.rise.soc_start, fit.rise.resistance_ohm};
    // Of some 45 mohm at half charge.
    CHECK(voltkeel::charge_rise_at(rise, 0.9).value < 0.004);
    CHECK(fit.rise.resistance_ohm_std > 0.6 * fit.rise.resistance_ohm);
    REQUIRE(fit.notes.size() == 1);
    CHECK(fit.notes[0].find("hardly show a rise") != std::string::npos);
}

TEST_CASE("charges that repeat each other narrow no spread; others do", "[charge_test]") {
    const Cell truth = rising_cell(0.04, 0.8, false);
    const Log log = charge_log(truth, 0.1, 2.5, 5e-4, 43);
    const Cell cell = with_full_at_the_end(truth, log, 0.1);
    const double once = fit_charge_rise({log}, cell).rise.resistance_ohm_std;
    const double five = fit_charge_rise({log, log, log, log, log}, cell).rise.resistance_ohm_std;
    CHECK(five > 0.85 * once);
    CHECK(five < 1.02 * once);
    const Log slower = charge_log(truth, 0.1, 1.2, 5e-4, 44, "slower");
    CHECK(fit_charge_rise({log, slower}, cell).rise.resistance_ohm_std < 0.95 * five);
}

TEST_CASE("a charge that cannot be used is named with what it lacks", "[charge_test]") {
    const Cell truth = rising_cell(0.04, 0.8, false);
    const Log good = charge_log(truth, 0.1, 2.5, 0, 45);
    const auto said = [&](const Log& log) {
        return error_text([&] { (void)fit_charge_rise({log}, truth); });
    };
    const auto first_rows = [&](std::size_t from, std::size_t count) {
        Log cut;
        cut.source = "cut.csv";
        for (std::size_t k = from; k < from + count; ++k) {
            cut.time_s.push_back(good.time_s[k]);
            cut.current_A.push_back(good.current_A[k]);
            cut.voltage_V.push_back(good.voltage_V[k]);
            cut.temperature_degC.push_back(good.temperature_degC[k]);
        }
        return cut;
    };
    CHECK(said(first_rows(0, 5)).find("cut.csv: a charge needs at least 10 rows") !=
          std::string::npos);
    CHECK(said(first_rows(0, 200)).find("row 199: the charge ends at 2.5 A, above 0.375 A") !=
          std::string::npos);
    CHECK(said(first_rows(100, good.size() - 100)).find("starts under a current of 2.5 A") !=
          std::string::npos);
    CHECK(said(first_rows(0, 25)).find("no charge found") != std::string::npos);
    Log odd = good;
    odd.voltage_V[7] = std::numeric_limits<double>::quiet_NaN();
    CHECK(!said(odd).empty());
    Cell small = truth;
    small.capacity_Ah = 3;
    CHECK(error_text([&] { (void)fit_charge_rise({good}, small); }).find("the cell holds 3 Ah") !=
          std::string::npos);
    CHECK(error_text([&] { (void)fit_charge_rise({}, truth); }).find("at least one charge") !=
          std::string::npos);
    ChargeTestSettings settings;
    settings.soc_start = 1.2;
    CHECK(error_text([&] {
              (void)fit_charge_rise({good}, truth, settings);
          }).find("soc_start: 1.2 is outside") != std::string::npos);
    CHECK(error_text([&] { (void)fit_charge_rise({good}, truth, {}, [] { return false; }); }) ==
          "cancelled");
}

TEST_CASE("a cell fit takes the rise from charges and says so", "[charge_test][fit]") {
    const Cell truth = rising_cell(0.04, 0.75, false);
    const Log slow = voltkeel_test::made_log(truth, voltkeel_test::slow_program(capacity_Ah),
                                             {"slow", 1, 25, 2e-4, 0, 46});
    const Log pulses = voltkeel_test::made_log(truth, voltkeel_test::pulse_program(capacity_Ah),
                                               {"pulses", 1, 25, 2e-4, 0, 47});
    const Log charge = charge_log(truth, 0.1, 2.5, 5e-4, 48);
    voltkeel::FitSettings settings;
    settings.choose_form = false;
    settings.pulses.charge_transfer = false;
    const voltkeel::FitResult with = fit_cell(slow, {pulses}, settings, {}, {charge});
    REQUIRE(with.charges.has_value());
    const auto& rise = with.cell.charge_rise;
    CAPTURE(rise.resistance_ohm, rise.resistance_ohm_std, rise.soc_start);
    CHECK(std::abs(rise.resistance_ohm - 0.04) < 3 * rise.resistance_ohm_std);
    CHECK(rise.soc_start != 0.8);
    const auto& provenance = with.cell.provenance;
    CHECK(provenance.files.back().role == "charge");
    CHECK(provenance.files.back().name == "charge");
    CHECK(provenance.files.back().rows == charge.size());
    CHECK(provenance.files.back().rows_used == with.charges->rows_used);
    CHECK(*provenance.files.back().rows_used < charge.size());
    const auto notes_with = [&](const std::string& text) {
        int count = 0;
        for (const std::string& note : provenance.notes)
            count += note.find(text) != std::string::npos ? 1 : 0;
        return count;
    };
    CHECK(notes_with("fitted to 1 charge and replaces what the rest after the slow charge says") ==
          1);
    CHECK(notes_with("measured at one SOC in the rest") == 0);
}
