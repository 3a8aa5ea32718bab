#pragma once
/// \file pack_limits.hpp
/// How much current and power a pack may take or give for the next seconds, which group decides it,
/// and by what.
///
/// Each group has its own SOC, resistance, capacity and temperature. For a horizon and a direction
/// the limit is the largest current for which every group keeps what current_limits.hpp lists for
/// one cell, and every part beside the cells carries its share (component.hpp). Groups are solved
/// on the whole model, but only those that can decide: one step over the horizon ranks them, the
/// worst is solved, and every group that comes near is tried at that current. In a pack that is a
/// handful of them, so that the cost of a group is little more than one step of the model.
///
/// Strings in parallel share the terminals. At an instant a string is a source behind a resistance;
/// how both move while current flows is followed through the horizon, and with it the split, until
/// the current is found at which the first string meets a bound. A string moves as its deciding
/// group does, times how many of that it is like. The cells of a group share its current evenly.
///
/// Uncertainty costs current: each group is taken fuller for charge and emptier for discharge by
/// `sigmas` standard deviations of its SOC, with that much more resistance and less capacity, and
/// as much colder and warmer; groups whose sensor is flagged get a margin besides.
///
/// No protection: hardware that opens the contactors stands beside it, and the cell maker's data
/// sheet overrules the model wherever it is stricter.

#include <cstdint>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/limits/component.hpp"
#include "voltkeel/limits/current_limits.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Groups in series that share a current.
template <class Real>
struct LimitString {
    int first_group{0};
    int group_count{0};
    /// What lies between and beside its groups: interconnects, busbars, contactor, fuse.
    Real resistance_ohm{0};
    bool closed{true};  ///< Its contactor; an open string carries nothing.
};

/// What a pack is. All arrays belong to the caller and must outlive this object.
template <class Real, int Branches, bool Transfer = false>
struct LimitPack {
    const CellParameters<Real, Branches, Transfer>* cells{nullptr};  ///< One per kind of cell.
    const CellLimits<Real>* limits{nullptr};                         ///< One per kind of cell.
    int kind_count{1};
    int group_count{0};
    const int* kind{nullptr};               ///< Of each group; null: all of kind 0.
    const int* cells_in_parallel{nullptr};  ///< Of each group; null: `parallel` in every group.
    int parallel{1};
    const LimitString<Real>* strings{nullptr};  ///< Null: one string of all groups.
    int string_count{0};
    Real resistance_ohm{0};  ///< From the joint of the strings to the terminals.
    const LimitComponent<Real>* components{nullptr};
    int component_count{0};
    /// Of each group, from one of its cells to the joint at which the group's voltage is measured:
    /// welds, wires, a cell fuse. The voltage window is that of the joint. Null: nothing.
    const Real* cell_link_ohm{nullptr};
};

/// What is known to be wrong with a group's measurements; may be added up.
enum GroupFlag : std::uint8_t {
    group_voltage_flagged = 1,
    group_temperature_flagged = 2,
};

/// The present state of all groups, one array per quantity with an entry per group. Null arrays
/// stand for their default. Values of a group are those of one of its cells.
template <class Real>
struct GroupStates {
    const Real* soc{nullptr};               ///< Required.
    const Real* temperature_degC{nullptr};  ///< Required; of the core.
    const Real* soc_std{nullptr};
    const Real* temperature_std_K{nullptr};
    const Real* core_over_case_K{nullptr};
    const Real* hysteresis{nullptr};  ///< -1 .. 1.
    /// Of group g, lag i: `branch_V[g * lags + i]`; null: at rest.
    const Real* branch_V{nullptr};
    const Real* resistance_scale{nullptr};    ///< 1: as the tested cell.
    const Real* resistance_log_std{nullptr};  ///< Standard deviation of its logarithm.
    const Real* capacity_scale{nullptr};      ///< 1: as the tested cell.
    const Real* capacity_log_std{nullptr};
    const std::uint8_t* flags{nullptr};  ///< Sums of GroupFlag.
    bool current_flagged{false};         ///< The current sensor of the pack.
};

namespace detail {

/// States of groups that can be used: arrays that are needed, numbers, signs.
template <class Real>
[[nodiscard]] inline Status usable_states(const GroupStates<Real>& states, int group_count,
                                          int lags) noexcept {
    if (states.soc == nullptr || states.temperature_degC == nullptr) return Status::missing_table;
    for (int g = 0; g < group_count; ++g) {
        for (const Real* values :
             {states.soc, states.temperature_degC, states.soc_std, states.temperature_std_K,
              states.core_over_case_K, states.hysteresis, states.resistance_scale,
              states.resistance_log_std, states.capacity_scale, states.capacity_log_std}) {
            if (values != nullptr && !finite(values[g])) return Status::sample_not_finite;
        }
        for (const Real* values : {states.soc_std, states.temperature_std_K,
                                   states.resistance_log_std, states.capacity_log_std}) {
            if (values != nullptr && values[g] < Real(0)) return Status::out_of_range;
        }
        for (const Real* values : {states.resistance_scale, states.capacity_scale}) {
            if (values != nullptr && !(values[g] > Real(0))) return Status::out_of_range;
        }
        if (states.branch_V == nullptr) continue;
        for (int i = 0; i < lags; ++i) {
            if (!finite(states.branch_V[g * lags + i])) return Status::sample_not_finite;
        }
    }
    return Status::ok;
}

/// The search of a pack: tapers before the ends of the windows, and a tolerance of half of 0.1 %.
template <class Real>
[[nodiscard]] constexpr LimitSettings<Real> pack_search() noexcept {
    LimitSettings<Real> s;
    s.current_tolerance = Real(5e-4);
    s.temperature_taper_K = Real(5);
    s.soc_taper = Real(0.02);
    return s;
}

}  // namespace detail

/// How careful the limits are.
template <class Real>
struct PackLimitSettings {
    Real sigmas{2};                         ///< Standard deviations of margin.
    Real flagged_soc_margin{Real(0.05)};    ///< With a flagged voltage.
    Real flagged_temperature_margin_K{5};   ///< With a flagged temperature.
    Real flagged_current_share{Real(0.8)};  ///< Of every limit, with a flagged current sensor.
    LimitSettings<Real> search{
        detail::pack_search<Real>()};  ///< Its margins are added to those above.
    /// Tries every group at the limit, not only those that come near: a group that decides cannot
    /// be missed then, for several times the cost.
    bool every_group{false};
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const PackLimitSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"sigmas", s.sigmas, Real(0), Real(10)},
        {"flagged_soc_margin", s.flagged_soc_margin, Real(0), Real(1)},
        {"flagged_temperature_margin_K", s.flagged_temperature_margin_K, Real(0), Real(50)},
        {"flagged_current_share", s.flagged_current_share, Real(0), Real(1)},
    };
    const Finding<Real> finding = detail::first_outside(rows);
    return finding.status != Status::ok ? finding : validate(s.search);
}

