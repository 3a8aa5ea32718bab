#include "simulate/heat_network.hpp"

#include <algorithm>

namespace voltkeel::detail {

HeatNetwork::HeatNetwork(const Pack& pack, const Wiring& wiring, bool each_cell) {
    run_of_.resize(wiring.unit_count);
    std::vector<double> copies(wiring.unit_count);
    for (const Wiring::Group& group : wiring.groups) {
        for (std::size_t k = group.first_unit; k < group.first_unit + group.unit_count; ++k)
            copies[k] = group.copies;
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
            if (last != nullptr && *last == name &&
                runs_.back().first + runs_.back().count == first) {
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
                    links_.push_back({k - 1, k, kind.cell_link_W_per_K, 1, 1});
                if (kind.group_link_W_per_K > 0 && k >= first + per_group)
                    links_.push_back({k - per_group, k,
                                      kind.group_link_W_per_K / static_cast<double>(per_group), 1,
                                      1});
            }
            if (last_units > 0 && string.module_link_W_per_K > 0) {
                // Each cell of the larger group beside its share of the smaller one.
                const std::size_t pairs = std::max(last_units, per_group);
                for (std::size_t k = 0; k < pairs; ++k) {
                    links_.push_back(
                        {first - last_units + k * last_units / pairs, first + k * per_group / pairs,
                         string.module_link_W_per_K / static_cast<double>(pairs), 1, 1});
                }
            }
            last_units = per_group;
            group += static_cast<std::size_t>(kind.layout.series);
        }
    }
    for (const Run& run : runs_)
        file_resistance_K_per_W_.push_back(run.thermal.resistance_K_per_W);
    for (Link& link : links_) {
        link.per_copy_a = 1 / copies[link.a];
        link.per_copy_b = 1 / copies[link.b];
    }
    set_units();
}

void HeatNetwork::scale_case_resistance(double factor) {
    if (factor == factor_) return;
    factor_ = factor;
    for (std::size_t r = 0; r < runs_.size(); ++r)
        runs_[r].thermal.resistance_K_per_W = factor * file_resistance_K_per_W_[r];
    for (Steps& known : cached_)
        known.dt_s = -1;
    set_units();
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
                     const std::vector<double>* case_heat_W, double dt_s,
                     std::vector<double>& to_core_degC, std::vector<double>& to_case_degC,
                     std::vector<double>* lost_J) {
    if (case_heat_W == nullptr) {
        go_around(from_core_degC, from_case_degC, ambient_degC, heat_W, dt_s, to_core_degC,
                  to_case_degC, lost_J);
        return;
    }
    // q into the case is the same as surroundings that are q R warmer, but for the books.
    warmed_degC_.resize(run_of_.size());
    for (std::size_t k = 0; k < run_of_.size(); ++k)
        warmed_degC_[k] =
            ambient_degC[k] + (*case_heat_W)[k] * runs_[run_of_[k]].thermal.resistance_K_per_W;
    go_around(from_core_degC, from_case_degC, warmed_degC_, heat_W, dt_s, to_core_degC,
              to_case_degC, lost_J);
    if (lost_J == nullptr) return;
    for (std::size_t k = 0; k < run_of_.size(); ++k)
        (*lost_J)[k] += (*case_heat_W)[k] * dt_s;
}

