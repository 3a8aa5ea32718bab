#include "voltkeel/io/pack_limits.hpp"

#include "io/number_text.hpp"
#include "io/pack_views.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

using detail::PackAsViews;
using detail::refuse;

namespace {

/// A pack with room to look for its limits.
template <int Branches, bool Transfer>
class LimitFinder {
  public:
    LimitFinder(const Pack& pack, const std::vector<PackPart>& parts)
        : views_(pack, parts),
          work_(static_cast<std::size_t>(views_.view().group_count)),
          string_work_(static_cast<std::size_t>(views_.view().string_count)) {}

    std::vector<PackHorizonLimit<double>> find(const std::vector<GroupState>& groups,
                                               const std::vector<double>& horizons_s,
                                               const PackLimitSettings<double>& settings,
                                               bool current_flagged) {
        views_.take(groups);
        const Finding<double> knobs = validate(settings);
        if (knobs.status != Status::ok) refuse(knobs, "settings.");
        std::vector<PackHorizonLimit<double>> result(horizons_s.size());
        GroupStates<double> states = views_.states();
        states.current_flagged = current_flagged;
        const Status status = pack_limits(
            views_.view(), states, horizons_s.data(), static_cast<int>(horizons_s.size()),
            PackLimitWorkspace<double, Branches, Transfer>{
                work_.data(), static_cast<int>(work_.size()), string_work_.data(),
                static_cast<int>(string_work_.size())},
            result.data(), settings);
        if (status != Status::ok) {
            throw Error(std::string("horizons must rise from 0 to 600 s, the last may be infinite, "
                                    "and states must be usable: ") +
                        message(status));
        }
        return result;
    }

  private:
    PackAsViews<Branches, Transfer> views_;
    std::vector<detail::GroupWork<double, Branches, Transfer>> work_;
    std::vector<detail::StringWork<double>> string_work_;
};

/// Fills a map by `limit_at(soc, temperature, charge, discharge)`.
template <class LimitAt>
LimitMap fill(const std::vector<double>& soc, const std::vector<double>& temperature_degC,
              double horizon_s, const LimitAt& limit_at) {
    if (soc.empty()) throw Error("soc: has no values");
    if (temperature_degC.empty()) throw Error("temperature_degC: has no values");
    LimitMap map;
    map.horizon_s = horizon_s;
    map.soc = soc;
    map.temperature_degC = temperature_degC;
    for (const double degC : temperature_degC) {
        for (Grid* grid : {&map.charge_A, &map.discharge_A, &map.charge_W, &map.discharge_W})
            grid->emplace_back();
        map.charge_reason.emplace_back();
        map.discharge_reason.emplace_back();
        for (const double s : soc) {
            const auto limit = limit_at(s, degC);
            map.charge_A.back().push_back(limit.charge.current_A);
            map.discharge_A.back().push_back(limit.discharge.current_A);
            map.charge_W.back().push_back(limit.charge.power_W);
            map.discharge_W.back().push_back(limit.discharge.power_W);
            map.charge_reason.back().push_back(limit.charge.reason);
            map.discharge_reason.back().push_back(limit.discharge.reason);
        }
    }
    return map;
}

}  // namespace

std::vector<PackHorizonLimit<double>> pack_limits(const Pack& pack,
                                                  const std::vector<GroupState>& groups,
                                                  const std::vector<double>& horizons_s,
                                                  const std::vector<PackPart>& parts,
                                                  const PackLimitSettings<double>& settings,
                                                  bool current_flagged) {
    return detail::with_form(pack, [&](auto form) {
        using Form = decltype(form);
        LimitFinder<Form::branches, Form::transfer> views(pack, parts);
        return views.find(groups, horizons_s, settings, current_flagged);
    });
}

LimitMap limit_map(const Pack& pack, const std::vector<double>& soc,
                   const std::vector<double>& temperature_degC, double horizon_s,
                   const GroupState& group, const std::vector<PackPart>& parts,
                   const PackLimitSettings<double>& settings) {
    return detail::with_form(pack, [&](auto form) {
        using Form = decltype(form);
        LimitFinder<Form::branches, Form::transfer> views(pack, parts);
        std::vector<GroupState> one{group};
        return fill(soc, temperature_degC, horizon_s, [&](double s, double degC) {
            one.front().state.soc = s;
            one.front().state.temperature_degC = degC;
            return views.find(one, {horizon_s}, settings, false).front();
        });
    });
}

LimitMap limit_map(const Cell& cell, const std::vector<double>& soc,
                   const std::vector<double>& temperature_degC, double horizon_s,
                   const ModelState& state, const LimitSettings<double>& settings) {
    return with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        LimitSettings<double> used = settings;
        used.core_over_case_K += state.core_over_case_K;
        ModelState at = state;
        return fill(soc, temperature_degC, horizon_s, [&](double s, double degC) {
            at.soc = s;
            at.temperature_degC = degC;
            HorizonLimit<double> limit;
            const Status status = current_limits(tables.parameters(), tables.limits(),
                                                 cell_state<Form::branches, Form::transfer>(at),
                                                 degC, &horizon_s, 1, &limit, used);
            if (status != Status::ok) {
                throw Error(std::string("the horizon must be from 0 to 600 s or infinite, and "
                                        "state and settings must be usable: ") +
                            message(status));
            }
            return limit;
        });
    });
}

TorqueLimit<double> torque_limits(const TorqueDrive<double>& drive, double charge_power_W,
                                  double discharge_power_W, double speed_rad_s,
                                  const EfficiencyGrid* motoring,
                                  const EfficiencyGrid* regeneration) {
    TorqueDrive<double> used = drive;
    std::vector<double> values[2];
    EfficiencyTable<double> tables[2];
    const EfficiencyGrid* const grids[] = {motoring, regeneration};
    for (std::size_t k = 0; k < 2; ++k) {
        if (grids[k] == nullptr) continue;
        const EfficiencyGrid& grid = *grids[k];
        if (grid.efficiency.size() != grid.speed_rad_s.size()) {
            throw Error("efficiency: has " + std::to_string(grid.efficiency.size()) +
                        " rows, speed_rad_s has " + std::to_string(grid.speed_rad_s.size()));
        }
        for (std::size_t row = 0; row < grid.efficiency.size(); ++row) {
            if (grid.efficiency[row].size() != grid.torque_Nm.size()) {
                throw Error("efficiency[" + std::to_string(row) + "]: has " +
                            std::to_string(grid.efficiency[row].size()) +
                            " values, torque_Nm has " + std::to_string(grid.torque_Nm.size()));
            }
            values[k].insert(values[k].end(), grid.efficiency[row].begin(),
                             grid.efficiency[row].end());
        }
        tables[k] = {grid.speed_rad_s.data(), static_cast<int>(grid.speed_rad_s.size()),
                     grid.torque_Nm.data(), static_cast<int>(grid.torque_Nm.size()),
                     values[k].data()};
        (k == 0 ? used.motoring_table : used.regeneration_table) = &tables[k];
    }
    const Finding<double> finding = validate(used);
    if (finding.status != Status::ok) refuse(finding, "drive.");
    TorqueLimit<double> limit;
    const Status status =
        torque_limits(used, charge_power_W, discharge_power_W, speed_rad_s, limit);
    if (status != Status::ok) {
        throw Error("charge_power_W " + number_text(charge_power_W) + " must be 0 or more, " +
                    "discharge_power_W " + number_text(discharge_power_W) +
                    " 0 or less, speed_rad_s " + number_text(speed_rad_s) +
                    " a number: " + message(status));
    }
    return limit;
}

}  // namespace voltkeel