/// Checks a pack, its cells, their limits and its components; see validate(CellParameters). The
/// index of a finding within a cell is that of its table.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] Finding<Real> validate(const LimitPack<Real, Branches, Transfer>& pack) noexcept {
    const auto outside = [](const char* field, int index, int value, int bound) -> Finding<Real> {
        return {Status::out_of_range, field, index, static_cast<Real>(value),
                static_cast<Real>(bound)};
    };
    constexpr int most = 100000;
    if (pack.kind_count < 1) return outside("kind_count", -1, pack.kind_count, 1);
    if (pack.cells == nullptr) return {Status::missing_table, "cells", -1, Real(0), Real(1)};
    if (pack.limits == nullptr) return {Status::missing_table, "limits", -1, Real(0), Real(1)};
    for (int k = 0; k < pack.kind_count; ++k) {
        const Finding<Real> cell = validate(pack.cells[k]);
        if (cell.status != Status::ok) return cell;
        const Finding<Real> limits = validate(pack.limits[k]);
        if (limits.status != Status::ok) return limits;
    }
    if (pack.group_count < 1) return outside("group_count", -1, pack.group_count, 1);
    if (pack.group_count > most) return outside("group_count", -1, pack.group_count, most);
    if (pack.parallel < 1) return outside("parallel", -1, pack.parallel, 1);
    for (int g = 0; g < pack.group_count; ++g) {
        if (pack.kind != nullptr && (pack.kind[g] < 0 || pack.kind[g] >= pack.kind_count)) {
            return outside("kind", g, pack.kind[g], pack.kind[g] < 0 ? 0 : pack.kind_count - 1);
        }
        if (pack.cells_in_parallel != nullptr && pack.cells_in_parallel[g] < 1) {
            return outside("cells_in_parallel", g, pack.cells_in_parallel[g], 1);
        }
        if (pack.cell_link_ohm != nullptr) {
            const detail::BoundedField<Real> rows[] = {
                {"cell_link_ohm", pack.cell_link_ohm[g], Real(0), Real(1e3)}};
            const Finding<Real> finding = detail::first_outside(rows, g);
            if (finding.status != Status::ok) return finding;
        }
    }
    if (pack.strings != nullptr && pack.string_count < 1) {
        return outside("string_count", -1, pack.string_count, 1);
    }
    const int strings = pack.strings != nullptr ? pack.string_count : 1;
    int next_group = 0;
    for (int s = 0; pack.strings != nullptr && s < strings; ++s) {
        const LimitString<Real>& string = pack.strings[s];
        if (string.first_group != next_group) {
            return outside("strings.first_group", s, string.first_group, next_group);
        }
        if (string.group_count < 1 || string.group_count > pack.group_count - next_group) {
            return outside("strings.group_count", s, string.group_count,
                           string.group_count < 1 ? 1 : pack.group_count - next_group);
        }
        const detail::BoundedField<Real> rows[] = {
            {"strings.resistance_ohm", string.resistance_ohm, Real(0), Real(1e6)}};
        const Finding<Real> finding = detail::first_outside(rows, s);
        if (finding.status != Status::ok) return finding;
        next_group += string.group_count;
    }
    if (pack.strings != nullptr && next_group != pack.group_count) {
        return outside("strings.group_count", strings - 1, next_group, pack.group_count);
    }
    const detail::BoundedField<Real> rows[] = {
        {"resistance_ohm", pack.resistance_ohm, Real(0), Real(1e6)}};
    const Finding<Real> finding = detail::first_outside(rows);
    if (finding.status != Status::ok) return finding;
    if (pack.component_count > 0 && pack.components == nullptr) {
        return {Status::missing_table, "components", -1, Real(0), Real(1)};
    }
    for (int k = 0; k < pack.component_count; ++k) {
        const Finding<Real> part = validate(pack.components[k], k);
        if (part.status != Status::ok) return part;
        if (pack.components[k].string >= strings) {
            return outside("components.string", k, pack.components[k].string, strings - 1);
        }
    }
    return {};
}

/// What is allowed in one direction for one horizon, at the terminals of the pack.
template <class Real>
struct PackDirectionLimit {
    Real current_A{0};  ///< >= 0 for charge, <= 0 for discharge.
    /// What can be held to the end of the horizon; see DirectionLimit.
    Real power_W{0};
    Real rest_voltage_V{0};  ///< Now, without current.
    Real end_voltage_V{0};   ///< At the end of the horizon with `current_A`.
    LimitReason reason{LimitReason::none};
    /// The bound that decides, in V, 1, degC, or A (magnitude; a cell's current for the maker's
    /// table and `none`, else the part's).
    Real binding_value{0};
    int group{-1};      ///< Which group decides; -1: none, a component does.
    int string{-1};     ///< Its string, or the component's; -1: the whole pack.
    int component{-1};  ///< Which component decides; -1: none.
};

/// Both directions for one horizon.
template <class Real>
struct PackHorizonLimit {
    Real horizon_s{0};
    PackDirectionLimit<Real> charge{};
    PackDirectionLimit<Real> discharge{};
};

/// What a smaller current leaves of a limit: current, end voltage and power; the reason stays.
/// The voltage is a straight line between no current and the limit. Power over the current is then
/// a parabola; a discharge beyond its top gives less, so the top is what counts. \param current_A
/// of the limit's sign, not beyond it
template <class Real>
[[nodiscard]] inline PackDirectionLimit<Real> at_current(const PackDirectionLimit<Real>& limit,
                                                         Real current_A) noexcept {
    PackDirectionLimit<Real> less = limit;
    const bool flows = limit.current_A > Real(0) || limit.current_A < Real(0);
    const Real share = flows ? current_A / limit.current_A : Real(0);
    const Real drop_V = share * (limit.rest_voltage_V - limit.end_voltage_V);
    less.current_A = flows ? current_A : Real(0);
    less.end_voltage_V = limit.rest_voltage_V - drop_V;
    less.power_W = less.current_A * less.end_voltage_V;
    if (less.current_A < Real(0) && Real(2) * drop_V > limit.rest_voltage_V) {
        less.power_W =
            less.current_A * limit.rest_voltage_V * limit.rest_voltage_V / (Real(4) * drop_V);
    }
    return less;
}

/// The horizons of a pack when nothing else is asked for.
template <class Real>
inline constexpr Real default_pack_horizons_s[4] = {Real(2), Real(10), Real(30),
                                                    continuous_horizon_s<Real>};

namespace detail {

/// What one group needs while a direction is worked on.
template <class Real, int Branches, bool Transfer>
struct GroupWork {
    using Search = LimitSearch<Real, Branches, Transfer>;
    CellParameters<Real, Branches, Transfer> cell{};  ///< Where the group's capacity differs.
    Search search{};
    typename Search::Trial glance{};   ///< One step over the horizon.
    typename Search::Trial shorter{};  ///< The glance at the horizon before.
    bool foretold{false};  ///< The glance is one: from that of a shorter horizon, on the safe side.
    Real unlike{0};        ///< How unlike the group that was solved, but for its lags.
    Real lags_apart_V{0};  ///< By how much their overvoltages differ.
    Real parallel{1};
};

/// What one string needs.
template <class Real>
struct StringWork {
    PackDirectionLimit<Real> now{};  ///< Of the string, at its own terminals; magnitude.
    Real now_V{0};
    Real now_ohm{0};
    PackDirectionLimit<Real> ceiling{};  ///< Of it what needs no search.
    int lead{0};                         ///< The group that was solved.
    Real leads{1};                       ///< How many of that group move as much as the string.
    /// While the split between strings is followed: its current (magnitude) now and at the end of
    /// every sub-step, and the line it is at each of these.
    Real edge_A[HoldPlan<Real>::most + 1]{};
    HeldLine<Real> lines[HoldPlan<Real>::most + 1]{};
    bool glanced{false};  ///< Its groups, at a horizon before.
    int compared{-1};     ///< The group that `unlike` of the others is against.
};

}  // namespace detail

