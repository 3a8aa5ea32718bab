#include "voltkeel/io/pack_limits.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <utility>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

[[noreturn]] void refuse(const Finding<double>& finding, const std::string& where = "") {
    std::string at = where + finding.field;
    if (finding.index >= 0) at += "[" + std::to_string(finding.index) + "]";
    throw Error(at + ": " + number_text(finding.value) + " against " + number_text(finding.bound) +
                ": " + message(finding.status));
}

/// The order of a cell's model: its number of branches and whether it has a charge transfer.
std::pair<std::size_t, bool> form_of(const Cell& cell) {
    return {cell.resistance.branches.size(), cell.resistance.charge_transfer.has_value()};
}

/// The groups of a pack as the controller floor takes them, and room to work in.
template <int Branches, bool Transfer>
class PackAsViews {
  public:
    PackAsViews(const Pack& pack, const std::vector<PackPart>& parts) {
        for (const PackModule& kind : pack.modules) {
            tables_.push_back(std::make_unique<CellTables<double, Branches, Transfer>>(kind.cell));
            cells_.push_back(tables_.back()->parameters());
            limits_.push_back(tables_.back()->limits());
        }
        for (const PackString& string : pack.strings)
            add(pack, string);
        for (const PackPart& part : parts)
            add(pack, part);
        for (std::size_t k = 0; k < components_.size(); ++k) {
            if (curves_[k].empty()) continue;
            components_[k].curve = curves_[k].data();
            components_[k].curve_count = static_cast<int>(curves_[k].size());
        }
        view_.cells = cells_.data();
        view_.limits = limits_.data();
        view_.kind_count = static_cast<int>(cells_.size());
        view_.group_count = static_cast<int>(kind_.size());
        view_.kind = kind_.data();
        view_.cells_in_parallel = parallel_.data();
        view_.strings = strings_.data();
        view_.string_count = static_cast<int>(strings_.size());
        view_.resistance_ohm = pack.busbar_ohm;
        view_.components = components_.data();
        view_.component_count = static_cast<int>(components_.size());
        const Finding<double> finding = validate(view_);
        if (finding.status != Status::ok) refuse(finding);
        work_.resize(kind_.size());
        string_work_.resize(strings_.size());
    }
    PackAsViews(const PackAsViews&) = delete;
    PackAsViews& operator=(const PackAsViews&) = delete;
    PackAsViews(PackAsViews&&) = delete;
    PackAsViews& operator=(PackAsViews&&) = delete;
    ~PackAsViews() = default;

