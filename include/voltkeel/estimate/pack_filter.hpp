#pragma once
/// \file pack_filter.hpp
/// State of charge of every group of a string, for little more than the cost of one filter: a full
/// filter follows a reference cell that carries the current of the string, and each group has a
/// small filter for what it differs by, [SOC difference, share of resistance].
///
///     V_k = V_ref + OCV(soc + d_k) - OCV(soc) + d_k r I dR0/dsoc + s_k overvoltage
///
/// The reference gets the mean of the group voltages less what the groups are known to differ by,
/// so a group that drops out moves nothing. Each group gets its distance from that mean: what the
/// model gets wrong for all groups alike cancels. Source of the idea, mean filter and filters of
/// differences: Plett, EVS24 (2009) (from memory, not re-read).

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/lanes.hpp"
#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Bits of the fault byte of a group. Numbers are frozen.
enum GroupFaultBit : std::uint8_t {
    group_missing = 1U << 0U,      ///< NaN or infinite: nothing came.
    group_outside = 1U << 1U,      ///< Outside the range of `PackFilterSettings`.
    group_late = 1U << 2U,         ///< Taken before the step began, or the time is not one.
    group_stuck = 1U << 3U,        ///< The same reading while the reference moved.
    group_implausible = 1U << 4U,  ///< Too far from what this group should show.
    group_reset = 1U << 5U,    ///< Implausible for too long: the group's spread was opened again.
    group_bounded = 1U << 6U,  ///< A difference ran into its bound and was held there.
};
/// With one of these the group's voltage was not used: its state is counted on.
inline constexpr std::uint8_t group_coasted =
    group_missing | group_outside | group_late | group_stuck | group_implausible;

/// Knobs of the pack filter.
template <class Real>
struct PackFilterSettings {
    SocFilterSettings<Real> reference{};    ///< Of the full filter; its interval counts for all.
    Real group_voltage_std_V{Real(0.005)};  ///< Of a reading against the other groups, > 0.
    Real group_offset_std_V{Real(0.002)};   ///< Of a reading that is off the same way all the time.
    Real hysteresis_std{Real(0.5)};         ///< Difference of h between groups, in -1 .. 1.
    Real overvoltage_share_std{Real(0.03)};  ///< What one factor on all resistances leaves.
    Real soc_std_initial{Real(0.03)};        ///< Of the groups around the reference at the start.
    Real resistance_share_std{Real(0.15)};   ///< The same of their resistances.
    Real capacity_std{Real(0.02)};           ///< Unknown difference of capacities, as a share.
    Real soc_std_per_sqrt_h{Real(0.0005)};   ///< Growth of an SOC difference at rest.
    Real share_std_per_sqrt_h{Real(0.03)};   ///< Growth of a resistance share.
    Real soc_std_floor{Real(0.002)};         ///< Added in square to what is told of a group.
    Real gate{5};                            ///< Readings further out are refused, > 0.
    Real reset_after_s{600};                 ///< After so long a refused group is opened again.
    Real reset_soc_std{Real(0.1)};           ///< SOC spread after such an opening.
    Real stuck_move_V{Real(0.02)};  ///< The reference moves so far and the reading does not.
    Real voltage_low_V{Real(0.5)};  ///< Below, a reading is no voltage of a group.
    Real voltage_high_V{Real(5.5)};
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const PackFilterSettings<Real>& s) noexcept {
    const Finding<Real> reference = validate(s.reference);
    if (reference.status != Status::ok) return reference;
    const detail::BoundedField<Real> rows[] = {
        {"group_voltage_std_V", s.group_voltage_std_V, Real(1e-5), Real(1)},
        {"group_offset_std_V", s.group_offset_std_V, Real(0), Real(1)},
        {"hysteresis_std", s.hysteresis_std, Real(0), Real(2)},
        {"overvoltage_share_std", s.overvoltage_share_std, Real(0), Real(10)},
        {"soc_std_initial", s.soc_std_initial, Real(0), Real(1)},
        {"resistance_share_std", s.resistance_share_std, Real(0), Real(3)},
        {"capacity_std", s.capacity_std, Real(0), Real(1)},
        {"soc_std_per_sqrt_h", s.soc_std_per_sqrt_h, Real(0), Real(1)},
        {"share_std_per_sqrt_h", s.share_std_per_sqrt_h, Real(0), Real(10)},
        {"soc_std_floor", s.soc_std_floor, Real(0), Real(1)},
        {"gate", s.gate, Real(1), Real(100)},
        {"reset_after_s", s.reset_after_s, Real(1), Real(1e6)},
        {"reset_soc_std", s.reset_soc_std, Real(0), Real(1)},
        {"stuck_move_V", s.stuck_move_V, Real(1e-4), Real(10)},
        {"voltage_low_V", s.voltage_low_V, Real(-10), Real(10)},
        {"voltage_high_V", s.voltage_high_V, s.voltage_low_V, Real(10)},
    };
    return detail::first_outside(rows);
}