/// Room to work in: one entry per group and one per string, owned by the caller.
template <class Real, int Branches, bool Transfer = false>
struct PackLimitWorkspace {
    detail::GroupWork<Real, Branches, Transfer>* groups{nullptr};
    int group_capacity{0};
    detail::StringWork<Real>* strings{nullptr};
    int string_capacity{0};
};

/// A workspace of fixed size.
template <class Real, int Branches, bool Transfer, int MaxGroups, int MaxStrings = 1>
struct FixedPackLimitWorkspace {
    detail::GroupWork<Real, Branches, Transfer> groups[MaxGroups];
    detail::StringWork<Real> strings[MaxStrings];

    [[nodiscard]] PackLimitWorkspace<Real, Branches, Transfer> view() noexcept {
        return {groups, MaxGroups, strings, MaxStrings};
    }
};

namespace detail {

/// One direction of a pack.
template <class Real, int Branches, bool Transfer>
class LimitsOfPack {
  public:
    using Pack = LimitPack<Real, Branches, Transfer>;
    using Work = GroupWork<Real, Branches, Transfer>;
    using Search = LimitSearch<Real, Branches, Transfer>;
    using Trial = typename Search::Trial;
    using Ceiling = typename Search::Ceiling;
    using Span = typename Search::Span;

    LimitsOfPack(const Pack& pack, const GroupStates<Real>& states,
                 const PackLimitSettings<Real>& settings, Real sign,
                 const PackLimitWorkspace<Real, Branches, Transfer>& workspace) noexcept
        : pack_(pack), settings_(settings), sign_(sign), workspace_(workspace) {
        share_ = states.current_flagged ? settings.flagged_current_share : Real(1);
        for (int g = 0; g < pack.group_count; ++g)
            set_up(states, g);
        for (int s = 0; s < strings(); ++s) {
            const LimitString<Real> string = string_at(s);
            StringWork<Real>& work = workspace_.strings[s];
            work = StringWork<Real>();
            work.now_ohm = string.resistance_ohm;
            for (int g = string.first_group; g < string.first_group + string.group_count; ++g) {
                const Work& group = workspace_.groups[g];
                work.now_V += group.search.now_voltage_V();
                work.now_ohm += group.search.now_ohm() / group.parallel;
            }
        }
    }

    /// \param shorter the result for the horizon before, or null
    [[nodiscard]] PackDirectionLimit<Real> find(
        Real horizon_s, Real shorter_s, const PackDirectionLimit<Real>* shorter) const noexcept {
        const Real watched_from_s = shorter != nullptr ? shorter_s : Real(0);
        int closed = 0;
        for (int s = 0; s < strings(); ++s)
            closed += string_at(s).closed ? 1 : 0;
        PackDirectionLimit<Real> cap;
        cap.current_A = std::numeric_limits<Real>::infinity();
        if (shorter != nullptr) {
            cap = *shorter;
            cap.current_A = sign_ * shorter->current_A;
        }
        for (int k = 0; k < pack_.component_count; ++k) {
            if (pack_.components[k].string < 0) lower(cap, k, horizon_s);
        }
        if (closed == 0) {
            PackDirectionLimit<Real> none;
            none.reason = LimitReason::contactor;
            return none;
        }
        for (int s = 0; s < strings(); ++s) {
            if (!string_at(s).closed) continue;
            StringWork<Real>& work = workspace_.strings[s];
            PackDirectionLimit<Real> string_cap;
            string_cap.current_A = std::numeric_limits<Real>::infinity();
            if (closed == 1) {
                string_cap = cap;
                string_cap.current_A = cap.current_A / share_;
            } else if (shorter != nullptr) {
                string_cap = work.now;  // of the horizon before
            }
            for (int k = 0; k < pack_.component_count; ++k) {
                if (pack_.components[k].string == s) lower(string_cap, k, horizon_s);
            }
            work.now = string_limit(s, horizon_s, watched_from_s, string_cap);
        }
        PackDirectionLimit<Real> limit =
            closed == 1 ? the_one() : joined(horizon_s, watched_from_s, cap);
        if (share_ < Real(1)) limit = at_current(limit, share_ * limit.current_A);
        if (cap.current_A < limit.current_A) {
            const PackDirectionLimit<Real> less = at_current(limit, cap.current_A);
            limit = cap;
            limit.rest_voltage_V = less.rest_voltage_V;
            limit.end_voltage_V = less.end_voltage_V;
        }
        finish(limit);
        return limit;
    }

  private:
    [[nodiscard]] int strings() const noexcept {
        return pack_.strings != nullptr ? pack_.string_count : 1;
    }
    [[nodiscard]] LimitString<Real> string_at(int s) const noexcept {
        if (pack_.strings != nullptr) return pack_.strings[s];
        return {0, pack_.group_count, Real(0), true};
    }
    [[nodiscard]] int kind_of(int g) const noexcept {
        return pack_.kind != nullptr ? pack_.kind[g] : 0;
    }

    void set_up(const GroupStates<Real>& states, int g) const noexcept {
        Work& work = workspace_.groups[g];
        const auto at = [g](const Real* values, Real otherwise) {
            return values != nullptr ? values[g] : otherwise;
        };
        const unsigned flags = states.flags != nullptr ? states.flags[g] : 0U;
        const Real sigmas = settings_.sigmas;
        const CellParameters<Real, Branches, Transfer>* cell = &pack_.cells[kind_of(g)];
        if (states.capacity_scale != nullptr || states.capacity_log_std != nullptr) {
            const Real capacity_std = sigmas * at(states.capacity_log_std, Real(0));
            work.cell = *cell;
            work.cell.capacity_Ah *=
                at(states.capacity_scale, Real(1)) *
                (capacity_std > Real(0) ? exponential(-capacity_std) : Real(1));
            cell = &work.cell;
        }
        work.parallel = static_cast<Real>(
            pack_.cells_in_parallel != nullptr ? pack_.cells_in_parallel[g] : pack_.parallel);
        LimitSettings<Real> search = settings_.search;
        search.soc_margin += sigmas * at(states.soc_std, Real(0));
        search.temperature_margin_K += sigmas * at(states.temperature_std_K, Real(0));
        search.core_over_case_K += at(states.core_over_case_K, Real(0));
        search.link_ohm += at(pack_.cell_link_ohm, Real(0));
        if ((flags & group_voltage_flagged) != 0U)
            search.soc_margin += settings_.flagged_soc_margin;
        if ((flags & group_temperature_flagged) != 0U) {
            search.temperature_margin_K += settings_.flagged_temperature_margin_K;
        }
        CellState<Real, Branches, Transfer> state;
        state.soc = states.soc[g];
        state.hysteresis = at(states.hysteresis, Real(0));
        const Real resistance_std = sigmas * at(states.resistance_log_std, Real(0));
        state.resistance_scale = at(states.resistance_scale, Real(1)) *
                                 (resistance_std > Real(0) ? exponential(resistance_std) : Real(1));
        if (states.branch_V != nullptr) {
            for (int i = 0; i < state.lags; ++i)
                state.branch_V[i] = states.branch_V[g * state.lags + i];
        }
        work.search = Search(*cell, pack_.limits[kind_of(g)], state, states.temperature_degC[g],
                             sign_, search);
    }

