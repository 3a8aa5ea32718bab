#include "voltkeel/io/cell.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <sstream>

#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {

constexpr int ocv_node_count = 201;  // 0.5 % of SOC
constexpr double coldest_node_degC = -40;
constexpr double hottest_node_degC = 70;
constexpr double temperature_node_step_K =
    2.5;  // keeps a 50 kJ/mol resistance within 0.6 % between nodes

template <class... Parts>
[[noreturn]] void fail(const Parts&... parts) {
    std::ostringstream text;
    text.precision(9);
    (text << ... << parts);
    throw Error(text.str());
}

void check_increasing(const std::string& field, const std::vector<double>& values,
                      std::size_t least) {
    if (values.size() < least)
        fail(field, ": has ", values.size(), " values, needs at least ", least);
    for (std::size_t k = 0; k < values.size(); ++k) {
        if (!std::isfinite(values[k])) fail(field, "[", k, "]: is not a finite number");
        if (k > 0 && !(values[k] > values[k - 1])) {
            fail(field, "[", k, "]: ", values[k], " is not above the value before it, ",
                 values[k - 1]);
        }
    }
}

void check_soc_axis(const std::string& field, const std::vector<double>& soc) {
    check_increasing(field, soc, 2);
    if (soc.front() != 0.0) fail(field, "[0]: ", soc.front(), " must be 0");
    if (soc.back() != 1.0) fail(field, "[", soc.size() - 1, "]: ", soc.back(), " must be 1");
}

void check_length(const std::string& field, const std::vector<double>& values, std::size_t length) {
    if (values.size() != length) fail(field, ": has ", values.size(), " values, needs ", length);
}

void check_grid(const std::string& field, const Grid& grid, std::size_t rows, std::size_t columns,
                double low, double high) {
    if (grid.size() != rows)
        fail(field, ": has ", grid.size(), " rows (temperatures), needs ", rows);
    for (std::size_t r = 0; r < rows; ++r) {
        check_length(field + "[" + std::to_string(r) + "]", grid[r], columns);
        for (std::size_t c = 0; c < columns; ++c) {
            if (!(grid[r][c] >= low) || !(grid[r][c] <= high)) {
                fail(field, "[", r, "][", c, "]: ", grid[r][c], " is outside ", low, " .. ", high);
            }
        }
    }
}

double interpolate(const std::vector<double>& x, const std::vector<double>& y, double at) {
    if (at <= x.front()) return y.front();
    if (at >= x.back()) return y.back();
    const auto upper = std::upper_bound(x.begin(), x.end(), at);
    const auto k = static_cast<std::size_t>(upper - x.begin()) - 1;
    return y[k] + (at - x[k]) / (x[k + 1] - x[k]) * (y[k + 1] - y[k]);
}

bool evenly_spaced(const std::vector<double>& x) {
    const double step = (x.back() - x.front()) / static_cast<double>(x.size() - 1);
    for (std::size_t k = 0; k < x.size(); ++k) {
        if (std::abs(x[k] - (x.front() + step * static_cast<double>(k))) > 1e-9) return false;
    }
    return true;
}

/// Values of one grid column-by-column at a temperature and SOC: Arrhenius over temperature,
/// straight over SOC.
double grid_value(const ResistanceGrid& axes, const Grid& grid, double soc,
                  double temperature_degC) {
    std::vector<double> over_temperature(axes.temperature_degC.size());
    for (std::size_t t = 0; t < over_temperature.size(); ++t) {
        over_temperature[t] = interpolate(axes.soc, grid[t], soc);
    }
    return arrhenius_value(axes.temperature_degC, over_temperature, temperature_degC);
}

/// The same for the exchange current, which grows where resistances fall.
double exchange_current_A(const ResistanceGrid& axes, const ChargeTransferGrid& transfer,
                          double soc, double temperature_degC) {
    std::vector<double> inverse(axes.temperature_degC.size());
    for (std::size_t t = 0; t < inverse.size(); ++t)
        inverse[t] = 1 / interpolate(axes.soc, transfer.exchange_current_A[t], soc);
    return 1 / arrhenius_value(axes.temperature_degC, inverse, temperature_degC);
}

}  // namespace