/// One row of measurements of a string. Current flowed during the `dt_s` that end now.
template <class Real>
struct PackSample {
    Real current_A{0};  ///< Of the string (of one cell of the model), positive charges.
    Real temperature_degC{25};
    Real dt_s{0};                    ///< Since the sample before; 0 for the first.
    const Real* voltage_V{nullptr};  ///< One for each group; NaN where nothing came.
    /// Each voltage was taken so long before the end of the step, 0 .. dt_s; null: all at the end.
    const Real* lag_s{nullptr};
    /// Beside the current of the string, one for each group (bleed resistors: negative); null:
    /// none.
    const Real* group_current_A{nullptr};
    Real current_std_A{0};  ///< See CellSample.
};

/// What comes back from each sample.
template <class Real>
struct PackEstimate {
    SocEstimate<Real> reference{};  ///< Of the reference cell; its voltage is the mean of groups.
    bool updated{false};            ///< Voltages were looked at in this step.
    int used{0};                    ///< Groups whose voltage was used when last looked at.
    std::uint8_t group_fault_bits{0};  ///< All groups together, when last looked at.
};

/// Sums over the groups.
template <class Real>
struct PackSpread {
    Real soc_min{0};
    Real soc_mean{0};
    Real soc_max{0};
    int emptiest{0};
    int fullest{0};
};

/// Filter of a string of up to `Capacity` groups.
///
///     PackFilter<float, 2, false, 96> filter;
///     Status s = filter.configure(cell, 96);
///     s = filter.start(0.8F, 0.05F, 25.0F);            // or start_from_voltages(...)
///     filter.step({current_A, temperature_degC, dt_s, voltages});
///     float lowest = filter.spread().soc_min;
template <class Real, int Branches, bool Transfer, int Capacity>
class PackFilter {
    static_assert(Capacity >= 1, "a string has at least one group");

  public:
    using Reference = SocFilter<Real, Branches, Transfer>;
    using Parameters = typename Reference::Parameters;
    using Settings = PackFilterSettings<Real>;
    static constexpr int capacity = Capacity;

    /// Everything that must survive between samples.
    struct State {
        static constexpr int width = detail::Packet<Real>::width;
        static constexpr int padded = (Capacity + 3) / 4 * 4;  ///< Whole packets of any width.
        alignas(16) Real soc_difference[padded]{};             ///< d_k, against the reference.
        alignas(16) Real resistance_share[padded]{};           ///< s_k: r_k = r (1 + s_k).
        alignas(16) Real soc_var[padded]{};
        alignas(16) Real share_var[padded]{};
        alignas(16) Real covariance[padded]{};
        alignas(16) Real
            inverse_capacity[padded]{};  ///< Capacity of the reference over the group's.
        Real last_voltage_V[Capacity]{};
        Real anchor_V[Capacity]{};  ///< Of the reference, when the reading last changed.
        Real since_accepted_s[Capacity]{};
        std::uint8_t fault_bits[Capacity]{};
        Real since_update_s{0};
        Real walked{0};  ///< SOC of the reference since the last update.
        Real walked_magnitude{0};
        std::uint32_t reset_count{0};
    };

    /// Sets cell and knobs; the cell's tables must outlive the filter. On failure nothing changes.
    /// \param count groups, 1 .. Capacity
    [[nodiscard]] Status configure(const Parameters& cell, int count,
                                   const Settings& settings = {}) noexcept {
        const Finding<Real> finding = validate(settings);
        if (finding.status != Status::ok) return finding.status;
        if (count < 1 || count > Capacity) return Status::out_of_range;
        SocFilterSettings<Real> inner = settings.reference;
        inner.update_interval_s = Real(0);  // this class keeps the interval
        const Status status = reference_.configure(cell, inner);
        if (status != Status::ok) return status;
        settings_ = settings;
        count_ = count;
        state_ = State{};
        for (Real& factor : state_.inverse_capacity)
            factor = Real(1);
        estimate_ = PackEstimate<Real>{};
        return Status::ok;
    }

