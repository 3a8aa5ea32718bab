// A cell from a data sheet alone: it gives the sheet's own numbers back, says that it is not
// measured, and a filter started from it knows how little it knows.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <functional>
#include <iostream>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "voltkeel/fit/data_sheet.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/filter_settings.hpp"
#include "voltkeel/io/model_state.hpp"
#include "voltkeel/io/replay.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::cell_from_data_sheet;
using voltkeel::Chemistry;
using voltkeel::DataSheet;
using voltkeel::filter_settings;
using voltkeel::Log;
using voltkeel_test::error_text;
using voltkeel_test::Random;

namespace {

constexpr Chemistry chemistries[] = {Chemistry::nmc, Chemistry::nca, Chemistry::lco, Chemistry::lmo,
                                     Chemistry::lfp};

DataSheet usual_sheet(Chemistry chemistry = Chemistry::nmc) {
    DataSheet sheet;
    sheet.name = "HW-50 (invented)";
    sheet.chemistry = chemistry;
    sheet.capacity_Ah = 5;
    sheet.resistance_ac_ohm = 0.015;
    sheet.resistance_dc_ohm = 0.028;
    return sheet;
}

/// A cell as the sheet says, but for its resistance, OCV and capacity.
Cell other_cell(const DataSheet& sheet, double resistance_scale, double ocv_V, double capacity) {
    Cell cell = cell_from_data_sheet(sheet);
    const auto scale = [&](voltkeel::Grid& grid) {
        for (auto& row : grid) {
            for (double& value : row)
                value *= resistance_scale;
        }
    };
    scale(cell.resistance.r0_ohm);
    for (auto& branch : cell.resistance.branches)
        scale(branch.resistance_ohm);
    for (double& v : cell.ocv.discharge_V)
        v += ocv_V;
    for (double& v : cell.ocv.charge_V)
        v += ocv_V;
    cell.capacity_Ah *= capacity;
    return cell;
}

/// Ninety minutes of a boat from 90 % down, with a rest; one row a second.
struct Drive {
    Log log;
    std::vector<double> soc;
};

Drive drive_of(const Cell& truth, double temperature_degC, std::uint64_t salt) {
    Random random(salt);
    const voltkeel::CellTables<double, 3> tables(truth);
    const auto cell = tables.parameters();
    voltkeel::CellState<double, 3> state;
    state.soc = 0.9;
    Drive drive;
    drive.log.source = "drive";
    double current_A = 0;
    for (int k = 0; k < 5400; ++k) {
        if (k % 20 == 0) current_A = random.uniform(-1.2, 0.3) * truth.capacity_Ah;
        if (k < 30 || (k > 2400 && k < 3000)) current_A = 0;
        if (k > 0) voltkeel::step(cell, {current_A, 1, temperature_degC}, state);
        drive.log.time_s.push_back(k);
        drive.log.current_A.push_back(current_A);
        drive.log.voltage_V.push_back(
            voltage_at(cell, state, current_A, temperature_degC).voltage_V +
            0.002 * random.normal());
        drive.log.temperature_degC.push_back(temperature_degC);
        drive.soc.push_back(state.soc);
    }
    return drive;
}

struct Score {
    double rms{0};
    double inside{0};
};

/// Error after ten minutes, and the share of it inside the filter's 95 % band.
Score score_of(const Drive& drive, const voltkeel::SocTrace& trace) {
    Score score;
    int rows = 0;
    for (std::size_t k = 600; k < drive.soc.size(); ++k, ++rows) {
        const double error = trace.soc[k] - drive.soc[k];
        score.rms += error * error;
        score.inside += std::abs(error) < 1.96 * trace.soc_std[k] ? 1 : 0;
    }
    return {std::sqrt(score.rms / rows), score.inside / rows};
}

}  // namespace

