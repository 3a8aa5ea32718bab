#pragma once
/// \file usable_energy.hpp
/// How much energy a pack still gives at a given draw, and which group ends it.
///
/// All groups are run forward on the whole model under a held power at the terminals (or a held
/// current): the same current through all groups of a string, each with its own SOC, resistance,
/// capacity and temperature, self-heating included, until the first one leaves its window (voltage,
/// SOC, temperature) or the pack cannot give the power any more. A cold cell with its high
/// resistance meets its lowest voltage early; that is the energy it keeps.
///
/// At an instant a cell is a source behind a resistance (everything that bends is state), so the
/// current for a power is the root of a quadratic, and strings in parallel divide it by Kirchhoff's
/// laws. A step holds the mean of the currents at its start and its end; steps shrink where a
/// voltage falls fast. The end is located inside its step.
///
/// Other uses of the same run: how far to go (consumption.hpp), how long a load can be held.

#include <cmath>
#include <cstdint>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/compensated_sum.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/limits/pack_limits.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// What the pack gives while it is emptied; one of both is above 0.
template <class Real>
struct Draw {
    Real power_W{0};    ///< At the terminals, drawn: >= 0.
    Real current_A{0};  ///< Of the pack, drawn: >= 0.
};

/// Knobs and surroundings.
template <class Real>
struct UsableEnergySettings {
    Real ambient_degC{25};            ///< Surroundings, held.
    Real soc_step{Real(0.01)};        ///< A step takes at most this much of any group's SOC.
    Real voltage_step_V{Real(0.02)};  ///< And moves no cell's voltage by more than this.
    Real longest_step_s{600};
    Real longest_s{Real(1e6)};  ///< The run ends here: counts as not reached.
    Real event_tolerance_s{Real(0.01)};
    int max_steps{5000};  ///< Bound on the work: counts as not reached.
    /// The state is taken this many standard deviations off, each for itself: SOC, logarithm of the
    /// resistance, logarithm of the capacity. For the ends of a band.
    Real soc_sigmas{0};
    Real resistance_sigmas{0};
    Real capacity_sigmas{0};
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const UsableEnergySettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"ambient_degC", s.ambient_degC, Real(-100), Real(100)},
        {"soc_step", s.soc_step, Real(1e-5), Real(0.1)},
        {"voltage_step_V", s.voltage_step_V, Real(1e-4), Real(1)},
        {"longest_step_s", s.longest_step_s, Real(0.01), Real(86400)},
        {"longest_s", s.longest_s, Real(1), Real(1e8)},
        {"event_tolerance_s", s.event_tolerance_s, Real(1e-6), Real(10)},
        {"max_steps", static_cast<Real>(s.max_steps), Real(1), Real(1e6)},
        {"soc_sigmas", s.soc_sigmas, Real(-10), Real(10)},
        {"resistance_sigmas", s.resistance_sigmas, Real(-10), Real(10)},
        {"capacity_sigmas", s.capacity_sigmas, Real(-10), Real(10)},
    };
    return detail::first_outside(rows);
}

/// What the pack gave until its end.
template <class Real>
struct UsableEnergy {
    Real energy_Wh{0};  ///< At the terminals, drawn.
    Real time_s{0};
    Real charge_Ah{0};      ///< Drawn, of the pack.
    Real loss_Wh{0};        ///< Heat in the cells' overvoltages and in the links.
    Real end_voltage_V{0};  ///< Of the pack, under load, at the end.
    Real end_current_A{0};  ///< Drawn.
    LimitReason reason{
        LimitReason::none};        ///< voltage, soc, temperature; none: not reached, or the
                                   ///< pack could not give the power (`power_missing`).
    bool power_missing{false};     ///< No current gives the power: the end.
    int group{-1};                 ///< The group that ended it, -1 for none.
    Real end_soc{0};               ///< Of that group; without one, of the first.
    Real end_temperature_degC{0};  ///< Likewise.
    int steps{0};
    bool reached{false};  ///< The pack was emptied to a limit.
};