    /// Starts at rest from one SOC of all groups, give or take `soc_std_initial`.
    [[nodiscard]] Status start(Real soc, Real soc_std, Real temperature_degC) noexcept {
        const Status status = reference_.start(soc, soc_std, temperature_degC);
        if (status == Status::ok) begin();
        return status;
    }

    /// Starts in the middle of use; see SocFilter::start_under_load.
    /// \param use of one group: currents of its string, the mean or median of the groups' voltages
    [[nodiscard]] Status start_under_load(Real soc, Real soc_std, const UseAround<Real>& use,
                                          Real temperature_degC) noexcept {
        const Status status = reference_.start_under_load(soc, soc_std, use, temperature_degC);
        if (status == Status::ok) {
            begin();
            if (in_range(use.voltage_V)) state_.since_update_s = Real(0);  // it is used up
        }
        return status;
    }

    /// Starts from the voltages of the groups: from their median, and lets each group find its
    /// place. \param voltage_V one for each group, NaN where nothing came
    /// \return sample_not_finite when no voltage came; else see SocFilter::start_from_voltage
    [[nodiscard]] Status start_from_voltages(const Real* voltage_V, Real current_A,
                                             Real temperature_degC) noexcept {
        if (voltage_V == nullptr) return Status::missing_table;
        int found = 0;
        for (int k = 0; k < count_; ++k) {
            if (in_range(voltage_V[k])) scratch_[found++] = voltage_V[k];
        }
        if (found == 0) return Status::sample_not_finite;
        const Status status =
            reference_.start_from_voltage(median(found), current_A, temperature_degC);
        if (status == Status::ok) begin();
        return status;
    }

    /// Goes on from a stored state: the differences of the groups, and what was walked since
    /// voltages were last looked at. Readings and faults begin anew. \return not_finite or
    /// out_of_range for one that cannot be; then nothing changes
    [[nodiscard]] Status restore(const typename Reference::State& reference,
                                 const State& state) noexcept {
        for (const Real number : {state.since_update_s, state.walked, state.walked_magnitude}) {
            if (!detail::finite(number)) return Status::not_finite;
        }
        if (!detail::within(state.since_update_s, Real(0), Real(1e9)) ||
            !detail::within(state.walked, -state.walked_magnitude, state.walked_magnitude)) {
            return Status::out_of_range;
        }
        for (int k = 0; k < count_; ++k) {
            const detail::BoundedField<Real> rows[] = {
                {"soc_difference", state.soc_difference[k], -difference_most, difference_most},
                {"resistance_share", state.resistance_share[k], share_low, share_high},
                {"soc_var", state.soc_var[k], Real(0), Real(0.25)},
                {"share_var", state.share_var[k], Real(0), Real(1)},
                {"covariance", state.covariance[k], Real(-0.5), Real(0.5)},
                {"inverse_capacity", state.inverse_capacity[k], Real(0.2), Real(5)},
            };
            const Finding<Real> finding = detail::first_outside(rows, k);
            if (finding.status != Status::ok) return finding.status;
            if (square(state.covariance[k]) >
                state.soc_var[k] * state.share_var[k] * Real(1.01) + Real(1e-12)) {
                return Status::out_of_range;
            }
        }
        const Status status = reference_.restore(reference);
        if (status != Status::ok) return status;
        begin();
        for (int k = 0; k < count_; ++k) {
            state_.soc_difference[k] = state.soc_difference[k];
            state_.resistance_share[k] = state.resistance_share[k];
            state_.soc_var[k] = state.soc_var[k];
            state_.share_var[k] = state.share_var[k];
            state_.covariance[k] = state.covariance[k];
            state_.inverse_capacity[k] = state.inverse_capacity[k];
        }
        state_.since_update_s = state.since_update_s;
        state_.walked = state.walked;
        state_.walked_magnitude = state.walked_magnitude;
        return Status::ok;
    }

    /// Takes what is known of a group's capacity, from its age for example.
    [[nodiscard]] Status set_capacity(int group, Real capacity_Ah) noexcept {
        if (group < 0 || group >= count_) return Status::out_of_range;
        if (!detail::finite(capacity_Ah)) return Status::not_finite;
        const Real share = reference_.cell().capacity_Ah / capacity_Ah;
        if (!detail::within(share, Real(0.2), Real(5))) return Status::out_of_range;
        // What was walked so far was walked with the old one.
        state_.soc_difference[group] += (state_.inverse_capacity[group] - share) * state_.walked;
        state_.inverse_capacity[group] = share;
        return Status::ok;
    }

