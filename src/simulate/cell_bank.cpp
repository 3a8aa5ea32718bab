#include "simulate/cell_bank.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "voltkeel/cell/model.hpp"

namespace voltkeel::detail {

namespace {

/// A branch that keeps exp(-x) of itself over a step answers a current that rises in a straight
/// line around nothing with coth(x / 2) / 2 - 1 / x of what it answers one that is held at the
/// whole rise. (Own derivation: the convolution of both with its decay.) \param kept exp(-x)
double rise_share(double kept) {
    const double x = -std::log(std::max(kept, 1e-300));
    if (x < 0.05) return x / 12 * (1 - x * x / 60);  // next: 2e-10
    return 0.5 * (1 + kept) / (1 - kept) - 1 / x;
}

template <int Branches, bool Transfer>
class Bank final : public CellBank {
    using Parameters = CellParameters<double, Branches, Transfer>;
    using State = CellState<double, Branches, Transfer>;

  public:
    Bank(const Parameters& shared, std::size_t first, std::vector<CellOwn> own)
        : CellBank(first, own.size()), shared_(shared), own_(std::move(own)), place_(count()) {
        for (auto& states : states_)
            states.resize(count());
    }

    void go_half(const double* current_A, const double* core_degC, double half_s) override {
        const UniformAxis<double>& axis = shared_.resistance.temperature_degC;
        Parameters cell = shared_;
        const State* const from = slot(Slot::start);
        State* const to = slot(Slot::half);
        for (std::size_t k = 0; k < count(); ++k) {
            const double degC = core_degC[first() + k];
            place_[k] = locate(axis, degC);
            to[k] = from[k];
            take(cell, k);
            step(cell, {current_A[first() + k], half_s, degC}, place_[k], to[k]);
        }
    }

    double go_whole(const double* middle_A, const double* first_A, double whole_s) override {
        Parameters cell = shared_;
        const State* const start = slot(Slot::start);
        const State* const half = slot(Slot::half);
        State* const end = slot(Slot::end);
        double most_V = 0;
        for (std::size_t k = 0; k < count(); ++k) {
            const double held_A = middle_A[first() + k];
            take(cell, k);
            // The temperature of an input is not read where its place is given.
            State full = start[k];
            step(cell, {held_A, whole_s, 0}, place_[k], full);
            State halves = half[k];
            step(cell, {2 * held_A - first_A[first() + k], 0.5 * whole_s, 0}, place_[k], halves);
            // Both took the same charge. A current that runs in a straight line lies midway: the
            // one has no slope, the other twice as much.
            double apart_V = 0;
            for (int i = 0; i < State::lags; ++i) {
                const double gap_V = halves.branch_V[i] - full.branch_V[i];
                apart_V += gap_V;
                full.branch_V[i] += 0.5 * gap_V;
            }
            most_V = std::max(most_V, std::abs(apart_V) * full.resistance_scale);
            end[k] = full;
        }
        return most_V;
    }

    void lag(const double* current_A, const double* core_degC, double half_s, double* held_ohm,
             double* rise_ohm) override {
        Parameters cell = shared_;
        const State* const start = slot(Slot::start);
        StepJacobian<double, Branches, Transfer> by;
        for (std::size_t k = 0; k < count(); ++k) {
            const std::size_t at = first() + k;
            take(cell, k);
            State half = start[k];
            step(cell, {current_A[at], half_s, core_degC[at]}, place_[k], half, &by);
            const VoltagePoint<double, Branches, Transfer> point =
                voltage_at(cell, half, current_A[at], core_degC[at], place_[k]);
            double held = 0;
            double rise = 0;
            for (int i = 0; i < State::lags; ++i) {
                held += by.branch_by_current[i];
                rise += by.branch_by_current[i] * rise_share(by.branch_by_branch[i]);
            }
            held_ohm[at] = point.by_branch * held + point.by_soc * by.soc_by_current;
            rise_ohm[at] = point.by_branch * rise;
        }
    }

    double go_ramp(const double* middle_A, const double* change_A, const double* turn_A,
                   double whole_s) override {
        Parameters cell = shared_;
        const State* const start = slot(Slot::start);
        State* const end = slot(Slot::end);
        StepJacobian<double, Branches, Transfer> by;
        double most_V = 0;
        for (std::size_t k = 0; k < count(); ++k) {
            const std::size_t at = first() + k;
            take(cell, k);
            end[k] = start[k];
            step(cell, {middle_A[at], whole_s, 0}, place_[k], end[k], &by);
            double sum_ohm = 0;
            for (int i = 0; i < State::lags; ++i) {
                const double ohm = by.branch_by_current[i] * rise_share(by.branch_by_branch[i]);
                end[k].branch_V[i] += ohm * change_A[at];
                sum_ohm += ohm;
            }
            most_V = std::max(most_V, sum_ohm * std::abs(turn_A[at]) * end[k].resistance_scale);
        }
        return most_V;
    }

