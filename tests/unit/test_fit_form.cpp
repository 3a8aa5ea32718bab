// The form of the model that a fit chooses, what it says the tests leave open, and the noise that
// it finds in cross-validation: on tests made from cells whose every value is known.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "voltkeel/fit/fit_cell.hpp"
#include "voltkeel/io/filter_settings.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::fit_cell;
using voltkeel::FitResult;
using voltkeel::FitSettings;
using voltkeel::Log;
using voltkeel_test::HeldCurrent;
using voltkeel_test::made_cell;
using voltkeel_test::made_log;
using voltkeel_test::MadeCellShape;
using voltkeel_test::slow_program;

namespace {

constexpr double capacity_Ah = 5;
constexpr double noise_V = 5e-4;

/// Pulse test down from full: at every tenth 10 s discharges at the `rates_per_h` and a 10 s
/// charge, C/3 to the next tenth and a rest.
std::vector<HeldCurrent> pulses_at(const std::vector<double>& rates_per_h, int lowest = 1,
                                   double long_rest_s = 5400, double charge_rate_per_h = 1) {
    std::vector<double> rates;
    for (const double rate_per_h : rates_per_h)
        rates.push_back(-rate_per_h);
    rates.push_back(charge_rate_per_h);
    return voltkeel_test::pulses_at_tenths(capacity_Ah, rates, 300, long_rest_s, lowest);
}

const std::vector<double> many_rates{0.2, 0.6, 2, 4};

Cell truth_of(int branches, bool transfer) {
    MadeCellShape shape;
    shape.branches = branches;
    shape.charge_transfer = transfer;
    return made_cell(shape);
}

Log slow_of(const Cell& truth) {
    return made_log(truth, slow_program(capacity_Ah), {"slow.csv", 1, 25, noise_V, 0, 101});
}

Log pulses_of(const Cell& truth, const std::vector<HeldCurrent>& program, double degC = 25,
              std::uint64_t salt = 102) {
    return made_log(truth, program, {"pulses.csv", 1, degC, noise_V, 0, salt});
}

FitSettings quick_settings() {
    FitSettings settings;
    settings.pulses.soc_nodes = 21;
    settings.pulses.smoothness = 0.06;
    settings.passes = 2;
    return settings;
}

/// Settings that fit one form.
FitSettings forced(int branches, bool transfer) {
    FitSettings settings = quick_settings();
    settings.choose_form = false;
    settings.pulses.branches = branches;
    settings.pulses.charge_transfer = transfer;
    return settings;
}

std::string all_of(const std::vector<std::string>& lines) {
    std::string text;
    for (const std::string& line : lines)
        text += line + "\n";
    return text;
}

void check_forms(const FitResult& result) {
    // Three branches with and without charge transfer, then the others with the better of the two.
    REQUIRE(result.forms.size() == 5);
    for (std::size_t k = 1; k < result.forms.size(); ++k) {
        CHECK(result.forms[k - 1].criterion <= result.forms[k].criterion);
        CHECK(result.forms[k].residual_rms_V > 0);
    }
    const auto& chosen = result.forms.front();
    CHECK(result.cell.resistance.branches.size() == static_cast<std::size_t>(chosen.branches));
    CHECK(result.cell.resistance.charge_transfer.has_value() == chosen.charge_transfer);
    const std::string words = std::to_string(chosen.branches) +
                              (chosen.branches == 1 ? " branch" : " branches") +
                              (chosen.charge_transfer ? " and charge transfer" : "");
    CHECK_THAT(all_of(result.cell.provenance.notes),
               Contains("Form chosen by the Bayesian information criterion: " + words + "."));
    for (const auto& other : result.forms) {
        if (&other == &chosen) continue;
        CHECK_THAT(all_of(result.cell.provenance.notes),
                   Contains(std::to_string(other.branches) + " branch"));
    }
}

}  // namespace

TEST_CASE("a linear cell of two branches is taken for one", "[fit][charge_transfer][long]") {
    const Cell truth = truth_of(2, false);
    const FitResult result =
        fit_cell(slow_of(truth), {pulses_of(truth, pulses_at(many_rates))}, quick_settings());
    check_forms(result);
    const auto& chosen = result.forms.front();
    CAPTURE(chosen.branches, chosen.criterion, result.forms[1].branches,
            result.forms[1].charge_transfer, result.forms[1].criterion);
    CHECK_FALSE(chosen.charge_transfer);
    CHECK(chosen.branches == 2);
    // In the trial the OCV still holds the overvoltage of the slow current, in the fit it does not.
    CHECK(chosen.residual_rms_V < 2 * noise_V);
    CHECK(result.pulses.front().residual_rms_V.front() == Approx(noise_V).epsilon(0.1));
}

