#pragma once
/// \file sigma_filter.hpp
/// The filter of soc_filter.hpp with points instead of derivatives, behind the same calls and with
/// the same settings: a cross-check, and an alternative where the OCV is strongly curved within the
/// spread of the SOC.
///
/// 2 n points at mean +- sqrt(n) times the columns of the Cholesky factor, all of weight 1 / (2 n),
/// go through model step and voltage. Source: Arasaratnam, Haykin, IEEE Trans. Automatic Control 54
/// (2009) 1254-1269, cubature Kalman filter (from memory, not re-read). It costs 2 n model steps a
/// sample where the derivatives cost one.

#include <cmath>
#include <cstdint>

#include "voltkeel/cell/model.hpp"
#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// SOC filter of one cell by sigma points.
template <class Real, int Branches, bool Transfer = false>
class SigmaFilter {
  public:
    using Derivatives = SocFilter<Real, Branches, Transfer>;
    using Parameters = typename Derivatives::Parameters;
    using State = typename Derivatives::State;
    using Settings = typename Derivatives::Settings;
    static constexpr int lags = State::lags;
    static constexpr int size = State::size;

    /// See SocFilter::configure.
    [[nodiscard]] Status configure(const Parameters& cell, const Settings& settings = {}) noexcept {
        const Status status = opening_.configure(cell, settings);
        if (status == Status::ok) state_ = State{};
        return status;
    }
    /// See SocFilter::start.
    [[nodiscard]] Status start(Real soc, Real soc_std, Real temperature_degC) noexcept {
        return opened(opening_.start(soc, soc_std, temperature_degC));
    }
    /// Starts in the middle of use; see SocFilter::start_under_load.
    [[nodiscard]] Status start_under_load(Real soc, Real soc_std, const UseAround<Real>& use,
                                          Real temperature_degC) noexcept {
        return opened(opening_.start_under_load(soc, soc_std, use, temperature_degC));
    }
    /// See SocFilter::start_from_voltage.
    [[nodiscard]] Status start_from_voltage(Real voltage_V, Real current_A,
                                            Real temperature_degC) noexcept {
        return opened(opening_.start_from_voltage(voltage_V, current_A, temperature_degC));
    }
    /// See SocFilter::restore.
    [[nodiscard]] Status restore(const State& state) noexcept {
        return opened(opening_.restore(state));
    }

    /// Takes one sample.
    const SocEstimate<Real>& step(const CellSample<Real>& sample) noexcept;

    [[nodiscard]] const SocEstimate<Real>& estimate() const noexcept { return estimate_; }
    [[nodiscard]] const State& state() const noexcept { return state_; }
    [[nodiscard]] const Parameters& cell() const noexcept { return opening_.cell(); }
    [[nodiscard]] const Settings& settings() const noexcept { return opening_.settings(); }

  private:
    static constexpr int at_hysteresis = lags;
    static constexpr int at_soc = lags + 1;
    static constexpr int at_scale = lags + 2;
    static constexpr int points = 2 * size;
    static constexpr Real square(Real x) noexcept { return x * x; }
    [[nodiscard]] Status opened(Status status) noexcept {
        if (status == Status::ok) {
            state_ = opening_.state();
            estimate_ = opening_.estimate();
        }
        return status;
    }
    /// Distance of each point from the mean.
    void spread_points() noexcept;
    [[nodiscard]] CellState<Real, Branches, Transfer> cell_at(int point) const noexcept {
        CellState<Real, Branches, Transfer> x = state_.cell;
        for (int i = 0; i < lags; ++i)
            x.branch_V[i] += off_[point][i];
        x.hysteresis =
            detail::bounded(x.hysteresis + off_[point][at_hysteresis], Real(-1), Real(1));
        x.soc += off_[point][at_soc];
        x.resistance_scale = modest_exponential(
            detail::bounded(state_.log_scale + off_[point][at_scale], Real(-1.5), Real(1.5)));
        return x;
    }
    void predict(const CellInput<Real>& input) noexcept;
    void publish() noexcept {
        estimate_.soc = detail::bounded(state_.cell.soc, Real(0), Real(1));
        estimate_.soc_std =
            std::sqrt(state_.spread(at_soc, at_soc) + square(settings().soc_std_floor));
        estimate_.resistance_scale = state_.cell.resistance_scale;
        estimate_.log_scale_std = std::sqrt(state_.spread(at_scale, at_scale));
    }

    Derivatives opening_{};  ///< Cell, settings, and how a filter starts.
    State state_{};
    SocEstimate<Real> estimate_{};
    static constexpr int row =
        (size + 3) / 4 * 4;  ///< Whole packets: gcc 12 adds rows as if they were aligned.
    alignas(16) Real off_[points][row]{};
};