double arrhenius_value(const std::vector<double>& temperatures_degC,
                       const std::vector<double>& values, double temperature_degC) {
    if (values.size() == 1) return values.front();
    const double reached_degC =
        std::clamp(temperature_degC, temperatures_degC.front() - arrhenius_reach_K,
                   temperatures_degC.back() + arrhenius_reach_K);
    const auto inverse_K = [](double degC) { return 1.0 / (degC + zero_celsius_K<double>); };
    const auto upper =
        std::upper_bound(temperatures_degC.begin(), temperatures_degC.end(), reached_degC);
    auto k =
        static_cast<std::size_t>(std::max<std::ptrdiff_t>(upper - temperatures_degC.begin(), 1)) -
        1;
    k = std::min(k, values.size() - 2);
    double slope_K = std::log(values[k + 1] / values[k]) /
                     (inverse_K(temperatures_degC[k + 1]) - inverse_K(temperatures_degC[k]));
    const bool below = reached_degC < temperatures_degC.front();
    if (below || reached_degC > temperatures_degC.back()) {
        constexpr double steepest_K = 80e3 / gas_constant_J_per_mol_K<double>;
        slope_K = std::clamp(slope_K, 0.0, steepest_K);
    }
    const std::size_t from = reached_degC > temperatures_degC.back() ? k + 1 : k;
    const double factor =
        std::exp(slope_K * (inverse_K(reached_degC) - inverse_K(temperatures_degC[from])));
    return values[from] * std::min(factor, arrhenius_largest_factor);
}

ResistanceStd resistance_with_std(const Cell& cell, double soc, double temperature_degC) {
    check(cell);
    if (!(soc >= 0 && soc <= 1)) fail("soc: ", soc, " is outside 0 .. 1");
    if (!(temperature_degC >= -100 && temperature_degC <= 200))
        fail("temperature_degC: ", temperature_degC, " is outside -100 .. 200");
    const ResistanceGrid& grid = cell.resistance;
    const std::vector<double>& tested_degC = grid.temperature_degC;
    const double nearest_degC =
        std::clamp(temperature_degC, tested_degC.front(), tested_degC.back());
    const double beyond = std::abs(1 / (temperature_degC + zero_celsius_K<double>)-1 /
                                   (nearest_degC + zero_celsius_K<double>));
    const double beyond_log_std =
        activation_std_J_per_mol / gas_constant_J_per_mol_K<double> * beyond;
    const auto with_std = [&](double value, const Grid& values, const Grid& stds) -> ValueStd {
        double log_std = 0;
        if (!stds.empty()) {
            std::vector<double> over_temperature(tested_degC.size());
            for (std::size_t t = 0; t < tested_degC.size(); ++t)
                over_temperature[t] =
                    interpolate(grid.soc, stds[t], soc) / interpolate(grid.soc, values[t], soc);
            log_std = interpolate(tested_degC, over_temperature, nearest_degC);
        }
        return {value, value * std::hypot(log_std, beyond_log_std)};
    };
    const auto plain = [&](const Grid& values, const Grid& stds) {
        return with_std(grid_value(grid, values, soc, temperature_degC), values, stds);
    };
    ResistanceStd result;
    result.tested = nearest_degC == temperature_degC;
    result.r0_ohm = plain(grid.r0_ohm, grid.r0_ohm_std);
    for (const BranchGrid& branch : grid.branches) {
        result.branch_ohm.push_back(plain(branch.resistance_ohm, branch.resistance_ohm_std));
        result.branch_time_s.push_back(plain(branch.time_s, branch.time_s_std));
    }
    if (grid.charge_transfer) {
        const ChargeTransferGrid& transfer = *grid.charge_transfer;
        result.transfer_scale_V = plain(transfer.scale_V, transfer.scale_V_std);
        result.exchange_current_A =
            with_std(exchange_current_A(grid, transfer, soc, temperature_degC),
                     transfer.exchange_current_A, transfer.exchange_current_A_std);
        result.transfer_time_s = plain(transfer.time_s, transfer.time_s_std);
    }
    return result;
}

bool follows_core(const ThermalFit& thermal) {
    constexpr double largest_share_std = 0.4;
    return thermal.core_resistance_K_per_W > 0 && thermal.core_heat_capacity_J_per_K > 0 &&
           thermal.core_heat_capacity_J_per_K < thermal.heat_capacity_J_per_K &&
           thermal.heat_capacity_J_per_K_std < largest_share_std * thermal.heat_capacity_J_per_K;
}

