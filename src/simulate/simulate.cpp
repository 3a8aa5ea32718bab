#include "voltkeel/simulate/simulate.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <memory>
#include <utility>

#include "io/number_text.hpp"
#include "simulate/bounds.hpp"
#include "simulate/cell_bank.hpp"
#include "simulate/circuit.hpp"
#include "simulate/heat_network.hpp"
#include "simulate/named_columns.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

using detail::CellBank;
using detail::CellKind;
using detail::Demand;
using detail::HeatNetwork;
using detail::Instant;
using detail::Slot;
using detail::Wiring;

constexpr double infinite = std::numeric_limits<double>::infinity();
constexpr double event_time_s = 1e-4;   // events are found to this
constexpr double switch_time_s = 1e-7;  // onsets of limits, where their time matters
constexpr double slack_V = 1e-9;        // a limit that is held exactly is not crossed
constexpr double time_slack = 1e-9;     // relative: a moment that is as good as reached

void check_count(const std::string& field, std::size_t size, std::size_t wanted, const char* of) {
    if (size != wanted) {
        throw Error(field + ": has " + std::to_string(size) + " values, needs one for each of " +
                    std::to_string(wanted) + " " + of);
    }
}

void check_column(const std::string& field, const std::vector<double>& column, std::size_t cells,
                  double low, double high) {
    if (column.empty()) return;
    check_count(field, column.size(), cells, "cells");
    for (std::size_t k = 0; k < column.size(); ++k)
        detail::need_within(field + "[" + std::to_string(k) + "]", column[k], low, high);
}

void check_load(const Pack& pack, const std::vector<LoadStep>& load) {
    if (load.empty()) throw Error("load: has no step");
    for (std::size_t k = 0; k < load.size(); ++k) {
        const LoadStep& step = load[k];
        const std::string field = "load[" + std::to_string(k) + "].";
        detail::need_within(field + "duration_s", step.duration_s, 1e-9, 1e9);
        detail::need_within(field + "current_A", step.current_A, -1e6, 1e6);
        detail::need_within(field + "power_W", step.power_W, -1e9, 1e9);
        detail::need_within(field + "resistance_ohm", step.resistance_ohm, 1e-6, 1e9);
        if (step.kind == LoadKind::voltage)
            detail::need_within(field + "voltage_V", step.voltage_V, 1e-3, 1e5);
        detail::need_within(field + "end_current_A", step.end_current_A, 0, 1e6);
        if (!(step.voltage_max_V > step.voltage_min_V))
            throw Error(field + "voltage_max_V: " + number_text(step.voltage_max_V, "%.9g") +
                        " must be above voltage_min_V, " + number_text(step.voltage_min_V, "%.9g"));
        if (!(step.group_voltage_max_V > step.group_voltage_min_V))
            throw Error(field +
                        "group_voltage_max_V: " + number_text(step.group_voltage_max_V, "%.9g") +
                        " must be above group_voltage_min_V, " +
                        number_text(step.group_voltage_min_V, "%.9g"));
        if (!step.closed.empty())
            check_count(field + "closed", step.closed.size(), pack.strings.size(), "strings");
    }
}

void check_settings(const Pack& pack, const SimulationSettings& settings) {
    const auto cells = static_cast<std::size_t>(cell_count(pack));
    detail::need_within("soc", settings.soc, 0, 1);
    detail::need_within("hysteresis", settings.hysteresis, -1, 1);
    detail::need_within("temperature_degC", settings.temperature_degC, -60, 100);
    if (!settings.string_soc.empty())
        check_count("string_soc", settings.string_soc.size(), pack.strings.size(), "strings");
    for (const double soc : settings.string_soc)
        detail::need_within("string_soc", soc, 0, 1);
    if (!settings.string_temperature_degC.empty())
        check_count("string_temperature_degC", settings.string_temperature_degC.size(),
                    pack.strings.size(), "strings");
    for (const double degC : settings.string_temperature_degC)
        detail::need_within("string_temperature_degC", degC, -60, 100);
    const CellDifferences& differ = settings.differences;
    check_column("differences.capacity_factor", differ.capacity_factor, cells, 0.01, 100);
    check_column("differences.resistance_factor", differ.resistance_factor, cells, 0.01, 100);
    check_column("differences.soc_offset", differ.soc_offset, cells, -1, 1);
    check_column("differences.leak_A", differ.leak_A, cells, 0, 1e4);
    check_column("differences.temperature_offset_K", differ.temperature_offset_K, cells, -100, 100);
    detail::need_within("output_interval_s", settings.output_interval_s, 0, 1e9);
    detail::need_within("voltage_tolerance_V", settings.voltage_tolerance_V, 1e-10, 1e-2);
    detail::need_within("temperature_tolerance_K", settings.temperature_tolerance_K, 1e-9, 10);
    detail::need_within("longest_step_s", settings.longest_step_s, 1e-3, 1e5);
    detail::need_within("cooling_interval_s", settings.cooling_interval_s, 1e-3, 1e5);
    const BalancingSettings& balancing = settings.balancing;
    if (balancing.active) {
        if (!pack.bleed) throw Error("balancing.active: the pack has no bleed resistors");
        detail::need_within("balancing.threshold_V", balancing.threshold_V, 0, 1);
        detail::need_within("balancing.hysteresis_V", balancing.hysteresis_V, 0,
                            balancing.threshold_V);
        detail::need_within("balancing.interval_s", balancing.interval_s, 1e-3, 1e6);
    }
}

/// How close the pack is to what ends a run: negative once something is crossed.
struct Margin {
    double least{infinite};
    SimulationEvent event;

    void look(double margin, SimulationEventKind kind, int string, int group, double value,
              double bound) {
        if (!(margin < least)) return;
        least = margin;
        event = {0, kind, string, group, value, bound};
    }
};

class Runner {
  public:
    Runner(const Pack& pack, const SimulationSettings& settings)
        : pack_(pack),
          settings_(settings),
          wiring_(detail::make_wiring(pack, settings.each_cell)),
          heat_(pack, wiring_, settings.each_cell) {
        make_cells();
        take_state(settings.start ? *settings.start : start_state(pack, settings));
        for (Instant* at : {&now_, &mid_, &end_})
            at->resize(wiring_);
        for (auto* column :
             {&core_half_, &case_half_, &core_end_, &case_end_, &heat_now_W_, &heat_mid_W_,
              &heat_end_W_, &lost_J_, &lost_mean_W_, &soc_, &case_heat_W_})
            column->assign(wiring_.unit_count, 0.0);
        for (auto* column :
             {&lag_ohm_, &rise_ohm_, &change_A_, &turn_A_, &noted_A_, &slope_A_per_s_})
            column->assign(wiring_.unit_count, 0.0);
        shared_ = wiring_.strings.size() > 1 || wiring_.unit_count > wiring_.groups.size();
        bled_J_.assign(wiring_.groups.size(), 0.0);
        bled_Ah_.assign(wiring_.groups.size(), 0.0);
        charge_error_As_.assign(wiring_.groups.size(), 0.0);
        result_.hottest_degC = -infinite;
        name_parts();
    }

    SimulationResult run(const std::vector<LoadStep>& load,
                         const std::function<bool(double)>& progress);