    /// Takes one sample.
    const PackEstimate<Real>& step(const PackSample<Real>& sample) noexcept;

    [[nodiscard]] const PackEstimate<Real>& estimate() const noexcept { return estimate_; }
    [[nodiscard]] const Reference& reference() const noexcept { return reference_; }
    [[nodiscard]] const State& state() const noexcept { return state_; }
    [[nodiscard]] const Settings& settings() const noexcept { return settings_; }
    [[nodiscard]] int count() const noexcept { return count_; }

    /// SOC of a group, in [0, 1]. \param k 0 .. count() - 1, here and below
    [[nodiscard]] Real soc(int k) const noexcept {
        return detail::bounded(model_soc(k), Real(0), Real(1));
    }
    /// Standard deviation of it.
    [[nodiscard]] Real soc_std(int k) const noexcept {
        return std::sqrt(square(estimate_.reference.soc_std) + difference_var(k));
    }
    /// Standard deviation of its difference to the reference, which is what balancing goes by.
    [[nodiscard]] Real soc_difference_std(int k) const noexcept {
        return std::sqrt(difference_var(k));
    }
    /// Resistance scale of a group.
    [[nodiscard]] Real resistance_scale(int k) const noexcept {
        return estimate_.reference.resistance_scale * (Real(1) + state_.resistance_share[k]);
    }
    /// See GroupFaultBit; as of the last time voltages were looked at.
    [[nodiscard]] std::uint8_t group_faults(int k) const noexcept { return state_.fault_bits[k]; }
    /// A group as a cell of its own, for limits and forecasts.
    [[nodiscard]] CellState<Real, Branches, Transfer> cell_state(int k) const noexcept {
        CellState<Real, Branches, Transfer> cell = reference_.state().cell;
        cell.soc = model_soc(k);
        cell.soc_carry = Real(0);
        cell.resistance_scale = resistance_scale(k);
        return cell;
    }
    /// Emptiest, mean and fullest group.
    [[nodiscard]] PackSpread<Real> spread() const noexcept {
        PackSpread<Real> all;
        Real sum = 0;
        for (int k = 0; k < count_; ++k) {
            const Real at = soc(k);
            sum += at;
            if (k == 0 || at < all.soc_min) {
                all.soc_min = at;
                all.emptiest = k;
            }
            if (k == 0 || at > all.soc_max) {
                all.soc_max = at;
                all.fullest = k;
            }
        }
        all.soc_mean = sum / static_cast<Real>(count_);
        return all;
    }
    /// What the string is to the rest of the pack at this instant: the voltage it would show
    /// without current, and its resistance.
    void source(Real& open_V, Real& resistance_ohm) const noexcept {
        const auto& filter = reference_.state();
        open_V = Real(0);
        resistance_ohm = Real(0);
        for (int k = 0; k < count_; ++k) {
            const auto point =
                voltage_at(reference_.cell(), cell_state(k), Real(0), filter.last_temperature_degC);
            open_V += point.voltage_V;
            resistance_ohm += point.by_current;
        }
    }

  private:
    using Lane = detail::Lanes<Real, State::width>;
    static constexpr Real share_low = Real(-0.7);
    static constexpr Real share_high = Real(3);
    static constexpr Real difference_most = Real(1);

    static constexpr Real square(Real x) noexcept { return x * x; }
    [[nodiscard]] bool in_range(Real voltage_V) const noexcept {
        return detail::within(voltage_V, settings_.voltage_low_V, settings_.voltage_high_V);
    }
    [[nodiscard]] Real model_soc(int k) const noexcept {
        return reference_.state().cell.soc + state_.soc_difference[k] +
               (state_.inverse_capacity[k] - Real(1)) * state_.walked;
    }
    [[nodiscard]] Real difference_var(int k) const noexcept {
        return state_.soc_var[k] + square(settings_.soc_std_floor);
    }
    /// Of the first `found` numbers in scratch_, which are put in another order.
    [[nodiscard]] Real median(int found) noexcept {
        Real* const middle = scratch_ + found / 2;
        std::nth_element(scratch_, middle, scratch_ + found);
        return *middle;
    }