namespace detail {

/// What one group needs while the pack is emptied.
template <class Real, int Branches, bool Transfer>
struct DrainWork {
    CellParameters<Real, Branches, Transfer> cell{};
    HeldCell<Real, Branches, Transfer> now{};
    HeldCell<Real, Branches, Transfer> next{};
    Real parallel{1};
    Real now_A{0};   ///< Through a cell, at this instant.
    Real next_A{0};  ///< Likewise at the end of the step, and held through it before.
    int string{0};
};

/// What one string needs.
template <class Real>
struct DrainString {
    Real open_V{0};
    Real ohm{0};
    Real now_A{0};    ///< At this instant, charge positive.
    Real next_A{0};   ///< At the end of the step.
    Real tried_A{0};  ///< Likewise, as the step was taken for.
};

}  // namespace detail

/// Room to work in: one entry per group and one per string, owned by the caller.
template <class Real, int Branches, bool Transfer = false>
struct DrainWorkspace {
    detail::DrainWork<Real, Branches, Transfer>* groups{nullptr};
    int group_capacity{0};
    detail::DrainString<Real>* strings{nullptr};
    int string_capacity{0};
};

/// A workspace of fixed size.
template <class Real, int Branches, bool Transfer, int MaxGroups, int MaxStrings = 1>
struct FixedDrainWorkspace {
    detail::DrainWork<Real, Branches, Transfer> groups[MaxGroups];
    detail::DrainString<Real> strings[MaxStrings];

    [[nodiscard]] DrainWorkspace<Real, Branches, Transfer> view() noexcept {
        return {groups, MaxGroups, strings, MaxStrings};
    }
};

namespace detail {

/// A pack that is being emptied.
template <class Real, int Branches, bool Transfer>
class DrainRun {
  public:
    using Pack = LimitPack<Real, Branches, Transfer>;
    using Held = HeldCell<Real, Branches, Transfer>;
    using Work = DrainWork<Real, Branches, Transfer>;

    DrainRun(const Pack& pack, const GroupStates<Real>& states, const Draw<Real>& draw,
             const UsableEnergySettings<Real>& settings,
             const DrainWorkspace<Real, Branches, Transfer>& workspace) noexcept
        : pack_(pack), draw_(draw), settings_(settings), work_(workspace) {
        for (int s = 0; s < strings(); ++s) {
            const LimitString<Real> string = string_at(s);
            work_.strings[s] = {};
            for (int g = string.first_group; g < string.first_group + string.group_count; ++g)
                set_up(states, g, s);
        }
    }