  private:
    void make_cells();
    void take_state(const PackState& state);
    void name_parts();
    void solve(Slot slot, const std::vector<double>& core_degC, const Demand& demand, Instant& at);
    void heat_at(const Instant& at, const std::vector<double>& core_degC,
                 std::vector<double>& heat_W) const;
    const std::vector<double>* case_heat(const Instant& at);
    [[nodiscard]] double ending_tolerance_V(const Demand& demand, double dt_s) const;
    bool solve_middle(const Demand& demand, double half_s);
    void note_slopes(double dt_s);
    double try_step(double dt_s, const Demand& demand);
    Margin margin_at(const Instant& at, Slot slot, const std::vector<double>& core_degC,
                     const LoadStep& step);
    void accept(double dt_s);
    void record_row(double time_s);
    void note_ratings(double time_s);
    void cool(double time_s, double dt_s);
    void set_closed(const std::vector<bool>& closed) {
        closed_ = closed;
        for (std::size_t s = 0; s < closed_.size(); ++s)
            closed_[s] = closed_[s] && !fuse_open_[s];
    }
    void warm_fuses(double dt_s);
    void open_fuses(double time_s);
    [[nodiscard]] bool connected() const {
        return std::find(closed_.begin(), closed_.end(), true) != closed_.end();
    }
    void balance(const Demand& demand);
    void finish();
    template <class Visit>
    void each_unit(Visit visit) const;

    const Pack& pack_;
    const SimulationSettings& settings_;
    Wiring wiring_;
    HeatNetwork heat_;
    std::vector<std::unique_ptr<CellKind>> kinds_;
    std::vector<std::unique_ptr<CellBank>> banks_;
    std::vector<std::size_t> unit_cell_;  // first cell of each unit
    std::vector<std::size_t> unit_group_;
    std::vector<double> copies_;
    std::vector<double> capacity_Ah_;
    PackState units_;  // as PackState, one entry a unit; cells' own states live in the banks
    std::vector<double> core_degC_, case_degC_, ambient_degC_;
    std::vector<double> start_core_degC_, start_case_degC_;
    std::vector<double> core_half_, case_half_, core_end_, case_end_;
    std::vector<double> heat_now_W_, heat_mid_W_, heat_end_W_;
    std::vector<double> lag_ohm_, rise_ohm_, change_A_, turn_A_;
    std::vector<double> noted_A_, slope_A_per_s_;  // of the middle before, and from it to this one
    double noted_dt_s_{0};
    int noted_{0};        // middles in a row without a jump
    bool shared_{false};  // cells or strings in parallel
    std::vector<double> lost_J_, lost_mean_W_, soc_;
    std::vector<double> bleed_S_;
    std::vector<double> case_heat_W_;  // from bleed resistors, of each cell
    std::vector<bool> closed_;
    std::vector<double> fuse_warmth_, fuse_warmth_end_;
    std::vector<bool> fuse_open_;
    Instant now_, mid_, end_;
    double cooled_load_J_{0};
    double plant_W_{0};
    double lost_all_J_{0};
    double cooled_time_s_{0};
    double case_factor_{1};
    int unchecked_left_{0};
    double checked_dt_s_{0};
    double next_cool_s_{0}, next_balance_s_{0};
    std::vector<double> bled_J_, bled_Ah_, charge_error_As_;
    std::vector<bool> noted_fuse_, noted_contactor_;
    SimulationResult result_;
};

void Runner::make_cells() {
    std::vector<double> group_of_unit;
    const CellDifferences& differ = settings_.differences;
    std::size_t cell = 0;
    std::size_t group = 0;
    std::vector<const PackModule*> kind_of_group;
    for (const PackString& string : pack_.strings) {
        for (const std::string& name : string.modules) {
            const PackModule& kind = module_named(pack_, name);
            kind_of_group.insert(kind_of_group.end(), static_cast<std::size_t>(kind.layout.series),
                                 &kind);
        }
    }
    for (const PackModule& kind : pack_.modules)
        kinds_.push_back(detail::make_kind(kind.cell));
    std::vector<detail::CellOwn> own;
    std::vector<double> scale;
    for (group = 0; group < wiring_.groups.size(); ++group) {
        const Wiring::Group& at = wiring_.groups[group];
        const Cell& from = kind_of_group[group]->cell;
        const auto copies = static_cast<std::size_t>(at.copies);
        for (std::size_t u = 0; u < at.unit_count; ++u) {
            // One unit for several cells has their mean.
            const auto mean = [&](const std::vector<double>& column, double usual) {
                if (column.empty()) return usual;
                double sum = 0;
                for (std::size_t k = cell; k < cell + copies; ++k)
                    sum += column[k];
                return sum / at.copies;
            };
            const double capacity_Ah = from.capacity_Ah * mean(differ.capacity_factor, 1);
            own.push_back({capacity_Ah, from.self_discharge_per_s +
                                            mean(differ.leak_A, 0) / (3600 * capacity_Ah)});
            scale.push_back(mean(differ.resistance_factor, 1));
            capacity_Ah_.push_back(capacity_Ah);
            unit_cell_.push_back(cell);
            unit_group_.push_back(group);
            copies_.push_back(at.copies);
            cell += copies;
        }
        const bool last =
            group + 1 == wiring_.groups.size() || kind_of_group[group + 1] != kind_of_group[group];
        if (last) {
            const auto number =
                static_cast<std::size_t>(kind_of_group[group] - pack_.modules.data());
            banks_.push_back(kinds_[number]->bank(unit_cell_.size() - own.size(), own));
            own.clear();
        }
    }
    units_.branch_V = std::move(scale);  // until the state is taken
}