void check(const Cell& cell) {
    if (!(cell.capacity_Ah > 0) || !std::isfinite(cell.capacity_Ah)) {
        fail("capacity_Ah: ", cell.capacity_Ah, " must be a finite number above 0");
    }
    const OcvCurve& ocv = cell.ocv;
    check_soc_axis("ocv.soc", ocv.soc);
    check_length("ocv.discharge_V", ocv.discharge_V, ocv.soc.size());
    check_length("ocv.charge_V", ocv.charge_V, ocv.soc.size());
    check_length("ocv.voltage_std_V", ocv.voltage_std_V, ocv.soc.size());
    if (!ocv.entropy_V_per_K.empty())
        check_length("ocv.entropy_V_per_K", ocv.entropy_V_per_K, ocv.soc.size());
    if (!ocv.entropy_V_per_K_std.empty())
        check_length("ocv.entropy_V_per_K_std", ocv.entropy_V_per_K_std, ocv.soc.size());
    constexpr double largest = std::numeric_limits<double>::max();
    const auto check_std = [&](const std::string& field, double value) {
        if (!(value >= 0) || !(value <= largest))
            fail(field, ": ", value, " must be a finite number, not negative");
    };
    check_std("coulombic_efficiency_std", cell.coulombic_efficiency_std.value_or(0));
    check_std("hysteresis_rate_std", cell.hysteresis_rate_std.value_or(0));
    check_std("charge_rise.soc_start_std", cell.charge_rise.soc_start_std.value_or(0));
    for (std::size_t k = 0; k < ocv.entropy_V_per_K_std.size(); ++k)
        check_std("ocv.entropy_V_per_K_std[" + std::to_string(k) + "]", ocv.entropy_V_per_K_std[k]);
    for (std::size_t k = 0; k < ocv.soc.size(); ++k) {
        if (!(ocv.voltage_std_V[k] >= 0) || !(ocv.voltage_std_V[k] <= largest)) {
            fail("ocv.voltage_std_V[", k, "]: ", ocv.voltage_std_V[k],
                 " must be a finite number, not negative");
        }
    }
    check_increasing("ocv.discharge_V", ocv.discharge_V, 2);
    for (std::size_t k = 0; k < ocv.soc.size(); ++k) {
        if (!(ocv.charge_V[k] >= ocv.discharge_V[k])) {
            fail("ocv.charge_V[", k, "]: ", ocv.charge_V[k], " lies below the discharge branch, ",
                 ocv.discharge_V[k]);
        }
        // The model walks the mean of both; where it did not rise, a voltage would not tell the
        // SOC.
        if (k > 0 && !(ocv.charge_V[k] + ocv.discharge_V[k] >
                       ocv.charge_V[k - 1] + ocv.discharge_V[k - 1])) {
            fail("ocv.charge_V[", k, "]: ", ocv.charge_V[k],
                 " is so low that the mean of both branches does not rise");
        }
    }
    const ResistanceGrid& r = cell.resistance;
    check_soc_axis("resistance.soc", r.soc);
    check_increasing("resistance.temperature_degC", r.temperature_degC, 1);
    if (r.branches.empty() || r.branches.size() > 4) {
        fail("resistance.branches: has ", r.branches.size(), " branches, must have 1 to 4");
    }
    const std::size_t rows = r.temperature_degC.size();
    const std::size_t columns = r.soc.size();
    constexpr double tiny = 1e-9;
    // An empty grid of standard deviations says that there are none.
    const auto check_std_grid = [&](const std::string& field, const Grid& grid) {
        if (!grid.empty()) check_grid(field, grid, rows, columns, 0, largest);
    };
    check_grid("resistance.r0_ohm", r.r0_ohm, rows, columns, tiny, 1e3);
    check_std_grid("resistance.r0_ohm_std", r.r0_ohm_std);
    for (std::size_t i = 0; i < r.branches.size(); ++i) {
        const std::string field = "resistance.branches[" + std::to_string(i) + "].";
        check_grid(field + "resistance_ohm", r.branches[i].resistance_ohm, rows, columns, tiny,
                   1e3);
        check_grid(field + "time_s", r.branches[i].time_s, rows, columns, 1e-3, 1e7);
        check_std_grid(field + "resistance_ohm_std", r.branches[i].resistance_ohm_std);
        check_std_grid(field + "time_s_std", r.branches[i].time_s_std);
    }
    if (r.charge_transfer) {
        const ChargeTransferGrid& t = *r.charge_transfer;
        const std::string field = "resistance.charge_transfer.";
        check_grid(field + "scale_V", t.scale_V, rows, columns, 1e-6, 2);
        check_grid(field + "exchange_current_A", t.exchange_current_A, rows, columns, 1e-6, 1e6);
        check_grid(field + "time_s", t.time_s, rows, columns, 1e-4, 1e6);
        check_std_grid(field + "scale_V_std", t.scale_V_std);
        check_std_grid(field + "exchange_current_A_std", t.exchange_current_A_std);
        check_std_grid(field + "time_s_std", t.time_s_std);
    }
    const Finding<double> window = validate(CellLimits<double>{cell.window, nullptr, 0});
    if (window.status != Status::ok) {
        fail("limits.", window.field, ": ", window.value, " must be below its upper end, ",
             window.bound);
    }
    for (std::size_t k = 0; k < cell.current_limits.size(); ++k) {
        const CurrentGrid& table = cell.current_limits[k];
        const std::string field = "limits.current_tables[" + std::to_string(k) + "].";
        const double shorter_s = k > 0 ? cell.current_limits[k - 1].duration_s : 0;
        if (!(table.duration_s > shorter_s) || !std::isfinite(table.duration_s)) {
            fail(field, "duration_s: ", table.duration_s, " must be above ", shorter_s,
                 k > 0 ? ", the duration of the table before it" : "");
        }
        check_increasing(field + "temperature_degC", table.temperature_degC, 1);
        check_increasing(field + "soc", table.soc, 1);
        check_grid(field + "charge_A", table.charge_A, table.temperature_degC.size(),
                   table.soc.size(), 0, 1e5);
        check_grid(field + "discharge_A", table.discharge_A, table.temperature_degC.size(),
                   table.soc.size(), 0, 1e5);
    }
    struct Bounded {
        const char* field;
        double value;
        double high;
    };
    for (const Bounded& b :
         {Bounded{"noise.voltage_std_V", cell.noise.voltage_std_V, 1},
          {"noise.overvoltage_share_std", cell.noise.overvoltage_share_std, 10},
          {"noise.lasting_share", cell.noise.lasting_share, 1},
          {"noise.correlation_time_s", cell.noise.correlation_time_s, 1e6},
          {"noise.resistance_log_std", cell.noise.resistance_log_std, 3},
          {"noise.resistance_log_std_per_sqrt_h", cell.noise.resistance_log_std_per_sqrt_h, 3},
          {"noise.tested_current_A", cell.noise.tested_current_A, 1e6},
          {"noise.untested_share_std", cell.noise.untested_share_std, 1}}) {
        if (!(b.value >= 0 && b.value <= b.high))
            fail(b.field, ": ", b.value, " is outside 0 .. ", b.high);
    }
    const Finding<double> plan = validate(cell.charge);
    if (plan.status != Status::ok) {
        fail("charge.", plan.field, "[", plan.index, "]: ", plan.value, " against ", plan.bound,
             ": ", message(plan.status));
    }
}

