// What a pulse fit says that it cannot tell: on tests that lack one thing it is said, with what to
// measure next; on the same tests with that thing it is not. Cells and tests are invented.

#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "support/seed.hpp"
#include "voltkeel/fit/pulse_test.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::fit_pulses;
using voltkeel::Log;
using voltkeel::PulseFit;
using voltkeel::PulseFitSettings;
using voltkeel_test::HeldCurrent;
using voltkeel_test::made_cell;
using voltkeel_test::made_log;
using voltkeel_test::MadeCellShape;

namespace {

constexpr double capacity_Ah = 5;

std::vector<HeldCurrent> program_of(const std::vector<double>& rates_per_h, double rest_s = 300,
                                    double long_rest_s = 2700, int lowest = 1) {
    return voltkeel_test::pulses_at_tenths(capacity_Ah, rates_per_h, rest_s, long_rest_s, lowest);
}

/// The log as a slow logger writes it from some time on: nothing in the first 2 s behind an edge.
Log without_first_seconds(const Log& log, double from_s = 0) {
    Log slow;
    slow.source = log.source;
    double since_s = 1e9;
    const auto edge_at = [&](std::size_t k) {
        return k > 0 && k < log.size() && std::abs(log.current_A[k] - log.current_A[k - 1]) > 0.05;
    };
    for (std::size_t k = 0; k < log.size(); ++k) {
        const double step_s = k > 0 ? log.time_s[k] - log.time_s[k - 1] : 0;
        since_s = edge_at(k) ? step_s : since_s + step_s;
        // The row in front of an edge holds the current up to it.
        if (log.time_s[k] >= from_s && since_s < 1.95 && !edge_at(k + 1)) continue;
        slow.time_s.push_back(log.time_s[k]);
        slow.current_A.push_back(log.current_A[k]);
        slow.voltage_V.push_back(log.voltage_V[k]);
        slow.temperature_degC.push_back(log.temperature_degC[k]);
    }
    return slow;
}

PulseFit fitted(const Cell& truth, const Log& log) {
    Cell base = truth;
    base.resistance = {};
    base.capacity_Ah_std = 0.004 * capacity_Ah;
    PulseFitSettings settings;
    settings.branches = static_cast<int>(truth.resistance.branches.size());
    settings.charge_transfer = truth.resistance.charge_transfer.has_value();
    settings.soc_nodes = 21;
    return fit_pulses({&log}, base, nullptr, settings);
}

std::string findings_of(const Cell& truth, const Log& log) {
    std::string text;
    for (const std::string& finding : fitted(truth, log).findings)
        text += finding + "\n";
    return text;
}

/// A cell whose first branch is over within the first seconds of a pulse.
Cell with_first_time(int branches, double time_s) {
    MadeCellShape shape;
    shape.branches = branches;
    Cell cell = made_cell(shape);
    for (auto& row : cell.resistance.branches[0].time_s)
        row.assign(row.size(), time_s);
    return cell;
}

Cell with_transfer(double time_share) {
    MadeCellShape shape;
    shape.branches = 2;
    shape.charge_transfer = true;
    Cell cell = made_cell(shape);
    for (auto& row : cell.resistance.charge_transfer->time_s) {
        for (double& time_s : row)
            time_s *= time_share;
    }
    return cell;
}

const std::vector<double> usual_rates{-0.5, -1.5, 0.5};

double correlation_of(const std::vector<double>& x, const std::vector<double>& y) {
    const auto n = static_cast<double>(x.size());
    double sx = 0, sy = 0, sxx = 0, syy = 0, sxy = 0;
    for (std::size_t k = 0; k < x.size(); ++k) {
        sx += x[k];
        sy += y[k];
        sxx += x[k] * x[k];
        syy += y[k] * y[k];
        sxy += x[k] * y[k];
    }
    return (n * sxy - sx * sy) / std::sqrt((n * sxx - sx * sx) * (n * syy - sy * sy));
}

}  // namespace

TEST_CASE("R0 and the first branch: told apart by rows in the first seconds, else said not to be",
          "[fit][findings]") {
    const int branches = GENERATE(2, 3, 4);
    const Cell truth = with_first_time(branches, branches == 2 ? 1.1 : 0.85);
    for (std::uint64_t salt = 0; salt < 3; ++salt) {
        CAPTURE(branches, voltkeel_test::seed(), salt);
        const Log quick =
            made_log(truth, program_of(usual_rates), {"pulses", 1, 25, 1e-3, 0, 900 + salt});
        CHECK(findings_of(truth, quick).empty());
        CHECK_THAT(findings_of(truth, without_first_seconds(quick)),
                   Contains("25 degC: R0 and R1 cannot be told apart at 10 .. 100 % SOC: log the "
                            "first seconds of a pulse in steps of 0.1 s or less"));
    }
}