void Runner::take_state(const PackState& state) {
    const auto cells = static_cast<std::size_t>(cell_count(pack_));
    const std::array<std::pair<const char*, const std::vector<double>*>, 6> columns = {
        {{"soc", &state.soc},
         {"soc_carry", &state.soc_carry},
         {"hysteresis", &state.hysteresis},
         {"core_degC", &state.core_degC},
         {"case_degC", &state.case_degC},
         {"ambient_degC", &state.ambient_degC}}};
    for (const auto& [name, column] : columns) {
        check_count(std::string("start.") + name, column->size(), cells, "cells");
        check_column(std::string("start.") + name, *column, cells, -1000, 1000);
    }
    check_count("start.branch_V", state.branch_V.size(), cells * PackState::lag_room,
                "branch voltages");
    check_count("start.bleeding", state.bleeding.size(), wiring_.groups.size(), "groups");
    const std::size_t strings = wiring_.strings.size();
    check_count("start.closed", state.closed.size(), strings, "strings");
    if (!state.fuse_open.empty())
        check_count("start.fuse_open", state.fuse_open.size(), strings, "strings");
    if (!state.fuse_warmth.empty())
        check_count("start.fuse_warmth", state.fuse_warmth.size(), strings, "strings");
    for (const double warmth : state.fuse_warmth)
        detail::need_within("start.fuse_warmth", warmth, 0, 1);
    const std::vector<double> scale = std::move(units_.branch_V);
    const std::size_t units = wiring_.unit_count;
    units_.branch_V.assign(units * PackState::lag_room, 0.0);
    for (auto* column : {&units_.soc, &units_.soc_carry, &units_.hysteresis})
        column->resize(units);
    core_degC_.resize(units);
    case_degC_.resize(units);
    ambient_degC_.resize(units);
    for (std::size_t k = 0; k < units; ++k) {
        const std::size_t cell = unit_cell_[k];
        units_.soc[k] = state.soc[cell];
        units_.soc_carry[k] = state.soc_carry[cell];
        units_.hysteresis[k] = state.hysteresis[cell];
        for (std::size_t i = 0; i < PackState::lag_room; ++i)
            units_.branch_V[k * PackState::lag_room + i] =
                state.branch_V[cell * PackState::lag_room + i];
        core_degC_[k] = state.core_degC[cell];
        case_degC_[k] = state.case_degC[cell];
        ambient_degC_[k] = state.ambient_degC[cell];
    }
    start_core_degC_ = core_degC_;
    start_case_degC_ = case_degC_;
    for (const auto& bank : banks_)
        bank->load(units_, scale);
    fuse_warmth_ = state.fuse_warmth;
    fuse_warmth_.resize(strings, 0.0);
    fuse_warmth_end_ = fuse_warmth_;
    fuse_open_ = state.fuse_open;
    fuse_open_.resize(strings, false);
    for (std::size_t s = 0; s < strings; ++s)
        fuse_open_[s] = fuse_open_[s] || fuse_warmth_[s] >= 1;
    set_closed(state.closed);
    units_.bleeding = state.bleeding;
    bleed_S_.assign(wiring_.groups.size(), 0.0);
    for (std::size_t g = 0; g < bleed_S_.size(); ++g) {
        if (state.bleeding[g] && pack_.bleed)
            bleed_S_[g] = pack_.bleed->duty / pack_.bleed->resistance_ohm;
    }
}

void Runner::name_parts() {
    for (const PackString& string : pack_.strings)
        result_.string_names.push_back(string.name);
    for (std::size_t g = 0; g < wiring_.groups.size(); ++g)
        result_.group_string.push_back(wiring_.groups[g].string);
    for (std::size_t k = 0; k < unit_cell_.size(); ++k)
        result_.cell_group.insert(result_.cell_group.end(), static_cast<std::size_t>(copies_[k]),
                                  static_cast<int>(unit_group_[k]));
}

void Runner::solve(Slot slot, const std::vector<double>& core_degC, const Demand& demand,
                   Instant& at) {
    for (const auto& bank : banks_)
        bank->look(slot, core_degC.data(), at.look);
    detail::gather(wiring_, bleed_S_, closed_, at);
    detail::distribute(wiring_, bleed_S_, closed_, demand, at);
}

void Runner::heat_at(const Instant& at, const std::vector<double>& core_degC,
                     std::vector<double>& heat_W) const {
    for (std::size_t k = 0; k < heat_W.size(); ++k) {
        const double current_A = at.unit_A[k];
        heat_W[k] = voltkeel::heat_W(current_A, at.look.emf_V[k] + at.look.ohm[k] * current_A,
                                     at.look.ocv_V[k], at.look.entropy_V_per_K[k], core_degC[k]);
    }
}

/// What the bleed resistors give to the case of each cell at an instant; null: nothing.
const std::vector<double>* Runner::case_heat(const Instant& at) {
    if (!pack_.bleed || pack_.bleed->heat_to_cells == 0) return nullptr;
    bool any = false;
    for (std::size_t g = 0; g < wiring_.groups.size(); ++g) {
        const Wiring::Group& group = wiring_.groups[g];
        const double all_W =
            pack_.bleed->heat_to_cells * at.group_V[g] * at.group_V[g] * bleed_S_[g];
        const double each_W = all_W / (static_cast<double>(group.unit_count) * group.copies);
        any = any || each_W > 0;
        for (std::size_t k = group.first_unit; k < group.first_unit + group.unit_count; ++k)
            case_heat_W_[k] = each_W;
    }
    return any ? &case_heat_W_ : nullptr;
}

/// Currents in the middle of a step, after go_half(). Once it is known how they move, the middle is
/// shifted, to first order, to where a current in a straight line through its own would have led
/// (linearly implicit midpoint): cells may exchange current faster than the step goes.
/// \return whether it was
bool Runner::solve_middle(const Demand& demand, double half_s) {
    if (noted_ < 2) {
        solve(Slot::half, core_half_, demand, mid_);
        return false;
    }
    for (const auto& bank : banks_) {
        bank->look(Slot::half, core_half_.data(), mid_.look);
        bank->lag(now_.unit_A.data(), core_half_.data(), half_s, lag_ohm_.data(), rise_ohm_.data());
    }
    for (std::size_t k = 0; k < lag_ohm_.size(); ++k) {
        mid_.look.emf_V[k] -= lag_ohm_[k] * now_.unit_A[k];
        // On the way to the middle the current was less than there by half of what it rises.
        const double rise_A = slope_A_per_s_[k] * half_s;
        mid_.look.emf_V[k] += (rise_ohm_[k] - 0.5 * lag_ohm_[k]) * rise_A;
        mid_.look.ohm[k] += lag_ohm_[k];
    }
    detail::gather(wiring_, bleed_S_, closed_, mid_);
    detail::distribute(wiring_, bleed_S_, closed_, demand, mid_);
    for (std::size_t k = 0; k < lag_ohm_.size(); ++k) {
        mid_.look.emf_V[k] += lag_ohm_[k] * mid_.unit_A[k];
        mid_.look.ohm[k] -= lag_ohm_[k];
    }
    return true;
}

/// Keeps how the currents move from one middle to the next.
void Runner::note_slopes(double dt_s) {
    const double between_s = 0.5 * (dt_s + noted_dt_s_);
    for (std::size_t k = 0; k < noted_A_.size(); ++k) {
        if (noted_ > 0) slope_A_per_s_[k] = (mid_.unit_A[k] - noted_A_[k]) / between_s;
        noted_A_[k] = mid_.unit_A[k];
    }
    noted_dt_s_ = dt_s;
    ++noted_;
}

/// Error that a sub-step may leave in a cell's voltage on the way to an end current: where the
/// current decays, every relative error of it shifts the end by so many time constants.
double Runner::ending_tolerance_V(const Demand& demand, double dt_s) const {
    const double usual_V = settings_.voltage_tolerance_V;
    const double size_A = std::abs(mid_.current_A);
    const double by_s = std::abs(end_.current_A - now_.current_A) / (dt_s * size_A);
    if (!(by_s > 0) || !std::isfinite(by_s)) return usual_V;
    const double left_s = std::max(1.0, std::log(size_A / demand.end_current_A)) / by_s;
    const double share = event_time_s * by_s * dt_s / left_s;  // of the current
    double drop_V = 0;
    for (std::size_t k = 0; k < mid_.unit_A.size(); ++k)
        drop_V += std::abs(mid_.unit_A[k]) * mid_.look.ohm[k];
    drop_V /= static_cast<double>(mid_.unit_A.size());
    return std::min(usual_V, std::max(share * drop_V, 1e-3 * usual_V));
}