TEST_CASE("the model gives the numbers of the sheet back", "[data sheet]") {
    Random random(511);
    for (int round = 0; round < 200; ++round) {
        DataSheet sheet;
        sheet.chemistry = chemistries[random.whole(0, 4)];
        sheet.capacity_Ah = std::exp(random.uniform(-1, 6));
        sheet.resistance_ac_ohm = random.uniform(0.01, 0.2) / sheet.capacity_Ah;
        sheet.resistance_dc_ohm = sheet.resistance_ac_ohm * random.uniform(1.05, 3);
        sheet.dc_pulse_s = random.uniform(0.5, 120);
        const Cell cell = cell_from_data_sheet(sheet);
        CAPTURE(round, static_cast<int>(sheet.chemistry), sheet.capacity_Ah,
                sheet.resistance_ac_ohm, sheet.resistance_dc_ohm, sheet.dc_pulse_s);
        const auto node = voltkeel_test::resistance_of<3>(cell, 0.5, 25);
        REQUIRE(std::abs(node.r0_ohm / sheet.resistance_ac_ohm - 1) < 1e-12);
        REQUIRE(std::abs(voltkeel_test::pulse_resistance_ohm(cell, 0.5, 25, sheet.dc_pulse_s) /
                             sheet.resistance_dc_ohm -
                         1) < 1e-12);
        // Nothing is certain, and least of all in the cold and near the ends.
        const auto& grid = cell.resistance;
        const auto share = [&](std::size_t t, std::size_t s) {
            return grid.r0_ohm_std[t][s] / grid.r0_ohm[t][s];
        };
        for (std::size_t t = 0; t < grid.temperature_degC.size(); ++t) {
            for (std::size_t s = 0; s < grid.soc.size(); ++s)
                REQUIRE(share(t, s) >= 0.3);
        }
        REQUIRE(share(0, 10) > share(2, 10));
        REQUIRE(share(2, 0) > share(2, 10));
        REQUIRE(*std::min_element(cell.ocv.voltage_std_V.begin(), cell.ocv.voltage_std_V.end()) >=
                0.015);
        REQUIRE(std::abs(cell.capacity_Ah_std / sheet.capacity_Ah - 0.05) < 1e-12);
        // Colder is more resistance, and so is emptier: R0 alone by 15 %.
        REQUIRE(voltkeel_test::pulse_resistance_ohm(cell, 0.5, -10, 10) >
                1.5 * voltkeel_test::pulse_resistance_ohm(cell, 0.5, 25, 10));
        REQUIRE(voltkeel_test::pulse_resistance_ohm(cell, 0.02, 25, 10) >
                1.15 * voltkeel_test::pulse_resistance_ohm(cell, 0.5, 25, 10));
    }
}

TEST_CASE("the OCV ends where the sheet says", "[data sheet]") {
    for (const Chemistry chemistry : chemistries) {
        DataSheet sheet = usual_sheet(chemistry);
        const bool iron = chemistry == Chemistry::lfp;
        for (const double low_V : {2.5, 2.75, 3.0}) {
            for (const double high_V : iron ? std::vector<double>{3.45, 3.6, 3.65}
                                            : std::vector<double>{4.1, 4.15, 4.2, 4.22}) {
                const bool polymer = chemistry == Chemistry::lco || chemistry == Chemistry::lmo;
                if ((polymer && low_V < 2.7) || (iron && low_V > 2.9)) continue;
                sheet.voltage_min_V = low_V;
                sheet.voltage_max_V = high_V;
                const Cell cell = cell_from_data_sheet(sheet);
                CAPTURE(static_cast<int>(chemistry), low_V, high_V);
                CHECK(std::abs(cell.ocv.discharge_V.front() - low_V) < 1e-9);
                CHECK(std::abs(cell.ocv.charge_V.back() - high_V) < 1e-9);
                CHECK(cell.window.voltage_min_V == low_V);
                CHECK(cell.window.voltage_max_V == high_V);
                // 10 to 30 mV of gap for iron phosphate, none known for the others.
                const double gap_V = cell.ocv.charge_V[100] - cell.ocv.discharge_V[100];
                CHECK(std::abs(gap_V - (iron ? 0.02 : 0.0)) < 1e-12);
            }
        }
    }
}

TEST_CASE("the file says that nothing was measured, and keeps everything", "[data sheet]") {
    const auto folder = std::filesystem::temp_directory_path() / "voltkeel_test_data_sheet";
    std::filesystem::create_directories(folder);
    for (const Chemistry chemistry : chemistries) {
        const Cell cell = cell_from_data_sheet(usual_sheet(chemistry));
        save_cell(folder / "cell.json", cell);
        const Cell read = voltkeel::load_cell(folder / "cell.json");
        CHECK(read.provenance.method == "data sheet only: not measured");
        CHECK(read.provenance.notes == cell.provenance.notes);
        CHECK(read.resistance.r0_ohm == cell.resistance.r0_ohm);
        CHECK(read.ocv.discharge_V == cell.ocv.discharge_V);
        CHECK(read.ocv.entropy_V_per_K.empty());
        std::string notes;
        for (const std::string& note : read.provenance.notes)
            notes += note + '\n';
        CHECK_THAT(notes, Contains("not measured") && Contains("Measure next") &&
                              Contains("Common practice") && Contains("charge up to 2.5 A") &&
                              Contains("discharge up to 5 A") &&
                              Contains("no charging below 0 degC"));
    }
    std::filesystem::remove_all(folder);
}