    [[nodiscard]] Status run(UsableEnergy<Real>& out) noexcept {
        UsableEnergy<Real> result;
        Real time_s = Real(0);
        Real time_carry = Real(0);
        Real energy_J = Real(0);
        Real energy_carry = Real(0);
        Real charge_As = Real(0);
        Real charge_carry = Real(0);
        Real loss_J = Real(0);
        Real loss_carry = Real(0);
        const auto finish = [&](Status status, const Instant& at) {
            result.time_s = time_s;
            result.energy_Wh = energy_J / seconds_per_hour<Real>;
            result.charge_Ah = charge_As / seconds_per_hour<Real>;
            result.loss_Wh = loss_J / seconds_per_hour<Real>;
            result.end_voltage_V = at.voltage_V;
            result.end_current_A = -at.current_A;
            result.reached = status == Status::ok;
            const int g = result.group < 0 ? first_closed_group() : result.group;
            result.end_soc = work_.groups[g].now.state.soc;
            result.end_temperature_degC = work_.groups[g].now.temperature.core_degC;
            out = result;
            return status;
        };
        const auto name_end = [&](const Instant& at, bool next) {
            if (!at.possible) {
                result.power_missing = true;
                return;
            }
            (void)margin(next, &result.reason, &result.group);
        };

        if (first_closed_group() < 0) {
            result.reason = LimitReason::contactor;
            out = result;
            return Status::ok;
        }
        Instant now = solve(false);
        if (!now.possible || !(margin(false, nullptr, nullptr) > Real(0))) {
            name_end(now, false);
            return finish(Status::ok, now);
        }
        Real dt_s = first_step_s();
        for (int count = 0; count < settings_.max_steps; ++count) {
            const Real left_s = settings_.longest_s - time_s;
            if (!(left_s > settings_.event_tolerance_s)) break;
            Real taken_s = dt_s < left_s ? dt_s : left_s;
            Instant next = advance(taken_s);
            ++result.steps;
            // A voltage that falls fast is followed in shorter steps.
            constexpr Real shortest_share = Real(1) / Real(1024);
            const Real most_V = next.possible ? largest_fall_V() : Real(0);
            if (next.possible && margin(true, nullptr, nullptr) > Real(0) &&
                most_V > Real(2) * settings_.voltage_step_V &&
                taken_s > shortest_share * settings_.longest_step_s) {
                dt_s = Real(0.5) * taken_s;
                continue;
            }
            bool ends = !next.possible || !(margin(true, nullptr, nullptr) > Real(0));
            if (ends) {
                // The last instant before something ends it.
                Real before_s = Real(0);
                Real after_s = taken_s;
                for (int turn = 0; turn < 60 && after_s - before_s > settings_.event_tolerance_s;
                     ++turn) {
                    const Real middle_s = before_s + Real(0.5) * (after_s - before_s);
                    next = advance(middle_s);
                    if (!next.possible || !(margin(true, nullptr, nullptr) > Real(0))) {
                        after_s = middle_s;
                    } else {
                        before_s = middle_s;
                    }
                }
                next = advance(after_s);
                name_end(next, true);
                if (!next.possible || before_s > Real(0)) next = advance(before_s);
                taken_s = before_s;
            }
            if (!ends || taken_s > Real(0)) {
                add_compensated(loss_J, loss_carry, loss_of_step_J(now, next, taken_s));
                const Real mean_A = Real(0.5) * (now.current_A + next.current_A);
                add_compensated(time_s, time_carry, taken_s);
                add_compensated(charge_As, charge_carry, -mean_A * taken_s);
                add_compensated(
                    energy_J, energy_carry,
                    draw_.power_W > Real(0)
                        ? draw_.power_W * taken_s
                        : -mean_A * Real(0.5) * (now.voltage_V + next.voltage_V) * taken_s);
                take_over();
                now = next;
            }
            if (ends) return finish(Status::ok, now);
            const Real grown_s = Real(2) * taken_s;
            dt_s = taken_s;
            if (most_V < settings_.voltage_step_V) dt_s = grown_s;
            const Real most_s = longest_step_s();
            if (dt_s > most_s) dt_s = most_s;
        }
        return finish(Status::not_reached, now);
    }

  private:
    /// The pack at an instant.
    struct Instant {
        bool possible{false};
        Real current_A{0};  ///< Charge positive, so below 0.
        Real voltage_V{0};
    };

    [[nodiscard]] int strings() const noexcept {
        return pack_.strings != nullptr ? pack_.string_count : 1;
    }
    [[nodiscard]] LimitString<Real> string_at(int s) const noexcept {
        if (pack_.strings != nullptr) return pack_.strings[s];
        return {0, pack_.group_count, Real(0), true};
    }
    [[nodiscard]] bool closed(const Work& group) const noexcept {
        return string_at(group.string).closed;
    }
    [[nodiscard]] int first_closed_group() const noexcept {
        for (int s = 0; s < strings(); ++s)
            if (string_at(s).closed) return string_at(s).first_group;
        return -1;
    }

