#include "voltkeel/fit/data_sheet.hpp"

#include <algorithm>
#include <array>
#include <boost/math/tools/roots.hpp>
#include <cmath>
#include <cstdint>
#include <functional>

#include "fit/common_practice.hpp"
#include "io/number_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/fit/thermal.hpp"
#include "voltkeel/version.hpp"

namespace voltkeel {

namespace {

/// Nickel-rich NMC against graphite with silicon oxide; source in the header.
double nmc_ocv_V(double soc) {
    const double x = 0.0279 + soc * (0.9014 - 0.0279);
    const double y = 0.9084 + soc * (0.2661 - 0.9084);
    const double negative_V =
        1.9793 * std::exp(-39.3631 * x) + 0.2482 - 0.0909 * std::tanh(29.8538 * (x - 0.1234)) -
        0.04478 * std::tanh(14.9159 * (x - 0.2769)) - 0.0205 * std::tanh(30.4444 * (x - 0.6103));
    const double positive_V = -0.8090 * y + 4.4875 - 0.0428 * std::tanh(18.5138 * (y - 0.5542)) -
                              17.7326 * std::tanh(15.7890 * (y - 0.3117)) +
                              17.5842 * std::tanh(15.9308 * (y - 0.3120));
    return positive_V - negative_V;
}

/// Small polymer cell; source in the header.
double polymer_ocv_V(double soc) {
    return -1.031 * std::exp(-35 * soc) + 3.685 + soc * (0.2156 + soc * (-0.1178 + soc * 0.3201));
}

/// Iron phosphate against graphite at every tenth of SOC, straight in between; source in the
/// header.
double lfp_ocv_V(double soc) {
    static const std::array<OcvNode<double>, 11> nodes{
        {{2.80}, {3.20}, {3.25}, {3.28}, {3.29}, {3.30}, {3.31}, {3.33}, {3.335}, {3.34}, {3.42}}};
    const OcvTable<double> table{nodes.data(), static_cast<int>(nodes.size())};
    return ocv_at(table, soc, table.reference_temperature_degC).mean_V;
}

/// What a chemistry is taken to be like.
struct ChemistryFacts {
    const char* name;
    double (*ocv_V)(double soc);
    double soc_low;  ///< The curve may be used from here ..
    double soc_high;
    double voltage_min_V;  ///< Where the data sheet does not say.
    double voltage_max_V;
    double ocv_std_V;
    double gap_V;  ///< Between charge and discharge branch.
    const char* curve;
};

constexpr const char* nmc_curve =
    "the electrode curves of a 5 Ah nickel-rich NMC / graphite-silicon-oxide cell (J. Electrochem. "
    "Soc. 167 (2020) 080534)";
constexpr const char* polymer_curve =
    "the curve of an 850 mAh lithium polymer cell (IEEE Trans. Energy Convers. 21 (2006) 504)";

const ChemistryFacts& facts_of(Chemistry chemistry) {
    static constexpr std::array<ChemistryFacts, 5> facts{{
        {"nmc", nmc_ocv_V, -0.02, 1.03, 2.5, 4.2, 0.02, 0, nmc_curve},
        {"nca", nmc_ocv_V, -0.02, 1.03, 2.5, 4.2, 0.04, 0, nmc_curve},
        {"lco", polymer_ocv_V, -0.02, 1.15, 3.0, 4.2, 0.025, 0, polymer_curve},
        {"lmo", polymer_ocv_V, -0.02, 1.15, 3.0, 4.2, 0.04, 0, polymer_curve},
        // Gap of 10 to 30 mV in the literature (from memory, not re-read).
        {"lfp", lfp_ocv_V, 0, 1, 2.5, 3.65, 0.015, 0.02, "usual values at every tenth of SOC"},
    }};
    const auto index = static_cast<std::size_t>(chemistry);
    if (index >= facts.size()) throw Error("chemistry: " + std::to_string(index) + " is unknown");
    return facts[index];
}

[[noreturn]] void fail_outside(const std::string& field, double value, double low, double high,
                               const std::string& why = {}) {
    throw Error(field + ": " + number_text(value) + " is outside " + number_text(low) + " .. " +
                number_text(high) + why);
}

void check_range(const char* field, double value, double low, double high) {
    if (!(value >= low) || !(value <= high)) fail_outside(field, value, low, high);
}

void check_range(const char* field, const std::optional<double>& value, double low, double high) {
    if (value) check_range(field, *value, low, high);
}

/// SOC at which a rising curve has a voltage.
double soc_at(const ChemistryFacts& facts, const char* field, double voltage_V, double low,
              double high) {
    const double low_V = facts.ocv_V(low);
    const double high_V = facts.ocv_V(high);
    if (!(voltage_V >= low_V) || !(voltage_V <= high_V)) {
        fail_outside(
            field, voltage_V, low_V, high_V,
            std::string(", where the published curve taken for ") + facts.name + " can end");
    }
    if (voltage_V == low_V) return low;
    if (voltage_V == high_V) return high;
    std::uintmax_t rounds = 100;
    const auto found = boost::math::tools::toms748_solve(
        [&](double soc) { return facts.ocv_V(soc) - voltage_V; }, low, high, low_V - voltage_V,
        high_V - voltage_V, boost::math::tools::eps_tolerance<double>(48), rounds);
    return 0.5 * (found.first + found.second);
}

/// Rise of a resistance towards empty and full, 1 at half charge.
double rise_over_soc(double soc, double towards_empty, double towards_full) {
    const auto shape = [&](double s) {
        return 1 + towards_empty * std::exp(-s / 0.08) + towards_full * std::exp(-(1 - s) / 0.06);
    };
    return shape(soc) / shape(0.5);
}

void check_sheet(const DataSheet& sheet) {
    check_range("capacity_Ah", sheet.capacity_Ah, 1e-3, 1e5);
    check_range("resistance_ac_ohm", sheet.resistance_ac_ohm, 1e-6, 100);
    check_range("resistance_dc_ohm", sheet.resistance_dc_ohm, 1e-6, 100);
    if (!(sheet.resistance_dc_ohm > sheet.resistance_ac_ohm)) {
        throw Error("resistance_dc_ohm: " + number_text(sheet.resistance_dc_ohm) +
                    " must be above resistance_ac_ohm, " + number_text(sheet.resistance_ac_ohm) +
                    ": a pulse of seconds meets more than 1 kHz does");
    }
    check_range("dc_pulse_s", sheet.dc_pulse_s, 0.5, 120);
    check_range("voltage_min_V", sheet.voltage_min_V, 0.5, 5);
    check_range("voltage_max_V", sheet.voltage_max_V, 0.5, 5);
    const double most_A = 1000 * sheet.capacity_Ah;
    const double least_A = 1e-4 * sheet.capacity_Ah;
    check_range("charge_current_A", sheet.charge_current_A, least_A, most_A);
    check_range("charge_current_max_A", sheet.charge_current_max_A, least_A, most_A);
    check_range("discharge_current_max_A", sheet.discharge_current_max_A, least_A, most_A);
    if (sheet.charge_current_A && sheet.charge_current_max_A &&
        *sheet.charge_current_A > *sheet.charge_current_max_A) {
        throw Error("charge_current_A: " + number_text(*sheet.charge_current_A) +
                    " is above charge_current_max_A, " + number_text(*sheet.charge_current_max_A));
    }
    check_range("end_current_A", sheet.end_current_A, least_A, most_A);
    check_range("charge_temperature_min_degC", sheet.charge_temperature_min_degC, -60, 100);
    check_range("charge_temperature_max_degC", sheet.charge_temperature_max_degC, -60, 100);
    check_range("discharge_temperature_min_degC", sheet.discharge_temperature_min_degC, -60, 100);
    check_range("discharge_temperature_max_degC", sheet.discharge_temperature_max_degC, -60, 100);
    check_range("mass_kg", sheet.mass_kg, 1e-4, 1e4);
}

void set_ocv(Cell& cell, const ChemistryFacts& facts, Chemistry chemistry) {
    OcvCurve& ocv = cell.ocv;
    constexpr int nodes = 201;
    for (int k = 0; k < nodes; ++k)
        ocv.soc.push_back(static_cast<double>(k) / (nodes - 1));
    const std::vector<double> mean_V =
        published_ocv_V(chemistry, cell.window.voltage_min_V, cell.window.voltage_max_V, ocv.soc);
    for (std::size_t k = 0; k < mean_V.size(); ++k) {
        // Both branches meet at the ends, where everybody cuts the same voltage.
        const double soc = ocv.soc[k];
        const double half_gap_V = 0.5 * facts.gap_V * std::min({1.0, soc / 0.05, (1 - soc) / 0.05});
        ocv.discharge_V.push_back(mean_V[k] - half_gap_V);
        ocv.charge_V.push_back(mean_V[k] + half_gap_V);
    }
    // A wrong capacity or end shows most where the curve is steep: 2 points of SOC in volts.
    for (std::size_t k = 0; k < mean_V.size(); ++k) {
        const std::size_t before = k > 0 ? k - 1 : 0;
        const std::size_t after = std::min(k + 1, mean_V.size() - 1);
        const double slope_V =
            (mean_V[after] - mean_V[before]) / (ocv.soc[after] - ocv.soc[before]);
        ocv.voltage_std_V.push_back(
            std::hypot(facts.ocv_std_V, std::min(0.02 * slope_V, 10 * facts.ocv_std_V)));
    }
}

void set_resistance(Cell& cell, const DataSheet& sheet) {
    const std::array<double, 3> time_s{2, 40, 2400};
    ResistanceGrid& grid = cell.resistance;
    constexpr int nodes = 21;
    for (int k = 0; k < nodes; ++k)
        grid.soc.push_back(static_cast<double>(k) / (nodes - 1));
    grid.temperature_degC = {-20, 0, 25, 45};
    const auto reached = [&](double tau_s) { return -std::expm1(-sheet.dc_pulse_s / tau_s); };
    // The slow branch hardly shows in the pulse; what it shows is taken off the others, so that the
    // pulse of the model gives the resistance of the sheet.
    const double slow_ohm = 0.4 * sheet.resistance_dc_ohm;
    const double above_ac_ohm = sheet.resistance_dc_ohm - sheet.resistance_ac_ohm;
    const double slow_share_ohm = std::min(slow_ohm * reached(time_s[2]), 0.5 * above_ac_ohm);
    const double fast_ohm =
        (above_ac_ohm - slow_share_ohm) / (reached(time_s[0]) + reached(time_s[1]));
    const std::array<double, 3> branch_ohm{fast_ohm, fast_ohm, slow_share_ohm / reached(time_s[2])};
    // Relative spread at half charge and 25 degC, and how it grows: activation energies differ by 8
    // kJ/mol between cells, and the rise at the ends is anybody's guess.
    const auto spread = [&](double at_best, double soc, double temperature_degC) {
        const double colder = std::log(arrhenius_factor(8e3, 25, temperature_degC));
        const double end = 0.4 * std::exp(-std::min(soc, 1 - soc) / 0.08);
        return std::hypot(at_best, colder, end);
    };
    grid.branches.resize(time_s.size());
    for (const double degC : grid.temperature_degC) {
        const double ohmic = arrhenius_factor(usual_activation_J_per_mol(true), 25, degC);
        const double polarising = arrhenius_factor(usual_activation_J_per_mol(false), 25, degC);
        const double slower = arrhenius_factor(usual_slow_time_activation_J_per_mol, 25, degC);
        std::vector<double> value;
        std::vector<double> value_std;
        const auto fill = [&](double at_half, double empty, double full, double at_best) {
            value.clear();
            value_std.clear();
            for (const double soc : grid.soc) {
                value.push_back(at_half * rise_over_soc(soc, empty, full));
                value_std.push_back(value.back() * spread(at_best, soc, degC));
            }
        };
        fill(sheet.resistance_ac_ohm * ohmic, 0.2, 0, 0.3);
        grid.r0_ohm.push_back(value);
        grid.r0_ohm_std.push_back(value_std);
        for (std::size_t i = 0; i < time_s.size(); ++i) {
            const bool slow = i + 1 == time_s.size();
            BranchGrid& branch = grid.branches[i];
            fill(branch_ohm[i] * polarising, 1.5, 0.3, slow ? 0.6 : 0.4);
            branch.resistance_ohm.push_back(value);
            branch.resistance_ohm_std.push_back(value_std);
            const double tau_s = slow ? time_s[i] * slower : time_s[i];
            branch.time_s.emplace_back(grid.soc.size(), tau_s);
            branch.time_s_std.emplace_back(grid.soc.size(), 0.5 * tau_s);
        }
    }
}

}  // namespace

std::vector<double> published_ocv_V(Chemistry chemistry, double voltage_min_V, double voltage_max_V,
                                    const std::vector<double>& soc) {
    const ChemistryFacts& facts = facts_of(chemistry);
    if (soc.size() < 2 || soc.front() != 0 || soc.back() != 1 ||
        std::adjacent_find(soc.begin(), soc.end(), std::greater_equal<>()) != soc.end()) {
        throw Error("soc: must increase from 0 to 1");
    }
    std::vector<double> voltage_V;
    voltage_V.reserve(soc.size());
    if (chemistry == Chemistry::lfp) {
        // A flat curve must not be stretched: its ends turn within the last percents, whatever
        // voltage the maker cuts at.
        const double low_V = facts.ocv_V(0);
        const double high_V = facts.ocv_V(1);
        check_range("voltage_min_V", voltage_min_V, 1.8, low_V + 0.2);
        check_range("voltage_max_V", voltage_max_V, high_V - 0.02, 3.8);
        constexpr double width_soc = 0.01;
        for (const double s : soc) {
            voltage_V.push_back(facts.ocv_V(s) +
                                (voltage_min_V - low_V) * std::exp(-s / width_soc) +
                                (voltage_max_V - high_V) * std::exp((s - 1) / width_soc));
        }
        return voltage_V;
    }
    const double empty = soc_at(facts, "voltage_min_V", voltage_min_V, facts.soc_low, 0.15);
    const double full = soc_at(facts, "voltage_max_V", voltage_max_V, 0.75, facts.soc_high);
    for (const double s : soc)
        voltage_V.push_back(facts.ocv_V(empty + s * (full - empty)));
    return voltage_V;
}

Cell cell_from_data_sheet(const DataSheet& sheet) {
    const ChemistryFacts& facts = facts_of(sheet.chemistry);
    check_sheet(sheet);
    Cell cell;
    cell.name = sheet.name;
    cell.capacity_Ah = sheet.capacity_Ah;
    cell.capacity_Ah_std = 0.05 * sheet.capacity_Ah;
    cell.hysteresis_rate = 30;
    CellWindow<double>& window = cell.window;
    window.voltage_min_V = sheet.voltage_min_V.value_or(facts.voltage_min_V);
    window.voltage_max_V = sheet.voltage_max_V.value_or(facts.voltage_max_V);
    std::string assumed;
    const auto assume = [&](const std::optional<double>& given, const std::string& text) {
        if (!given) assumed += (assumed.empty() ? "" : ", ") + text;
    };
    const auto take = [](const std::optional<double>& given, double& field) {
        if (given) field = *given;
    };
    take(sheet.charge_temperature_min_degC, window.charge_temperature_min_degC);
    take(sheet.charge_temperature_max_degC, window.charge_temperature_max_degC);
    take(sheet.discharge_temperature_min_degC, window.discharge_temperature_min_degC);
    take(sheet.discharge_temperature_max_degC, window.discharge_temperature_max_degC);
    const double usual_charge_A = 0.5 * sheet.capacity_Ah;
    const double charge_A =
        sheet.charge_current_max_A.value_or(sheet.charge_current_A.value_or(usual_charge_A));
    const UsualCurrents currents{
        charge_A, sheet.discharge_current_max_A.value_or(sheet.capacity_Ah),
        sheet.charge_current_A.value_or(std::min(charge_A, usual_charge_A)),
        sheet.end_current_A.value_or(0.05 * sheet.capacity_Ah)};
    // Half the current is left in the cold, and a charge must not end where it starts.
    if (!(currents.end_current_A < 0.5 * currents.plan_A)) {
        throw Error("end_current_A: " + number_text(currents.end_current_A) +
                    " must be below half of the charge current, " +
                    number_text(0.5 * currents.plan_A));
    }
    set_ocv(cell, facts, sheet.chemistry);
    set_resistance(cell, sheet);
    cell.thermal = fit_thermal({}, cell);  // no test: usual values
    if (sheet.mass_kg) {
        // 800 to 1100 J/(kg K) over chemistries (J. Power Sources 522 (2022) 230829, read in a web
        // handbook).
        cell.thermal.core_heat_capacity_J_per_K *=
            1000 * *sheet.mass_kg / cell.thermal.heat_capacity_J_per_K;
        cell.thermal.heat_capacity_J_per_K = 1000 * *sheet.mass_kg;
        cell.thermal.heat_capacity_J_per_K_std = 150 * *sheet.mass_kg;
        cell.thermal.source = "assumed: 1000 J/(kg K), and a usual path to still air";
    }
    set_usual_limits(cell, currents);

    assume(sheet.voltage_min_V, "voltage_min_V " + number_text(window.voltage_min_V));
    assume(sheet.voltage_max_V, "voltage_max_V " + number_text(window.voltage_max_V));
    assume(sheet.charge_temperature_min_degC,
           "no charging below " + number_text(window.charge_temperature_min_degC) + " degC");
    assume(sheet.charge_temperature_max_degC,
           "no charging above " + number_text(window.charge_temperature_max_degC) + " degC");
    assume(sheet.discharge_temperature_min_degC,
           "no discharging below " + number_text(window.discharge_temperature_min_degC) + " degC");
    assume(sheet.discharge_temperature_max_degC,
           "no discharging above " + number_text(window.discharge_temperature_max_degC) + " degC");
    assume(sheet.charge_current_max_A, "charge up to " + number_text(currents.charge_A) + " A");
    assume(sheet.charge_current_A, "charge plan of " + number_text(currents.plan_A) + " A");
    assume(sheet.end_current_A, "charge ends at " + number_text(currents.end_current_A) + " A");
    assume(sheet.discharge_current_max_A,
           "discharge up to " + number_text(currents.discharge_A) + " A");
    Provenance& provenance = cell.provenance;
    provenance.made_by = "voltkeel " VOLTKEEL_VERSION;
    provenance.method = "data sheet only: not measured";
    auto& notes = provenance.notes;
    notes.emplace_back(
        "Data sheet only: not measured. Good for a first look; measure before anybody relies on a "
        "state of charge, a limit or a range from it.");
    notes.push_back(std::string("OCV: ") + facts.curve + ", drawn to " +
                    number_text(window.voltage_min_V) + " .. " + number_text(window.voltage_max_V) +
                    " V; " +
                    (sheet.chemistry == Chemistry::nca || sheet.chemistry == Chemistry::lmo
                         ? std::string("it stands in for ") + facts.name + "; "
                         : std::string()) +
                    "its change with temperature is not known.");
    notes.emplace_back(
        "Resistances: R0 is the 1 kHz value, two branches of 2 s and 40 s make the pulse value; "
        "the "
        "slow branch, the rise towards empty and full and the growth in the cold (15 kJ/mol ohmic, "
        "45 kJ/mol branches) are usual values.");
    if (!assumed.empty())
        notes.push_back("Common practice, replace by the maker's data sheet: " + assumed + ".");
    notes.emplace_back(
        "Half the charge current up to 10 degC, all of it from 25 degC on, is common practice; the "
        "maker may allow less.");
    notes.emplace_back(
        "Measure next: a slow discharge and charge (C/20), which gives capacity and OCV; then "
        "pulse "
        "tests at 25 degC and at the coldest temperature of use; then voltkeel fit.");
    check(cell);
    return cell;
}

}  // namespace voltkeel