TEST_CASE("the maker's limits are taken and not called common practice", "[data sheet]") {
    DataSheet sheet = usual_sheet();
    sheet.voltage_min_V = 2.8;
    sheet.voltage_max_V = 4.15;
    sheet.charge_current_A = 1.5;
    sheet.charge_current_max_A = 4;
    sheet.discharge_current_max_A = 12;
    sheet.end_current_A = 0.1;
    sheet.charge_temperature_min_degC = 5;
    sheet.charge_temperature_max_degC = 40;
    sheet.discharge_temperature_min_degC = -15;
    sheet.discharge_temperature_max_degC = 55;
    sheet.mass_kg = 0.07;
    const Cell cell = cell_from_data_sheet(sheet);
    for (const std::string& note : cell.provenance.notes)
        CHECK_THAT(note, !Contains("Common practice"));
    CHECK(cell.window.charge_temperature_min_degC == 5);
    CHECK(cell.window.discharge_temperature_max_degC == 55);
    CHECK(cell.thermal.heat_capacity_J_per_K == 70);
    REQUIRE(cell.charge.zone_count == 2);
    CHECK(cell.charge.zones[0].temperature_min_degC == 5);
    CHECK(cell.charge.zones[0].current_A == 0.75);
    CHECK(cell.charge.zones[1].temperature_max_degC == 40);
    CHECK(cell.charge.zones[1].current_A == 1.5);
    CHECK(cell.charge.end_current_A == 0.1);
    voltkeel::ModelState state;
    state.soc = 0.5;
    const auto at = [&](double temperature_degC) {
        state.temperature_degC = temperature_degC;
        return current_limits(cell, state, {2.0}).front();
    };
    CHECK(at(30).charge.current_A == Approx(4));
    CHECK(at(10).charge.current_A == Approx(2));
    CHECK(at(4).charge.current_A == 0);
    CHECK(at(41).charge.current_A == 0);
    CHECK(at(25).discharge.current_A == Approx(-12));
    CHECK(at(-16).discharge.current_A == 0);
    CHECK(at(56).discharge.current_A == 0);
}

TEST_CASE("every chemistry is limited and charged to full", "[data sheet]") {
    for (const Chemistry chemistry : chemistries) {
        const Cell cell = cell_from_data_sheet(usual_sheet(chemistry));
        voltkeel::ModelState state;
        state.soc = 0.2;
        state.hysteresis = -1;
        const auto outlook = time_to_full(cell, state, cell.charge, 25);
        CAPTURE(static_cast<int>(chemistry), outlook.forecast.time_s, outlook.forecast.end_soc);
        CHECK(outlook.forecast.reached);
        // Four fifths of the charge at half a C: 96 minutes at least, and no more than three hours.
        CHECK(outlook.forecast.time_s > 0.9 * 96 * 60);
        CHECK(outlook.forecast.time_s < 3 * 3600);
        CHECK(outlook.forecast.end_soc > 0.95);
        for (const auto& limit : current_limits(cell, state)) {
            CHECK(limit.discharge.current_A < 0);
            CHECK(limit.charge.current_A > 0);
        }
    }
}

TEST_CASE("a filter from a data sheet stays inside its band on another cell", "[data sheet]") {
    // In truth 40 % more or less resistance, 20 mV more or less OCV, 3 % more or less capacity.
    std::uint64_t salt = 520;
    for (const Chemistry chemistry : chemistries) {
        const DataSheet sheet = usual_sheet(chemistry);
        const Cell cell = cell_from_data_sheet(sheet);
        const auto settings = filter_settings(cell);
        double worst = 0;
        for (const double resistance : {0.6, 1.4}) {
            for (const double ocv_V : {-0.02, 0.02}) {
                for (const double capacity : {0.97, 1.03}) {
                    for (const double temperature_degC : {25.0, 0.0}) {
                        const Cell truth = other_cell(sheet, resistance, ocv_V, capacity);
                        const Drive drive = drive_of(truth, temperature_degC, ++salt);
                        for (const double told : {0.9, 0.6, -1.0}) {
                            voltkeel::ReplaySettings start;
                            start.filter = settings;
                            if (told >= 0) start.initial_soc = told;
                            start.initial_soc_std = told > 0.8 ? 0.05 : 0.2;
                            const auto trace = replay(cell, drive.log, start);
                            const Score score = score_of(drive, trace);
                            CAPTURE(static_cast<int>(chemistry), resistance, ocv_V, capacity,
                                    temperature_degC, told, salt, score.rms);
                            CHECK(score.inside > 0.95);
                            CHECK(trace.reset_count == 0);
                            worst = std::max(worst, score.rms);
                        }
                    }
                }
            }
        }
        std::cout << "data sheet only, chemistry " << static_cast<int>(chemistry)
                  << ": largest SOC rms error " << 100 * worst << " points, band floor "
                  << 196 * settings.soc_std_floor << " points\n";
        // A steep OCV finds the SOC; a flat one (iron phosphate) may be a quarter off when nothing
        // is told, and its band says so.
        CHECK(worst < (chemistry == Chemistry::lfp ? 0.28 : 0.05));
    }
}