    void set_up(const GroupStates<Real>& states, int g, int string) noexcept {
        const auto at = [g](const Real* values, Real otherwise) {
            return values != nullptr ? values[g] : otherwise;
        };
        Work& work = work_.groups[g];
        work.string = string;
        work.parallel = static_cast<Real>(
            pack_.cells_in_parallel != nullptr ? pack_.cells_in_parallel[g] : pack_.parallel);
        work.cell = pack_.cells[pack_.kind != nullptr ? pack_.kind[g] : 0];
        work.cell.capacity_Ah *=
            at(states.capacity_scale, Real(1)) *
            exponential(settings_.capacity_sigmas * at(states.capacity_log_std, Real(0)));
        CellState<Real, Branches, Transfer> state;
        state.soc = states.soc[g] + settings_.soc_sigmas * at(states.soc_std, Real(0));
        if (state.soc > Real(1) && state.soc > states.soc[g]) {
            state.soc = states.soc[g] > Real(1) ? states.soc[g] : Real(1);
        }
        state.hysteresis = at(states.hysteresis, Real(0));
        state.resistance_scale =
            at(states.resistance_scale, Real(1)) *
            exponential(settings_.resistance_sigmas * at(states.resistance_log_std, Real(0)));
        if (states.branch_V != nullptr) {
            for (int i = 0; i < state.lags; ++i)
                state.branch_V[i] = states.branch_V[g * state.lags + i];
        }
        CellTemperature<Real> temperature;
        temperature.core_degC = states.temperature_degC[g];
        temperature.case_degC =
            temperature.core_degC -
            (work.cell.thermal.has_core() ? at(states.core_over_case_K, Real(0)) : Real(0));
        work.now = begin_hold(work.cell, state, temperature, Real(0));
        work.now_A = Real(0);
    }

    /// Currents and voltage at an instant: this one, or the end of the step.
    [[nodiscard]] Instant solve(bool next) noexcept {
        Real conductance_S = Real(0);
        Real source_A = Real(0);
        Real level_V = Real(0);
        bool first = true;
        for (int s = 0; s < strings(); ++s) {
            const LimitString<Real> string = string_at(s);
            if (!string.closed) continue;
            Real open_V = Real(0);
            Real ohm = string.resistance_ohm;
            for (int g = string.first_group; g < string.first_group + string.group_count; ++g) {
                const Work& work = work_.groups[g];
                const auto& point = next ? work.next.point : work.now.point;
                const Real held_A = next ? work.next_A : work.now_A;
                open_V += point.voltage_V - point.by_current * held_A;
                ohm += (point.by_current + link_ohm(g)) / work.parallel;
            }
            work_.strings[s].open_V = open_V;
            work_.strings[s].ohm = ohm;
            if (first) level_V = open_V;
            first = false;
            // A string without any resistance is refused where several share the terminals.
            const Real share_S = ohm > Real(0) ? Real(1) / ohm : Real(0);
            conductance_S += share_S;
            source_A += (open_V - level_V) * share_S;
        }
        Instant instant;
        const Real joint_ohm = conductance_S > Real(0) ? Real(1) / conductance_S : Real(0);
        const Real open_V = level_V + source_A * joint_ohm;
        const Real ohm = joint_ohm + pack_.resistance_ohm;
        Real drawn_A = draw_.current_A;
        if (draw_.power_W > Real(0)) {
            // P = (E - R I) I, the smaller root, without cancellation.
            const Real square = open_V * open_V - Real(4) * ohm * draw_.power_W;
            if (!(square >= Real(0)) || !(open_V > Real(0))) return instant;
            drawn_A = Real(2) * draw_.power_W / (open_V + std::sqrt(square));
        }
        instant.current_A = -drawn_A;
        instant.voltage_V = open_V - ohm * drawn_A;
        instant.possible = instant.voltage_V > Real(0);
        const Real joint_V = open_V - joint_ohm * drawn_A;
        for (int s = 0; s < strings(); ++s) {
            DrainString<Real>& string = work_.strings[s];
            Real current_A = Real(0);
            if (string_at(s).closed) {
                current_A = closed_count() == 1    ? -drawn_A
                            : string.ohm > Real(0) ? (joint_V - string.open_V) / string.ohm
                                                   : Real(0);
            }
            (next ? string.next_A : string.now_A) = current_A;
        }
        return instant;
    }
    [[nodiscard]] int closed_count() const noexcept {
        int count = 0;
        for (int s = 0; s < strings(); ++s)
            count += string_at(s).closed ? 1 : 0;
        return count;
    }