    void lower(PackDirectionLimit<Real>& cap, int k, Real horizon_s) const noexcept {
        const Real allowed_A = component_current_A(pack_.components[k], sign_ > Real(0), horizon_s);
        if (!(allowed_A < cap.current_A)) return;
        cap = {};
        cap.current_A = allowed_A;
        cap.reason = pack_.components[k].kind;
        cap.binding_value = allowed_A;
        cap.string = pack_.components[k].string;
        cap.component = k;
    }

    static void bind(PackDirectionLimit<Real>& limit, Real current_A, const Ceiling& why, int group,
                     int string) noexcept {
        limit.current_A = current_A;
        limit.reason = why.reason;
        limit.binding_value = why.bound;
        limit.group = group;
        limit.string = string;
        limit.component = -1;
    }

    /// How unlike the groups of a string are to one of them: 1 is where the error of a glance may
    /// be another by as much as itself.
    void compare(int s, int lead) const noexcept {
        StringWork<Real>& string = workspace_.strings[s];
        if (string.compared == lead) return;
        string.compared = lead;
        const LimitString<Real> range = string_at(s);
        const Work& other = workspace_.groups[lead];
        const auto& q = other.search.state();
        const Real per_scale = Real(1) / q.resistance_scale;
        const Real per_Ah = Real(1) / other.search.cell().capacity_Ah;
        const Real per_cell = Real(1) / other.parallel;
        for (int g = range.first_group; g < range.first_group + range.group_count; ++g) {
            Work& work = workspace_.groups[g];
            const auto& p = work.search.state();
            work.lags_apart_V = size_of(p.hysteresis - q.hysteresis) * Real(0.005);
            for (int i = 0; i < p.lags; ++i)
                work.lags_apart_V += size_of(p.branch_V[i] - q.branch_V[i]);
            work.unlike =
                Real(50) * size_of(p.soc - q.soc) +
                Real(0.33) *
                    size_of(work.search.temperature_degC() - other.search.temperature_degC()) +
                size_of((p.resistance_scale - q.resistance_scale) * per_scale) +
                Real(20) *
                    size_of((work.search.cell().capacity_Ah - other.search.cell().capacity_Ah) *
                            per_Ah) +
                Real(10) * size_of((work.parallel - other.parallel) * per_cell);
        }
    }
    [[nodiscard]] static Real distance(const Work& group, Real moved_V) noexcept {
        Real off = group.unlike;
        if (group.lags_apart_V > Real(0))
            off += Real(5) * group.lags_apart_V / (moved_V + Real(1e-3));
        // Groups that are not the very same meet the nodes of the tables elsewhere.
        return off > Real(0) ? (off < Real(30) ? off + Real(1) : Real(31)) : Real(0);
    }