TEST_CASE("charge transfer is found from pulses at several rates", "[fit][charge_transfer][long]") {
    const Cell truth = truth_of(2, true);
    const FitResult result =
        fit_cell(slow_of(truth), {pulses_of(truth, pulses_at(many_rates))}, quick_settings());
    check_forms(result);
    const auto& chosen = result.forms.front();
    CAPTURE(chosen.branches, chosen.criterion, result.forms[1].branches,
            result.forms[1].charge_transfer, result.forms[1].criterion);
    CHECK(chosen.charge_transfer);
    REQUIRE(result.cell.resistance.charge_transfer);
    const auto& found = *result.cell.resistance.charge_transfer;
    REQUIRE(result.cell.resistance.soc.size() == 21);
    for (std::size_t s = 2; s <= 18; ++s) {  // from 10 to 90 % SOC, where there are pulses
        CAPTURE(result.cell.resistance.soc[s], found.scale_V[0][s], found.scale_V_std[0][s],
                found.exchange_current_A[0][s], found.exchange_current_A_std[0][s]);
        CHECK(found.scale_V_std[0][s] > 0);
        CHECK(found.exchange_current_A_std[0][s] > 0);
        CHECK(std::abs(found.scale_V[0][s] - 0.03) < 3 * found.scale_V_std[0][s]);
        CHECK(std::abs(found.exchange_current_A[0][s] - 3) <
              3 * found.exchange_current_A_std[0][s]);
        // Worth nothing if the spread were wide enough for anything.
        CHECK(found.scale_V_std[0][s] < 0.3 * 0.03);
        CHECK(found.exchange_current_A_std[0][s] < 0.4 * 3);
    }
    // What the linear form cannot follow, this one does.
    const auto linear = std::find_if(result.forms.begin(), result.forms.end(),
                                     [](const auto& form) { return !form.charge_transfer; });
    REQUIRE(linear != result.forms.end());
    CHECK(chosen.residual_rms_V < 0.7 * linear->residual_rms_V);

    CHECK(voltkeel::validate(voltkeel::filter_settings(result.cell)).status ==
          voltkeel::Status::ok);
}

TEST_CASE("a form that is forced is fitted and nothing said of a choice",
          "[fit][charge_transfer]") {
    const Cell truth = truth_of(2, true);
    const FitResult result =
        fit_cell(slow_of(truth), {pulses_of(truth, pulses_at({0.6, 2}))}, forced(2, false));
    CHECK(result.forms.empty());
    CHECK(result.cell.resistance.branches.size() == 2);
    CHECK_FALSE(result.cell.resistance.charge_transfer);
    CHECK_THAT(all_of(result.cell.provenance.notes), !Contains("criterion"));
}

TEST_CASE("what the tests leave open is said, with what would tell", "[fit][charge_transfer]") {
    const Cell truth = truth_of(2, false);
    const Log slow = slow_of(truth);
    const auto findings_of = [&](const std::vector<HeldCurrent>& program) {
        const FitResult result = fit_cell(slow, {pulses_of(truth, program)}, forced(2, false));
        REQUIRE(result.pulses.size() == 1);
        // Every finding stands in the cell's notes too.
        for (const std::string& finding : result.pulses[0].findings)
            CHECK_THAT(all_of(result.cell.provenance.notes), Contains(finding));
        return all_of(result.pulses[0].findings);
    };
    const std::string rests = "rests on usual values";
    const std::string ends = "the tests end at";
    const std::string complete = findings_of(pulses_at(many_rates, 0, 12000));
    CHECK_THAT(complete, !Contains(rests) && !Contains(ends));

    // Rests of a quarter of an hour do not show a branch of half an hour.
    const std::string short_rests = findings_of(pulses_at(many_rates, 0, 900));
    CHECK_THAT(short_rests, Contains("25 degC: the slow branch") && Contains(rests) &&
                                Contains("longest rest lasts 0.2 h") && !Contains(ends));

    // At the last tenth the pulses themselves take 5.8 C times 10 s, 1.6 % more.
    const std::string to_forty = findings_of(pulses_at(many_rates, 4, 12000));
    CHECK_THAT(to_forty, Contains("25 degC: the tests end at 38 % SOC") &&
                             Contains("go on to empty") && !Contains(rests));
}