    /// Solves the end of the step. \return the currents are those that the step was taken for
    [[nodiscard]] bool settles(Instant& end) noexcept {
        constexpr Real close = sizeof(Real) == sizeof(double) ? Real(1e-9) : Real(1e-6);
        Real most_A = Real(0);
        for (int s = 0; s < strings(); ++s) {
            DrainString<Real>& string = work_.strings[s];
            string.tried_A = string.next_A;
        }
        end = solve(true);
        for (int s = 0; s < strings(); ++s) {
            const DrainString<Real>& string = work_.strings[s];
            const Real change_A = string.next_A - string.tried_A;
            if (change_A > most_A) most_A = change_A;
            if (-change_A > most_A) most_A = -change_A;
        }
        return most_A <= -close * end.current_A;
    }

    /// One step: the mean of the currents at both ends is held, and the end follows from it.
    [[nodiscard]] Instant advance(Real dt_s) noexcept {
        for (int s = 0; s < strings(); ++s)
            work_.strings[s].next_A = work_.strings[s].now_A;
        Instant end;
        for (int turn = 0; turn < 3; ++turn) {
            for (int g = 0; g < pack_.group_count; ++g) {
                Work& work = work_.groups[g];
                if (!closed(work)) continue;
                const DrainString<Real>& string = work_.strings[work.string];
                const Real mean_A = Real(0.5) * (string.now_A + string.next_A) / work.parallel;
                // The point of the start, at the current that is held.
                work.next = work.now;
                work.next.point.voltage_V += work.now.point.by_current * (mean_A - work.now_A);
                hold(work.cell, mean_A, dt_s, settings_.ambient_degC, work.next);
                work.next_A = mean_A;
            }
            const bool settled = settles(end);
            if (!end.possible || settled) break;
        }
        return end;
    }

    /// How far the group that is nearest to an end is from it: > 0 inside, in windows.
    [[nodiscard]] Real margin(bool next, LimitReason* reason, int* group) const noexcept {
        Real least = Real(1e9);
        for (int g = 0; g < pack_.group_count; ++g) {
            const Work& work = work_.groups[g];
            if (!closed(work)) continue;
            const Held& held = next ? work.next : work.now;
            const CellWindow<Real>& window =
                pack_.limits[pack_.kind != nullptr ? pack_.kind[g] : 0].window;
            const Real voltage_V = group_voltage_V(g, next);
            const Real volts = window.voltage_max_V - window.voltage_min_V;
            const auto see = [&](Real value, LimitReason why) {
                if (!(value < least)) return;
                least = value;
                if (reason != nullptr) *reason = why;
                if (group != nullptr) *group = g;
            };
            see((voltage_V - window.voltage_min_V) / volts, LimitReason::voltage);
            see((held.state.soc - window.soc_min) / (window.soc_max - window.soc_min),
                LimitReason::soc);
            const Real degC = held.temperature.core_degC;
            const Real kelvins =
                window.discharge_temperature_max_degC - window.discharge_temperature_min_degC;
            see((window.discharge_temperature_max_degC - degC) / kelvins, LimitReason::temperature);
            see((degC - window.discharge_temperature_min_degC) / kelvins, LimitReason::temperature);
        }
        return least;
    }
    [[nodiscard]] Real link_ohm(int g) const noexcept {
        return pack_.cell_link_ohm != nullptr ? pack_.cell_link_ohm[g] : Real(0);
    }
    /// At the instant's own current, not the one that was held to it.
    [[nodiscard]] Real group_voltage_V(int g, bool next) const noexcept {
        const Work& work = work_.groups[g];
        const DrainString<Real>& string = work_.strings[work.string];
        const auto& point = next ? work.next.point : work.now.point;
        const Real held_A = next ? work.next_A : work.now_A;
        const Real at_A = (next ? string.next_A : string.now_A) / work.parallel;
        return point.voltage_V + point.by_current * (at_A - held_A) + link_ohm(g) * at_A;
    }
    [[nodiscard]] Real largest_fall_V() const noexcept {
        Real most_V = Real(0);
        for (int g = 0; g < pack_.group_count; ++g) {
            const Work& work = work_.groups[g];
            if (!closed(work)) continue;
            const Real fall_V = group_voltage_V(g, false) - group_voltage_V(g, true);
            if (fall_V > most_V) most_V = fall_V;
        }
        return most_V;
    }
    /// What the open-circuit voltages gave and the terminals did not get.
    [[nodiscard]] Real loss_of_step_J(const Instant& from, const Instant& to,
                                      Real dt_s) const noexcept {
        Real source_W = Real(0);
        for (int g = 0; g < pack_.group_count; ++g) {
            const Work& work = work_.groups[g];
            if (!closed(work)) continue;
            source_W -= work.next_A * work.parallel * Real(0.5) *
                        (work.now.point.ocv_V + work.next.point.ocv_V);
        }
        const Real terminal_W =
            draw_.power_W > Real(0)
                ? draw_.power_W
                : -Real(0.25) * (from.current_A + to.current_A) * (from.voltage_V + to.voltage_V);
        return (source_W - terminal_W) * dt_s;
    }
    void take_over() noexcept {
        for (int g = 0; g < pack_.group_count; ++g) {
            Work& work = work_.groups[g];
            if (!closed(work)) continue;
            work.now = work.next;
            work.now_A = work.next_A;
        }
        for (int s = 0; s < strings(); ++s)
            work_.strings[s].now_A = work_.strings[s].next_A;
    }