    /// Largest current (magnitude) of one string up to a cap.
    [[nodiscard]] PackDirectionLimit<Real> string_limit(
        int s, Real horizon_s, Real watched_from_s,
        const PackDirectionLimit<Real>& cap) const noexcept {
        const LimitString<Real> string = string_at(s);
        const int first = string.first_group;
        const int end = first + string.group_count;
        Work* const groups = workspace_.groups;
        PackDirectionLimit<Real>& unsearched = workspace_.strings[s].ceiling;
        unsearched = cap;
        // What held a horizon before is no bound of a current that moves.
        if (cap.component < 0) unsearched.current_A = std::numeric_limits<Real>::infinity();
        for (int g = first; g < end; ++g) {
            const Ceiling own = groups[g].search.ceiling_for(horizon_s);
            const Real current_A = groups[g].parallel * own.current_A;
            if (current_A < unsearched.current_A) bind(unsearched, current_A, own, g, s);
        }
        PackDirectionLimit<Real> limit = unsearched.current_A < cap.current_A ? unsearched : cap;
        int lead = limit.group >= first && limit.group < end ? limit.group : first;
        workspace_.strings[s].lead = lead;
        workspace_.strings[s].leads = static_cast<Real>(string.group_count);
        limit.rest_voltage_V = workspace_.strings[s].now_V;
        limit.end_voltage_V = limit.rest_voltage_V;
        if (!(limit.current_A > Real(0))) return limit;

        int planned = -1;
        HoldPlan<Real> plan{};
        HoldPlan<Real> one{};
        HoldPlan<Real> few{};
        const auto plan_for = [&](int g) {
            const int kind = kind_of(g);
            if (kind == planned) return;
            planned = kind;
            const ThermalParameters<Real>& thermal = groups[g].search.cell().thermal;
            const Real lag_s = settings_.search.warmth_lag_s;
            plan = hold_plan(thermal, horizon_s, lag_s);
            one = hold_plan(thermal, horizon_s, lag_s, HoldDetail::glance);
            few = hold_plan(thermal, horizon_s, lag_s, HoldDetail::look);
        };
        const Span span{plan, watched_from_s};
        const Span glance_span{one, Real(0)};
        const Span look_span{few, Real(0)};
        // The heat of a long time makes a glance tell less.
        const bool is_long = horizon_s > Real(100);
        const Real doubt = is_long ? Real(3) : Real(1);
        Trial solved{};
        const auto solve = [&](int g) {
            plan_for(g);
            const Real up_to_A = limit.current_A / groups[g].parallel;
            const Ceiling ceiling{up_to_A, limit.reason, limit.binding_value};
            const Ceiling why = groups[g].search.solve(span, one, ceiling, solved);
            lead = g;
            compare(s, g);
            if (solved.current_A < up_to_A) {
                bind(limit, groups[g].parallel * solved.current_A, why, g, s);
            }
        };
        // One step over the horizon ranks the groups, at a current that it lets the worst carry;
        // only that one is solved.
        const auto glance = [&](int g, Real current_A) {
            plan_for(g);
            groups[g].glance =
                groups[g].search.hold_for(current_A / groups[g].parallel, glance_span);
            groups[g].foretold = false;
        };
        const auto guess = [&](int g) {
            plan_for(g);
            return groups[g].parallel *
                   groups[g].search.guess(one, limit.current_A / groups[g].parallel);
        };
        Real glanced_A = Real(0);
        bool lead_solved = false;
        const bool glanced = workspace_.strings[s].glanced;
        if (glanced && !is_long) {
            solve(lead);  // it decided the horizon before
            lead_solved = true;
            glanced_A = limit.current_A;
        } else {
            glanced_A = guess(lead);
        }
        if (glanced) {
            for (int g = first; g < end; ++g)
                groups[g].shorter = groups[g].glance;
        }
        if (glanced && glanced_A > Real(0)) {
            foretell(s, lead, glanced_A, glance);
        } else {
            for (int g = first; g < end; ++g)
                glance(g, glanced_A);
            workspace_.strings[s].glanced = true;
        }
        constexpr int rounds = 3;
        for (int round = 0; round < rounds; ++round) {
            int worst = -1;
            Real worst_share = Real(1);
            for (int g = first; g < end; ++g) {
                Real share = share_held(groups[g], glanced_A);
                // After a long way down those that come near are asked again.
                if (groups[g].foretold ? share < worst_share : round > 0 && share < Real(1.05)) {
                    glance(g, glanced_A);
                    share = share_held(groups[g], glanced_A);
                }
                if (share < worst_share) {
                    worst = g;
                    worst_share = share;
                }
            }
            if (worst < 0 || worst == lead) break;
            lead = worst;
            lead_solved = false;
            if (worst_share > Real(0.95)) break;
            glanced_A = guess(worst);
        }
        if (!lead_solved) solve(lead);
        // Glances are eased to the current that was found: not over a long way.
        const Real far = is_long ? Real(0.1) : Real(0.03);
        const auto is_far = [&](int g) {
            const Real glanced_at_A = groups[g].parallel * groups[g].glance.current_A;
            return size_of(limit.current_A - glanced_at_A) > far * limit.current_A;
        };
        bool some_far = false;
        for (int g = first; g < end && limit.current_A > Real(0); ++g)
            some_far = some_far || is_far(g);
        if (some_far && glanced) {
            foretell(s, lead, limit.current_A, glance);
        } else if (some_far) {
            for (int g = first; g < end; ++g) {
                if (is_far(g)) glance(g, limit.current_A);
            }
        }
        Trial lead_at = eased(groups[lead], limit.current_A);
        Trial off = difference(lead_at, solved);  // what a glance is off by
        // Those that come near are looked at in a few steps, and tried in all where that leaves a
        // doubt.
        int looked_for = -1;
        Trial look_off{};
        Trial lead_look{};
        Learned learned{};
        const bool every = settings_.every_group;
        for (int g = first; g < end && limit.current_A > Real(0); ++g) {
            if (g == lead) continue;
            Trial at = eased(groups[g], limit.current_A);
            Likeness like = likeness(groups[g], at, groups[lead], lead_at);
            if (!every && !suspect(like, at, lead_at, off, doubt, learned)) continue;
            if (groups[g].foretold) {
                glance(g, limit.current_A);
                at = groups[g].glance;
                like = likeness(groups[g], at, groups[lead], lead_at);
                if (!every && !suspect(like, at, lead_at, off, doubt, learned)) continue;
            }
            plan_for(g);
            const Real current_A = limit.current_A / groups[g].parallel;
            if (!is_long && !every) {
                if (looked_for != lead) {
                    lead_look = groups[lead].search.hold_for(solved.current_A, look_span);
                    look_off = difference(lead_look, solved);
                    looked_for = lead;
                }
                const Trial look = groups[g].search.hold_for(current_A, look_span);
                if (!suspect(likeness(groups[g], look, groups[lead], lead_look), look, lead_look,
                             look_off, Real(0.3))) {
                    continue;
                }
            }
            const Trial tried = groups[g].search.hold_for(current_A, span);
            if (is_long && like.apart > Real(0)) learned.take(like, at, tried, off);
            if (tried.slack >= Real(0)) continue;
            solve(g);
            lead_at = eased(groups[g], limit.current_A);
            off = difference(lead_at, solved);
        }
        // The voltage at the end: the glances, as far as they are off for the group that was
        // solved; a look where a group warms by so much that a glance tells little.
        for (int g = first; g < end && limit.current_A > Real(0); ++g) {
            if (g == lead || is_far(g)) glance(g, limit.current_A);
        }
        const Trial& led = groups[lead].glance;
        const Real led_V = way_V(groups[lead], led);
        Real ratio = Real(1);
        if (led_V * led_V > Real(0) && solved.current_A > Real(0)) {
            ratio = way_V(groups[lead], solved) * (led.current_A / solved.current_A) / led_V;
            if (!(ratio > Real(0.8) && ratio < Real(1.25))) ratio = Real(1);
        }
        constexpr Real large_warming_K = Real(6);
        Real moved_V = Real(0);
        Real lead_V = Real(0);
        for (int g = first; g < end; ++g) {
            const Search& search = groups[g].search;
            const Trial& at = groups[g].glance;
            const Real current_A = limit.current_A / groups[g].parallel;
            Real group_V = Real(0);
            if (!is_long && at.warming_K > large_warming_K && limit.current_A > Real(0)) {
                plan_for(g);
                group_V = way_V(groups[g], search.hold_for(current_A, look_span));
            } else if (at.current_A > Real(0)) {
                group_V = ratio * way_V(groups[g], at) * (current_A / at.current_A);
            }
            // No group is let out of its window.
            const Real most_V = search.voltage_room_V();
            if (most_V < group_V) group_V = most_V;
            if (g == lead) lead_V = group_V;
            moved_V += group_V;
        }
        StringWork<Real>& work = workspace_.strings[s];
        work.lead = lead;
        // What does not come at once is what moves the split.
        const Real slow_V =
            lead_V - limit.current_A / groups[lead].parallel * groups[lead].search.now_ohm();
        const Real all_slow_V = moved_V - limit.current_A * (work.now_ohm - string.resistance_ohm);
        work.leads = slow_V > Real(0.05) * lead_V && all_slow_V > Real(0)
                         ? all_slow_V / slow_V
                         : static_cast<Real>(string.group_count);
        limit.end_voltage_V += sign_ * (moved_V + limit.current_A * string.resistance_ohm);
        return limit;
    }

    /// How another group compares with the one that was solved: its distance, and by how much more
    /// its glance should be off.
    struct Likeness {
        Real apart{0};
        Real scale{1};
        Real heat_scale{1};
        Real moved_V{0};
    };
    [[nodiscard]] static Likeness likeness(const Work& group, const Trial& at, const Work& lead,
                                           const Trial& lead_at) noexcept {
        // The error grows with what the current moves.
        const auto ratio = [](Real own, Real other) {
            const Real scale = own < Real(2) * other ? own / other : Real(2);
            return scale > Real(0.5) ? scale : Real(0.5);
        };
        Likeness like;
        like.moved_V = size_of(at.end_voltage_V - group.search.now_voltage_V());
        like.apart = distance(group, like.moved_V);
        like.scale =
            ratio(like.moved_V, size_of(lead_at.end_voltage_V - lead.search.now_voltage_V()));
        like.heat_scale = ratio(size_of(at.warming_K), size_of(lead_at.warming_K));
        return like;
    }

