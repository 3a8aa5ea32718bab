#pragma once
/// \file cell.hpp
/// A cell on a desktop: what a fit found and a `cell.json` holds, and the tables made from it for
/// the model.

#include <optional>
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
    std::vector<double> entropy_V_per_K;      ///< dOCV/dT; empty means not measured, taken as 0.
    std::vector<double> entropy_V_per_K_std;  ///< Empty: none was warmer or colder.
};

/// One RC branch over temperature and SOC, with the standard deviation of every value.
struct BranchGrid {
    Grid resistance_ohm;
    Grid resistance_ohm_std;
    Grid time_s;
    Grid time_s_std;
};

/// Charge transfer over temperature and SOC; see cell/charge_transfer.hpp.
struct ChargeTransferGrid {
    Grid scale_V;
    Grid scale_V_std;
    Grid exchange_current_A;
    Grid exchange_current_A_std;
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
    std::optional<ChargeTransferGrid> charge_transfer;
};

/// Extra resistance to a charging current near full; see ChargeRise in cell/parameters.hpp.
struct ChargeRiseFit {
    double soc_start{0.8};
    double resistance_ohm{0};  ///< At full; 0 means none is known.
    double resistance_ohm_std{0};
    int branch{-1};                       ///< From 0, the fastest; -1 is the slowest.
    std::optional<double> soc_start_std;  ///< Left out: assumed.
};

/// How far the model is off on tests that it was not fitted to; the SOC filter's noise.
struct ModelNoise {
    double voltage_std_V{0};          ///< Constant part of the voltage error; 0 means not known.
    double overvoltage_share_std{0};  ///< Part that grows with the overvoltage.
    double lasting_share{0};          ///< Share of the variance that lasts from row to row.
    double correlation_time_s{0};     ///< How long it does.
    double resistance_log_std{0};     ///< Spread of the resistance as a whole (of the logarithm).
    double resistance_log_std_per_sqrt_h{0};  ///< How it wanders along a test, as a random walk.
    double tested_current_A{0};    ///< Largest that the resistances rest on; 0: not known.
    double untested_share_std{0};  ///< Of a pulse's drop, for every doubling of the current beyond.
};

/// Thermal parameters with their spread; see ThermalParameters in cell/heat.hpp.
struct ThermalFit {
    double heat_capacity_J_per_K{0};
    double heat_capacity_J_per_K_std{0};
    double resistance_K_per_W{0};
    double resistance_K_per_W_std{0};
    std::string source;                 ///< "fitted" or "assumed", and from what.
    double core_resistance_K_per_W{0};  ///< From core to case; 0: one mass, no core is known.
    double core_resistance_K_per_W_std{0};
    double core_heat_capacity_J_per_K{0};  ///< The core's part of `heat_capacity_J_per_K`.
    double core_heat_capacity_J_per_K_std{0};
};

/// Whether the temperature of the core is worth following behind that of the case: there is one,
/// and the warmth of the cell was measured. What is taken as usual has a larger spread.
[[nodiscard]] bool follows_core(const ThermalFit& thermal);

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
    std::string role;     ///< "slow test", "pulse test", "charge", "cycles" or "log".
    std::string name;     ///< File name without folders.
    std::string sha256;   ///< Of the bytes; empty for data that came from memory.
    std::size_t rows{0};  ///< In the file.
    /// Rows that the result rests on. Pulse test, charge, log: compared with the model, after
    /// thinning; heat: means over 5 s and more; slow test: of the discharge and the charge behind
    /// capacity and OCV; cycles: between the times that the cell was full. 0: read for nothing.
    std::optional<std::size_t> rows_used;
    double temperature_degC{0};  ///< Median.
    double current_offset_A{0};  ///< Added to every reading that was not exactly zero.
    std::string
        read_as;  ///< How, where not as the library writes logs: mapping, sign, temperature.
    double initial_soc{1};                  ///< SOC at the first row, as fitted.
    std::optional<double> initial_soc_std;  ///< Left out: counted, not fitted.
    double residual_rms_V{0};               ///< Model against measurement over this file.
};

/// Where the numbers come from.
struct Provenance {
    std::string made_by;  ///< Program and version.
    std::string made_at;  ///< ISO 8601, UTC.
    std::vector<SourceFile> files;
    std::vector<std::string> notes;  ///< Findings in plain words, defaults that were assumed.
    std::string method;              ///< "fitted to tests", or "data sheet only: not measured".
};