    /// Short at first, where the fast branches fill.
    [[nodiscard]] Real first_step_s() const noexcept {
        constexpr Real first_share = Real(1) / Real(64);
        return first_share * longest_step_s();
    }
    /// So long that no group loses more than `soc_step`.
    [[nodiscard]] Real longest_step_s() const noexcept {
        Real dt_s = settings_.longest_step_s;
        for (int g = 0; g < pack_.group_count; ++g) {
            const Work& work = work_.groups[g];
            if (!closed(work)) continue;
            const Real drawn_A = -work_.strings[work.string].now_A / work.parallel;
            if (!(drawn_A > Real(0))) continue;
            const Real most_s =
                settings_.soc_step * work.cell.capacity_Ah * seconds_per_hour<Real> / drawn_A;
            if (most_s < dt_s) dt_s = most_s;
        }
        return dt_s;
    }

    const Pack& pack_;
    Draw<Real> draw_;
    const UsableEnergySettings<Real>& settings_;
    DrainWorkspace<Real, Branches, Transfer> work_;
};

}  // namespace detail

/// What a pack still gives at a draw, until its weakest group ends it.
/// \param pack checked once with validate() when it is set; every string that is closed needs a
/// resistance above 0 where several are (that of its cells is enough)
/// \param states present state of every group \param draw power or current, drawn: above 0, the
/// other 0 \param workspace room for every group and string
/// \param out `reached` says that the pack came to an end; a pack that is beyond a limit already,
/// or cannot give the power, gives nothing and says why
/// \return ok; not_reached at `longest_s` or `max_steps` (`out` holds what was given until then);
/// missing_table, out_of_range, not_finite or sample_not_finite for what cannot be used, `out` is
/// then untouched
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Status usable_energy(
    const LimitPack<Real, Branches, Transfer>& pack, const GroupStates<Real>& states,
    const Draw<Real>& draw, const DrainWorkspace<Real, Branches, Transfer>& workspace,
    UsableEnergy<Real>& out, const UsableEnergySettings<Real>& settings = {}) noexcept {
    if (pack.cells == nullptr || pack.limits == nullptr) return Status::missing_table;
    for (int k = 0; k < pack.kind_count; ++k) {
        const Status tables = detail::usable_tables(pack.cells[k]);
        if (tables != Status::ok) return tables;
    }
    const Status knobs = validate(settings).status;
    if (knobs != Status::ok) return knobs;
    const int strings = pack.strings != nullptr ? pack.string_count : 1;
    if (pack.group_count < 1 || workspace.groups == nullptr || workspace.strings == nullptr ||
        workspace.group_capacity < pack.group_count || workspace.string_capacity < strings) {
        return Status::out_of_range;
    }
    if (!detail::finite(draw.power_W) || !detail::finite(draw.current_A))
        return Status::sample_not_finite;
    if (draw.power_W < Real(0) || draw.current_A < Real(0) ||
        (draw.power_W > Real(0)) == (draw.current_A > Real(0))) {
        return Status::out_of_range;
    }
    const Status sampled = detail::usable_states(states, pack.group_count,
                                                 static_cast<int>(lag_count<Branches, Transfer>));
    if (sampled != Status::ok) return sampled;
    detail::DrainRun<Real, Branches, Transfer> run(pack, states, draw, settings, workspace);
    return run.run(out);
}