TEST_CASE("what is said not to be told apart scatters against each other from test to test",
          "[fit][findings][long]") {
    // The correlation that the finding goes by is the fit's own; this one is counted over tests.
    const Cell truth = with_first_time(3, 0.85);
    constexpr int tests = 40;
    constexpr std::size_t node = 10;
    for (const bool quick : {true, false}) {
        std::vector<double> r0, r1;
        for (std::uint64_t salt = 0; salt < tests; ++salt) {
            const Log log =
                made_log(truth, program_of(usual_rates), {"pulses", 1, 25, 1e-3, 0, 920 + salt});
            const PulseFit fit = fitted(truth, quick ? log : without_first_seconds(log));
            r0.push_back(std::log(fit.r0_ohm[node]));
            r1.push_back(std::log(fit.branches[0].resistance_ohm[node]));
        }
        const double counted = correlation_of(r0, r1);
        WARN((quick ? "with" : "without")
             << " the first seconds: R0 against R1 over " << tests << " tests " << counted);
        CAPTURE(voltkeel_test::seed(), quick, counted);
        // Of 40 pairs that are correlated by 0.9, fewer than one in a thousand show less than 0.75
        // (Fisher's z: 1.47 - 3.1 / sqrt(37) = 0.96); more than that is what "alike" means.
        if (quick) {
            CHECK(counted > -0.9);
        } else {
            CHECK(counted < -0.75);
        }
    }
}

TEST_CASE("the SOC range of a finding is where the rows are missing", "[fit][findings]") {
    const Cell truth = with_first_time(3, 0.85);
    const Log log = made_log(truth, program_of(usual_rates), {"pulses", 1, 25, 2e-4, 0, 941});
    double charge_Ah = 0;
    std::size_t half = 0;
    for (std::size_t k = 1; half == 0; ++k) {
        charge_Ah += log.current_A[k] * (log.time_s[k] - log.time_s[k - 1]) / 3600;
        if (charge_Ah < -0.45 * capacity_Ah) half = k;
    }
    const PulseFit fit = fitted(truth, without_first_seconds(log, log.time_s[half]));
    std::string found;
    for (const std::string& finding : fit.findings) {
        if (finding.find("R0 and R1") != std::string::npos) found = finding;
    }
    CAPTURE(found);
    REQUIRE(found.find(" at 10 .. ") != std::string::npos);
    const double end_percent = std::stod(found.substr(found.find(" .. ") + 4));
    CHECK(end_percent >= 40);
    CHECK(end_percent <= 60);
}

TEST_CASE("a charge transfer: its scale takes more rates, itself the first seconds",
          "[fit][findings]") {
    const Cell quick = with_transfer(0.25);
    const Cell slow = with_transfer(1);
    for (std::uint64_t salt = 0; salt < 3; ++salt) {
        CAPTURE(voltkeel_test::seed(), salt);
        const auto log_of = [&](const Cell& truth, const std::vector<double>& rates,
                                double noise_V = 2e-4) {
            return made_log(truth, program_of(rates), {"pulses", 1, 25, noise_V, 0, 950 + salt});
        };
        const std::string one_rate = findings_of(quick, log_of(quick, {-1.5}));
        CHECK_THAT(one_rate, Contains("R0 and the charge-transfer resistance cannot be told "
                                      "apart at"));
        // Where noise leads the fit elsewhere, too.
        for (const std::string& said : {one_rate, findings_of(quick, log_of(quick, {-1.5}, 1e-3))})
            CHECK_THAT(said, Contains("the charge-transfer resistance and its scale cannot be "
                                      "told apart at") &&
                                 Contains("pulse at more rates, the highest as high as the cell "
                                          "may"));
        const Log many = made_log(slow, program_of({-0.5, -1.5, -3, 0.5}),
                                  {"pulses", 1, 25, 2e-4, 0, 960 + salt});
        CHECK(findings_of(slow, many).empty());
        const Log single = log_of(slow, {-0.4, 0.4});
        CHECK_THAT(findings_of(slow, without_first_seconds(single)),
                   Contains("R0 and the charge-transfer resistance cannot be told apart at") &&
                       Contains("100 % SOC: log the first seconds"));
        CHECK_THAT(findings_of(slow, single), !Contains("R0 and the charge-transfer"));
    }
}

TEST_CASE("what the tests hardly touch, where they end and how long they rest is said",
          "[fit][findings]") {
    const Cell truth = with_first_time(3, 0.4);
    const Log quick = made_log(truth, program_of(usual_rates), {"pulses", 1, 25, 1e-3, 0, 971});
    CHECK(findings_of(truth, quick).empty());
    CHECK_THAT(
        findings_of(truth, without_first_seconds(quick)),
        Contains("R1 is known to a factor of 1.6 at best at") && Contains("pulse there too"));

    const Log upper =
        made_log(truth, program_of(usual_rates, 300, 2700, 5), {"pulses", 1, 25, 1e-3, 0, 972});
    CHECK_THAT(findings_of(truth, upper),
               Contains("the tests end at 49 % SOC") && Contains("go on to empty"));

    const Log hurried =
        made_log(truth, program_of(usual_rates, 300, 1080), {"pulses", 1, 25, 1e-3, 0, 973});
    CHECK_THAT(findings_of(truth, hurried),
               Contains("rests on usual values, the longest rest lasts 0.3 h: one rest of a night "
                        "tells its size"));
}