template <class Real, int Branches, bool Transfer>
void SigmaFilter<Real, Branches, Transfer>::spread_points() noexcept {
    // Cholesky, column by column; a variance of nothing gives a column of nothing.
    Real factor[size][size]{};
    for (int k = 0; k < size; ++k) {
        Real pivot = state_.spread(k, k);
        for (int j = 0; j < k; ++j)
            pivot -= square(factor[k][j]);
        if (!(pivot > Real(0))) continue;
        const Real root = std::sqrt(pivot);
        factor[k][k] = root;
        for (int i = k + 1; i < size; ++i) {
            Real sum = state_.spread(i, k);
            for (int j = 0; j < k; ++j)
                sum -= factor[i][j] * factor[k][j];
            factor[i][k] = sum / root;
        }
    }
    const Real reach = std::sqrt(static_cast<Real>(size));
    for (int k = 0; k < size; ++k) {
        for (int i = 0; i < size; ++i) {
            off_[2 * k][i] = reach * factor[i][k];
            off_[2 * k + 1][i] = -reach * factor[i][k];
        }
    }
}

template <class Real, int Branches, bool Transfer>
void SigmaFilter<Real, Branches, Transfer>::predict(const CellInput<Real>& input) noexcept {
    const Settings& s = settings();
    const AxisPosition<Real> temperature =
        locate(cell().resistance.temperature_degC, input.temperature_degC);
    spread_points();
    auto middle = state_.cell;
    StepJacobian<Real, Branches, Transfer> j;
    voltkeel::step(cell(), input, temperature, middle, &j);
    // What a point ends up from the middle one; SOC and ln r keep their distance to the last bit.
    for (int p = 0; p < points; ++p) {
        auto x = cell_at(p);
        voltkeel::step(cell(), input, temperature, x);
        for (int i = 0; i < lags; ++i)
            off_[p][i] = x.branch_V[i] - middle.branch_V[i];
        off_[p][at_hysteresis] = x.hysteresis - middle.hysteresis;
    }
    Real mean[size]{};
    for (int i = 0; i <= at_hysteresis; ++i) {
        for (int p = 0; p < points; ++p)
            mean[i] += off_[p][i];
        mean[i] /= static_cast<Real>(points);
    }
    state_.cell = middle;
    for (int i = 0; i < lags; ++i)
        state_.cell.branch_V[i] += mean[i];
    state_.cell.hysteresis =
        detail::bounded(state_.cell.hysteresis + mean[at_hysteresis], Real(-1), Real(1));
    for (int i = 0; i < size; ++i) {
        for (int k = 0; k <= i; ++k) {
            Real sum = 0;
            for (int p = 0; p < points; ++p)
                sum += (off_[p][i] - mean[i]) * (off_[p][k] - mean[k]);
            state_.spread(i, k) = sum / static_cast<Real>(points);
        }
    }
    // The same model errors as with derivatives.
    for (int i = 0; i < lags; ++i) {
        const Real kept = j.branch_by_branch[i];
        state_.spread(i, i) +=
            (Real(1) - square(kept)) *
            (square(s.branch_share_std * j.branch_end_V[i]) + square(s.rest_std_V));
    }
    state_.spread(at_hysteresis, at_hysteresis) +=
        (Real(1) - square(j.hysteresis_by_hysteresis)) * square(s.hysteresis_std_walked);
    const Real hours = input.dt_s * (Real(1) / seconds_per_hour<Real>);
    state_.spread(at_soc, at_soc) += square(s.soc_std_per_sqrt_h) * hours;
    state_.spread(at_scale, at_scale) += square(s.log_scale_std_per_sqrt_h) * hours;
    for (const int at : {at_soc, at_scale}) {
        const Real most = at == at_soc ? Real(0.25) : Real(1);
        if (!(state_.spread(at, at) > most)) continue;
        const Real share = std::sqrt(most / state_.spread(at, at));
        for (int k = 0; k < size; ++k)
            state_.spread(at, k) *= share;
        state_.spread(at, at) = most;
    }
}