    void begin() noexcept {
        for (int k = 0; k < State::padded; ++k) {
            state_.soc_difference[k] = Real(0);
            state_.resistance_share[k] = Real(0);
            state_.soc_var[k] = square(settings_.soc_std_initial);
            state_.share_var[k] = square(settings_.resistance_share_std);
            state_.covariance[k] = Real(0);
        }
        for (int k = 0; k < Capacity; ++k) {
            state_.last_voltage_V[k] = Real(-1000);
            state_.anchor_V[k] = Real(0);
            state_.since_accepted_s[k] = Real(0);
            state_.fault_bits[k] = 0;
        }
        state_.since_update_s = settings_.reference.update_interval_s;
        state_.walked = Real(0);
        state_.walked_magnitude = Real(0);
        estimate_ = PackEstimate<Real>{};
        estimate_.reference = reference_.estimate();
    }

    /// The reference at the end of the step, and what a lag of one step changes in its voltage.
    struct Now {
        VoltagePoint<Real, Branches, Transfer> point;
        Real current_A;
        Real temperature_degC;
        Real dt_s;
        Real step_V;
    };

    /// Variance of what is wrong with a reading in every sample alike.
    [[nodiscard]] Real lasting_var(const Now& now) const noexcept {
        return square(settings_.group_offset_std_V) +
               square(settings_.hysteresis_std * now.point.by_hysteresis);
    }

    void take_on(Real dt_s) noexcept;
    void read_voltages(const PackSample<Real>& sample, const Now& now) noexcept;
    void expect(const PackSample<Real>& sample, const Now& now) noexcept;
    [[nodiscard]] Real common_V(const Now& now) noexcept;
    void fuse(Real common_V, const Now& now) noexcept;
    void close_books() noexcept;

    Settings settings_{};
    Reference reference_{};
    int count_{0};
    State state_{};
    PackEstimate<Real> estimate_{};
    // Of the present step only.
    alignas(16) Real excess_V_[State::padded]{};  ///< Reading less what the group differs by.
    alignas(16) Real slope_V_[State::padded]{};   ///< d V_k / d d_k.
    alignas(16) Real weight_[State::padded]{};    ///< 1 where the reading is used.
    Real scratch_[Capacity + 1]{};
};

/// Books what the groups have walked differently, and lets their spreads grow.
template <class Real, int Branches, bool Transfer, int Capacity>
void PackFilter<Real, Branches, Transfer, Capacity>::take_on(Real dt_s) noexcept {
    const Real hours = dt_s * (Real(1) / seconds_per_hour<Real>);
    const Lane soc_growth = Lane::all(square(settings_.soc_std_per_sqrt_h) * hours +
                                      square(settings_.capacity_std) * state_.walked_magnitude);
    const Lane share_growth = Lane::all(square(settings_.share_std_per_sqrt_h) * hours);
    const Real walked = state_.walked;
    for (int k = 0; k < State::padded; k += State::width) {
        const Lane capacity_share = Lane::load_padded(state_.inverse_capacity + k);
        (Lane::load_padded(state_.soc_difference + k) +
         (capacity_share - Lane::all(Real(1))) * walked)
            .store_padded(state_.soc_difference + k);
        (Lane::load_padded(state_.soc_var + k) + soc_growth).store_padded(state_.soc_var + k);
        (Lane::load_padded(state_.share_var + k) + share_growth).store_padded(state_.share_var + k);
    }
    state_.walked = Real(0);
    state_.walked_magnitude = Real(0);
}

/// Tells which readings can be used.
template <class Real, int Branches, bool Transfer, int Capacity>
void PackFilter<Real, Branches, Transfer, Capacity>::read_voltages(const PackSample<Real>& sample,
                                                                   const Now& now) noexcept {
    const Real reference_V = now.point.voltage_V;
    for (int k = 0; k < count_; ++k) {
        std::uint8_t bits = 0;
        const Real reading_V = sample.voltage_V == nullptr ? std::numeric_limits<Real>::quiet_NaN()
                                                           : sample.voltage_V[k];
        if (!detail::finite(reading_V)) {
            bits = group_missing;
        } else if (!in_range(reading_V)) {
            bits = group_outside;
        } else if (reading_V != state_.last_voltage_V[k]) {
            state_.last_voltage_V[k] = reading_V;
            state_.anchor_V[k] = reference_V;
        } else {
            // Once stuck, until the reading moves: the reference may well come by again.
            const Real moved_V = reference_V - state_.anchor_V[k];
            if (square(moved_V) > square(settings_.stuck_move_V) ||
                (state_.fault_bits[k] & group_stuck) != 0) {
                bits = group_stuck;
            }
        }
        if (sample.lag_s != nullptr && !detail::within(sample.lag_s[k], Real(0), now.dt_s)) {
            bits = static_cast<std::uint8_t>(bits | group_late);
        }
        state_.fault_bits[k] = bits;
        weight_[k] = bits == 0 ? Real(1) : Real(0);
    }
}