void HeatNetwork::go_around(const std::vector<double>& from_core_degC,
                            const std::vector<double>& from_case_degC,
                            const std::vector<double>& ambient_degC,
                            const std::vector<double>& heat_W, double dt_s,
                            std::vector<double>& to_core_degC, std::vector<double>& to_case_degC,
                            std::vector<double>* lost_J) {
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
                    (*lost_J)[k] = heat_W[k] * dt_s - kept_J(k, to.core_degC - from_core_degC[k],
                                                             to.case_degC - from_case_degC[k]);
                }
            }
        }
        return;
    }
    // Cores, then cases, then what was lost, in one state: a Runge-Kutta method keeps the linear
    // sum of stored and lost heat to rounding. A cell of one mass has all of it in its case.
    work_.resize(3 * count);
    std::copy(from_core_degC.begin(), from_core_degC.end(), work_.begin());
    std::copy(from_case_degC.begin(), from_case_degC.end(),
              work_.begin() + static_cast<std::ptrdiff_t>(count));
    std::fill(work_.begin() + static_cast<std::ptrdiff_t>(2 * count), work_.end(), 0.0);
    const auto slope = [&](const std::vector<double>& x, std::vector<double>& by_time, double) {
        const double* const core = x.data();
        const double* const skin = core + count;
        double* const by_core = by_time.data();
        double* const by_skin = by_core + count;
        double* const by_lost = by_skin + count;
        for (std::size_t k = 0; k < count; ++k) {
            const Unit& unit = units_[k];
            const double lost_W = (skin[k] - ambient_degC[k]) * unit.skin_W_per_K;
            const double through_W = (core[k] - skin[k]) * unit.core_W_per_K;
            by_core[k] = (heat_W[k] - through_W) * unit.core_K_per_J;
            by_skin[k] = (unit.core_K_per_J > 0 ? through_W : heat_W[k]) - lost_W;
            by_lost[k] = lost_W;
        }
        for (const Link& link : links_) {
            const double over_W = link.W_per_K * (skin[link.a] - skin[link.b]);
            by_skin[link.a] -= over_W * link.per_copy_a;
            by_skin[link.b] += over_W * link.per_copy_b;
        }
        for (std::size_t k = 0; k < count; ++k)
            by_skin[k] *= units_[k].skin_K_per_J;
    };
    namespace odeint = boost::numeric::odeint;
    if (dt_s * fastest_per_s_ < 0.1) {
        // So short a step of order four errs by 1e-7 of what moves in it.
        short_step_.do_step(slope, work_, 0.0, dt_s);
    } else {
        odeint::integrate_adaptive(
            odeint::make_controlled<odeint::runge_kutta_dopri5<std::vector<double>>>(1e-7, 1e-9),
            slope, work_, 0.0, dt_s, std::min(dt_s, 0.5 / fastest_per_s_));
    }
    for (std::size_t k = 0; k < count; ++k) {
        to_case_degC[k] = work_[count + k];
        to_core_degC[k] = units_[k].core_K_per_J > 0 ? work_[k] : work_[count + k];
        if (lost_J != nullptr) (*lost_J)[k] = work_[2 * count + k];
    }
}

void HeatNetwork::set_units() {
    units_.resize(run_of_.size());
    std::vector<double> out_W_per_K(run_of_.size());
    for (std::size_t k = 0; k < run_of_.size(); ++k) {
        const ThermalParameters<double>& thermal = runs_[run_of_[k]].thermal;
        Unit& unit = units_[k];
        unit.skin_W_per_K = 1 / thermal.resistance_K_per_W;
        double skin_J_per_K = thermal.heat_capacity_J_per_K;
        if (thermal.has_core()) {
            unit.core_W_per_K = 1 / thermal.core_resistance_K_per_W;
            unit.core_K_per_J = 1 / thermal.core_heat_capacity_J_per_K;
            skin_J_per_K -= thermal.core_heat_capacity_J_per_K;
        }
        unit.skin_K_per_J = 1 / skin_J_per_K;
        out_W_per_K[k] = unit.skin_W_per_K + unit.core_W_per_K;
    }
    for (const Link& link : links_) {
        out_W_per_K[link.a] += link.W_per_K * link.per_copy_a;
        out_W_per_K[link.b] += link.W_per_K * link.per_copy_b;
    }
    // No rate is faster than twice the largest on the diagonal (Gershgorin, in the scaled form).
    fastest_per_s_ = 0;
    for (std::size_t k = 0; k < run_of_.size(); ++k)
        fastest_per_s_ = std::max({fastest_per_s_, 2 * out_W_per_K[k] * units_[k].skin_K_per_J,
                                   2 * units_[k].core_W_per_K * units_[k].core_K_per_J});
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