/// Tries a step from `now_`: fills `mid_` and `end_` and their temperatures.
/// \return its error in parts of what is allowed
double Runner::try_step(double dt_s, const Demand& demand) {
    const bool heat = settings_.heat;
    if (heat) {
        heat_.go(core_degC_, case_degC_, ambient_degC_, heat_now_W_, case_heat(now_), 0.5 * dt_s,
                 core_half_, case_half_, nullptr);
    } else {
        core_half_ = core_degC_;
    }
    for (const auto& bank : banks_)
        bank->go_half(now_.unit_A.data(), core_half_.data(), 0.5 * dt_s);
    const bool straight = solve_middle(demand, 0.5 * dt_s);
    double error_V = 0;
    const bool ending = demand.end_current_A > 0 && now_.limited;
    if (straight) {
        // The currents of the start follow every rounding of the quick branches; the slope is taken
        // from the middles.
        const double between_s = 0.5 * (dt_s + noted_dt_s_);
        for (std::size_t k = 0; k < change_A_.size(); ++k) {
            const double slope_A_per_s = (mid_.unit_A[k] - noted_A_[k]) / between_s;
            change_A_[k] = slope_A_per_s * dt_s;
            turn_A_[k] = 0.5 * (slope_A_per_s - slope_A_per_s_[k]) * dt_s;
        }
        for (const auto& bank : banks_)
            error_V = std::max(
                error_V, bank->go_ramp(mid_.unit_A.data(), change_A_.data(), turn_A_.data(), dt_s));
        unchecked_left_ = 0;
    } else if (unchecked_left_ > 0 && dt_s <= checked_dt_s_ && !ending) {
        --unchecked_left_;
        for (const auto& bank : banks_)
            bank->go_plain(mid_.unit_A.data(), dt_s);
    } else {
        for (const auto& bank : banks_)
            error_V =
                std::max(error_V, bank->go_whole(mid_.unit_A.data(), now_.unit_A.data(), dt_s));
        // Where both paths agree by far, the next few steps of this length need but one.
        const bool agree = error_V < 1e-2 * settings_.voltage_tolerance_V;
        unchecked_left_ = agree ? 8 : 0;
        checked_dt_s_ = dt_s;
    }
    if (heat) {
        heat_at(mid_, core_half_, heat_mid_W_);
        heat_.go(core_degC_, case_degC_, ambient_degC_, heat_mid_W_, case_heat(mid_), dt_s,
                 core_end_, case_end_, &lost_J_);
    } else {
        heat_at(mid_, core_half_, heat_mid_W_);
        core_end_ = core_degC_;
        case_end_ = case_degC_;
    }
    warm_fuses(dt_s);
    solve(Slot::end, core_end_, demand, end_);
    heat_at(end_, core_end_, heat_end_W_);
    // The current of the middle stood for the mean; the mean of both ends errs twice as much, the
    // other way.
    double error_K = 0;
    double shift_V = 0;  // of that
    for (const auto& bank : banks_) {
        double bend_V = 0;
        for (std::size_t k = bank->first(); k < bank->first() + bank->count(); ++k) {
            const double bend_A = mid_.unit_A[k] - 0.5 * (now_.unit_A[k] + end_.unit_A[k]);
            bend_V = std::max(bend_V, std::abs(bend_A) * end_.look.ohm[k]);
            // The middle moved by a slope that has changed since.
            if (straight)
                bend_V =
                    std::max(bend_V, std::abs((rise_ohm_[k] - 0.5 * lag_ohm_[k]) * turn_A_[k]));
        }
        if (bend_V > 0) {
            bend_V *=
                bank->sensitivity(mid_.unit_A[bank->first()], core_half_[bank->first()], dt_s);
            shift_V = std::max(shift_V, bend_V / 3);
        }
        if (!heat) continue;
        double bend_W = 0;
        for (std::size_t k = bank->first(); k < bank->first() + bank->count(); ++k)
            bend_W = std::max(bend_W,
                              std::abs(heat_mid_W_[k] - 0.5 * (heat_now_W_[k] + heat_end_W_[k])));
        error_K = std::max(error_K, bend_W * dt_s / (3 * heat_.core_J_per_K(bank->first())));
    }
    const double usual_V = settings_.voltage_tolerance_V;
    const double shift_allowed_V = ending ? ending_tolerance_V(demand, dt_s) : usual_V;
    return std::max({error_V / usual_V, shift_V / shift_allowed_V,
                     error_K / settings_.temperature_tolerance_K});
}

/// Warmth of the fuses after a step with the currents of its middle; exact where they are held.
void Runner::warm_fuses(double dt_s) {
    for (std::size_t s = 0; s < fuse_warmth_.size(); ++s) {
        const Fuse& fuse = pack_.strings[s].fuse;
        if (!(fuse.current_A < infinite)) continue;
        const double ratio = mid_.string_A[s] / fuse.current_A;
        fuse_warmth_end_[s] =
            fuse_warmth_[s] +
            (ratio * ratio - fuse_warmth_[s]) * relaxed_fraction(dt_s / fuse_time_constant_s(fuse));
    }
}

/// Opens the strings whose fuses have had enough.
void Runner::open_fuses(double time_s) {
    for (std::size_t s = 0; s < closed_.size(); ++s) {
        if (fuse_open_[s] || !(fuse_warmth_[s] >= 1)) continue;
        result_.events.push_back({time_s, SimulationEventKind::fuse_opened, static_cast<int>(s), -1,
                                  now_.string_A[s], pack_.strings[s].fuse.current_A});
        fuse_open_[s] = true;
    }
    set_closed(closed_);
}

Margin Runner::margin_at(const Instant& at, Slot slot, const std::vector<double>& core_degC,
                         const LoadStep& step) {
    Margin margin;
    const CutOffSettings& cut = settings_.cut_off;
    if (cut.voltage) {
        for (std::size_t g = 0; g < wiring_.groups.size(); ++g) {
            const Wiring::Group& group = wiring_.groups[g];
            const double string_A = at.string_A[static_cast<std::size_t>(group.string)];
            const double group_V = at.group_V[g];
            if (string_A < 0)
                margin.look(group_V - group.voltage_min_V + slack_V,
                            SimulationEventKind::voltage_min, group.string, group.within, group_V,
                            group.voltage_min_V);
            else if (string_A > 0)
                margin.look(group.voltage_max_V - group_V + slack_V,
                            SimulationEventKind::voltage_max, group.string, group.within, group_V,
                            group.voltage_max_V);
        }
    }
    if (cut.soc_min > -1 || cut.soc_max < 2) {
        for (const auto& bank : banks_)
            bank->soc(slot, soc_.data());
        for (std::size_t k = 0; k < soc_.size(); ++k) {
            const Wiring::Group& group = wiring_.groups[unit_group_[k]];
            if (at.unit_A[k] < 0)
                margin.look(soc_[k] - cut.soc_min, SimulationEventKind::soc_min, group.string,
                            group.within, soc_[k], cut.soc_min);
            else if (at.unit_A[k] > 0)
                margin.look(cut.soc_max - soc_[k], SimulationEventKind::soc_max, group.string,
                            group.within, soc_[k], cut.soc_max);
        }
    }
    if (cut.temperature_max_degC < 1000) {
        const auto most = std::max_element(core_degC.begin(), core_degC.end());
        const Wiring::Group& group =
            wiring_.groups[unit_group_[static_cast<std::size_t>(most - core_degC.begin())]];
        margin.look(cut.temperature_max_degC - *most, SimulationEventKind::temperature_max,
                    group.string, group.within, *most, cut.temperature_max_degC);
    }
    if (cut.warm_degC < 1000) {
        const auto least = std::min_element(core_degC.begin(), core_degC.end());
        const Wiring::Group& group =
            wiring_.groups[unit_group_[static_cast<std::size_t>(least - core_degC.begin())]];
        margin.look(cut.warm_degC - *least, SimulationEventKind::warm, group.string, group.within,
                    *least, cut.warm_degC);
    }
    if (at.ohm > 0 && at.most_W < infinite)
        margin.look((at.most_W - at.drawn_W) / std::max(1.0, std::abs(at.most_W)),
                    SimulationEventKind::power_not_available, -1, -1, -at.drawn_W, -at.most_W);
    const std::vector<double>& warmth = slot == Slot::end ? fuse_warmth_end_ : fuse_warmth_;
    for (std::size_t s = 0; s < warmth.size(); ++s) {
        // The last bits count as opened, so that a margin below zero always has a fuse to open.
        if (!fuse_open_[s])
            margin.look(std::nextafter(1.0, 0.0) - warmth[s], SimulationEventKind::fuse_opened,
                        static_cast<int>(s), -1, at.string_A[s], pack_.strings[s].fuse.current_A);
    }
    if (step.end_current_A > 0 && at.limited)
        margin.look(std::abs(at.current_A) - step.end_current_A, SimulationEventKind::end_current,
                    -1, -1, at.current_A, step.end_current_A);
    return margin;
}

