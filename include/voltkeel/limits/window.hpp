#pragma once
/// \file window.hpp
/// The windows a cell must stay in, and the maker's table of allowed currents.

#include <initializer_list>

#include "voltkeel/cell/parameters.hpp"
#include "voltkeel/cell/table.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Voltage, SOC and temperature windows of one cell. From the maker's data sheet.
template <class Real>
struct CellWindow {
    Real voltage_min_V{0};
    Real voltage_max_V{0};
    Real soc_min{0};
    Real soc_max{1};
    Real charge_temperature_min_degC{0};  ///< Below: no charging (lithium plating).
    Real charge_temperature_max_degC{45};
    Real discharge_temperature_min_degC{-20};
    Real discharge_temperature_max_degC{60};
};

/// Allowed currents over temperature and SOC for one duration: a view, linear in between, held at
/// the ends. Values are magnitudes in A; node (t, s) is `charge_A[t * soc_count + s]`.
template <class Real>
struct CurrentTable {
    Real duration_s{0};                     ///< The currents may flow this long.
    const Real* temperature_degC{nullptr};  ///< Increasing.
    int temperature_count{0};
    const Real* soc{nullptr};  ///< Increasing.
    int soc_count{0};
    const Real* charge_A{nullptr};
    const Real* discharge_A{nullptr};
};

/// Everything that is allowed: the window, and any number of maker's tables in order of rising
/// duration.
template <class Real>
struct CellLimits {
    CellWindow<Real> window{};
    const CurrentTable<Real>* tables{nullptr};
    int table_count{0};
    /// Largest current that the resistances of the cell were tested with; 0: not known, and nothing
    /// below counts.
    Real tested_current_A{0};
    /// By how much of a voltage drop the model may be off for every doubling of the current beyond
    /// the tested one (standard deviation); see LimitSettings::untested_sigmas.
    Real untested_share_std{0};
};

namespace detail {

/// Place of `value` on increasing breakpoints; the nearest end outside.
template <class Real>
[[nodiscard]] inline AxisPosition<Real> locate_breakpoint(const Real* points, int count,
                                                          Real value) noexcept {
    if (count < 2 || !(value > points[0])) return {0, Real(0), count >= 1 && value == points[0]};
    if (value >= points[count - 1]) return {count - 2, Real(1), value == points[count - 1]};
    int index = 0;
    while (index < count - 2 && value >= points[index + 1])
        ++index;
    return {index, (value - points[index]) / (points[index + 1] - points[index]), true};
}

template <class Real>
[[nodiscard]] inline Real table_value(const CurrentTable<Real>& table, const Real* values, Real soc,
                                      Real temperature_degC) noexcept {
    const AxisPosition<Real> t =
        locate_breakpoint(table.temperature_degC, table.temperature_count, temperature_degC);
    const AxisPosition<Real> s = locate_breakpoint(table.soc, table.soc_count, soc);
    const auto along_soc = [&](int row) {
        const Real* first = values + row * table.soc_count + s.index;
        return table.soc_count < 2 ? first[0] : first[0] + s.fraction * (first[1] - first[0]);
    };
    const Real cold = along_soc(t.index);
    return table.temperature_count < 2 ? cold : cold + t.fraction * (along_soc(t.index + 1) - cold);
}

}  // namespace detail

/// The maker's table that speaks for a horizon: the shortest duration that covers it, else the
/// longest there is. \return null when there are no tables.
template <class Real>
[[nodiscard]] inline const CurrentTable<Real>* table_for(const CellLimits<Real>& limits,
                                                         Real horizon_s) noexcept {
    const CurrentTable<Real>* best = nullptr;
    for (int k = 0; k < limits.table_count; ++k) {
        best = &limits.tables[k];
        if (best->duration_s >= horizon_s) break;
    }
    return best;
}

/// Checks windows and tables; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const CellLimits<Real>& limits) noexcept {
    using detail::finite;
    const CellWindow<Real>& w = limits.window;
    struct Pair {
        const char* field;
        Real low;
        Real high;
    };
    const Pair pairs[] = {
        {"voltage_min_V", w.voltage_min_V, w.voltage_max_V},
        {"soc_min", w.soc_min, w.soc_max},
        {"charge_temperature_min_degC", w.charge_temperature_min_degC,
         w.charge_temperature_max_degC},
        {"discharge_temperature_min_degC", w.discharge_temperature_min_degC,
         w.discharge_temperature_max_degC},
    };
    for (const Pair& pair : pairs) {
        if (!finite(pair.low) || !finite(pair.high))
            return {Status::not_finite, pair.field, -1, pair.low, pair.high};
        if (!(pair.low < pair.high))
            return {Status::out_of_range, pair.field, -1, pair.low, pair.high};
    }
    const auto within = [](const char* field, Real value, Real most) -> Finding<Real> {
        const Status status = !finite(value)                      ? Status::not_finite
                              : value >= Real(0) && value <= most ? Status::ok
                                                                  : Status::out_of_range;
        return {status, field, -1, value, most};
    };
    Finding<Real> tested = within("tested_current_A", limits.tested_current_A, Real(1e6));
    if (tested.status == Status::ok)
        tested = within("untested_share_std", limits.untested_share_std, Real(1));
    if (tested.status != Status::ok) return tested;
    if (limits.table_count > 0 && limits.tables == nullptr)
        return {Status::missing_table, "tables", -1, Real(0), Real(1)};
    for (int k = 0; k < limits.table_count; ++k) {
        const CurrentTable<Real>& table = limits.tables[k];
        if (table.temperature_count < 1 || table.soc_count < 1 ||
            table.temperature_degC == nullptr || table.soc == nullptr ||
            table.charge_A == nullptr || table.discharge_A == nullptr) {
            return {Status::missing_table, "tables", k, Real(0), Real(1)};
        }
        if (!(table.duration_s > Real(0)) ||
            (k > 0 && !(table.duration_s > limits.tables[k - 1].duration_s))) {
            return {Status::not_increasing, "tables.duration_s", k, table.duration_s, Real(0)};
        }
        for (int i = 1; i < table.temperature_count; ++i) {
            if (!(table.temperature_degC[i] > table.temperature_degC[i - 1])) {
                return {Status::not_increasing, "tables.temperature_degC", i,
                        table.temperature_degC[i], table.temperature_degC[i - 1]};
            }
        }
        for (int i = 1; i < table.soc_count; ++i) {
            if (!(table.soc[i] > table.soc[i - 1])) {
                return {Status::not_increasing, "tables.soc", i, table.soc[i], table.soc[i - 1]};
            }
        }
        for (int i = 0; i < table.temperature_count * table.soc_count; ++i) {
            for (const Real value : {table.charge_A[i], table.discharge_A[i]}) {
                if (!finite(value)) return {Status::not_finite, "tables", i, value, Real(0)};
                if (value < Real(0)) return {Status::out_of_range, "tables", i, value, Real(0)};
            }
        }
    }
    return {};
}

}  // namespace voltkeel