/// What a pack gives, with its band.
template <class Real>
struct UsableEnergyBand {
    UsableEnergy<Real> central{};
    Real least_Wh{0};  ///< Lower end of the band.
    Real most_Wh{0};   ///< Upper end.
    Real std_Wh{0};    ///< Half the band over the sigmas.
};

/// The same with the band that the doubt about the groups' states leaves: SOC, resistance and
/// capacity of all groups are taken off together, each kind for itself, and what each moves adds up
/// as squares (JCGM 100:2008 section 5.1.2). Errors of a common cause (the current sensor, the OCV)
/// move all groups alike; errors of single groups that have nothing in common make the band too
/// wide, not too narrow.
/// \param sigmas half width in standard deviations, above 0; 1.96: 95 %
/// \return as usable_energy; the ends where the run is cut off count as far as they came
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Status usable_energy_band(
    const LimitPack<Real, Branches, Transfer>& pack, const GroupStates<Real>& states,
    const Draw<Real>& draw, const DrainWorkspace<Real, Branches, Transfer>& workspace,
    UsableEnergyBand<Real>& out, const UsableEnergySettings<Real>& settings = {},
    Real sigmas = Real(1.96)) noexcept {
    if (!detail::finite(sigmas)) return Status::not_finite;
    if (!(sigmas > Real(0)) || sigmas > Real(10)) return Status::out_of_range;
    UsableEnergyBand<Real> result;
    const Status status = usable_energy(pack, states, draw, workspace, result.central, settings);
    if (!usable(status)) return status;
    const auto doubted = [&](const Real* std) {
        if (std == nullptr) return false;
        for (int g = 0; g < pack.group_count; ++g)
            if (std[g] > Real(0)) return true;
        return false;
    };
    Real less2 = Real(0);
    Real more2 = Real(0);
    const auto look = [&](Real UsableEnergySettings<Real>::*which) {
        for (const Real side : {sigmas, -sigmas}) {
            UsableEnergySettings<Real> off = settings;
            off.*which = settings.*which + side;
            UsableEnergy<Real> run;
            const Status end = usable_energy(pack, states, draw, workspace, run, off);
            if (!usable(end)) return end;
            const Real change_Wh = run.energy_Wh - result.central.energy_Wh;
            (change_Wh < Real(0) ? less2 : more2) += change_Wh * change_Wh;
        }
        return Status::ok;
    };
    using Settings = UsableEnergySettings<Real>;
    Status run = Status::ok;
    if (doubted(states.soc_std)) run = look(&Settings::soc_sigmas);
    if (usable(run) && doubted(states.resistance_log_std)) run = look(&Settings::resistance_sigmas);
    if (usable(run) && doubted(states.capacity_log_std)) run = look(&Settings::capacity_sigmas);
    if (!usable(run)) return run;
    const Real less_Wh = std::sqrt(less2);
    const Real more_Wh = std::sqrt(more2);
    result.least_Wh =
        less_Wh < result.central.energy_Wh ? result.central.energy_Wh - less_Wh : Real(0);
    result.most_Wh = result.central.energy_Wh + more_Wh;
    result.std_Wh = Real(0.5) * (less_Wh + more_Wh) / sigmas;
    out = result;
    return status;
}

}  // namespace voltkeel
