#pragma once
/// \file data_sheet.hpp
/// A first cell from a data sheet alone: no test at all, and a spread that says so.

#include <optional>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"

namespace voltkeel {

/// Positive electrode against graphite; it decides which published OCV curve is taken.
enum class Chemistry {
    nmc,  ///< Nickel manganese cobalt.
    nca,  ///< Nickel cobalt aluminium.
    lco,  ///< Cobalt, as in small polymer cells.
    lmo,  ///< Manganese spinel.
    lfp,  ///< Iron phosphate.
};

/// What a data sheet says of one cell. What it does not say stays empty and is taken from common
/// practice, which the notes of the cell name.
struct DataSheet {
    std::string name{"cell"};
    Chemistry chemistry{Chemistry::nmc};
    double capacity_Ah{0};        ///< Typical capacity, > 0.
    double resistance_ac_ohm{0};  ///< At 1 kHz, 25 degC, > 0.
    double resistance_dc_ohm{0};  ///< Voltage change over current after `dc_pulse_s`, 25 degC and
                                  ///< half full; above `resistance_ac_ohm`.
    double dc_pulse_s{10};        ///< 0.5 .. 120.
    std::optional<double> voltage_min_V;            ///< End of discharge.
    std::optional<double> voltage_max_V;            ///< End of charge.
    std::optional<double> charge_current_A;         ///< Standard charge.
    std::optional<double> charge_current_max_A;     ///< Continuous, magnitude.
    std::optional<double> discharge_current_max_A;  ///< Continuous, magnitude.
    std::optional<double> end_current_A;            ///< End of the standard charge.
    std::optional<double> charge_temperature_min_degC;
    std::optional<double> charge_temperature_max_degC;
    std::optional<double> discharge_temperature_min_degC;
    std::optional<double> discharge_temperature_max_degC;
    std::optional<double> mass_kg;  ///< Gives the heat capacity.
};

/// OCV of a chemistry drawn to the voltages of a data sheet, midway between charge and discharge:
/// empty at `voltage_min_V`, full at `voltage_max_V`.
///
/// nmc, nca: both electrode curves of a 5 Ah cell, nickel-rich against graphite with silicon oxide
/// (Chen et al., J. Electrochem. Soc. 167 (2020) 080534, windows from memory, not re-read), cut or
/// continued to the voltages. lco, lmo: the curve of an 850 mAh polymer cell (Chen, Rincon-Mora,
/// IEEE Trans. Energy Convers. 21 (2006) 504, from memory, not re-read), the same way. lfp: usual
/// values at every tenth (from memory, not re-read), the last percents drawn to the voltages.
/// \param soc increasing, first 0 and last 1
/// \throws Error when the voltages lie outside what the curve of the chemistry can reach
[[nodiscard]] std::vector<double> published_ocv_V(Chemistry chemistry, double voltage_min_V,
                                                  double voltage_max_V,
                                                  const std::vector<double>& soc);

/// Makes a cell from a data sheet alone.
///
/// The resistance at 1 kHz becomes R0; what the pulse adds to it two branches of 2 s and 40 s; a
/// slow branch, the rise towards empty, full and cold are usual values. Every value has a wide
/// spread (5 % of capacity, 30 % and more of every resistance, 15 to 40 mV of OCV), the method
/// in the provenance says "data sheet only: not measured", and the notes say what was assumed and
/// what to measure next. Give the filter the settings of `filter_settings`, which follow that
/// spread. \throws Error naming field, value and bound
[[nodiscard]] Cell cell_from_data_sheet(const DataSheet& sheet);

}  // namespace voltkeel