template <class Real>
std::vector<OcvNode<Real>> ocv_nodes(const OcvCurve& curve) {
    std::vector<OcvNode<Real>> nodes(ocv_node_count);
    for (int k = 0; k < ocv_node_count; ++k) {
        const double soc = static_cast<double>(k) / (ocv_node_count - 1);
        const double discharge_V = interpolate(curve.soc, curve.discharge_V, soc);
        const double charge_V = interpolate(curve.soc, curve.charge_V, soc);
        OcvNode<Real>& node = nodes[static_cast<std::size_t>(k)];
        node.mean_V = static_cast<Real>(0.5 * (charge_V + discharge_V));
        node.half_gap_V = static_cast<Real>(0.5 * (charge_V - discharge_V));
        node.entropy_V_per_K =
            curve.entropy_V_per_K.empty()
                ? Real(0)
                : static_cast<Real>(interpolate(curve.soc, curve.entropy_V_per_K, soc));
    }
    return nodes;
}

template std::vector<OcvNode<float>> ocv_nodes(const OcvCurve&);
template std::vector<OcvNode<double>> ocv_nodes(const OcvCurve&);

template <class Real, int Branches, bool Transfer>
CellTables<Real, Branches, Transfer>::CellTables(const Cell& cell) {
    check(cell);
    const ResistanceGrid& grid = cell.resistance;
    if (grid.branches.size() != Branches) {
        fail("resistance.branches: has ", grid.branches.size(), " branches, this model has ",
             Branches);
    }
    if (grid.charge_transfer.has_value() != Transfer) {
        fail("resistance.charge_transfer: the cell has ", Transfer ? "none" : "one",
             ", this model has ", Transfer ? "one" : "none");
    }
    ocv_nodes_ = ocv_nodes<Real>(cell.ocv);

    const int soc_count = evenly_spaced(grid.soc) ? static_cast<int>(grid.soc.size()) : 101;
    const int temperature_count =
        static_cast<int>(
            std::lround((hottest_node_degC - coldest_node_degC) / temperature_node_step_K)) +
        1;
    resistance_nodes_.resize(static_cast<std::size_t>(soc_count) *
                             static_cast<std::size_t>(temperature_count));
    for (int t = 0; t < temperature_count; ++t) {
        const double degC = coldest_node_degC + temperature_node_step_K * t;
        for (int s = 0; s < soc_count; ++s) {
            const double soc = static_cast<double>(s) / (soc_count - 1);
            auto& node = resistance_nodes_[static_cast<std::size_t>(t) *
                                               static_cast<std::size_t>(soc_count) +
                                           static_cast<std::size_t>(s)];
            node.r0_ohm = static_cast<Real>(grid_value(grid, grid.r0_ohm, soc, degC));
            for (std::size_t i = 0; i < Branches; ++i) {
                node.branch_ohm[i] =
                    static_cast<Real>(grid_value(grid, grid.branches[i].resistance_ohm, soc, degC));
                node.branch_time_s[i] =
                    static_cast<Real>(grid_value(grid, grid.branches[i].time_s, soc, degC));
            }
            if constexpr (Transfer) {
                const ChargeTransferGrid& transfer = *grid.charge_transfer;
                node.transfer = {static_cast<Real>(grid_value(grid, transfer.scale_V, soc, degC)),
                                 static_cast<Real>(exchange_current_A(grid, transfer, soc, degC)),
                                 static_cast<Real>(grid_value(grid, transfer.time_s, soc, degC))};
            }
        }
    }

    parameters_.capacity_Ah = static_cast<Real>(cell.capacity_Ah);
    parameters_.coulombic_efficiency = static_cast<Real>(cell.coulombic_efficiency);
    parameters_.self_discharge_per_s = static_cast<Real>(cell.self_discharge_per_s);
    parameters_.hysteresis_rate = static_cast<Real>(cell.hysteresis_rate);
    parameters_.ocv.count = ocv_node_count;
    parameters_.ocv.reference_temperature_degC =
        static_cast<Real>(cell.ocv.reference_temperature_degC);
    parameters_.resistance.soc = uniform_axis(Real(0), Real(1), soc_count);
    parameters_.resistance.temperature_degC =
        uniform_axis(static_cast<Real>(coldest_node_degC), static_cast<Real>(hottest_node_degC),
                     temperature_count);
    parameters_.charge_rise = {static_cast<Real>(cell.charge_rise.soc_start),
                               static_cast<Real>(cell.charge_rise.resistance_ohm),
                               cell.charge_rise.branch};
    parameters_.thermal = {static_cast<Real>(cell.thermal.heat_capacity_J_per_K),
                           static_cast<Real>(cell.thermal.resistance_K_per_W),
                           static_cast<Real>(cell.thermal.core_resistance_K_per_W),
                           static_cast<Real>(cell.thermal.core_heat_capacity_J_per_K)};
    const Finding<Real> finding = validate(parameters());
    if (finding.status != Status::ok) {
        fail(finding.field, "[", finding.index, "]: ", finding.value, " against ", finding.bound,
             ": ", message(finding.status));
    }

    const auto cast = [](const std::vector<double>& from) {
        std::vector<Real> to(from.size());
        std::transform(from.begin(), from.end(), to.begin(),
                       [](double x) { return static_cast<Real>(x); });
        return to;
    };
    const auto cast_grid = [](const Grid& from) {
        std::vector<Real> to;
        for (const auto& row : from) {
            for (const double x : row)
                to.push_back(static_cast<Real>(x));
        }
        return to;
    };
    for (const CurrentGrid& table : cell.current_limits) {
        owned_currents_.push_back({cast(table.temperature_degC), cast(table.soc),
                                   cast_grid(table.charge_A), cast_grid(table.discharge_A)});
    }
    for (std::size_t k = 0; k < owned_currents_.size(); ++k) {
        const OwnedCurrents& owned = owned_currents_[k];
        current_tables_.push_back(
            {static_cast<Real>(cell.current_limits[k].duration_s), owned.temperature_degC.data(),
             static_cast<int>(owned.temperature_degC.size()), owned.soc.data(),
             static_cast<int>(owned.soc.size()), owned.charge_A.data(), owned.discharge_A.data()});
    }
    const CellWindow<double>& w = cell.window;
    tested_current_A_ = static_cast<Real>(cell.noise.tested_current_A);
    untested_share_std_ = static_cast<Real>(cell.noise.untested_share_std);
    window_ = {static_cast<Real>(w.voltage_min_V),
               static_cast<Real>(w.voltage_max_V),
               static_cast<Real>(w.soc_min),
               static_cast<Real>(w.soc_max),
               static_cast<Real>(w.charge_temperature_min_degC),
               static_cast<Real>(w.charge_temperature_max_degC),
               static_cast<Real>(w.discharge_temperature_min_degC),
               static_cast<Real>(w.discharge_temperature_max_degC)};
    const Finding<Real> limit_finding = validate(limits());
    if (limit_finding.status != Status::ok) {
        fail("limits.", limit_finding.field, ": ", limit_finding.value, " against ",
             limit_finding.bound, ": ", message(limit_finding.status));
    }
    charge_plan_.zone_count = cell.charge.zone_count;
    charge_plan_.end_current_A = static_cast<Real>(cell.charge.end_current_A);
    charge_plan_.zone_hysteresis_K = static_cast<Real>(cell.charge.zone_hysteresis_K);
    charge_plan_.stage_count = cell.charge.stage_count;
    for (int k = 0; k < cell.charge.stage_count; ++k) {
        const ChargeStage<double>& stage = cell.charge.stages[k];
        charge_plan_.stages[k] = {stage.kind,
                                  static_cast<Real>(stage.current_A),
                                  static_cast<Real>(stage.voltage_V),
                                  static_cast<Real>(stage.power_W),
                                  static_cast<Real>(stage.end_current_A),
                                  static_cast<Real>(stage.longest_s),
                                  static_cast<Real>(stage.end_spread_V)};
    }
    for (int k = 0; k < cell.charge.zone_count; ++k) {
        const ChargeZone<double>& zone = cell.charge.zones[k];
        charge_plan_.zones[k] = {static_cast<Real>(zone.temperature_min_degC),
                                 static_cast<Real>(zone.temperature_max_degC),
                                 static_cast<Real>(zone.current_A),
                                 static_cast<Real>(zone.voltage_V)};
    }
}

