#pragma once
/// \file pack_views.hpp
/// A `Pack` and the states of its groups as the controller floors take them.

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/pack_limits.hpp"

namespace voltkeel::detail {

[[noreturn]] inline void refuse(const Finding<double>& finding, const std::string& where = "") {
    std::string at = where + finding.field;
    if (finding.index >= 0) at += "[" + std::to_string(finding.index) + "]";
    throw Error(at + ": " + number_text(finding.value) + " against " + number_text(finding.bound) +
                ": " + message(finding.status));
}

/// The order of a cell's model: its number of branches and whether it has a charge transfer.
inline std::pair<std::size_t, bool> form_of(const Cell& cell) {
    return {cell.resistance.branches.size(), cell.resistance.charge_transfer.has_value()};
}

/// The groups of a pack as the controller floors take them.
template <int Branches, bool Transfer>
class PackAsViews {
  public:
    explicit PackAsViews(const Pack& pack, const std::vector<PackPart>& parts = {}) {
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
        view_.cell_link_ohm = cell_link_ohm_.data();
        const Finding<double> finding = validate(view_);
        if (finding.status != Status::ok) refuse(finding);
    }
    PackAsViews(const PackAsViews&) = delete;
    PackAsViews& operator=(const PackAsViews&) = delete;
    PackAsViews(PackAsViews&&) = delete;
    PackAsViews& operator=(PackAsViews&&) = delete;
    ~PackAsViews() = default;

    /// Takes the states of the groups. \param groups one for every group, or one for all
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

    [[nodiscard]] const LimitPack<double, Branches, Transfer>& view() const { return view_; }
    /// Of the states that were taken last.
    [[nodiscard]] const GroupStates<double>& states() const { return states_; }

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
            place.resistance_ohm += module.interconnect_ohm * (layout.series - 1);
            cell_link_ohm_.insert(cell_link_ohm_.end(), static_cast<std::size_t>(layout.series),
                                  module.cell_link_ohm);
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

    std::vector<std::unique_ptr<CellTables<double, Branches, Transfer>>> tables_;
    std::vector<CellParameters<double, Branches, Transfer>> cells_;
    std::vector<CellLimits<double>> limits_;
    std::vector<int> kind_, parallel_;
    std::vector<double> cell_link_ohm_;
    std::vector<LimitString<double>> strings_;
    std::vector<LimitComponent<double>> components_;
    std::vector<std::vector<TimeCurrentPoint<double>>> curves_;
    LimitPack<double, Branches, Transfer> view_{};
    std::vector<double> soc_, degC_, soc_std_, degC_std_, core_K_, hysteresis_, branch_V_, scale_,
        scale_std_, capacity_, capacity_std_;
    std::vector<std::uint8_t> flags_;
    GroupStates<double> states_{};
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

}  // namespace voltkeel::detail