TEST_CASE("one rate of pulses does not tell the scale of the charge transfer",
          "[fit][charge_transfer]") {
    const Cell truth = truth_of(2, true);
    const Log slow = slow_of(truth);
    const FitResult one =
        fit_cell(slow, {pulses_of(truth, pulses_at({1.0 / 3}, 1, 5400, 1.0 / 3))}, forced(2, true));
    const FitResult many =
        fit_cell(slow, {pulses_of(truth, pulses_at(many_rates))}, forced(2, true));
    REQUIRE(one.pulses[0].charge_transfer);
    REQUIRE(many.pulses[0].charge_transfer);
    CAPTURE(one.pulses[0].charge_transfer->scale_log_std,
            many.pulses[0].charge_transfer->scale_log_std, all_of(one.pulses[0].findings),
            all_of(many.pulses[0].findings));
    CHECK(one.pulses[0].charge_transfer->scale_log_std >
          3 * many.pulses[0].charge_transfer->scale_log_std);
}

TEST_CASE("pulses above the highest rate move the state but are not fitted",
          "[fit][charge_transfer]") {
    // A linear form on a cell with charge transfer: fast pulses see less resistance than slow ones,
    // so leaving them out brings more.
    const Cell truth = truth_of(2, true);
    const Log slow = slow_of(truth);
    const Log pulses = pulses_of(truth, pulses_at({0.2, 0.6, 4}));
    FitSettings settings = forced(2, false);
    const FitResult all = fit_cell(slow, {pulses}, settings);
    settings.pulses.highest_rate_per_h = 1.5;
    const FitResult slower = fit_cell(slow, {pulses}, settings);
    CHECK(slower.pulses[0].rows_used < all.pulses[0].rows_used);
    // The linear form follows what is left better, and its resistance is that of small currents.
    CHECK(slower.pulses[0].residual_rms_V[0] < all.pulses[0].residual_rms_V[0]);
    const auto off = [&](const FitResult& result, double rate_per_h) {
        return voltkeel_test::pulse_resistance_ohm(result.cell, 0.5, 25, 10,
                                                   -rate_per_h * capacity_Ah) /
                   voltkeel_test::pulse_resistance_ohm(truth, 0.5, 25, 10,
                                                       -rate_per_h * capacity_Ah) -
               1;
    };
    CAPTURE(off(all, 0.6), off(slower, 0.6), off(all, 4), off(slower, 4));
    CHECK(std::abs(off(slower, 0.6)) < 0.05);
    CHECK(std::abs(off(all, 0.6)) > std::abs(off(slower, 0.6)));
    CHECK(off(slower, 4) > 0.1);  // and too high for the fast ones
    // The state moved all the same: what the fast pulses took is counted.
    CHECK(std::abs(slower.cell.capacity_Ah / capacity_Ah - 1) < 5e-3);
}

TEST_CASE("a fit that goes by the drops of pulses foretells faster ones",
          "[fit][charge_transfer]") {
    const Cell truth = truth_of(2, true);
    const Log slow = slow_of(truth);
    const Log pulses = pulses_of(truth, pulses_at({0.3, 0.7, 1.5, 4}));
    FitSettings settings = forced(2, true);
    settings.pulses.highest_rate_per_h = 2;
    settings.pulses.drop_share_std = 0.01;
    const FitResult result = fit_cell(slow, {pulses}, settings);
    REQUIRE(result.pulses[0].charge_transfer);
    const auto& transfer = *result.pulses[0].charge_transfer;
    CAPTURE(transfer.scale_V, transfer.scale_log_std);
    CHECK(std::abs(std::log(transfer.scale_V / 0.03)) < 3 * transfer.scale_log_std);
    CHECK(transfer.scale_log_std < 0.5);
    for (const double soc : {0.35, 0.5, 0.65, 0.8}) {
        for (const double rate_per_h : {0.7, 1.5, 4.0}) {
            const auto of = [&](const Cell& cell) {
                return voltkeel_test::pulse_resistance_ohm(cell, soc, 25, 10,
                                                           -rate_per_h * capacity_Ah);
            };
            CAPTURE(soc, rate_per_h, of(result.cell), of(truth));
            CHECK(std::abs(of(result.cell) / of(truth) - 1) < (rate_per_h > 2 ? 0.04 : 0.02));
        }
    }
    // By how much the drops of 1.5C are off when only those up to 0.7C are seen is what limits
    // beyond 1.5C allow for; a form that is that of the cell is off by little.
    const auto& noise = result.cell.noise;
    CAPTURE(noise.tested_current_A, noise.untested_share_std);
    CHECK(std::abs(noise.tested_current_A / (1.5 * capacity_Ah) - 1) < 0.01);
    CHECK(noise.untested_share_std > 0);
    CHECK(noise.untested_share_std < 0.05);
    settings.pulses.drop_share_std = -1;
    CHECK_THROWS_WITH(fit_cell(slow, {pulses}, settings), Contains("drop_share_std: -1"));
}