template <class Real, int Branches, bool Transfer>
CellParameters<Real, Branches, Transfer> CellTables<Real, Branches, Transfer>::parameters() const {
    CellParameters<Real, Branches, Transfer> view = parameters_;
    view.ocv.nodes = ocv_nodes_.data();
    view.resistance.nodes = resistance_nodes_.data();
    return view;
}

template <class Real, int Branches, bool Transfer>
CellLimits<Real> CellTables<Real, Branches, Transfer>::limits() const {
    return {window_, current_tables_.data(), static_cast<int>(current_tables_.size()),
            tested_current_A_, untested_share_std_};
}

template class CellTables<double, 1, false>;
template class CellTables<double, 1, true>;
template class CellTables<double, 2, false>;
template class CellTables<double, 2, true>;
template class CellTables<double, 3, false>;
template class CellTables<double, 3, true>;
template class CellTables<double, 4, false>;
template class CellTables<double, 4, true>;
template class CellTables<float, 1, false>;
template class CellTables<float, 1, true>;
template class CellTables<float, 2, false>;
template class CellTables<float, 2, true>;
template class CellTables<float, 3, false>;
template class CellTables<float, 3, true>;
template class CellTables<float, 4, false>;
template class CellTables<float, 4, true>;

}  // namespace voltkeel