    /// What trials in all steps have shown of glances: the largest part of their error that the
    /// group that was solved does not tell, per distance.
    struct Learned {
        int count{0};
        Real voltage_V{0};
        Real hot_K{0};

        void take(const Likeness& like, const Trial& at, const Trial& tried,
                  const Trial& off) noexcept {
            const Trial own = difference(at, tried);
            const Real left_V =
                size_of(own.voltage_slack_V - like.scale * off.voltage_slack_V) / like.apart;
            const Real left_K =
                size_of(own.hot_slack_K - like.heat_scale * off.hot_slack_K) / like.apart;
            if (left_V > voltage_V) voltage_V = left_V;
            if (left_K > hot_K) hot_K = left_K;
            ++count;
        }
    };

    /// Whether a group may be outside its windows at a current at which another one is solved. The
    /// glance of the other is off by a known amount; that of a group like it is off by nearly as
    /// much.
    /// \param share how large the error of such a trial may be against that of a glance
    /// \param learned after enough trials they say more than what is assumed beforehand
    [[nodiscard]] static bool suspect(const Likeness& like, const Trial& at, const Trial& lead_at,
                                      const Trial& off, Real share,
                                      const Learned& learned = {}) noexcept {
        // A group that is solved to just inside leaves no slack: those no worse than it are fine.
        const auto near = [](Real slack, Real lead_slack, Real lead_off, Real margin) {
            return slack - lead_off < margin && slack - margin < lead_slack;
        };
        Real margin_V = size_of(off.voltage_slack_V) + share * Real(0.05) * like.moved_V;
        Real margin_K = size_of(off.hot_slack_K) + share * Real(0.05) * size_of(at.warming_K);
        constexpr int enough = 10;
        constexpr Real more = Real(6);
        if (learned.count >= enough) {
            if (more * learned.voltage_V < margin_V) margin_V = more * learned.voltage_V;
            if (more * learned.hot_K < margin_K) margin_K = more * learned.hot_K;
        }
        return near(at.voltage_slack_V, lead_at.voltage_slack_V, like.scale * off.voltage_slack_V,
                    like.apart * margin_V) ||
               near(at.hot_slack_K, lead_at.hot_slack_K, like.heat_scale * off.hot_slack_K,
                    like.apart * margin_K);
    }

    /// By how much holding its current has moved a group's voltage, towards the end of its window.
    [[nodiscard]] Real way_V(const Work& group, const Trial& at) const noexcept {
        return sign_ * (at.end_voltage_V - group.search.now_voltage_V());
    }

    /// The glances of a string from those of a shorter horizon: as the glance of one group grows,
    /// so do those of others, but for an error that goes with how unlike they are. Its size is
    /// learned from groups that are asked; four times that is taken off what the others have left.
    /// \param lead is asked first \param glance asks a group
    template <class Glance>
    void foretell(int s, int lead, Real current_A, const Glance& glance) const noexcept {
        const LimitString<Real> string = string_at(s);
        const int first = string.first_group;
        const int end = first + string.group_count;
        Work* const groups = workspace_.groups;
        glance(lead, current_A);
        compare(s, lead);
        const Trial& longer = groups[lead].glance;
        const Trial& shorter = groups[lead].shorter;
        const auto per_A = [&](const Trial& at) { return way_V(groups[lead], at) / at.current_A; };
        const auto warming_per_A2 = [](const Trial& at) {
            return at.warming_K / (at.current_A * at.current_A);
        };
        const bool grows = per_A(shorter) > Real(0) && warming_per_A2(shorter) > Real(0);
        const Real voltage_growth = grows ? per_A(longer) / per_A(shorter) : Real(0);
        const Real warmth_growth =
            grows ? warming_per_A2(longer) / warming_per_A2(shorter) : Real(0);
        constexpr Real alike = Real(4);
        constexpr int enough = 8;
        const int stride = string.group_count / enough > 0 ? string.group_count / enough : 1;
        Real per_distance_V = Real(0);
        Real per_distance_K = Real(0);
        for (int g = first; g < end; ++g) {
            if (g == lead) continue;
            Work& group = groups[g];
            const Trial& before = group.shorter;
            Trial told = before;
            told.current_A = current_A / group.parallel;
            const Real share = told.current_A / before.current_A;
            const Real shorter_V = way_V(group, before);
            const Real longer_V = shorter_V * share * voltage_growth;
            told.voltage_slack_V +=
                (Real(1) + group.search.untested_share(before.current_A)) * shorter_V -
                (Real(1) + group.search.untested_share(told.current_A)) * longer_V;
            told.end_voltage_V = group.search.now_voltage_V() + sign_ * longer_V;
            told.warming_K *= share * share * warmth_growth;
            told.hot_slack_K += before.warming_K - told.warming_K;
            group.glance = told;
            group.foretold = true;
            const bool near = told.voltage_slack_V < Real(0.02) * longer_V ||
                              told.hot_slack_K < Real(0.04) * told.warming_K;
            const Real apart = distance(group, longer_V);
            const bool same = !(apart > Real(0));
            if (grows && (same || (!near && apart < alike && (g - first) % stride != 0))) continue;
            glance(g, current_A);
            if (same || !(apart < alike)) continue;
            const Trial off = difference(told, group.glance);
            const Real off_V = size_of(off.voltage_slack_V) / apart;
            const Real off_K = size_of(off.hot_slack_K) / apart;
            if (off_V > per_distance_V) per_distance_V = off_V;
            if (off_K > per_distance_K) per_distance_K = off_K;
        }
        constexpr Real safe = Real(4);
        constexpr Real much = Real(0.05);  // then the voltage at the end would be told badly too
        for (int g = first; g < end; ++g) {
            Work& group = groups[g];
            if (!group.foretold) continue;
            const Real longer_V = way_V(group, group.glance);
            const Real apart = distance(group, longer_V);
            if (apart * per_distance_V > much * longer_V) {
                glance(g, current_A);
                continue;
            }
            group.glance.voltage_slack_V -= safe * apart * per_distance_V;
            group.glance.hot_slack_K -= safe * apart * per_distance_K;
        }
    }

    /// What the glance of a group would be at another current of its string, a little from its own.
    [[nodiscard]] static Trial eased(const Work& group, Real current_A) noexcept {
        Trial at = group.glance;
        const Real share =
            at.current_A > Real(0) ? current_A / (group.parallel * at.current_A) : Real(1);
        const Real moved_V = size_of(at.end_voltage_V - group.search.now_voltage_V());
        at.voltage_slack_V += moved_V * (Real(1) - share);
        // Heat goes with the square of the current.
        at.hot_slack_K += at.warming_K * (Real(1) - share * share);
        return at;
    }