TEST_CASE("the noise of cross-validation is no smaller than what the fit leaves",
          "[fit][charge_transfer]") {
    // Tests at three temperatures: each is predicted from the others.
    const Cell truth = truth_of(2, false);
    const Log slow = slow_of(truth);
    std::vector<Log> logs;
    std::uint64_t salt = 110;
    for (const double degC : {5.0, 15.0, 25.0})
        logs.push_back(pulses_of(truth, pulses_at({0.6, 2}), degC, salt++));
    const FitResult result = fit_cell(slow, logs, forced(2, false));
    double fitted_V = 0;
    double fitted_share = 0;
    for (const auto& fit : result.pulses) {
        fitted_V = std::max(fitted_V, fit.noise.voltage_std_V);
        fitted_share = std::max(fitted_share, fit.noise.overvoltage_share_std);
    }
    const auto& noise = result.cell.noise;
    CAPTURE(noise.voltage_std_V, noise.overvoltage_share_std, noise.resistance_log_std, fitted_V,
            fitted_share);
    CHECK(noise.voltage_std_V >= fitted_V);
    CHECK(noise.overvoltage_share_std >= fitted_share);

    // One temperature, two groups of rates and a form that cannot follow both: what the fit of the
    // slow pulses gets wrong on the fast ones shows, and not in the residuals of the fit to all.
    const Cell bent = truth_of(2, true);
    const FitResult wrong =
        fit_cell(slow_of(bent), {pulses_of(bent, pulses_at({0.2, 0.6, 3, 4}))}, forced(2, false));
    const auto at_100mV = [](double constant_V, double share) {
        return std::hypot(constant_V, 0.1 * share);
    };
    const auto& own = wrong.pulses[0].noise;
    const auto& crossed = wrong.cell.noise;
    CAPTURE(own.voltage_std_V, own.overvoltage_share_std, crossed.voltage_std_V,
            crossed.overvoltage_share_std, crossed.resistance_log_std);
    CHECK(at_100mV(crossed.voltage_std_V, crossed.overvoltage_share_std) >=
          at_100mV(own.voltage_std_V, own.overvoltage_share_std));
    CHECK(std::abs(crossed.tested_current_A / (4 * capacity_Ah) - 1) < 0.01);
    CHECK(crossed.untested_share_std > 0.05);  // a straight line goes on where the cell bends
    // One rate tells nothing of others.
    const FitResult one =
        fit_cell(slow_of(bent), {pulses_of(bent, pulses_at({1}))}, forced(2, false));
    CHECK(one.cell.noise.untested_share_std == 0);
}

TEST_CASE("a resistance that wanders during the tests is told from one that does not",
          "[fit][noise][long]") {
    const Cell truth = truth_of(2, false);
    const Log slow = slow_of(truth);
    const auto found = [&](double walk_per_sqrt_h) {
        std::vector<Log> logs;
        std::uint64_t salt = 310;
        for (const double degC : {5.0, 12.0, 18.0, 25.0}) {
            logs.push_back(made_log(truth, pulses_at({0.6, 2}),
                                    {"pulses.csv", 1, degC, noise_V, 0, salt++, walk_per_sqrt_h}));
        }
        return fit_cell(slow, logs, forced(2, false)).cell;
    };
    const Cell still = found(0);
    const Cell wandering = found(0.12);
    CAPTURE(still.noise.resistance_log_std_per_sqrt_h,
            wandering.noise.resistance_log_std_per_sqrt_h);
    CHECK(still.noise.resistance_log_std_per_sqrt_h < 0.06);
    // The neighbours that predict a test wander as well, and share in what is found.
    CHECK(wandering.noise.resistance_log_std_per_sqrt_h > 0.09);
    CHECK(wandering.noise.resistance_log_std_per_sqrt_h < 0.2);
}
