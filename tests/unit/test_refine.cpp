#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "voltkeel/fit/refine.hpp"
#include "voltkeel/io/cell_file.hpp"

using voltkeel::Cell;
using voltkeel::Log;
using voltkeel::refine_cell;
using voltkeel::RefineResult;
using voltkeel::RefineSettings;
using voltkeel_test::error_text;

namespace {

constexpr double capacity_Ah = 5;

Cell true_cell(bool transfer, int branches = 3) {
    voltkeel_test::MadeCellShape shape;
    shape.capacity_Ah = capacity_Ah;
    shape.branches = branches;
    shape.charge_transfer = transfer;
    Cell cell = voltkeel_test::made_cell(shape);
    cell.capacity_Ah_std = 0.02 * capacity_Ah;
    return cell;
}

/// Some three and a half hours of an invented boat: a rest, then currents that change every few
/// seconds to minutes, charging now and then, from 95 % down.
Log day_log(const Cell& truth, double noise_V, std::uint64_t salt,
            const std::string& source = "day.csv") {
    voltkeel_test::Random random(1000 + salt);
    std::vector<voltkeel_test::HeldCurrent> program{{0, 120, 1, 60}};
    for (double length_s = 0; length_s < 12600;) {
        const double hold_s = std::exp(random.uniform(std::log(4), std::log(300)));
        const double kind = random.uniform(0, 1);
        const double rate_per_h = kind < 0.25   ? 0.0
                                  : kind < 0.35 ? random.uniform(0.1, 0.5)
                                                : -random.uniform(0.05, 1.0);
        program.push_back({rate_per_h * capacity_Ah, hold_s, 10, 20});
        length_s += hold_s;
    }
    return voltkeel_test::made_log(truth, program, {source, 0.95, 25, noise_V, 0, salt});
}

void scale(voltkeel::Grid& grid, double factor) {
    for (auto& row : grid)
        for (double& value : row)
            value *= factor;
}

const voltkeel::RefineFactor& factor_of(const RefineResult& result, const std::string& name) {
    return *std::find_if(result.factors.begin(), result.factors.end(),
                         [&](const auto& factor) { return factor.name == name; });
}

}  // namespace

TEST_CASE("factors and OCV shift that a cell is wrong by come back within their spread",
          "[refine]") {
    for (const bool transfer : {false, true}) {
        const Cell truth = true_cell(transfer);
        Cell cell = truth;
        scale(cell.resistance.r0_ohm, 1 / 1.15);
        scale(cell.resistance.branches[0].resistance_ohm, 1 / 0.8);
        scale(cell.resistance.branches[1].time_s, 1 / 1.25);
        scale(cell.resistance.branches[2].resistance_ohm, 1 / 1.3);
        if (transfer) scale(cell.resistance.charge_transfer->exchange_current_A, 1.2);
        cell.capacity_Ah /= 0.98;
        const auto shift_V = [](double soc) {
            return 0.012 * (std::clamp(soc, 0.05, 0.95) - 0.5);  // held beyond the knots
        };
        for (std::size_t k = 0; k < cell.ocv.soc.size(); ++k) {
            cell.ocv.discharge_V[k] -= shift_V(cell.ocv.soc[k]);
            cell.ocv.charge_V[k] -= shift_V(cell.ocv.soc[k]);
        }
        const std::vector<Log> logs{day_log(truth, 1e-3, 51, "one"),
                                    day_log(truth, 1e-3, 52, "two")};
        RefineSettings settings;
        settings.initial_soc = {0.95, {}};
        settings.initial_soc_std = 0.002;
        const RefineResult result = refine_cell(cell, logs, settings);
        const auto near = [&](const std::string& name, double truth_factor, double bound) {
            const auto& factor = factor_of(result, name);
            CAPTURE(transfer, name, truth_factor, factor.factor, factor.log_std);
            CHECK(std::abs(std::log(factor.factor / truth_factor)) < 3 * factor.log_std);
            CHECK(std::abs(factor.factor / truth_factor - 1) < bound);
            CHECK(factor.log_std > 0);
            CHECK(factor.log_std < 0.3);
        };
        near("r0", 1.15, 0.03);
        near("branch 1 resistance", 0.8, 0.08);
        near("branch 1 time", 1, 0.15);
        near("branch 2 resistance", 1, 0.08);
        near("branch 2 time", 1.25, 0.15);
        near("branch 3 resistance", 1.3, 0.15);
        near("branch 3 time", 1, 0.4);
        if (transfer) near("charge transfer", 1.2, 0.05);
        near("capacity", 0.98, 0.015);
        for (std::size_t k = 0; k < result.ocv_soc.size(); ++k) {
            if (result.ocv_soc[k] < 0.2) continue;  // not reached by the logs
            CAPTURE(transfer, k, result.ocv_shift_V[k], result.ocv_shift_std_V[k]);
            CHECK(std::abs(result.ocv_shift_V[k] - shift_V(result.ocv_soc[k])) <
                  3 * result.ocv_shift_std_V[k]);
        }
        CAPTURE(result.held_out_before_rms_V, result.held_out_rms_V);
        CHECK(result.improved);
        CHECK(result.fitted_rms_V < 1.2e-3);
        CHECK(result.held_out_rms_V < 1.2e-3);
        CHECK(result.held_out_before_rms_V > 3e-3);
        CHECK(result.cell.resistance.r0_ohm[1][3] ==
              Approx(cell.resistance.r0_ohm[1][3] * factor_of(result, "r0").factor));
        CHECK(result.cell.capacity_Ah_std < cell.capacity_Ah_std);
        CHECK(result.logs[0].initial_soc == Approx(0.95).margin(0.006));
        CHECK(result.logs[1].initial_soc == Approx(0.95).margin(0.006));
    }
}