    /// The share of a current of its string that a group carries, by its glance; 2: plainly all.
    [[nodiscard]] Real share_held(const Work& group, Real current_A) const noexcept {
        const Trial& at = group.glance;
        const Real asked_A = group.parallel * at.current_A;
        const Real moved_V = way_V(group, at);
        const Real room_V = at.voltage_slack_V + moved_V;
        const Real room_K = at.hot_slack_K + at.warming_K;
        constexpr Real near = Real(1.1);
        Real share = Real(2);
        if (asked_A * room_V < near * current_A * moved_V)
            share = asked_A * room_V / (current_A * moved_V);
        // Heat goes with the square of the current.
        if (asked_A * asked_A * room_K < near * near * current_A * current_A * at.warming_K) {
            const Real held =
                room_K > Real(0) ? asked_A / current_A * root(room_K / at.warming_K) : Real(0);
            if (held < share) share = held;
        }
        return share;
    }

    [[nodiscard]] static Real size_of(Real x) noexcept { return x < Real(0) ? -x : x; }

    [[nodiscard]] static Trial difference(const Trial& a, const Trial& b) noexcept {
        Trial off{};
        off.voltage_slack_V = a.voltage_slack_V - b.voltage_slack_V;
        off.hot_slack_K = a.hot_slack_K - b.hot_slack_K;
        return off;
    }

    /// The pack is one closed string.
    [[nodiscard]] PackDirectionLimit<Real> the_one() const noexcept {
        int s = 0;
        while (!string_at(s).closed)
            ++s;
        PackDirectionLimit<Real> limit = workspace_.strings[s].now;
        limit.end_voltage_V += sign_ * limit.current_A * pack_.resistance_ohm;
        return limit;
    }

    /// All closed strings at the joint: its voltage is (driven_A + current) / conductance_S.
    struct Joint {
        Real conductance_S{0};
        Real driven_A{0};

        void add(const HeldLine<Real>& line) noexcept {
            conductance_S += Real(1) / line.ohm;
            driven_A += line.open_V / line.ohm;
        }
        [[nodiscard]] Real voltage_V(Real current_A) const noexcept {
            return (driven_A + current_A) / conductance_S;
        }
    };

    /// What a current of the pack leaves of the limits of its strings.
    struct Followed {
        Real slack_V{0};      ///< >= 0: all inside.
        Real room_V{0};       ///< The same without a current.
        int string{0};        ///< Which has the least.
        bool ceiling{false};  ///< By what needs no search.
        bool hot{false};      ///< By the temperature.
    };

    /// Strings in parallel, stepped through with the split of every instant: the largest current
    /// at which none leaves what it may. A string moves as `leads` of the group that decides it do.
    /// \param cap of the whole pack, and with its reason the answer where it is less
    [[nodiscard]] PackDirectionLimit<Real> joined(
        Real horizon_s, Real watched_from_s, const PackDirectionLimit<Real>& cap) const noexcept {
        const Real most_A = cap.current_A / share_;
        PackDirectionLimit<Real> limit;
        Real all_A = Real(0);
        Joint now{};
        for (int s = 0; s < strings(); ++s) {
            if (!string_at(s).closed) continue;
            const StringWork<Real>& work = workspace_.strings[s];
            now.add({work.now_V, work.now_ohm});
            all_A += work.now.current_A;
            if (!(work.now.current_A > Real(0))) limit = work.now;
        }
        limit.rest_voltage_V = limit.end_voltage_V = now.voltage_V(Real(0));
        if (!(all_A > Real(0))) return limit;
        int planned = -1;
        HoldPlan<Real> plan{};
        const auto plan_for = [&](int s) {
            const int kind = kind_of(workspace_.strings[s].lead);
            if (kind == planned) return;
            planned = kind;
            plan = hold_plan(pack_.cells[kind].thermal, horizon_s, settings_.search.warmth_lag_s);
        };
        plan_for(0);
        const int edges = plan.parts + 1;
        for (int s = 0; s < strings(); ++s) {
            StringWork<Real>& work = workspace_.strings[s];
            for (int k = 0; k < edges; ++k)
                work.lines[k] = {work.now_V, work.now_ohm};
        }
        const auto joint_at = [&](int k) {
            Joint joint{};
            for (int s = 0; s < strings(); ++s) {
                if (string_at(s).closed) joint.add(workspace_.strings[s].lines[k]);
            }
            return joint;
        };
        const auto split = [&](Real current_A) {
            for (int k = 0; k < edges; ++k) {
                const Real joint_V = joint_at(k).voltage_V(sign_ * current_A);
                for (int s = 0; s < strings(); ++s) {
                    StringWork<Real>& work = workspace_.strings[s];
                    work.edge_A[k] = sign_ * (joint_V - work.lines[k].open_V) / work.lines[k].ohm;
                }
            }
        };
        // The lines at the ends of the sub-steps follow the currents that led there, and those the
        // lines: a few turns settle both.
        const auto follow = [&](Real current_A, int turns) {
            Followed found;
            for (int turn = 0; turn < turns; ++turn) {
                split(current_A);
                found = {};
                bool any = false;
                for (int s = 0; s < strings(); ++s) {
                    if (!string_at(s).closed) continue;
                    StringWork<Real>& work = workspace_.strings[s];
                    const Work& lead = workspace_.groups[work.lead];
                    plan_for(s);
                    Real cell_A[HoldPlan<Real>::most + 1];
                    Real highest_A = work.edge_A[0];
                    for (int k = 0; k < edges; ++k) {
                        cell_A[k] = work.edge_A[k] / lead.parallel;
                        if (work.edge_A[k] > highest_A) highest_A = work.edge_A[k];
                    }
                    HeldLine<Real> lines[HoldPlan<Real>::most];
                    const Span span{plan, watched_from_s, cell_A, lines};
                    const Trial trial = lead.search.hold_for(highest_A / lead.parallel, span);
                    const Real outside_ohm = string_at(s).resistance_ohm;
                    const Real now_ohm = lead.search.now_ohm();
                    Real twice_As = Real(0);
                    for (int k = 1; k < edges; ++k) {
                        const HeldLine<Real>& line = lines[k - 1];
                        // Where a current moved the voltage slowly, as much of another: the turns
                        // settle faster so, on the same.
                        const Real ohm =
                            outside_ohm + (work.now_ohm - outside_ohm) * line.ohm / now_ohm;
                        const Real moved_V =
                            work.leads * (line.open_V - lead.search.now_voltage_V());
                        const Real end_A = sign_ * work.edge_A[k];
                        Real slow_ohm = Real(0);
                        if (moved_V * end_A > Real(0)) slow_ohm = moved_V / end_A;
                        if (slow_ohm > Real(20) * ohm) slow_ohm = Real(20) * ohm;
                        work.lines[k] = {work.now_V + moved_V - slow_ohm * end_A, ohm + slow_ohm};
                        twice_As += (work.edge_A[k - 1] + work.edge_A[k]) * plan.part_s[k - 1];
                    }
                    const Real counts_A = work.ceiling.reason == LimitReason::soc
                                              ? Real(0.5) * twice_As / plan.end_s
                                              : highest_A;
                    const Real under_V = (work.ceiling.current_A - counts_A) * now_ohm;
                    const bool ceiling = under_V < trial.slack;
                    const Real slack_V = ceiling ? under_V : trial.slack;
                    if (any && !(slack_V < found.slack_V)) continue;
                    any = true;
                    found.slack_V = slack_V;
                    found.room_V =
                        ceiling ? work.ceiling.current_A * now_ohm : lead.search.voltage_room_V();
                    found.string = s;
                    found.ceiling = ceiling;
                    found.hot = trial.hot;
                }
            }
            return found;
        };
        Real low_A = Real(0);
        Real high_A = Real(0);
        Followed low;
        Followed high;
        bool low_known = false;
        bool high_known = false;
        Real x = Real(0.95) * all_A < most_A ? Real(0.95) * all_A : most_A;
        Real followed_A = Real(0);
        Real before_A = Real(0);
        Real before_V = Real(0);
        Real beyond = Real(0.3) * settings_.search.current_tolerance;
        bool last_was_low = false;
        for (int turn = 0; turn < 40; ++turn) {
            // After a long way the lines are those of another current.
            const Real way_A = size_of(x - followed_A);
            const Followed at = follow(x, way_A > Real(0.02) * x ? 4 : 1);
            followed_A = x;
            const bool inside = at.slack_V >= Real(0);
            const bool again = turn > 0 && inside == last_was_low;
            last_was_low = inside;
            if (inside) {
                low_A = x;
                low = at;
                low_known = true;
                if (!(x < most_A)) break;
                if (again && high_known) high.slack_V *= Real(0.5);
            } else {
                high_A = x;
                high = at;
                high_known = true;
                if (again && low_known) low.slack_V *= Real(0.5);
            }
            if (low_known && high_known) {
                const Real width = high_A - low_A;
                if (!(width > settings_.search.current_tolerance * high_A)) break;
                const Real fall = low.slack_V - high.slack_V;
                // Where a straight line meets nothing, put a little across so that both ends close
                // in.
                const Real nudge = Real(0.3) * settings_.search.current_tolerance * high_A / width;
                Real part = Real(0.5);
                if (turn % 4 != 3 && fall > Real(0))
                    part = low.slack_V / fall + (inside ? nudge : -nudge);
                if (!(part > Real(0.02))) part = Real(0.02);
                if (!(part < Real(0.98))) part = Real(0.98);
                x = low_A + part * width;
            } else {
                // What moves the voltage by so much at this current moves it by all at that; from
                // the second on by what two have shown.
                Real share = at.room_V / (at.room_V - at.slack_V);
                const Real fell_V = before_V - at.slack_V;
                if (turn > 0 && fell_V * (x - before_A) > Real(0))
                    share = Real(1) + at.slack_V / x * (x - before_A) / fell_V;
                if (!(share > Real(0.5))) share = Real(0.5);
                if (!(share < Real(2))) share = Real(2);
                before_A = x;
                before_V = at.slack_V;
                x *= share * (inside ? Real(1) + beyond : Real(1) - beyond);
                if (beyond < Real(0.1)) beyond *= Real(4);
                if (x > most_A) x = most_A;
            }
        }
        if (!low_known) low_A = Real(0);  // what the strings do without it leads out already
        const Followed& why = high_known ? high : low;
        const StringWork<Real>& work = workspace_.strings[why.string];
        const Real rest_V = limit.rest_voltage_V;
        limit = low_A < most_A ? work.ceiling : cap;
        if (low_A < most_A && !why.ceiling) {
            Trial bound{};
            bound.hot = why.hot;
            bind(limit, low_A, workspace_.groups[work.lead].search.reason_of(bound), work.lead,
                 why.string);
        }
        limit.current_A = low_A;
        limit.rest_voltage_V = rest_V;
        limit.end_voltage_V =
            joint_at(edges - 1).voltage_V(sign_ * low_A) + sign_ * low_A * pack_.resistance_ohm;
        return limit;
    }