/// Takes over the step that was tried, and books it.
void Runner::accept(double dt_s) {
    EnergyBalance& sum = result_.balance;
    // Everything is booked at the instant in the middle, so that the sums close to rounding.
    sum.terminal_Ah += mid_.current_A * dt_s / 3600;
    const double terminal_J = mid_.voltage_V * mid_.current_A * dt_s;
    sum.terminal_J += terminal_J;
    const double plant_J = mid_.ohm > 0 ? plant_W_ * dt_s : 0.0;
    sum.plant_J += plant_J;
    cooled_load_J_ += terminal_J + plant_J;
    double joint_W = wiring_.busbar_ohm * mid_.current_A * mid_.current_A;
    double stored_W = 0;
    double over_W = 0;
    double bleed_W = 0;
    double reversible_W = 0;
    double heat_all_W = 0;
    double lost_all_J = 0;
    for (std::size_t s = 0; s < wiring_.strings.size(); ++s)
        joint_W += wiring_.strings[s].series_ohm * mid_.string_A[s] * mid_.string_A[s];
    for (std::size_t g = 0; g < wiring_.groups.size(); ++g) {
        const Wiring::Group& group = wiring_.groups[g];
        const double string_A = mid_.string_A[static_cast<std::size_t>(group.string)];
        const double bleed_A = mid_.group_V[g] * bleed_S_[g];
        double cells_A = 0;
        for (std::size_t k = group.first_unit; k < group.first_unit + group.unit_count; ++k) {
            const double current_A = mid_.unit_A[k];
            const double all_A = group.copies * current_A;
            cells_A += all_A;
            stored_W += all_A * mid_.look.ocv_V[k];
            const double cell_over_W =
                all_A * (mid_.look.emf_V[k] - mid_.look.ocv_V[k] + mid_.look.ohm[k] * current_A);
            over_W += cell_over_W;
            joint_W += group.link_ohm * current_A * all_A;
            const double cell_heat_W = group.copies * heat_mid_W_[k];
            reversible_W += cell_heat_W - cell_over_W;
            heat_all_W += cell_heat_W;
            lost_all_J += group.copies * lost_J_[k];
            lost_mean_W_[k] += lost_J_[k];
        }
        charge_error_As_[g] += (cells_A + bleed_A - string_A) * dt_s;
        if (bleed_A != 0) {
            bleed_W += bleed_A * mid_.group_V[g];
            bled_Ah_[g] += bleed_A * dt_s / 3600;
            bled_J_[g] += bleed_A * mid_.group_V[g] * dt_s;
        }
    }
    sum.stored_J += stored_W * dt_s;
    sum.overvoltage_J += over_W * dt_s;
    sum.joint_J += joint_W * dt_s;
    sum.bleed_J += bleed_W * dt_s;
    sum.reversible_J += reversible_W * dt_s;
    if (settings_.heat) {
        sum.heat_J += heat_all_W * dt_s;
        if (pack_.bleed) sum.bleed_to_cells_J += pack_.bleed->heat_to_cells * bleed_W * dt_s;
        sum.to_ambient_J += lost_all_J;
    }
    // A limit that begins or ends bends the currents.
    if ((shared_ || mid_.limited) && now_.limited == end_.limited)
        note_slopes(dt_s);
    else
        noted_ = 0;
    for (const auto& bank : banks_)
        bank->accept();
    std::swap(core_degC_, core_end_);
    std::swap(case_degC_, case_end_);
    std::swap(heat_now_W_, heat_end_W_);
    std::swap(now_, end_);
    std::swap(fuse_warmth_, fuse_warmth_end_);
    cooled_time_s_ += dt_s;
    ++result_.step_count;
}

void Runner::record_row(double time_s) {
    SimulationResult& out = result_;
    out.time_s.push_back(time_s);
    out.current_A.push_back(now_.current_A);
    out.plant_power_W.push_back(now_.ohm > 0 ? plant_W_ : 0.0);
    out.voltage_V.push_back(now_.ohm > 0 ? now_.voltage_V : 0.0);
    const std::size_t groups = wiring_.groups.size();
    double low = infinite;
    double high = -infinite;
    double sum = 0;
    for (const double group_V : now_.group_V) {
        low = std::min(low, group_V);
        high = std::max(high, group_V);
        sum += group_V;
    }
    out.group_voltage_min_V.push_back(low);
    out.group_voltage_mean_V.push_back(sum / static_cast<double>(groups));
    out.group_voltage_max_V.push_back(high);
    for (const auto& bank : banks_)
        bank->soc(Slot::start, soc_.data());
    double soc_low = infinite;
    double soc_high = -infinite;
    double soc_sum = 0;
    double capacity = 0;
    double core_low = infinite;
    double core_high = -infinite;
    double core_sum = 0;
    double ambient_sum = 0;
    double count = 0;
    for (std::size_t k = 0; k < soc_.size(); ++k) {
        soc_low = std::min(soc_low, soc_[k]);
        soc_high = std::max(soc_high, soc_[k]);
        soc_sum += copies_[k] * capacity_Ah_[k] * soc_[k];
        capacity += copies_[k] * capacity_Ah_[k];
        core_low = std::min(core_low, core_degC_[k]);
        core_high = std::max(core_high, core_degC_[k]);
        core_sum += copies_[k] * core_degC_[k];
        ambient_sum += copies_[k] * ambient_degC_[k];
        count += copies_[k];
    }
    out.soc_min.push_back(soc_low);
    out.soc_mean.push_back(soc_sum / capacity);
    out.soc_max.push_back(soc_high);
    out.core_min_degC.push_back(core_low);
    out.core_mean_degC.push_back(core_sum / count);
    out.core_max_degC.push_back(core_high);
    out.ambient_degC.push_back(ambient_sum / count);
    for (std::size_t s = 0; s < wiring_.strings.size(); ++s) {
        const double inside_ohm = now_.string_ohm[s] - pack_.strings[s].contactor.resistance_ohm;
        out.string_current_A.push_back(now_.string_A[s]);
        out.string_voltage_V.push_back(now_.string_emf_V[s] + inside_ohm * now_.string_A[s]);
    }
    if (settings_.record_groups) {
        for (std::size_t g = 0; g < groups; ++g) {
            const Wiring::Group& group = wiring_.groups[g];
            double group_sum = 0;
            double group_capacity = 0;
            double warmest = -infinite;
            for (std::size_t k = group.first_unit; k < group.first_unit + group.unit_count; ++k) {
                group_sum += capacity_Ah_[k] * soc_[k];
                group_capacity += capacity_Ah_[k];
                warmest = std::max(warmest, core_degC_[k]);
            }
            out.group_voltage_V.push_back(now_.group_V[g]);
            out.group_soc.push_back(group_sum / group_capacity);
            out.group_core_degC.push_back(warmest);
        }
    }
    if (settings_.record_cells) {
        for (std::size_t k = 0; k < soc_.size(); ++k) {
            for (double copy = 0; copy < copies_[k]; ++copy) {
                out.cell_current_A.push_back(now_.unit_A[k]);
                out.cell_soc.push_back(soc_[k]);
                out.cell_core_degC.push_back(core_degC_[k]);
                out.cell_case_degC.push_back(case_degC_[k]);
            }
        }
    }
}