template <class Real, int Branches, bool Transfer>
const SocEstimate<Real>& SigmaFilter<Real, Branches, Transfer>::step(
    const CellSample<Real>& sample) noexcept {
    estimate_.updated = false;
    estimate_.fault_bits = 0;
    if (!state_.started) {
        estimate_.fault_bits = fault_not_started;
        return estimate_;
    }
    const Settings& s = settings();
    CellInput<Real> input{sample.current_A, sample.dt_s, sample.temperature_degC};
    const Real most_A = Real(1000) * cell().capacity_Ah;
    if (!detail::within(input.current_A, -most_A, most_A)) {
        estimate_.fault_bits |= fault_current_not_finite;
        input.current_A = state_.last_current_A;
    }
    if (!detail::within(input.temperature_degC, Real(-100), Real(200))) {
        estimate_.fault_bits |= fault_temperature_not_finite;
        input.temperature_degC = state_.last_temperature_degC;
    }
    if (!(input.dt_s >= Real(0)) || input.dt_s > s.longest_step_s) {
        estimate_.fault_bits |= fault_time_step_invalid;
        input.dt_s = input.dt_s > Real(0) ? s.longest_step_s : Real(0);
    }
    state_.last_current_A = input.current_A;
    state_.last_temperature_degC = input.temperature_degC;
    state_.since_update_s += input.dt_s;
    state_.since_accepted_s += input.dt_s;
    if (input.dt_s > Real(0)) predict(input);

    spread_points();
    Real point_V[points];
    Real mean_V = 0;
    const auto middle = voltage_at(cell(), state_.cell, input.current_A, input.temperature_degC);
    if (!middle.temperature_inside) estimate_.fault_bits |= fault_temperature_outside;
    for (int p = 0; p < points; ++p) {
        // From the middle, so that a float keeps its digits.
        point_V[p] =
            voltage_at(cell(), cell_at(p), input.current_A, input.temperature_degC).voltage_V -
            middle.voltage_V;
        mean_V += point_V[p];
    }
    mean_V /= static_cast<Real>(points);
    Real with_voltage[size]{};
    Real innovation_var =
        square(low_soc_factor(s, state_.cell.soc)) *
        (square(s.voltage_std_V) + square(s.overvoltage_share_std * middle.overvoltage_V));
    for (int p = 0; p < points; ++p) {
        const Real off_V = point_V[p] - mean_V;
        innovation_var += square(off_V) / static_cast<Real>(points);
        for (int i = 0; i < size; ++i)
            with_voltage[i] += off_[p][i] * off_V / static_cast<Real>(points);
    }
    estimate_.voltage_predicted_V = middle.voltage_V + mean_V;
    estimate_.innovation_std_V = std::sqrt(innovation_var);
    if (!detail::within(sample.voltage_V, Real(-1000), Real(1000))) {
        estimate_.innovation_V = Real(0);
        estimate_.test_ratio = Real(0);
        estimate_.fault_bits |= fault_voltage_not_finite;
    } else {
        const Real innovation_V = sample.voltage_V - estimate_.voltage_predicted_V;
        estimate_.innovation_V = innovation_V;
        estimate_.test_ratio = square(innovation_V) / (innovation_var * square(s.gate));
        if (state_.since_update_s >= s.update_interval_s - Real(0.5) * input.dt_s) {
            state_.since_update_s = Real(0);
            if (estimate_.test_ratio <= Real(1)) {
                for (int i = 0; i < size; ++i) {
                    for (int k = 0; k <= i; ++k)
                        state_.spread(i, k) -= with_voltage[i] * with_voltage[k] / innovation_var;
                    // Against rounding, which can leave a tiny variance below zero.
                    if (!(state_.spread(i, i) > Real(1e-12))) state_.spread(i, i) = Real(1e-12);
                }
                const Real per_V = innovation_V / innovation_var;
                auto& x = state_.cell;
                add_compensated(x.soc, x.soc_carry, with_voltage[at_soc] * per_V);
                for (int i = 0; i < lags; ++i)
                    x.branch_V[i] += with_voltage[i] * per_V;
                x.hysteresis = detail::bounded(x.hysteresis + with_voltage[at_hysteresis] * per_V,
                                               Real(-1), Real(1));
                state_.log_scale = detail::bounded(
                    state_.log_scale + with_voltage[at_scale] * per_V, Real(-1.5), Real(1.5));
                x.resistance_scale = modest_exponential(state_.log_scale);
                state_.since_accepted_s = Real(0);
                ++state_.update_count;
                estimate_.updated = true;
            } else {
                estimate_.fault_bits |= fault_voltage_rejected;
                ++state_.rejected_count;
                if (state_.since_accepted_s > s.reset_after_s) {
                    state_.last_reset_soc_std = std::sqrt(state_.spread(at_soc, at_soc));
                    for (int i = 0; i < size; ++i) {
                        for (int k = 0; k < i; ++k)
                            state_.spread(i, k) = Real(0);
                    }
                    Real& soc_var = state_.spread(at_soc, at_soc);
                    Real& scale_var = state_.spread(at_scale, at_scale);
                    if (soc_var < square(s.reset_soc_std)) soc_var = square(s.reset_soc_std);
                    if (scale_var < square(s.log_scale_std_initial))
                        scale_var = square(s.log_scale_std_initial);
                    ++state_.reset_count;
                    state_.since_accepted_s = Real(0);
                    estimate_.fault_bits |= fault_reset;
                }
            }
        }
    }
    if (!detail::within(state_.cell.soc, State::soc_low, State::soc_high)) {
        state_.hold_soc();
        estimate_.fault_bits |= fault_soc_bounded;
    }
    publish();
    return estimate_;
}

}  // namespace voltkeel