TEST_CASE("the split is even, follows the seed and is written down", "[refine]") {
    const Cell truth = true_cell(false, 1);
    Cell cell = truth;
    scale(cell.resistance.r0_ohm, 0.8);
    const Log log = day_log(truth, 1e-3, 53);
    RefineSettings settings;
    const RefineResult one = refine_cell(cell, {log}, settings);
    const RefineResult again = refine_cell(cell, {log}, settings);
    settings.seed = 2;
    const RefineResult other = refine_cell(cell, {log}, settings);
    const auto& split = one.logs.front();
    CHECK(split.block_count == std::ceil((log.time_s.back() - log.time_s.front()) / 600));
    CHECK(split.fitted_rows + split.held_out_rows == log.size());
    const int pairs = split.block_count / 2;
    REQUIRE(static_cast<int>(split.fitted_blocks.size()) >= pairs);
    for (int pair = 0; pair < pairs; ++pair)
        CHECK(split.fitted_blocks[static_cast<std::size_t>(pair)] / 2 == pair);
    CHECK(split.fitted_blocks == again.logs.front().fitted_blocks);
    CHECK(split.fitted_blocks != other.logs.front().fitted_blocks);
    CHECK(to_json(one.cell) == to_json(again.cell));
    REQUIRE(one.improved);
    CHECK(one.block_s == 600);
    const auto& provenance = one.cell.provenance;
    CHECK(provenance.files.back().role == "log");
    CHECK(provenance.files.back().name == "day.csv");
    CHECK(provenance.files.back().rows == log.size());
    CHECK(provenance.files.back().rows_used == one.rows_used);
    CHECK(split.rows_used == one.rows_used);
    CHECK(split.rows_used <= split.fitted_rows);
    std::string blocks = "day.csv:";
    for (const int block : split.fitted_blocks)
        blocks += " " + std::to_string(block);
    CHECK(provenance.notes.back().find("Blocks of 10 min, seed 1, fitted blocks " + blocks) !=
          std::string::npos);
}

TEST_CASE("where the held-out half is met no better, the cell stays as it was", "[refine]") {
    const Cell truth = true_cell(true);
    Log log = day_log(truth, 1e-3, 54);
    RefineSettings settings;
    {
        const RefineResult result = refine_cell(truth, {log}, settings);
        CAPTURE(result.held_out_before_rms_V, result.held_out_rms_V);
        CHECK_FALSE(result.improved);
        CHECK(to_json(result.cell) == to_json(truth));
        REQUIRE(result.notes.size() == 1);
        CHECK(result.notes[0].find("The held-out half is not met better") != std::string::npos);
        CHECK(result.notes[0].find("returned as it was") != std::string::npos);
    }
    // More resistance in the blocks that are fitted, less in the others.
    const auto blocks = refine_cell(truth, {log}, settings).logs.front().fitted_blocks;
    for (std::size_t k = 0; k < log.size(); ++k) {
        const int block = static_cast<int>((log.time_s[k] - log.time_s.front()) / 600);
        const bool fitted = std::find(blocks.begin(), blocks.end(), block) != blocks.end();
        log.voltage_V[k] += (fitted ? 0.006 : -0.006) * log.current_A[k];
    }
    const RefineResult worse = refine_cell(truth, {log}, settings);
    CHECK(worse.fitted_rms_V < 0.7 * worse.fitted_before_rms_V);
    CHECK(worse.held_out_rms_V > worse.held_out_before_rms_V);
    CHECK_FALSE(worse.improved);
    CHECK(to_json(worse.cell) == to_json(truth));
    settings.keep_unimproved = true;
    const RefineResult kept = refine_cell(truth, {log}, settings);
    CHECK_FALSE(kept.improved);
    CHECK(kept.cell.resistance.r0_ohm[0][0] > truth.resistance.r0_ohm[0][0]);
    CHECK(kept.notes[0].find("because it was asked for") != std::string::npos);
    CHECK(kept.cell.provenance.notes.back().find("Refined on 1 log") != std::string::npos);
}