void Runner::note_ratings(double time_s) {
    for (std::size_t s = 0; s < wiring_.strings.size(); ++s) {
        const double size_A = std::abs(now_.string_A[s]);
        const PackString& string = pack_.strings[s];
        const auto note = [&](bool over, std::vector<bool>& noted, SimulationEventKind kind,
                              double bound) {
            if (over && !noted[s])
                result_.events.push_back(
                    {time_s, kind, static_cast<int>(s), -1, now_.string_A[s], bound});
            noted[s] = over;
        };
        note(size_A > string.fuse.current_A, noted_fuse_, SimulationEventKind::fuse_rating,
             string.fuse.current_A);
        note(size_A > string.contactor.current_A, noted_contactor_,
             SimulationEventKind::contactor_rating, string.contactor.current_A);
    }
}

void Runner::cool(double time_s, double dt_s) {
    for (double& lost : lost_mean_W_)
        lost = dt_s > 0 ? lost / dt_s : 0;
    settings_.cooling({time_s, dt_s, dt_s > 0 ? cooled_load_J_ / dt_s : 0, connected(), copies_,
                       core_degC_, case_degC_, lost_mean_W_, ambient_degC_, case_factor_,
                       plant_W_});
    detail::need_within("cooling: pack_power_W", plant_W_, 0, 1e9);
    if (!(case_factor_ >= 1e-6 && case_factor_ <= 1e6))
        detail::need_within("cooling: case_resistance_factor", case_factor_, 1e-6, 1e6);
    heat_.scale_case_resistance(case_factor_);
    std::fill(lost_mean_W_.begin(), lost_mean_W_.end(), 0.0);
    cooled_load_J_ = 0;
    cooled_time_s_ = 0;
}

/// Sets the bleed resistors from the voltages of this instant.
void Runner::balance(const Demand& demand) {
    const BalancingSettings& how = settings_.balancing;
    // A monitor mutes its resistors while it measures; their drop would hide what it looks for.
    std::fill(bleed_S_.begin(), bleed_S_.end(), 0.0);
    detail::gather(wiring_, bleed_S_, closed_, now_);
    detail::distribute(wiring_, bleed_S_, closed_, demand, now_);
    for (std::size_t s = 0; s < wiring_.strings.size(); ++s) {
        const Wiring::String& string = wiring_.strings[s];
        double lowest_V = infinite;
        for (std::size_t g = string.first_group; g < string.first_group + string.group_count; ++g)
            lowest_V = std::min(lowest_V, now_.group_V[g]);
        const bool quiet = std::abs(now_.string_A[s]) <= how.resting_current_A;
        for (std::size_t g = string.first_group; g < string.first_group + string.group_count; ++g) {
            const double above_V = now_.group_V[g] - lowest_V;
            const double bound_V = how.threshold_V - (units_.bleeding[g] ? how.hysteresis_V : 0.0);
            const bool on = quiet && above_V > bound_V && now_.group_V[g] >= how.voltage_min_V;
            units_.bleeding[g] = on;
            bleed_S_[g] = on ? pack_.bleed->duty / pack_.bleed->resistance_ohm : 0.0;
        }
    }
}

