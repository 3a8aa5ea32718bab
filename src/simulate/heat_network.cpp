#include "simulate/heat_network.hpp"

#include <algorithm>
#include <boost/numeric/odeint.hpp>

namespace voltkeel::detail {

HeatNetwork::HeatNetwork(const Pack& pack, const Wiring& wiring, bool each_cell) {
    run_of_.resize(wiring.unit_count);
    copies_.resize(wiring.unit_count);
    for (const Wiring::Group& group : wiring.groups) {
        for (std::size_t k = group.first_unit; k < group.first_unit + group.unit_count; ++k)
            copies_[k] = group.copies;
    }
    std::size_t group = 0;
    for (const PackString& string : pack.strings) {
        const std::string* last = nullptr;
        std::size_t last_units = 0;
        for (const std::string& name : string.modules) {
            const PackModule& kind = module_named(pack, name);
            const ThermalFit& from = kind.cell.thermal;
            const std::size_t first = wiring.groups[group].first_unit;
            const std::size_t per_group = wiring.groups[group].unit_count;
            const auto count = static_cast<std::size_t>(kind.layout.series) * per_group;
            if (last != nullptr && *last == name && runs_.back().first + runs_.back().count == first) {
                runs_.back().count += count;
            } else {
                runs_.push_back({first,
                                 count,
                                 {from.heat_capacity_J_per_K, from.resistance_K_per_W,
                                  from.core_resistance_K_per_W, from.core_heat_capacity_J_per_K}});
            }
            last = &name;
            for (std::size_t k = first; k < first + count; ++k) {
                run_of_[k] = runs_.size() - 1;
                if (kind.cell_link_W_per_K > 0 && each_cell && (k - first) % per_group != 0)
                    links_.push_back({k - 1, k, kind.cell_link_W_per_K});
                if (kind.group_link_W_per_K > 0 && k >= first + per_group)
                    links_.push_back({k - per_group, k,
                                      kind.group_link_W_per_K / static_cast<double>(per_group)});
            }
            if (last_units > 0 && string.module_link_W_per_K > 0) {
                // Each cell of the larger group beside its share of the smaller one.
                const std::size_t pairs = std::max(last_units, per_group);
                for (std::size_t k = 0; k < pairs; ++k) {
                    links_.push_back({first - last_units + k * last_units / pairs,
                                      first + k * per_group / pairs,
                                      string.module_link_W_per_K / static_cast<double>(pairs)});
                }
            }
            last_units = per_group;
            group += static_cast<std::size_t>(kind.layout.series);
        }
    }
    for (const Run& run : runs_)
        file_resistance_K_per_W_.push_back(run.thermal.resistance_K_per_W);
}

void HeatNetwork::scale_case_resistance(double factor) {
    if (factor == factor_) return;
    factor_ = factor;
    for (std::size_t r = 0; r < runs_.size(); ++r)
        runs_[r].thermal.resistance_K_per_W = factor * file_resistance_K_per_W_[r];
    for (Steps& known : cached_)
        known.dt_s = -1;
}

const HeatNetwork::Steps& HeatNetwork::steps(double dt_s) {
    for (const Steps& known : cached_) {
        if (known.dt_s == dt_s) return known;
    }
    Steps& made = cached_[oldest_];
    oldest_ = (oldest_ + 1) % cached_.size();
    made.dt_s = dt_s;
    made.of_run.clear();
    for (const Run& run : runs_)
        made.of_run.push_back(thermal_step(run.thermal, dt_s));
    return made;
}

void HeatNetwork::go(const std::vector<double>& from_core_degC,
                     const std::vector<double>& from_case_degC,
                     const std::vector<double>& ambient_degC, const std::vector<double>& heat_W,
                     double dt_s, std::vector<double>& to_core_degC,
                     std::vector<double>& to_case_degC, std::vector<double>* lost_J) {
    const std::size_t count = run_of_.size();
    if (links_.empty()) {
        const Steps& step = steps(dt_s);
        for (std::size_t r = 0; r < runs_.size(); ++r) {
            const ThermalStep<double> go_on = step.of_run[r];
            for (std::size_t k = runs_[r].first; k < runs_[r].first + runs_[r].count; ++k) {
                const CellTemperature<double> to =
                    go_on({from_core_degC[k], from_case_degC[k]}, ambient_degC[k], heat_W[k]);
                to_core_degC[k] = to.core_degC;
                to_case_degC[k] = to.case_degC;
                if (lost_J != nullptr) {
                    // The closed solution has no other place for it to go.
                    (*lost_J)[k] =
                        heat_W[k] * dt_s - kept_J(k, to.core_degC - from_core_degC[k],
                                                  to.case_degC - from_case_degC[k]);
                }
            }
        }
        return;
    }
    // Cores, then cases, then what was lost, in one state: a Runge-Kutta method keeps the linear sum
    // of stored and lost heat to rounding. A cell of one mass has all of it in its case.
    work_.assign(3 * count, 0.0);
    for (std::size_t k = 0; k < count; ++k) {
        work_[k] = from_core_degC[k];
        work_[count + k] = from_case_degC[k];
    }
    const auto slope = [&](const std::vector<double>& x, std::vector<double>& by_time, double) {
        for (std::size_t k = 0; k < count; ++k) {
            const ThermalParameters<double>& thermal = runs_[run_of_[k]].thermal;
            const double lost_W = (x[count + k] - ambient_degC[k]) / thermal.resistance_K_per_W;
            double out_W = heat_W[k];
            if (thermal.has_core()) {
                out_W = (x[k] - x[count + k]) / thermal.core_resistance_K_per_W;
                by_time[k] = (heat_W[k] - out_W) / thermal.core_heat_capacity_J_per_K;
            } else {
                by_time[k] = 0;
            }
            by_time[count + k] = out_W - lost_W;
            by_time[2 * count + k] = lost_W;
        }
        for (const Link& link : links_) {
            const double over_W = link.W_per_K * (x[count + link.a] - x[count + link.b]);
            by_time[count + link.a] -= over_W / copies_[link.a];
            by_time[count + link.b] += over_W / copies_[link.b];
        }
        for (std::size_t k = 0; k < count; ++k) {
            const ThermalParameters<double>& thermal = runs_[run_of_[k]].thermal;
            by_time[count + k] /=
                thermal.heat_capacity_J_per_K -
                (thermal.has_core() ? thermal.core_heat_capacity_J_per_K : 0.0);
        }
    };
    namespace odeint = boost::numeric::odeint;
    odeint::integrate_adaptive(
        odeint::make_controlled<odeint::runge_kutta_dopri5<std::vector<double>>>(1e-7, 1e-9),
        slope, work_, 0.0, dt_s, dt_s);
    for (std::size_t k = 0; k < count; ++k) {
        to_case_degC[k] = work_[count + k];
        to_core_degC[k] = runs_[run_of_[k]].thermal.has_core() ? work_[k] : work_[count + k];
        if (lost_J != nullptr) (*lost_J)[k] = work_[2 * count + k];
    }
}

double HeatNetwork::kept_J(std::size_t unit, double core_K, double case_K) const {
    const ThermalParameters<double>& thermal = runs_[run_of_[unit]].thermal;
    if (!thermal.has_core()) return thermal.heat_capacity_J_per_K * case_K;
    return thermal.core_heat_capacity_J_per_K * core_K +
           (thermal.heat_capacity_J_per_K - thermal.core_heat_capacity_J_per_K) * case_K;
}

double HeatNetwork::core_J_per_K(std::size_t unit) const {
    const ThermalParameters<double>& thermal = runs_[run_of_[unit]].thermal;
    return thermal.has_core() ? thermal.core_heat_capacity_J_per_K : thermal.heat_capacity_J_per_K;
}

}  // namespace voltkeel::detail