/// What each reading leaves when the known difference of its group is taken off.
template <class Real, int Branches, bool Transfer, int Capacity>
void PackFilter<Real, Branches, Transfer, Capacity>::expect(const PackSample<Real>& sample,
                                                            const Now& now) noexcept {
    const auto& cell = reference_.state().cell;
    const OcvTable<Real>& table = reference_.cell().ocv;
    const OcvPoint<Real> own = ocv_at(table, cell.soc, now.temperature_degC);
    const Real own_ocv_V = own.mean_V + cell.hysteresis * own.half_gap_V;
    const Real ohmic_slope_V =
        now.point.by_soc - own.slope_V - cell.hysteresis * own.half_gap_slope_V;
    const Real overvoltage_V = now.point.overvoltage_V;
    const Real per_lag =
        sample.lag_s != nullptr && now.dt_s > Real(0) ? now.step_V / now.dt_s : Real(0);
    for (int k = 0; k < count_; ++k) {
        const Real d = state_.soc_difference[k];
        const OcvPoint<Real> ocv = ocv_at(table, cell.soc + d, now.temperature_degC);
        const Real differs_V = ocv.mean_V + cell.hysteresis * ocv.half_gap_V - own_ocv_V +
                               d * ohmic_slope_V + state_.resistance_share[k] * overvoltage_V;
        slope_V_[k] = ocv.slope_V + ohmic_slope_V;
        // A reading that is not used may be anything, NaN too.
        if (weight_[k] == Real(0)) {
            excess_V_[k] = Real(0);
            continue;
        }
        excess_V_[k] = sample.voltage_V[k] - differs_V;
        if (per_lag != Real(0)) excess_V_[k] += per_lag * sample.lag_s[k];
    }
}

/// Voltage of the reference as the groups have it; refuses groups that do not fit the others.
template <class Real, int Branches, bool Transfer, int Capacity>
Real PackFilter<Real, Branches, Transfer, Capacity>::common_V(const Now& now) noexcept {
    // Four sums side by side, whatever the width of a packet, so that every machine gets the same
    // bits.
    const auto mean = [&](int& used) {
        Real sum_V[4]{};
        Real weights[4]{};
        for (int k = 0; k < State::padded; k += 4) {
            for (int i = 0; i < 4; ++i) {
                sum_V[i] += weight_[k + i] * excess_V_[k + i];
                weights[i] += weight_[k + i];
            }
        }
        const Real all_V = (sum_V[0] + sum_V[1]) + (sum_V[2] + sum_V[3]);
        const Real all = (weights[0] + weights[1]) + (weights[2] + weights[3]);
        used = static_cast<int>(all + Real(0.5));
        return all > Real(0) ? all_V / all : Real(0);
    };
    int used = 0;
    const Real mean_V = mean(used);
    if (used < 2) return mean_V;
    const Real reading_var = square(settings_.group_voltage_std_V) +
                             square(settings_.overvoltage_share_std * now.point.overvoltage_V) +
                             lasting_var(now);
    const Real by_share = now.point.overvoltage_V;
    // One packet at a time: how far beyond the gate, were it refused.
    const Real gate2 = square(settings_.gate);
    const auto beyond = [&](int k, Real centre_V) {
        const Lane slope = Lane::load_padded(slope_V_ + k);
        const Lane var = slope * slope * Lane::load_padded(state_.soc_var + k) +
                         slope * Lane::load_padded(state_.covariance + k) * (Real(2) * by_share) +
                         Lane::load_padded(state_.share_var + k) * (by_share * by_share) +
                         reading_var;
        const Lane off = Lane::load_padded(excess_V_ + k) - Lane::all(centre_V);
        return Lane::load_padded(weight_ + k) * (off * off - var * gate2);
    };
    bool refuse = false;
    for (int k = 0; k < State::padded; k += State::width) {
        const Lane over = beyond(k, mean_V);
        for (int i = 0; i < State::width; ++i)
            refuse = refuse || over.get(i) > Real(0);
    }
    if (!refuse) return mean_V;
    // The mean is drawn by what is wrong; the median is not. With an even number the reference has
    // a vote of its own.
    int found = 0;
    for (int k = 0; k < count_; ++k) {
        if (weight_[k] > Real(0)) scratch_[found++] = excess_V_[k];
    }
    if (found % 2 == 0) scratch_[found++] = now.point.voltage_V;
    const Real centre_V = median(found);
    for (int k = 0; k < State::padded; k += State::width) {
        const Lane over = beyond(k, centre_V);
        for (int i = 0; i < State::width; ++i) {
            if (!(over.get(i) > Real(0))) continue;
            weight_[k + i] = Real(0);
            state_.fault_bits[k + i] =
                static_cast<std::uint8_t>(state_.fault_bits[k + i] | group_implausible);
        }
    }
    return mean(used);
}