TEST_CASE("few rows give nearly the same as all of them", "[refine]") {
    const Cell truth = true_cell(false, 2);
    Cell cell = truth;
    scale(cell.resistance.r0_ohm, 0.8);
    const Log log = day_log(truth, 1e-3, 55);
    RefineSettings settings;
    settings.max_rows = 1000000;
    const RefineResult all = refine_cell(cell, {log}, settings);
    settings.max_rows = 400;
    const RefineResult few = refine_cell(cell, {log}, settings);
    CHECK(all.rows_used > 1000);
    CHECK(few.rows_used <= 400);
    CHECK(few.rows_used > 200);
    CHECK(factor_of(few, "r0").factor == Approx(1.25).epsilon(0.03));
    CHECK(factor_of(few, "r0").log_std > factor_of(all, "r0").log_std);
}

TEST_CASE("the refinement reports, can be cancelled, and names what it cannot use", "[refine]") {
    const Cell cell = true_cell(false, 1);
    const Log log = day_log(cell, 1e-3, 56);
    std::vector<double> shares;
    (void)refine_cell(cell, {log}, {}, [&](double share, const std::string& stage) {
        CHECK_FALSE(stage.empty());
        shares.push_back(share);
        return true;
    });
    CHECK(std::is_sorted(shares.begin(), shares.end()));
    CHECK(shares.front() == 0);
    CHECK(shares.back() == 1);
    CHECK(error_text([&] {
              (void)refine_cell(cell, {log}, {},
                                [](double share, const std::string&) { return share < 0.3; });
          }) == "cancelled");

    const auto said = [&](const std::vector<Log>& logs, const RefineSettings& settings = {}) {
        return error_text([&] { (void)refine_cell(cell, logs, settings); });
    };
    const auto says = [](const std::string& text, const std::string& part) {
        CAPTURE(text, part);
        CHECK(text.find(part) != std::string::npos);
    };
    says(said({}), "at least one log");
    Log cut = log;
    for (auto* column : {&cut.time_s, &cut.current_A, &cut.voltage_V, &cut.temperature_degC})
        column->resize(10);
    says(said({cut}), "day.csv: a refinement needs at least 20 rows, this log has 10");
    Log loaded = log;
    loaded.current_A.front() = -3;
    says(said({loaded}), "day.csv: starts under a current of -3 A");
    Log odd = log;
    odd.voltage_V[5] = std::numeric_limits<double>::infinity();
    CHECK_FALSE(said({odd}).empty());
    RefineSettings settings;
    settings.block_min = 600;
    says(said({log}, settings), "block_min: with blocks of 600 min");
    settings.block_min = -1;
    says(said({log}, settings), "block_min: -1 is outside");
    settings = {};
    settings.initial_soc = {0.5, 0.5};
    says(said({log}, settings), "initial_soc: has 2 values for 1 logs");
    settings.initial_soc = {1.5};
    says(said({log}, settings), "initial_soc: 1.5 is outside 0 .. 1");
    settings = {};
    settings.ocv_soc = {0.5, 0.4};
    says(said({log}, settings), "ocv_soc[1]: 0.4 must rise");
    settings.ocv_soc.clear();
    says(said({log}, settings), "ocv_soc: needs at least one knot");
    settings = {};
    settings.factor_log_std = 0;
    says(said({log}, settings), "factor_log_std: 0 is outside");
    Cell bad = cell;
    bad.capacity_Ah = 0;
    CHECK_FALSE(error_text([&] { (void)refine_cell(bad, {log}); }).empty());
}