SimulationResult Runner::run(const std::vector<LoadStep>& load,
                             const std::function<bool(double)>& progress) {
    double whole_s = 0;
    for (const LoadStep& step : load)
        whole_s += step.duration_s;
    noted_fuse_.assign(wiring_.strings.size(), false);
    noted_contactor_.assign(wiring_.strings.size(), false);
    const bool cooling = static_cast<bool>(settings_.cooling) && settings_.heat;
    double time_s = 0;
    double step_end_s = 0;
    double guess_s = settings_.longest_step_s;
    double next_row_s = settings_.output_interval_s > 0 ? settings_.output_interval_s : infinite;
    std::int64_t rows = 0;
    std::int64_t coolings = 0;
    std::int64_t balancings = 0;
    std::int64_t asked = 0;
    const std::int64_t ask_every =
        std::max<std::int64_t>(1, 200000 / static_cast<std::int64_t>(wiring_.unit_count));
    bool over = false;
    if (cooling) {
        cool(0, 0);
        next_cool_s_ = settings_.cooling_interval_s;
        coolings = 1;
    } else {
        next_cool_s_ = infinite;
    }
    if (!settings_.balancing.active) next_balance_s_ = infinite;
    for (std::size_t n = 0; n < load.size() && !over; ++n) {
        const LoadStep& step = load[n];
        std::vector<bool> closing(wiring_.strings.size(), false);
        if (!step.closed.empty()) {
            const bool fed = connected();
            for (std::size_t s = 0; s < closing.size(); ++s)
                closing[s] = step.closed[s] && !closed_[s];
            set_closed(step.closed);
            if (cooling && connected() != fed) cool(time_s, cooled_time_s_);
        }
        Demand demand(step);
        demand.plant_W = plant_W_;
        noted_ = 0;
        step_end_s += step.duration_s;
        if (n == 0) {
            for (const auto& bank : banks_)
                bank->look(Slot::start, core_degC_.data(), now_.look);
            for (std::size_t k = 0; k < wiring_.unit_count; ++k) {
                if (!(now_.look.ohm[k] + wiring_.groups[unit_group_[k]].link_ohm > 0))
                    throw Error("resistance: cells without any cannot share a current");
            }
        }
        // The cells show what they showed; only what is asked of them is new.
        detail::gather(wiring_, bleed_S_, closed_, now_);
        detail::distribute(wiring_, bleed_S_, closed_, demand, now_);
        if (time_s >= next_balance_s_ * (1 - time_slack)) {
            balance(demand);
            next_balance_s_ = static_cast<double>(++balancings) * settings_.balancing.interval_s;
            detail::gather(wiring_, bleed_S_, closed_, now_);
            detail::distribute(wiring_, bleed_S_, closed_, demand, now_);
        }
        heat_at(now_, core_degC_, heat_now_W_);
        for (std::size_t s = 0; s < closing.size(); ++s) {
            const double most_A = pack_.strings[s].contactor.making_current_A;
            if (closing[s] && std::abs(now_.string_A[s]) > most_A)
                result_.events.push_back({time_s, SimulationEventKind::making_current,
                                          static_cast<int>(s), -1, now_.string_A[s], most_A});
        }
        if (n == 0) record_row(0);
        note_ratings(time_s);
        Margin margin = margin_at(now_, Slot::start, core_degC_, step);
        bool ended = margin.least < 0;
        while (!ended) {
            const double target_s =
                std::min({step_end_s, next_row_s, next_cool_s_, next_balance_s_});
            const double room_s = target_s - time_s;
            double dt_s = std::min({guess_s, room_s, settings_.longest_step_s});
            if (dt_s < room_s && dt_s > 0.5 * room_s) dt_s = 0.5 * room_s;
            double error = try_step(dt_s, demand);
            while (error > 1 && dt_s > 1e-6) {
                dt_s *= std::max(0.2, 0.9 / std::cbrt(error));
                ++result_.rejected_count;
                error = try_step(dt_s, demand);
            }
            if (std::isnan(error))
                throw Error("simulation: currents are no numbers any more at " +
                            number_text(time_s, "%.6g") + " s");
            double longer = error > 0 ? std::min(4.0, 0.9 / std::cbrt(error)) : 4.0;
            if (step.end_current_A > 0 && !now_.limited && end_.limited) {
                // A limit that begins bends the current: the step ends where it does.
                double low_s = 0;
                double high_s = dt_s;
                while (high_s - low_s > switch_time_s) {
                    dt_s = 0.5 * (low_s + high_s);
                    (void)try_step(dt_s, demand);
                    (end_.limited ? high_s : low_s) = dt_s;
                }
                if (dt_s != high_s) (void)try_step(high_s, demand);
                dt_s = high_s;
                longer = std::max(1.0, std::min(4.0, 1.0 / dt_s));
            }
            Margin ahead = margin_at(end_, Slot::end, core_end_, step);
            if (ahead.least < 0) {
                // Between `low_s` (not yet) and `high_s` (crossed): false position, every second
                // time halved, until both are as near as events are told.
                double low_s = 0;
                double low_margin = margin.least;
                double high_s = dt_s;
                double high_margin = ahead.least;
                double tried_s = dt_s;
                for (int round = 0; high_s - low_s > event_time_s; ++round) {
                    // A margin that did not count before is infinite.
                    const bool straight = round % 2 == 0 && low_margin < infinite;
                    const double share = straight ? low_margin / (low_margin - high_margin) : 0.5;
                    const double nudge_s = 0.4 * event_time_s;
                    tried_s = low_s + share * (high_s - low_s) + (round % 4 == 0 ? nudge_s : 0);
                    tried_s = std::min(std::max(tried_s, low_s + nudge_s), high_s - nudge_s);
                    try_step(tried_s, demand);
                    const Margin between = margin_at(end_, Slot::end, core_end_, step);
                    if (between.least < 0) {
                        high_s = tried_s;
                        high_margin = between.least;
                    } else {
                        low_s = tried_s;
                        low_margin = between.least;
                    }
                }
                dt_s = high_s;
                if (tried_s != high_s) try_step(dt_s, demand);
                ahead = margin_at(end_, Slot::end, core_end_, step);
                ended = true;
            }
            accept(dt_s);
            margin = ahead;
            const bool fuse = ended && margin.event.kind == SimulationEventKind::fuse_opened;
            if (fuse) ended = false;
            const bool reached = !ended && dt_s >= room_s * (1 - time_slack);
            time_s = reached ? target_s : time_s + dt_s;
            if (!ended && !(dt_s < guess_s && longer >= 1)) guess_s = std::max(dt_s * longer, 1e-6);
            const auto hottest = std::max_element(core_degC_.begin(), core_degC_.end());
            if (*hottest > result_.hottest_degC) {
                result_.hottest_degC = *hottest;
                result_.hottest_time_s = time_s;
                result_.hottest_cell = static_cast<int>(
                    unit_cell_[static_cast<std::size_t>(hottest - core_degC_.begin())]);
            }
            note_ratings(time_s);
            bool changed = false;
            if (fuse) {
                const bool fed = connected();
                open_fuses(time_s);
                changed = true;
                if (cooling && connected() != fed) {
                    cool(time_s, cooled_time_s_);
                    demand.plant_W = plant_W_;
                }
            }
            if (reached && target_s == next_row_s) {
                record_row(time_s);
                next_row_s = static_cast<double>(++rows + 1) * settings_.output_interval_s;
            }
            if (reached && target_s == next_cool_s_) {
                cool(time_s, cooled_time_s_);
                changed = changed || demand.plant_W != plant_W_;
                demand.plant_W = plant_W_;
                next_cool_s_ = static_cast<double>(++coolings) * settings_.cooling_interval_s;
            }
            if (reached && target_s == next_balance_s_) {
                balance(demand);
                next_balance_s_ =
                    static_cast<double>(++balancings) * settings_.balancing.interval_s;
                changed = true;
            }
            if (changed) {
                noted_ = 0;
                detail::gather(wiring_, bleed_S_, closed_, now_);
                detail::distribute(wiring_, bleed_S_, closed_, demand, now_);
                heat_at(now_, core_degC_, heat_now_W_);
                if (fuse) {
                    // What the others have to carry now may be too much at once.
                    margin = margin_at(now_, Slot::start, core_degC_, step);
                    ended = margin.least < 0;
                }
            }
            if (progress && ++asked % ask_every == 0 && !progress(std::min(1.0, time_s / whole_s)))
                throw Error("simulation: cancelled at " + number_text(time_s, "%.6g") + " s");
            if (reached && target_s == step_end_s) break;
        }
        if (ended) {
            margin.event.time_s = time_s;
            result_.events.push_back(margin.event);
            over =
                margin.event.kind != SimulationEventKind::end_current && settings_.cut_off.ends_run;
            // The next step follows at once: what was left of this one is not waited for.
            whole_s -= step_end_s - time_s;
            step_end_s = time_s;
        }
        const bool wanted =
            settings_.output_interval_s == 0 || ended || over || n + 1 == load.size();
        if (wanted && result_.time_s.back() < time_s) record_row(time_s);
    }
    if (cooling && cooled_time_s_ > 0) cool(time_s, cooled_time_s_);
    finish();
    if (progress) (void)progress(1.0);
    return std::move(result_);
}