/// Kalman update of each group by its distance from the common voltage, in Joseph form.
template <class Real, int Branches, bool Transfer, int Capacity>
void PackFilter<Real, Branches, Transfer, Capacity>::fuse(Real common_V, const Now& now) noexcept {
    const Real by_share = now.point.overvoltage_V;
    const Lane h1 = Lane::all(by_share);
    const Real lasting = lasting_var(now);
    const Real reading_var =
        square(settings_.group_voltage_std_V) + square(settings_.overvoltage_share_std * by_share);
    for (int k = 0; k < State::padded; k += State::width) {
        const Lane weight = Lane::load_padded(weight_ + k);
        const Lane h0 = Lane::load_padded(slope_V_ + k);
        const Lane p00 = Lane::load_padded(state_.soc_var + k);
        const Lane p01 = Lane::load_padded(state_.covariance + k);
        const Lane p11 = Lane::load_padded(state_.share_var + k);
        const Lane g0 = p00 * h0 + p01 * h1;
        const Lane g1 = p01 * h0 + p11 * h1;
        const Lane known_var = h0 * g0 + h1 * g1;
        Lane used = weight / (known_var + reading_var);
        // What is wrong all the time cannot be averaged out: the nearer the state is known to it,
        // the less a reading tells.
        for (int i = 0; i < State::width; ++i) {
            const Real known = known_var.get(i);
            used.set(i, known > lasting ? used.get(i) * (known - lasting) / known : Real(0));
        }
        const Lane k0 = g0 * used;
        const Lane k1 = g1 * used;
        const Lane off_V = Lane::load_padded(excess_V_ + k) - Lane::all(common_V);
        (Lane::load_padded(state_.soc_difference + k) + k0 * off_V)
            .store_padded(state_.soc_difference + k);
        (Lane::load_padded(state_.resistance_share + k) + k1 * off_V)
            .store_padded(state_.resistance_share + k);
        const Lane a = Real(1) - k0 * h0;
        const Lane b = k0 * h1;
        const Lane c = k1 * h0;
        const Lane d = Real(1) - k1 * h1;
        const Lane m00 = a * p00 - b * p01;
        const Lane m01 = a * p01 - b * p11;
        const Lane m10 = d * p01 - c * p00;
        const Lane m11 = d * p11 - c * p01;
        (m00 * a - m01 * b + k0 * k0 * reading_var).store_padded(state_.soc_var + k);
        (m01 * d - m00 * c + k0 * k1 * reading_var).store_padded(state_.covariance + k);
        (m11 * d - m10 * c + k1 * k1 * reading_var).store_padded(state_.share_var + k);
    }
}