    void go_plain(const double* middle_A, double whole_s) override {
        Parameters cell = shared_;
        const State* const start = slot(Slot::start);
        State* const end = slot(Slot::end);
        for (std::size_t k = 0; k < count(); ++k) {
            take(cell, k);
            end[k] = start[k];
            step(cell, {middle_A[first() + k], whole_s, 0}, place_[k], end[k]);
        }
    }

    void look(Slot which, const double* core_degC, CellLook& out) override {
        const UniformAxis<double>& axis = shared_.resistance.temperature_degC;
        const State* const state = slot(which);
        for (std::size_t k = 0; k < count(); ++k) {
            const std::size_t at = first() + k;
            const double degC = core_degC[at];
            const VoltagePoint<double, Branches, Transfer> point =
                voltage_at(shared_, state[k], 0.0, degC, locate(axis, degC));
            out.emf_V[at] = point.voltage_V;
            out.ohm[at] = point.by_current;
            out.ocv_V[at] = point.ocv_V;
            out.entropy_V_per_K[at] = point.entropy_V_per_K;
        }
    }

    [[nodiscard]] double sensitivity(double current_A, double core_degC, double dt_s) override {
        Parameters cell = shared_;
        take(cell, 0);
        State state = *slot(Slot::start);
        StepJacobian<double, Branches, Transfer> by;
        step(cell, {current_A, dt_s, core_degC}, state, &by);
        const VoltagePoint<double, Branches, Transfer> point =
            voltage_at(cell, state, current_A, core_degC);
        double sum = 0;
        for (int i = 0; i < State::lags; ++i)
            sum += by.branch_by_current[i];
        return (point.by_branch * sum + std::abs(point.by_soc * by.soc_by_current)) /
               point.by_current;
    }

    void accept() override { std::swap(states_[0], states_[2]); }

    void soc(Slot which, double* out) const override {
        const State* const state = slot(which);
        for (std::size_t k = 0; k < count(); ++k)
            out[first() + k] = state[k].soc;
    }

    void load(const PackState& from, const std::vector<double>& resistance_scale) override {
        State* const state = slot(Slot::start);
        for (std::size_t k = 0; k < count(); ++k) {
            const std::size_t at = first() + k;
            state[k].soc = from.soc[at];
            state[k].soc_carry = from.soc_carry[at];
            for (int i = 0; i < State::lags; ++i) {
                // The charge transfer stands behind the branches, whatever their number.
                state[k].branch_V[i] =
                    from.branch_V[at * PackState::lag_room + static_cast<std::size_t>(i)];
            }
            state[k].hysteresis = from.hysteresis[at];
            state[k].resistance_scale = resistance_scale[at];
        }
    }

    void store(PackState& to) const override {
        const State* const state = slot(Slot::start);
        for (std::size_t k = 0; k < count(); ++k) {
            const std::size_t at = first() + k;
            to.soc[at] = state[k].soc;
            to.soc_carry[at] = state[k].soc_carry;
            for (int i = 0; i < State::lags; ++i) {
                to.branch_V[at * PackState::lag_room + static_cast<std::size_t>(i)] =
                    state[k].branch_V[i];
            }
            to.hysteresis[at] = state[k].hysteresis;
        }
    }

  private:
    void take(Parameters& cell, std::size_t k) const {
        cell.capacity_Ah = own_[k].capacity_Ah;
        cell.self_discharge_per_s = own_[k].self_discharge_per_s;
    }
    [[nodiscard]] const State* slot(Slot which) const {
        return states_[static_cast<std::size_t>(which)].data();
    }
    [[nodiscard]] State* slot(Slot which) {
        return states_[static_cast<std::size_t>(which)].data();
    }

    Parameters shared_;
    std::vector<CellOwn> own_;
    std::vector<AxisPosition<double>> place_;
    std::array<std::vector<State>, 3> states_;
};

template <int Branches, bool Transfer>
class Kind final : public CellKind {
  public:
    explicit Kind(const Cell& cell) : tables_(cell) {}
    [[nodiscard]] std::unique_ptr<CellBank> bank(std::size_t first,
                                                 std::vector<CellOwn> own) const override {
        return std::make_unique<Bank<Branches, Transfer>>(tables_.parameters(), first,
                                                          std::move(own));
    }

  private:
    CellTables<double, Branches, Transfer> tables_;
};

}  // namespace

std::unique_ptr<CellKind> make_kind(const Cell& cell) {
    return with_form(cell, [&](auto form) -> std::unique_ptr<CellKind> {
        using Form = decltype(form);
        return std::make_unique<Kind<Form::branches, Form::transfer>>(cell);
    });
}

}  // namespace voltkeel::detail