    std::vector<PackHorizonLimit<double>> find(const std::vector<GroupState>& groups,
                                               const std::vector<double>& horizons_s,
                                               const PackLimitSettings<double>& settings,
                                               bool current_flagged) {
        take(groups);
        const Finding<double> knobs = validate(settings);
        if (knobs.status != Status::ok) refuse(knobs, "settings.");
        std::vector<PackHorizonLimit<double>> result(horizons_s.size());
        states_.current_flagged = current_flagged;
        const Status status =
            pack_limits(view_, states_, horizons_s.data(), static_cast<int>(horizons_s.size()),
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
    void add(const Pack& pack, const PackString& string) {
        const int index = static_cast<int>(strings_.size());
        LimitString<double> place;
        place.first_group = static_cast<int>(kind_.size());
        place.resistance_ohm =
            string.busbar_ohm + string.contactor.resistance_ohm + string.fuse.resistance_ohm;
        place.closed = string.contactor.closed;
        for (const std::string& name : string.modules) {
            const PackModule& module = module_named(pack, name);
            const int kind = static_cast<int>(&module - pack.modules.data());
            const PackLayout<double>& layout = module.layout;
            place.resistance_ohm += module.interconnect_ohm * (layout.series - 1) +
                                    module.cell_link_ohm * layout.series / layout.parallel;
            kind_.insert(kind_.end(), static_cast<std::size_t>(layout.series), kind);
            parallel_.insert(parallel_.end(), static_cast<std::size_t>(layout.series),
                             layout.parallel);
        }
        place.group_count = static_cast<int>(kind_.size()) - place.first_group;
        strings_.push_back(place);
        if (std::isfinite(string.contactor.current_A)) {
            LimitComponent<double> part;
            part.kind = LimitReason::contactor;
            part.string = index;
            part.rated_A = string.contactor.current_A;
            components_.push_back(part);
            curves_.emplace_back();
        }
        if (std::isfinite(string.fuse.current_A)) {
            LimitComponent<double> part;
            part.kind = LimitReason::fuse;
            part.string = index;
            part.rated_A = string.fuse.current_A;
            part.i2t_A2s = fuse_time_constant_s(string.fuse) * part.rated_A * part.rated_A;
            components_.push_back(part);
            curves_.emplace_back();
        }
    }

    void add(const Pack& pack, const PackPart& from) {
        LimitComponent<double> part;
        part.kind = from.kind;
        if (!from.string.empty()) {
            const auto at =
                std::find_if(pack.strings.begin(), pack.strings.end(),
                             [&](const PackString& string) { return string.name == from.string; });
            if (at == pack.strings.end()) {
                throw Error("parts.string: there is no string \"" + from.string + "\"");
            }
            part.string = static_cast<int>(at - pack.strings.begin());
        }
        part.charge_A = from.charge_A;
        part.discharge_A = from.discharge_A;
        part.rated_A = from.rated_A;
        part.i2t_A2s = from.i2t_A2s;
        part.used_share = from.used_share;
        part.warmth = from.warmth;
        if (from.curve_time_s.size() != from.curve_current_A.size()) {
            throw Error("parts.curve_time_s: has " + std::to_string(from.curve_time_s.size()) +
                        " values, curve_current_A has " +
                        std::to_string(from.curve_current_A.size()));
        }
        std::vector<TimeCurrentPoint<double>> curve;
        for (std::size_t k = 0; k < from.curve_time_s.size(); ++k)
            curve.push_back({from.curve_time_s[k], from.curve_current_A[k]});
        components_.push_back(part);
        curves_.push_back(std::move(curve));
    }

    void take(const std::vector<GroupState>& groups) {
        const std::size_t count = kind_.size();
        if (groups.size() != count && groups.size() != 1) {
            throw Error("groups: has " + std::to_string(groups.size()) + " states, the pack has " +
                        std::to_string(count) + " groups; one for all will do");
        }
        constexpr std::size_t lags = lag_count<Branches, Transfer>;
        for (auto* column : {&soc_, &degC_, &soc_std_, &degC_std_, &core_K_, &hysteresis_, &scale_,
                             &scale_std_, &capacity_, &capacity_std_})
            column->resize(count);
        flags_.resize(count);
        branch_V_.resize(count * lags);
        for (std::size_t g = 0; g < count; ++g) {
            const GroupState& group = groups.size() == 1 ? groups.front() : groups[g];
            const auto within = [&](const char* field, double value, double low, double high) {
                if (value >= low && value <= high) return value;
                throw Error("groups[" + std::to_string(g) + "]." + field + ": " +
                            number_text(value) + " is outside " + number_text(low) + " .. " +
                            number_text(high));
            };
            CellState<double, Branches, Transfer> state;
            try {
                state = cell_state<Branches, Transfer>(group.state);
            } catch (const Error& error) {
                throw Error("groups[" + std::to_string(g) + "]." + error.what());
            }
            soc_[g] = state.soc;
            hysteresis_[g] = state.hysteresis;
            scale_[g] = state.resistance_scale;
            for (std::size_t i = 0; i < lags; ++i)
                branch_V_[g * lags + i] = state.branch_V[i];
            degC_[g] = group.state.temperature_degC;
            core_K_[g] = group.state.core_over_case_K;
            soc_std_[g] = within("soc_std", group.state.soc_std, 0, 1);
            degC_std_[g] = within("temperature_std_K", group.temperature_std_K, 0, 25);
            scale_std_[g] = within("resistance_log_std", group.resistance_log_std, 0, 2);
            capacity_[g] = within("capacity_scale", group.capacity_scale, 0.01, 10);
            capacity_std_[g] = within("capacity_log_std", group.capacity_log_std, 0, 2);
            flags_[g] = static_cast<std::uint8_t>(
                (group.voltage_flagged ? group_voltage_flagged : 0) |
                (group.temperature_flagged ? group_temperature_flagged : 0));
        }
        states_.soc = soc_.data();
        states_.temperature_degC = degC_.data();
        states_.soc_std = soc_std_.data();
        states_.temperature_std_K = degC_std_.data();
        states_.core_over_case_K = core_K_.data();
        states_.hysteresis = hysteresis_.data();
        states_.branch_V = branch_V_.data();
        states_.resistance_scale = scale_.data();
        states_.resistance_log_std = scale_std_.data();
        states_.capacity_scale = capacity_.data();
        states_.capacity_log_std = capacity_std_.data();
        states_.flags = flags_.data();
    }

    std::vector<std::unique_ptr<CellTables<double, Branches, Transfer>>> tables_;
    std::vector<CellParameters<double, Branches, Transfer>> cells_;
    std::vector<CellLimits<double>> limits_;
    std::vector<int> kind_, parallel_;
    std::vector<LimitString<double>> strings_;
    std::vector<LimitComponent<double>> components_;
    std::vector<std::vector<TimeCurrentPoint<double>>> curves_;
    LimitPack<double, Branches, Transfer> view_{};
    std::vector<double> soc_, degC_, soc_std_, degC_std_, core_K_, hysteresis_, branch_V_, scale_,
        scale_std_, capacity_, capacity_std_;
    std::vector<std::uint8_t> flags_;
    GroupStates<double> states_{};
    std::vector<detail::GroupWork<double, Branches, Transfer>> work_;
    std::vector<detail::StringWork<double>> string_work_;
};

/// Calls `action(ModelForm)` for the one form that all cells of a pack have.
template <class Action>
decltype(auto) with_form(const Pack& pack, Action&& action) {
    check(pack);
    const auto form = form_of(pack.modules.front().cell);
    for (const PackModule& kind : pack.modules) {
        if (form_of(kind.cell) != form) {
            throw Error("modules: \"" + kind.name + "\" has a cell model of another form than \"" +
                        pack.modules.front().name +
                        "\" (branches, charge transfer): fit both with the same form");
        }
    }
    return with_form(form.first, form.second, std::forward<Action>(action));
}

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
    return with_form(pack, [&](auto form) {
        using Form = decltype(form);
        PackAsViews<Form::branches, Form::transfer> views(pack, parts);
        return views.find(groups, horizons_s, settings, current_flagged);
    });
}

LimitMap limit_map(const Pack& pack, const std::vector<double>& soc,
                   const std::vector<double>& temperature_degC, double horizon_s,
                   const GroupState& group, const std::vector<PackPart>& parts,
                   const PackLimitSettings<double>& settings) {
    return with_form(pack, [&](auto form) {
        using Form = decltype(form);
        PackAsViews<Form::branches, Form::transfer> views(pack, parts);
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