/// One cell: everything a `cell.json` holds.
struct Cell {
    std::string name;
    double capacity_Ah{0};
    double capacity_Ah_std{0};
    double coulombic_efficiency{1};
    std::optional<double> coulombic_efficiency_std;  ///< Left out: assumed, no test told.
    double self_discharge_per_s{0};
    double hysteresis_rate{0};
    std::optional<double> hysteresis_rate_std;  ///< Left out: assumed, no test told.
    OcvCurve ocv;
    ResistanceGrid resistance;
    ChargeRiseFit charge_rise;
    ThermalFit thermal;
    ModelNoise noise;
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

/// A value with its standard deviation.
struct ValueStd {
    double value{0};
    double std{0};
};

/// Resistances of a cell at one place.
struct ResistanceStd {
    ValueStd r0_ohm;
    std::vector<ValueStd> branch_ohm;
    std::vector<ValueStd> branch_time_s;
    std::optional<ValueStd> transfer_scale_V;
    std::optional<ValueStd> exchange_current_A;
    std::optional<ValueStd> transfer_time_s;
    bool tested{true};  ///< The temperature lies between those tested.
};

/// Spread of the activation energy that the values are carried on with beyond the tested
/// temperatures, in J/mol.
inline constexpr double activation_std_J_per_mol = 8e3;

/// Resistances at an SOC and temperature, with standard deviations: those of the fit, in between by
/// straight lines of the relative ones, growing beyond the tested temperatures as if the activation
/// energy were known to `activation_std_J_per_mol` (usual values differ by that much; common
/// practice, from memory).
/// \param soc 0..1 \throws Error for an unusable cell or place
[[nodiscard]] ResistanceStd resistance_with_std(const Cell& cell, double soc,
                                                double temperature_degC);

/// Owner of the model tables made from a `Cell`, at the precision and branch count of the caller.
template <class Real, int Branches, bool Transfer = false>
class CellTables {
  public:
    /// \throws Error when the cell is not usable, or does not have `Branches` branches and a charge
    /// transfer as `Transfer` says.
    explicit CellTables(const Cell& cell);
    CellTables(const CellTables&) = delete;  // views point into it
    CellTables& operator=(const CellTables&) = delete;
    CellTables(CellTables&&) noexcept = default;
    CellTables& operator=(CellTables&&) noexcept = default;
    ~CellTables() = default;

    /// Views into this object; it must outlive them.
    [[nodiscard]] CellParameters<Real, Branches, Transfer> parameters() const;
    [[nodiscard]] CellLimits<Real> limits() const;
    [[nodiscard]] const ChargePlan<Real>& charge_plan() const { return charge_plan_; }

  private:
    struct OwnedCurrents {
        std::vector<Real> temperature_degC, soc, charge_A, discharge_A;
    };
    CellParameters<Real, Branches, Transfer> parameters_{};
    std::vector<OcvNode<Real>> ocv_nodes_;
    std::vector<ResistanceNode<Real, Branches, Transfer>> resistance_nodes_;
    CellWindow<Real> window_{};
    Real tested_current_A_{0};
    Real untested_share_std_{0};
    std::vector<OwnedCurrents> owned_currents_;
    std::vector<CurrentTable<Real>> current_tables_;
    ChargePlan<Real> charge_plan_{};
};

/// The form of a cell model, fixed at compile time.
template <int Branches, bool Transfer>
struct ModelForm {
    static constexpr int branches = Branches;
    static constexpr bool transfer = Transfer;
};

/// Calls `action(ModelForm<N, Transfer>{})` for a form known at run time, so that one body serves
/// all. \throws Error for a count of branches outside 1..4.
template <class Action>
decltype(auto) with_form(std::size_t branches, bool transfer, Action&& action) {
    const auto with = [&](auto n) -> decltype(auto) {
        constexpr int count = decltype(n)::value;
        return transfer ? action(ModelForm<count, true>{}) : action(ModelForm<count, false>{});
    };
    switch (branches) {
        case 1:
            return with(std::integral_constant<int, 1>{});
        case 2:
            return with(std::integral_constant<int, 2>{});
        case 3:
            return with(std::integral_constant<int, 3>{});
        case 4:
            return with(std::integral_constant<int, 4>{});
        default:
            throw Error("a cell model has 1 to 4 branches, not " + std::to_string(branches));
    }
}

/// The same for the form of a cell.
template <class Action>
decltype(auto) with_form(const Cell& cell, Action&& action) {
    return with_form(cell.resistance.branches.size(), cell.resistance.charge_transfer.has_value(),
                     std::forward<Action>(action));
}

}  // namespace voltkeel