/// Bounds, and groups that were refused for too long.
template <class Real, int Branches, bool Transfer, int Capacity>
void PackFilter<Real, Branches, Transfer, Capacity>::close_books() noexcept {
    std::uint8_t all_bits = 0;
    int used = 0;
    for (int k = 0; k < count_; ++k) {
        std::uint8_t bits = state_.fault_bits[k];
        if (weight_[k] > Real(0)) {
            state_.since_accepted_s[k] = Real(0);
            ++used;
        } else {
            state_.since_accepted_s[k] += state_.since_update_s;
            if ((bits & group_implausible) != 0 &&
                state_.since_accepted_s[k] > settings_.reset_after_s) {
                state_.soc_var[k] = std::max(state_.soc_var[k], square(settings_.reset_soc_std));
                state_.share_var[k] =
                    std::max(state_.share_var[k], square(settings_.resistance_share_std));
                state_.covariance[k] = Real(0);
                state_.since_accepted_s[k] = Real(0);
                ++state_.reset_count;
                bits = static_cast<std::uint8_t>(bits | group_reset);
            }
        }
        Real& d = state_.soc_difference[k];
        Real& share = state_.resistance_share[k];
        if (!detail::within(d, -difference_most, difference_most) ||
            !detail::within(share, share_low, share_high)) {
            d = detail::finite(d) ? detail::bounded(d, -difference_most, difference_most) : Real(0);
            share = detail::finite(share) ? detail::bounded(share, share_low, share_high) : Real(0);
            bits = static_cast<std::uint8_t>(bits | group_bounded);
        }
        // A long time without voltages, or a covariance that no longer is one.
        Real& soc_var = state_.soc_var[k];
        Real& share_var = state_.share_var[k];
        if (!(soc_var <= Real(0.25)) || !(share_var <= Real(1))) {
            soc_var = soc_var <= Real(0.25) ? soc_var : Real(0.25);
            share_var = share_var <= Real(1) ? share_var : Real(1);
            state_.covariance[k] = Real(0);
        }
        state_.fault_bits[k] = bits;
        all_bits = static_cast<std::uint8_t>(all_bits | bits);
    }
    estimate_.used = used;
    estimate_.group_fault_bits = all_bits;
}

template <class Real, int Branches, bool Transfer, int Capacity>
const PackEstimate<Real>& PackFilter<Real, Branches, Transfer, Capacity>::step(
    const PackSample<Real>& sample) noexcept {
    constexpr Real nothing = std::numeric_limits<Real>::quiet_NaN();
    estimate_.updated = false;
    const auto before = reference_.state().cell;
    estimate_.reference = reference_.step(
        {sample.current_A, nothing, sample.temperature_degC, sample.dt_s, sample.current_std_A});
    const std::uint32_t step_bits = estimate_.reference.fault_bits & ~fault_voltage_not_finite;
    estimate_.reference.fault_bits = step_bits;
    if ((step_bits & fault_not_started) != 0) return estimate_;

    // What the filter made of current, temperature and time.
    const Real longest_s = settings_.reference.longest_step_s;
    const Real dt_s = sample.dt_s > Real(0) ? std::min(sample.dt_s, longest_s) : Real(0);
    const Real current_A = reference_.state().last_current_A;
    const Real temperature_degC = reference_.state().last_temperature_degC;
    const Real walked = soc_gain(reference_.cell(), current_A, dt_s);
    state_.walked += walked;
    state_.walked_magnitude += walked < Real(0) ? -walked : walked;
    state_.since_update_s += dt_s;
    if (sample.group_current_A != nullptr && dt_s > Real(0)) {
        for (int k = 0; k < count_; ++k) {
            const Real own = soc_gain(reference_.cell(), sample.group_current_A[k], dt_s) *
                             state_.inverse_capacity[k];
            if (detail::within(own, Real(-1), Real(1))) state_.soc_difference[k] += own;
        }
    }
    // Half a step of slack, as in the filter of one cell.
    if (state_.since_update_s < settings_.reference.update_interval_s - Real(0.5) * dt_s)
        return estimate_;

    take_on(state_.since_update_s);
    Now now{voltage_at(reference_.cell(), reference_.state().cell, current_A, temperature_degC),
            current_A, temperature_degC, dt_s, Real(0)};
    if (sample.lag_s != nullptr) {
        now.step_V = now.point.voltage_V -
                     voltage_at(reference_.cell(), before, current_A, temperature_degC).voltage_V;
    }
    read_voltages(sample, now);
    expect(sample, now);
    Real common = common_V(now);
    bool any = false;
    for (int k = 0; k < count_; ++k)
        any = any || weight_[k] > Real(0);
    if (any) {
        const Real soc_before = reference_.state().cell.soc;
        estimate_.reference =
            reference_.step({current_A, common, temperature_degC, Real(0), sample.current_std_A});
        estimate_.reference.fault_bits |= step_bits;
        const Real moved = reference_.state().cell.soc - soc_before;
        if (square(moved) > square(Real(1e-3))) {
            // The groups are on another piece of the curve now.
            now.point =
                voltage_at(reference_.cell(), reference_.state().cell, current_A, temperature_degC);
            expect(sample, now);
            common = common_V(now);
        }
        fuse(common, now);
    } else {
        estimate_.reference.fault_bits |= fault_voltage_not_finite;
    }
    close_books();
    state_.since_update_s = Real(0);
    estimate_.updated = true;
    return estimate_;
}

}  // namespace voltkeel