    /// Sign and power.
    void finish(PackDirectionLimit<Real>& limit) const noexcept {
        limit.current_A = limit.current_A > Real(0) ? sign_ * limit.current_A : Real(0);
        limit = at_current(limit, limit.current_A);
    }

    const Pack& pack_;
    const PackLimitSettings<Real>& settings_;
    Real sign_;
    Real share_{1};
    PackLimitWorkspace<Real, Branches, Transfer> workspace_;
};

}  // namespace detail

/// Largest charge and discharge current and power of a pack for each horizon, and what decides
/// them. Steps are bounded: each group is stepped a fixed number of times, and solved at most once
/// a horizon and direction.
/// \param pack checked once with validate() when it is set
/// \param states present state of every group
/// \param horizons_s `count` horizons, each from 0 to `longest_horizon_s`, rising; the last may be
///        `continuous_horizon_s`
/// \param workspace room for every group and string
/// \param out receives `count` results; a longer horizon never allows more than a shorter one
/// \return ok; out_of_range, not_finite or missing_table for what cannot be used, not_increasing
/// for
///         the order of the horizons; sample_not_finite for a state or horizon that is not a
///         number. `out` is then untouched.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Status pack_limits(
    const LimitPack<Real, Branches, Transfer>& pack, const GroupStates<Real>& states,
    const Real* horizons_s, int count,
    const PackLimitWorkspace<Real, Branches, Transfer>& workspace, PackHorizonLimit<Real>* out,
    const PackLimitSettings<Real>& settings = {}) noexcept {
    if (pack.cells == nullptr || pack.limits == nullptr || states.soc == nullptr ||
        states.temperature_degC == nullptr) {
        return Status::missing_table;
    }
    for (int k = 0; k < pack.kind_count; ++k) {
        const Status tables = detail::usable_tables(pack.cells[k]);
        if (tables != Status::ok) return tables;
    }
    const Status knobs = validate(settings).status;
    if (knobs != Status::ok) return knobs;
    const int strings = pack.strings != nullptr ? pack.string_count : 1;
    if (horizons_s == nullptr || out == nullptr || count < 1 || pack.group_count < 1 ||
        workspace.groups == nullptr || workspace.strings == nullptr ||
        workspace.group_capacity < pack.group_count || workspace.string_capacity < strings) {
        return Status::out_of_range;
    }
    for (int k = 0; k < count; ++k) {
        const Status usable_horizon = detail::usable_horizon(horizons_s, k);
        if (usable_horizon != Status::ok) return usable_horizon;
    }
    const Status sampled = detail::usable_states(states, pack.group_count,
                                                 static_cast<int>(lag_count<Branches, Transfer>));
    if (sampled != Status::ok) return sampled;
    for (const Real sign : {Real(1), Real(-1)}) {
        const detail::LimitsOfPack<Real, Branches, Transfer> direction(pack, states, settings, sign,
                                                                       workspace);
        for (int k = 0; k < count; ++k) {
            out[k].horizon_s = horizons_s[k];
            PackDirectionLimit<Real>& limit = sign > Real(0) ? out[k].charge : out[k].discharge;
            const PackDirectionLimit<Real>* const shorter =
                k == 0 ? nullptr : (sign > Real(0) ? &out[k - 1].charge : &out[k - 1].discharge);
            limit = direction.find(horizons_s[k], k > 0 ? horizons_s[k - 1] : Real(0), shorter);
        }
    }
    return Status::ok;
}

}  // namespace voltkeel
