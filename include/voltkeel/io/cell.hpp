#pragma once
/// \file cell.hpp
/// A cell on a desktop: what a fit found and a `cell.json` holds, and the tables made from it for
/// the model.

#include <string>
#include <type_traits>
#include <vector>

#include "voltkeel/cell/parameters.hpp"
#include "voltkeel/charge/plan.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/limits/window.hpp"

namespace voltkeel {

/// Rows are temperatures, columns are SOC.
using Grid = std::vector<std::vector<double>>;

/// Open-circuit voltage as measured. All vectors have the length of `soc`.
struct OcvCurve {
    double reference_temperature_degC{25};
    std::vector<double> soc;            ///< From 0 to 1, increasing.
    std::vector<double> discharge_V;    ///< Branch walked while discharging, increasing with SOC.
    std::vector<double> charge_V;       ///< Branch walked while charging, not below `discharge_V`.
    std::vector<double> voltage_std_V;  ///< Standard deviation of both.
    std::vector<double> entropy_V_per_K;  ///< dOCV/dT; empty means not measured, taken as 0.
};

/// One RC branch over temperature and SOC, with the standard deviation of every value.
struct BranchGrid {
    Grid resistance_ohm;
    Grid resistance_ohm_std;
    Grid time_s;
    Grid time_s_std;
};

/// Resistances as fitted: grids of [temperature][soc].
struct ResistanceGrid {
    std::vector<double> temperature_degC;  ///< Tested temperatures, increasing.
    std::vector<double> soc;               ///< From 0 to 1, evenly spaced.
    Grid r0_ohm;
    Grid r0_ohm_std;
    std::vector<BranchGrid> branches;  ///< 1 to 4, fastest first.
};

/// Extra slow resistance to a charging current near full; see ChargeRise in cell/parameters.hpp.
struct ChargeRiseFit {
    double soc_start{0.8};
    double resistance_ohm{0};  ///< At full; 0 means none is known.
    double resistance_ohm_std{0};
};

/// Thermal parameters with their spread.
struct ThermalFit {
    double heat_capacity_J_per_K{0};
    double heat_capacity_J_per_K_std{0};
    double resistance_K_per_W{0};
    double resistance_K_per_W_std{0};
    std::string source;  ///< "fitted" or "assumed", and from what.
};

/// Allowed currents for one duration; grids of [temperature][soc], magnitudes in A.
struct CurrentGrid {
    double duration_s{0};
    std::vector<double> temperature_degC;
    std::vector<double> soc;
    Grid charge_A;
    Grid discharge_A;
};

/// A file the cell was made from.
struct SourceFile {
    std::string role;    ///< "slow test" or "pulse test".
    std::string name;    ///< File name without folders.
    std::string sha256;  ///< Of the bytes; empty for data that came from memory.
    std::size_t rows{0};
    double temperature_degC{0};  ///< Median.
    double current_offset_A{0};  ///< Added to every reading that was not exactly zero.
    double initial_soc{1};       ///< SOC at the first row, as fitted.
    double residual_rms_V{0};    ///< Model against measurement over this file.
};

/// Where the numbers come from.
struct Provenance {
    std::string made_by;  ///< Program and version.
    std::string made_at;  ///< ISO 8601, UTC.
    std::vector<SourceFile> files;
    std::vector<std::string> notes;  ///< Findings in plain words, defaults that were assumed.
};

/// One cell: everything a `cell.json` holds.
struct Cell {
    std::string name;
    double capacity_Ah{0};
    double capacity_Ah_std{0};
    double coulombic_efficiency{1};
    double self_discharge_per_s{0};
    double hysteresis_rate{0};
    OcvCurve ocv;
    ResistanceGrid resistance;
    ChargeRiseFit charge_rise;
    ThermalFit thermal;
    CellWindow<double> window;
    std::vector<CurrentGrid> current_limits;  ///< Increasing duration.
    ChargePlan<double> charge;
    Provenance provenance;
};

/// Nodes of the model's OCV table, every half percent of SOC.
template <class Real>
[[nodiscard]] std::vector<OcvNode<Real>> ocv_nodes(const OcvCurve& curve);

/// Checks that a cell can be used: sizes, bounds, order. \throws Error naming field, index, value
/// and bound.
void check(const Cell& cell);

/// How far beyond the tested temperatures the Arrhenius line is drawn, in K. Further out the value
/// there is held.
inline constexpr double arrhenius_reach_K = 25;
/// Beyond the tested temperatures a value grows at most by this factor.
inline constexpr double arrhenius_largest_factor = 6;

/// Value at a temperature from values at tested temperatures: logarithm linear in 1/T between them
/// and up to `arrhenius_reach_K` beyond, slopes outside bounded to activation energies of 0 to 80
/// kJ/mol. \param temperatures_degC increasing, at least one \param values positive, same length
[[nodiscard]] double arrhenius_value(const std::vector<double>& temperatures_degC,
                                     const std::vector<double>& values, double temperature_degC);

/// Owner of the model tables made from a `Cell`, at the precision and branch count of the caller.
template <class Real, int Branches>
class CellTables {
  public:
    /// \throws Error when the cell is not usable or does not have `Branches` branches.
    explicit CellTables(const Cell& cell);
    CellTables(const CellTables&) = delete;  // views point into it
    CellTables& operator=(const CellTables&) = delete;
    CellTables(CellTables&&) noexcept = default;
    CellTables& operator=(CellTables&&) noexcept = default;
    ~CellTables() = default;

    /// Views into this object; it must outlive them.
    [[nodiscard]] CellParameters<Real, Branches> parameters() const;
    [[nodiscard]] CellLimits<Real> limits() const;
    [[nodiscard]] const ChargePlan<Real>& charge_plan() const { return charge_plan_; }

  private:
    struct OwnedCurrents {
        std::vector<Real> temperature_degC, soc, charge_A, discharge_A;
    };
    CellParameters<Real, Branches> parameters_{};
    std::vector<OcvNode<Real>> ocv_nodes_;
    std::vector<ResistanceNode<Real, Branches>> resistance_nodes_;
    CellWindow<Real> window_{};
    std::vector<OwnedCurrents> owned_currents_;
    std::vector<CurrentTable<Real>> current_tables_;
    ChargePlan<Real> charge_plan_{};
};

/// Calls `action(std::integral_constant<int, N>{})` for the branch count of a cell, so that one
/// body serves all four. \throws Error for a count outside 1..4.
template <class Action>
decltype(auto) with_branches(std::size_t count, Action&& action) {
    switch (count) {
        case 1:
            return action(std::integral_constant<int, 1>{});
        case 2:
            return action(std::integral_constant<int, 2>{});
        case 3:
            return action(std::integral_constant<int, 3>{});
        case 4:
            return action(std::integral_constant<int, 4>{});
        default:
            throw Error("a cell model has 1 to 4 branches, not " + std::to_string(count));
    }
}

}  // namespace voltkeel