void Runner::finish() {
    for (const double error : charge_error_As_)
        result_.balance.charge_error_Ah =
            std::max(result_.balance.charge_error_Ah, std::abs(error) / 3600);
    for (std::size_t k = 0; k < wiring_.unit_count; ++k)
        result_.balance.heat_kept_J +=
            copies_[k] * heat_.kept_J(k, core_degC_[k] - start_core_degC_[k],
                                      case_degC_[k] - start_case_degC_[k]);
    if (!settings_.heat) result_.balance.heat_kept_J = 0;
    result_.bled_Ah = bled_Ah_;
    result_.bled_J = bled_J_;
    for (const auto& bank : banks_)
        bank->store(units_);
    PackState& end = result_.end;
    for (std::size_t k = 0; k < wiring_.unit_count; ++k) {
        for (double copy = 0; copy < copies_[k]; ++copy) {
            end.soc.push_back(units_.soc[k]);
            end.soc_carry.push_back(units_.soc_carry[k]);
            end.hysteresis.push_back(units_.hysteresis[k]);
            for (std::size_t i = 0; i < PackState::lag_room; ++i)
                end.branch_V.push_back(units_.branch_V[k * PackState::lag_room + i]);
            end.core_degC.push_back(core_degC_[k]);
            end.case_degC.push_back(case_degC_[k]);
            end.ambient_degC.push_back(ambient_degC_[k]);
        }
    }
    end.bleeding = units_.bleeding;
    end.closed = closed_;
    for (const double warmth : fuse_warmth_)
        end.fuse_warmth.push_back(std::min(warmth, 1.0));
    end.fuse_open = fuse_open_;
}

}  // namespace

const char* simulation_event_name(SimulationEventKind kind) noexcept {
    switch (kind) {
        case SimulationEventKind::voltage_min:
            return "a group fell below its voltage window";
        case SimulationEventKind::voltage_max:
            return "a group rose above its voltage window";
        case SimulationEventKind::soc_min:
            return "a cell reached the lowest SOC";
        case SimulationEventKind::soc_max:
            return "a cell reached the highest SOC";
        case SimulationEventKind::temperature_max:
            return "a cell reached the highest temperature";
        case SimulationEventKind::warm:
            return "every cell is warm";
        case SimulationEventKind::power_not_available:
            return "the pack cannot give this power";
        case SimulationEventKind::end_current:
            return "the current fell to the end current";
        case SimulationEventKind::fuse_rating:
            return "a string carries more than its fuse is rated for";
        case SimulationEventKind::contactor_rating:
            return "a string carries more than its contactor is rated for";
        case SimulationEventKind::making_current:
            return "a contactor closed on more than it may";
        case SimulationEventKind::fuse_opened:
            return "a fuse opened";
    }
    return "unknown event";
}

SimulationResult simulate(const Pack& pack, const std::vector<LoadStep>& load,
                          const SimulationSettings& settings,
                          const std::function<bool(double share)>& progress) {
    check(pack);
    check_load(pack, load);
    check_settings(pack, settings);
    return Runner(pack, settings).run(load, progress);
}

PackState start_state(const Pack& pack, const SimulationSettings& settings) {
    check(pack);
    check_settings(pack, settings);
    PackState state;
    const CellDifferences& differ = settings.differences;
    std::size_t cell = 0;
    for (std::size_t s = 0; s < pack.strings.size(); ++s) {
        const PackString& string = pack.strings[s];
        const double soc = settings.string_soc.empty() ? settings.soc : settings.string_soc[s];
        const double degC = settings.string_temperature_degC.empty()
                                ? settings.temperature_degC
                                : settings.string_temperature_degC[s];
        int cells = 0;
        for (const std::string& name : string.modules)
            cells += cell_count(module_named(pack, name).layout);
        for (int k = 0; k < cells; ++k, ++cell) {
            const double offset = differ.soc_offset.empty() ? 0 : differ.soc_offset[cell];
            const double warmer_K =
                differ.temperature_offset_K.empty() ? 0 : differ.temperature_offset_K[cell];
            state.soc.push_back(std::min(1.0, std::max(0.0, soc + offset)));
            state.core_degC.push_back(degC + warmer_K);
        }
        state.closed.push_back(string.contactor.closed);
    }
    state.fuse_warmth.assign(pack.strings.size(), 0.0);
    state.fuse_open.assign(pack.strings.size(), false);
    state.case_degC = state.core_degC;
    state.ambient_degC = state.core_degC;
    state.soc_carry.assign(cell, 0.0);
    state.hysteresis.assign(cell, settings.hysteresis);
    state.branch_V.assign(cell * PackState::lag_room, 0.0);
    state.bleeding.assign(static_cast<std::size_t>(group_count(pack)), false);
    return state;
}

std::vector<std::pair<std::string, std::vector<double>>> result_columns(
    const SimulationResult& result) {
    std::vector<std::pair<std::string, std::vector<double>>> columns;
    const std::size_t rows = result.size();
    std::vector<double> power_W(rows);
    for (std::size_t k = 0; k < rows; ++k)
        power_W[k] = result.current_A[k] * result.voltage_V[k];
    columns.emplace_back("time_s", result.time_s);
    columns.emplace_back("current_A", result.current_A);
    columns.emplace_back("voltage_V", result.voltage_V);
    columns.emplace_back("power_W", std::move(power_W));
    if (std::any_of(result.plant_power_W.begin(), result.plant_power_W.end(),
                    [](double one) { return one > 0; }))
        columns.emplace_back("plant_power_W", result.plant_power_W);
    const std::pair<const char*, const std::vector<double>*> spreads[] = {
        {"group_voltage_min_V", &result.group_voltage_min_V},
        {"group_voltage_mean_V", &result.group_voltage_mean_V},
        {"group_voltage_max_V", &result.group_voltage_max_V},
        {"soc_min", &result.soc_min},
        {"soc_mean", &result.soc_mean},
        {"soc_max", &result.soc_max},
        {"core_min_degC", &result.core_min_degC},
        {"core_mean_degC", &result.core_mean_degC},
        {"core_max_degC", &result.core_max_degC},
        {"ambient_degC", &result.ambient_degC}};
    for (const auto& [name, column] : spreads)
        columns.emplace_back(name, *column);
    const auto take = [&](const std::vector<double>& flat, std::size_t per_row, std::size_t which) {
        std::vector<double> column(rows);
        for (std::size_t k = 0; k < rows; ++k)
            column[k] = flat[k * per_row + which];
        return column;
    };
    const std::size_t strings = result.string_names.size();
    for (std::size_t s = 0; s < strings; ++s)
        columns.emplace_back("string_current_A:" + result.string_names[s],
                             take(result.string_current_A, strings, s));
    const std::size_t groups = result.group_string.size();
    const std::pair<const char*, const std::vector<double>*> of_groups[] = {
        {"group_voltage_V:", &result.group_voltage_V},
        {"group_soc:", &result.group_soc},
        {"group_core_degC:", &result.group_core_degC}};
    for (const auto& [name, flat] : of_groups) {
        if (flat->empty()) continue;
        std::size_t within = 0;
        for (std::size_t g = 0; g < groups; ++g) {
            within = g > 0 && result.group_string[g] == result.group_string[g - 1] ? within + 1 : 0;
            columns.emplace_back(
                name + result.string_names[static_cast<std::size_t>(result.group_string[g])] + ":" +
                    std::to_string(within),
                take(*flat, groups, g));
        }
    }
    return columns;
}

void write_simulation(const std::filesystem::path& path, const SimulationResult& result) {
    detail::write_named_columns(path, result_columns(result));
}

}  // namespace voltkeel