TEST_CASE("a fitted cell keeps the default settings", "[data sheet]") {
    Cell cell = voltkeel_test::made_cell();
    cell.capacity_Ah_std = 0.01 * cell.capacity_Ah;
    cell.resistance.r0_ohm_std = cell.resistance.r0_ohm;
    for (auto& row : cell.resistance.r0_ohm_std) {
        for (double& value : row)
            value *= 0.05;
    }
    const auto settings = filter_settings(cell);
    const voltkeel::SocFilterSettings<double> defaults;
    CHECK(settings.voltage_std_V == defaults.voltage_std_V);
    CHECK(settings.soc_std_floor == defaults.soc_std_floor);
    CHECK(settings.log_scale_std_initial == defaults.log_scale_std_initial);
    CHECK(settings.soc_std_per_sqrt_h == defaults.soc_std_per_sqrt_h);
    // Each of them opens by its own spread alone.
    cell.capacity_Ah_std = 0.1 * cell.capacity_Ah;
    CHECK(filter_settings(cell).soc_std_per_sqrt_h == Approx(0.04));
    cell.ocv.voltage_std_V.assign(cell.ocv.soc.size(), 0.03);
    CHECK(filter_settings(cell).voltage_std_V == Approx(0.045));
    CHECK(filter_settings(cell).soc_std_floor > 0.02);
    CHECK(filter_settings(cell).log_scale_std_initial == defaults.log_scale_std_initial);
}

TEST_CASE("what a sheet cannot say is refused by name", "[data sheet]") {
    const auto said = [](const std::function<void(DataSheet&)>& change) {
        DataSheet sheet = usual_sheet();
        change(sheet);
        return error_text([&] { (void)cell_from_data_sheet(sheet); });
    };
    CHECK(said([](DataSheet&) {}).empty());
    CHECK_THAT(said([](DataSheet& s) { s.capacity_Ah = 0; }), Contains("capacity_Ah: 0"));
    CHECK_THAT(said([](DataSheet& s) { s.capacity_Ah = NAN; }), Contains("capacity_Ah: nan"));
    CHECK_THAT(said([](DataSheet& s) { s.resistance_ac_ohm = -1; }),
               Contains("resistance_ac_ohm: -1"));
    CHECK_THAT(said([](DataSheet& s) { s.resistance_dc_ohm = 0.015; }),
               Contains("resistance_dc_ohm: 0.015 must be above resistance_ac_ohm, 0.015"));
    CHECK_THAT(said([](DataSheet& s) { s.resistance_dc_ohm = INFINITY; }),
               Contains("resistance_dc_ohm: inf"));
    CHECK_THAT(said([](DataSheet& s) { s.dc_pulse_s = 0.1; }), Contains("dc_pulse_s: 0.1"));
    CHECK_THAT(said([](DataSheet& s) { s.voltage_max_V = 4.6; }),
               Contains("voltage_max_V: 4.6") && Contains("curve taken for nmc"));
    CHECK_THAT(said([](DataSheet& s) { s.voltage_min_V = 3.6; }), Contains("voltage_min_V: 3.6"));
    CHECK_THAT(said([](DataSheet& s) { s.voltage_max_V = NAN; }), Contains("voltage_max_V: nan"));
    CHECK_THAT(said([](DataSheet& s) {
                   s.chemistry = Chemistry::lfp;
                   s.voltage_max_V = 4.2;
               }),
               Contains("voltage_max_V: 4.2"));
    CHECK_THAT(said([](DataSheet& s) {
                   s.charge_current_A = 3;
                   s.charge_current_max_A = 2;
               }),
               Contains("charge_current_A: 3 is above charge_current_max_A, 2"));
    CHECK_THAT(said([](DataSheet& s) { s.discharge_current_max_A = -5; }),
               Contains("discharge_current_max_A: -5"));
    CHECK_THAT(said([](DataSheet& s) { s.charge_temperature_min_degC = 50; }),
               Contains("charge_temperature_min_degC: 50"));
    CHECK_THAT(said([](DataSheet& s) { s.end_current_A = 3; }), Contains("end_current_A"));
    CHECK_THAT(said([](DataSheet& s) { s.mass_kg = 0; }), Contains("mass_kg: 0"));
    CHECK_THAT(said([](DataSheet& s) { s.chemistry = static_cast<Chemistry>(9); }),
               Contains("chemistry: 9"));
}
