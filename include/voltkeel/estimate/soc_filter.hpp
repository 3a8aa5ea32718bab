#pragma once
/// \file soc_filter.hpp
/// State of charge of one cell from current, voltage and temperature: an extended Kalman filter on
/// [soc, u_1 .. u_N, h, ln r], with w of the charge transfer among the u_i when the cell has it.
///
/// Prediction at every sample with the exact model step; the voltage is fused no faster than its
/// errors decorrelate
/// (`update_interval_s`). Scalar update in Joseph form, innovation gate, voltage spread that grows
/// with the present overvoltage. Whatever comes in, the state stays finite. Source of the filter
/// equations: Bar-Shalom, Li, Kirubarajan, Estimation with Applications to Tracking and Navigation
/// (2001), ch. 5 and eq. 5.2.3-18 (Joseph form) (from memory, not re-read).

#include <cmath>
#include <cstdint>
#include <limits>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/estimate/symmetric_matrix.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Bits of the loggable fault word. Numbers are frozen. "Not finite" includes what no cell can
/// have: more than a thousand times the capacity per hour, a thousand volts, outside -100 .. 200
/// degC.
enum FaultBit : std::uint32_t {
    fault_current_not_finite =
        1U << 0U,  ///< Current was NaN or infinite: the last good one was used.
    fault_voltage_not_finite = 1U << 1U,  ///< Voltage was NaN or infinite: no update.
    fault_temperature_not_finite =
        1U << 2U,  ///< Temperature was NaN or infinite: the last good one was used.
    fault_time_step_invalid =
        1U << 3U,  ///< dt negative, NaN or beyond `longest_step_s`: taken as 0 or the bound.
    fault_voltage_rejected = 1U << 4U,  ///< The innovation gate refused the voltage.
    fault_reset = 1U << 5U,  ///< Refused for too long: the spread of the state was opened again.
    fault_soc_bounded = 1U << 6U,  ///< The SOC ran into its bound and was held there.
    fault_temperature_outside =
        1U << 7U,                  ///< Temperature outside the resistance table: nearest edge used.
    fault_not_started = 1U << 8U,  ///< step() before start().
};

/// Knobs of the filter; every one has a default that needs no tuning for a fitted cell.
template <class Real>
struct SocFilterSettings {
    Real voltage_std_V{Real(0.02)};          ///< Constant part of the voltage model error, > 0.
    Real overvoltage_share_std{Real(0.25)};  ///< Part that grows with |overvoltage|, >= 0.
    Real update_interval_s{1};               ///< The voltage is fused at most this often, >= 0.
    Real gate{5};  ///< Innovations beyond this many standard deviations are refused, > 0.
    Real reset_after_s{120};  ///< After this long without an accepted voltage the spread is opened.
    Real reset_soc_std{Real(0.2)};  ///< SOC spread after such an opening.
    /// Growth of SOC spread by counting alone: a current sensor that is 1 % of 1C off, or a
    /// capacity that has faded by 2.5 % since it was tested.
    Real soc_std_per_sqrt_h{Real(0.01)};
    Real branch_share_std{
        Real(0.1)};  ///< Model error of a branch as a share of its end value R_i |I|.
    Real log_scale_std_per_sqrt_h{Real(0.2)};  ///< Random walk of ln r.
    Real log_scale_initial{0};               ///< ln r at the start: what age is known to have left.
    Real log_scale_std_initial{Real(0.15)};  ///< Spread of ln r at the start.
    Real hysteresis_std_initial{
        Real(0.6)};  ///< Spread of h at the start (0.58 is "anywhere in -1..1").
    Real hysteresis_std_walked{
        Real(0.05)};               ///< Spread of h that is left after a long walk one way.
    Real rest_std_V{Real(0.005)};  ///< Spread left in each branch when started at rest.
    Real soc_std_floor{
        Real(0.007)};  ///< Added in square to the reported SOC spread: what no model knows.
    /// Near empty the model errs more, in OCV and in resistances that rise steeply: below this SOC
    /// `voltage_std_V` and `overvoltage_share_std` grow in a straight line,
    Real low_soc{Real(0.3)};
    Real low_soc_growth{3};            ///< by this many times themselves when empty, >= 0.
    Real longest_step_s{Real(86400)};  ///< A longer time step is a fault.
    /// Predicted voltage, innovation and test ratio for every sample. Without, they are those of
    /// the last voltage tried, and the steps in between cost less than half.
    bool trace_every_sample{false};
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const SocFilterSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"voltage_std_V", s.voltage_std_V, Real(1e-5), Real(1)},
        {"overvoltage_share_std", s.overvoltage_share_std, Real(0), Real(10)},
        {"update_interval_s", s.update_interval_s, Real(0), Real(3600)},
        {"gate", s.gate, Real(1), Real(100)},
        {"reset_after_s", s.reset_after_s, Real(1), Real(1e6)},
        {"reset_soc_std", s.reset_soc_std, Real(0), Real(1)},
        {"soc_std_per_sqrt_h", s.soc_std_per_sqrt_h, Real(0), Real(1)},
        {"branch_share_std", s.branch_share_std, Real(0), Real(10)},
        {"log_scale_std_per_sqrt_h", s.log_scale_std_per_sqrt_h, Real(0), Real(10)},
        {"log_scale_initial", s.log_scale_initial, Real(-1.5), Real(1.5)},
        {"log_scale_std_initial", s.log_scale_std_initial, Real(0), Real(3)},
        {"hysteresis_std_initial", s.hysteresis_std_initial, Real(0), Real(1)},
        {"hysteresis_std_walked", s.hysteresis_std_walked, Real(0), Real(1)},
        {"rest_std_V", s.rest_std_V, Real(0), Real(1)},
        {"soc_std_floor", s.soc_std_floor, Real(0), Real(1)},
        {"low_soc", s.low_soc, Real(1e-3), Real(1)},
        {"low_soc_growth", s.low_soc_growth, Real(0), Real(100)},
        {"longest_step_s", s.longest_step_s, Real(1e-3), Real(1e7)},
    };
    return detail::first_outside(rows);
}

/// Factor on the model error at a SOC; see `low_soc`.
template <class Real>
[[nodiscard]] constexpr Real low_soc_factor(const SocFilterSettings<Real>& settings,
                                            Real soc) noexcept {
    const Real below = Real(1) - soc / settings.low_soc;
    return below > Real(0) ? Real(1) + settings.low_soc_growth * below : Real(1);
}

/// One row of measurements. Current flowed during the `dt_s` that end now.
template <class Real>
struct CellSample {
    Real current_A{0};  ///< Positive charges.
    Real voltage_V{0};
    Real temperature_degC{25};
    Real dt_s{0};  ///< Since the sample before; 0 for the first.
    /// How far the current may be off for as long as the step lasts, beyond what the filter allows
    /// for anyway: the word of who had to replace it.
    Real current_std_A{0};
};

/// What is known where a filter starts in the middle of use.
template <class Real>
struct UseAround {
    Real mean_current_A{0};  ///< Of the minutes around; positive charges.
    /// Root of the mean square over the same minutes: how far the branches may be from where the
    /// mean leads. No less than the mean and C/2 is taken.
    Real rms_current_A{0};
    /// One reading of now; without a voltage (NaN) the first step finds it.
    Real voltage_V{std::numeric_limits<Real>::quiet_NaN()};
    Real current_A{0};  ///< Of that reading.
};

/// What comes back from each sample.
template <class Real>
struct SocEstimate {
    Real soc{0};      ///< In [0, 1].
    Real soc_std{0};  ///< One standard deviation, floor included.
    /// Before the voltage of this sample was used. This and the next three without
    /// `trace_every_sample`: of the last sample whose voltage was tried.
    Real voltage_predicted_V{0};
    Real innovation_V{0};         ///< Measured minus predicted; 0 when the voltage was not finite.
    Real innovation_std_V{0};     ///< Its expected standard deviation.
    Real test_ratio{0};           ///< (innovation / (gate * std))^2; above 1 is refused.
    Real resistance_scale{1};     ///< r.
    Real log_scale_std{0};        ///< Standard deviation of ln r.
    bool updated{false};          ///< The voltage of this sample was fused.
    std::uint32_t fault_bits{0};  ///< See FaultBit; this sample only.
};

/// Everything that must survive between samples.
template <class Real, int Branches, bool Transfer = false>
struct SocFilterState {
    static constexpr int lags = lag_count<Branches, Transfer>;
    static constexpr int size = lags + 3;  ///< [soc, u_1 .. u_N, (w,) h, ln r]
    // Places in `spread`; the branches come first.
    static constexpr int at_hysteresis = lags;
    static constexpr int at_soc = lags + 1;
    static constexpr int at_scale = lags + 2;
    using Moving = detail::Lanes<Real, lags + 1>;  ///< Branches and hysteresis.
    CellState<Real, Branches, Transfer> cell{};
    Real log_scale{0};  ///< ln r.
    /// Covariance in the order [u_1 .. u_N, (w,) h, soc, ln r]: what moves in a step comes first.
    SymmetricMatrix<Real, size> spread{};
    /// Steps that have not been worked into the covariances of branches and hysteresis yet.
    struct Pending {
        Moving kept;        ///< d of the steps so far: product of their own.
        Moving noise;       ///< Variance that came in.
        Real soc_noise{0};  ///< The same of the SOC.
        int steps{0};
    } pending{};
    /// Covariance of entries i and k of [soc, u_1 .. u_N, (w,) h, ln r], pending steps included.
    [[nodiscard]] Real covariance(int i, int k) const noexcept {
        const auto place = [](int at) { return at == 0 ? at_soc : (at <= at_soc ? at - 1 : at); };
        const int a = place(i) >= place(k) ? place(i) : place(k);
        const int b = place(i) >= place(k) ? place(k) : place(i);
        if (pending.steps == 0) return spread(a, b);
        const auto kept = [&](int at) { return at < at_soc ? pending.kept.get(at) : Real(1); };
        // In the order in which it is worked in, to the same bits.
        const Real own = kept(b) * (kept(a) * spread(a, b));
        if (a != b || a > at_soc) return own;
        return own + (a < at_soc ? pending.noise.get(a) : pending.soc_noise);
    }
    /// Works the pending steps into the covariance.
    void work_in_pending() noexcept {
        if (pending.steps > 0) work_in(pending.kept, pending.noise, pending.soc_noise);
    }
    /// Works steps into the covariance, those that were pending among them:
    ///     (F P F^T)_ik = d_k d_i P_ik
    /// SOC and ln r keep their value (d = 1).
    void work_in(const Moving& d, const Moving& noise, Real soc_noise) noexcept {
        auto& p = spread;
        detail::for_each_place<lags + 1>([&](auto place) {
            constexpr int i = decltype(place)::value;
            auto row = d.template resized<i + 1>() * (d.get(i) * p.template load_row<i>());
            row.add(i, noise.get(i));
            p.template store_row<i>(row);
        });
        const Real soc_var = p(at_soc, at_soc);
        const Moving soc_row = Moving::load_padded(p.lower + p.row(at_soc));
        (d * soc_row).store_padded(p.lower + p.row(at_soc));
        {
            const Moving scale_row = Moving::load_padded(p.lower + p.row(at_scale));
            const Real scale_with_soc = p(at_scale, at_soc);
            const Real scale_var = p(at_scale, at_scale);
            (d * scale_row).store_padded(p.lower + p.row(at_scale));
            // A packet may reach over both.
            p(at_scale, at_soc) = scale_with_soc;
            p(at_scale, at_scale) = scale_var;
        }
        p(at_soc, at_soc) = soc_var + soc_noise;
        pending.steps = 0;
        pending.soc_noise = Real(0);
        bound_variance(at_soc, Real(0.25));
    }
    /// Bounds a variance. The covariances with it shrink alike: cut down alone, it would leave a
    /// matrix that is no covariance, and a negative variance of the innovation.
    void bound_variance(int at, Real most) noexcept {
        if (spread(at, at) > most) shrink(at, most);
    }
    [[gnu::noinline, gnu::cold]] void shrink(int at, Real most) noexcept {
        auto& p = spread;
        const Real share = std::sqrt(most / p(at, at));
        for (int k = 0; k < size; ++k)
            p(at, k) *= share;
        p(at, at) = most;
    }
    // The state may run a little past empty and full: capacity is never known exactly.
    static constexpr Real soc_low = Real(-0.02);
    static constexpr Real soc_high = Real(1.02);
    /// Puts a SOC beyond a bound to it, and with it the branches as the covariance says: a voltage
    /// that the SOC cannot explain any more is one of theirs. Projection with the inverse
    /// covariance for a weight: D. Simon, Kalman filtering with state constraints, IET Control
    /// Theory & Applications 4 (2010), sec. 2.3 (from memory, not re-read). Of a way longer than
    /// three standard deviations the covariance knows nothing: less and less goes along.
    [[gnu::noinline, gnu::cold]] void hold_soc() noexcept {
        const Real at = cell.soc < soc_low ? soc_low : soc_high;
        const Real way = at - cell.soc;
        const Real way_var = way * way / Real(9);
        const Real soc_var = spread(at_soc, at_soc);
        const Real share = way / (soc_var > way_var ? soc_var : way_var);
        for (int i = 0; i < lags; ++i) {
            const Real kept = pending.steps > 0 ? pending.kept.get(i) : Real(1);
            cell.branch_V[i] += share * kept * spread(at_soc, i);
        }
        cell.soc = at;
        cell.soc_carry = Real(0);
    }
    Real since_update_s{0};    ///< Time since the voltage was last tried.
    Real since_accepted_s{0};  ///< Time since a voltage was last accepted.
    Real last_current_A{0};
    Real last_temperature_degC{25};
    std::uint32_t update_count{0};
    std::uint32_t rejected_count{0};
    std::uint32_t reset_count{0};
    Real last_reset_soc_std{0};  ///< SOC spread just before the last reset.
    bool started{false};
};

/// SOC filter of one cell.
///
///     SocFilter<float, 3> filter;
///     Status s = filter.configure(cell, {});
///     s = filter.start(0.8F, 0.05F, 25.0F);            // or start_from_voltage(...)
///     const SocEstimate<float>& e = filter.step({current_A, voltage_V, temperature_degC, dt_s});
template <class Real, int Branches, bool Transfer = false>
class SocFilter {
  public:
    using Parameters = CellParameters<Real, Branches, Transfer>;
    using State = SocFilterState<Real, Branches, Transfer>;
    using Settings = SocFilterSettings<Real>;
    static constexpr int lags = State::lags;
    static constexpr int size = State::size;

    /// Sets cell and knobs; the cell's tables must outlive the filter. On failure nothing changes.
    [[nodiscard]] Status configure(const Parameters& cell, const Settings& settings = {}) noexcept {
        const Finding<Real> cell_finding = validate(cell);
        if (cell_finding.status != Status::ok) return cell_finding.status;
        const Finding<Real> settings_finding = validate(settings);
        if (settings_finding.status != Status::ok) return settings_finding.status;
        cell_ = cell;
        settings_ = settings;
        inverse_gate_ = Real(1) / square(settings.gate);
        most_current_A_ = Real(1000) * cell.capacity_Ah;
        voltage_var_ = square(settings.voltage_std_V);
        steady_var_ = Moving::all(square(settings.rest_std_V));
        steady_var_.set(at_hysteresis, square(settings.hysteresis_std_walked));
        soc_floor_var_ = square(settings.soc_std_floor);
        soc_var_per_s_ = square(settings.soc_std_per_sqrt_h) / seconds_per_hour<Real>;
        scale_var_per_s_ = square(settings.log_scale_std_per_sqrt_h) / seconds_per_hour<Real>;
        state_ = State{};
        return Status::ok;
    }

    /// Starts at rest from a known SOC.
    /// \param soc 0..1 \param soc_std its standard deviation, 0..1
    [[nodiscard]] Status start(Real soc, Real soc_std, Real temperature_degC) noexcept {
        if (cell_.ocv.nodes == nullptr) return Status::missing_table;
        if (!detail::finite(soc) || !detail::finite(soc_std) ||
            !possible_temperature(temperature_degC)) {
            return Status::sample_not_finite;
        }
        if (soc < Real(0) || soc > Real(1) || soc_std < Real(0) || soc_std > Real(1))
            return Status::out_of_range;
        begin(soc, soc_std * soc_std, Real(0), temperature_degC);
        return Status::ok;
    }

    /// Starts in the middle of use, from a SOC, the current of the minutes around and, best, one
    /// reading of now. Every branch has gone the way to where the mean current leads that its time
    /// constant comes in an hour of use (the share 1 h / (1 h + time constant)), give or take what
    /// 0.55 to 0.75 of the rms current does; branches are off alike, the more so the nearer their
    /// time constants. Of these numbers the hour is an assumption; the others are those of the
    /// driving cycles of UN GTR 15 (DEVELOPERS.md, "In the middle of use"). Branches and
    /// resistances are taken where SOC, reading and all this agree best, not where the SOC was
    /// told; the reading is used up.
    /// \param soc 0..1; where nothing is known 0.5 \param soc_std its standard deviation, 0..1;
    /// where nothing is known 0.3
    [[nodiscard]] Status start_under_load(Real soc, Real soc_std, const UseAround<Real>& use,
                                          Real temperature_degC) noexcept;

    /// Starts from one voltage. At rest this is the OCV; under load the resistances at that place
    /// are taken off, with a spread that says how little is known of the branches then.
    [[nodiscard]] Status start_from_voltage(Real voltage_V, Real current_A,
                                            Real temperature_degC) noexcept {
        if (cell_.ocv.nodes == nullptr) return Status::missing_table;
        if (!possible_voltage(voltage_V) || !possible_current(current_A) ||
            !possible_temperature(temperature_degC)) {
            return Status::sample_not_finite;
        }
        Real soc = Real(0.5);
        (void)soc_from_ocv(cell_.ocv, voltage_V, temperature_degC, Real(0), soc);
        const Real scale = modest_exponential(settings_.log_scale_initial);
        Real branches_V = 0;
        Real ohmic_V = 0;
        Real open_V = voltage_V;
        // Resistance depends on the SOC sought: three rounds settle it.
        for (int pass = 0; pass < 3; ++pass) {
            const auto point = resistance_at(cell_.resistance, soc, temperature_degC);
            ohmic_V = scale * point.value.r0_ohm * current_A;
            branches_V = Real(0);
            for (int i = 0; i < lags; ++i)
                branches_V += scale * end_V(point.value, i, current_A);
            open_V = voltage_V - ohmic_V - Real(0.5) * branches_V;
            (void)soc_from_ocv(cell_.ocv, open_V, temperature_degC, Real(0), soc);
        }
        const OcvPoint<Real> ocv = ocv_at(cell_.ocv, soc, temperature_degC);
        const Real spread_V2 = square(settings_.voltage_std_V) + square(Real(0.3) * ohmic_V) +
                               square(Real(0.5) * branches_V) + square(ocv.half_gap_V);
        const Real soc_var = square(soc_std_from_ocv(cell_.ocv, open_V, detail::root(spread_V2),
                                                     temperature_degC, Real(0), soc));
        begin(soc, soc_var < Real(0.09) ? soc_var : Real(0.09), current_A, temperature_degC);
        return Status::ok;
    }

    /// Goes on from a stored state. \return not_finite or out_of_range for one that cannot be; then
    /// nothing changes
    [[nodiscard]] Status restore(const State& state) noexcept;

    /// Takes one sample.
    /// Flattened: with the model step in sight the compiler drops the derivatives nobody asks for.
    [[gnu::flatten]] const SocEstimate<Real>& step(const CellSample<Real>& sample) noexcept;

    [[nodiscard]] const SocEstimate<Real>& estimate() const noexcept { return estimate_; }
    [[nodiscard]] const State& state() const noexcept { return state_; }
    [[nodiscard]] const Parameters& cell() const noexcept { return cell_; }
    [[nodiscard]] const Settings& settings() const noexcept { return settings_; }

  private:
    static constexpr int at_hysteresis = State::at_hysteresis;
    static constexpr int at_soc = State::at_soc;
    static constexpr int at_scale = State::at_scale;
    /// One number for each entry of the state.
    using Column = detail::Lanes<Real, size>;
    using Moving = typename State::Moving;
    static constexpr int most_pending = 32;
    static constexpr Real soc_low = State::soc_low;
    static constexpr Real soc_high = State::soc_high;

    static constexpr Real square(Real x) noexcept { return x * x; }
    [[nodiscard]] bool possible_current(Real current_A) const noexcept {
        return std::abs(current_A) <= most_current_A_;
    }
    static constexpr bool possible_voltage(Real voltage_V) noexcept {
        return std::abs(voltage_V) <= Real(1000);
    }
    static constexpr bool possible_temperature(Real temperature_degC) noexcept {
        return detail::within(temperature_degC, Real(-100), Real(200));
    }

    /// Where overvoltage `i` is heading under a current.
    static Real end_V(const ResistanceNode<Real, Branches, Transfer>& node, int i,
                      Real current_A) noexcept {
        if constexpr (Transfer) {
            if (i == Branches) return charge_transfer_end_V(node.transfer, current_A);
        }
        return node.branch_ohm[i] * current_A;
    }

    void begin(Real soc, Real soc_var, Real current_A, Real temperature_degC) noexcept {
        state_ = State{};
        state_.cell.soc = soc;
        state_.log_scale = settings_.log_scale_initial;
        state_.cell.resistance_scale = modest_exponential(state_.log_scale);
        state_.last_temperature_degC = temperature_degC;
        state_.last_current_A = current_A;
        auto& p = state_.spread;
        p(at_soc, at_soc) = soc_var;
        const auto point = resistance_at(cell_.resistance, soc, temperature_degC);
        for (int i = 0; i < lags; ++i) {
            // Under load a branch lies somewhere between nothing and its end value.
            const Real middle = Real(0.5) * end_V(point.value, i, current_A);
            state_.cell.branch_V[i] = middle;
            p(i, i) = square(settings_.rest_std_V) + square(middle);
        }
        p(at_hysteresis, at_hysteresis) = square(settings_.hysteresis_std_initial);
        p(at_scale, at_scale) = square(settings_.log_scale_std_initial);
        state_.since_update_s = settings_.update_interval_s;
        state_.started = true;
        estimate_ = SocEstimate<Real>{};
        publish();
    }

    using Node = ResistanceNode<Real, Branches, Transfer>;
    static Real lag_time_s(const Node& node, int i) noexcept {
        if constexpr (Transfer) {
            if (i == Branches) return node.transfer.time_s;
        }
        return node.branch_time_s[i];
    }
    void begin_in_use(Real soc, Real soc_var, const UseAround<Real>& use,
                      Real temperature_degC) noexcept;

    using Place = ResistancePlace<Real, Branches, Transfer>;
    /// What a voltage would tell.
    struct Outlook {
        VoltagePoint<Real, Branches, Transfer> predicted;
        Column ph;            ///< g = P H^T.
        Real innovation_var;  ///< H g + R.
    };
    [[nodiscard]] Outlook outlook(Real current_A, Real temperature_degC,
                                  const Place& place) const noexcept;
    void predict(const CellInput<Real>& input, const AxisPosition<Real>& temperature, Place& place,
                 bool awaited) noexcept;
    void try_voltage(const CellInput<Real>& input, const Place& place, Real voltage_V,
                     Real current_std_A, bool possible, bool fusing) noexcept;
    void fuse(Real innovation_V, Real innovation_var, Real inverse_var, const Column& ph) noexcept;
    [[gnu::noinline, gnu::cold]] void open_spread() noexcept;
    /// A doubtful current is off the same way for minutes: so many voltages count as one.
    static constexpr Real doubt_repeats = Real(400);
    /// Charge that may not have flowed: the same sign for as long as it lasts, so spreads add up.
    void doubt_charge(Real charge_As_std) noexcept {
        auto& p = state_.spread;
        const Real more = charge_As_std / (seconds_per_hour<Real> * cell_.capacity_Ah);
        p(at_soc, at_soc) = square(std::sqrt(p(at_soc, at_soc)) + more);
        state_.bound_variance(at_soc, Real(0.25));
    }
    [[gnu::noinline]] void publish() noexcept {
        const Real soc = state_.cell.soc;
        estimate_.soc = detail::bounded(soc, Real(0), Real(1));
        estimate_.soc_std =
            detail::root(state_.spread(at_soc, at_soc) + state_.pending.soc_noise + soc_floor_var_);
        estimate_.resistance_scale = state_.cell.resistance_scale;
        estimate_.log_scale_std = detail::root(state_.spread(at_scale, at_scale));
    }

    Parameters cell_{};
    Settings settings_{};
    Real inverse_gate_{Real(0.04)};  ///< 1 / gate^2.
    Real most_current_A_{0};
    Real voltage_var_{0};
    Moving steady_var_{};  ///< Of branches and hysteresis, what is left after a long time.
    Real soc_floor_var_{0};
    Real soc_var_per_s_{0};
    Real scale_var_per_s_{0};
    State state_{};
    SocEstimate<Real> estimate_{};
};

template <class Real, int Branches, bool Transfer>
void SocFilter<Real, Branches, Transfer>::predict(const CellInput<Real>& input,
                                                  const AxisPosition<Real>& temperature,
                                                  Place& place, bool awaited) noexcept {
    StepJacobian<Real, Branches, Transfer> j;
    voltkeel::step(cell_, input, temperature, place, state_.cell, &j);

    // The transition F is diagonal (d). What the resistances of the table change over SOC is not in
    // it, nor in H: the model follows it, but as knowledge of the SOC it misleads (DEVELOPERS.md,
    // "Slopes"). Steps one after the other make one with
    //     d = d2 d1,  noise = d2^2 noise1 + noise2
    // so that the matrix is only touched where a voltage is tried.
    const auto moving = [](const Real(&lag)[lags], Real hysteresis) {
        return Moving::made_of([&](int i) { return i < lags ? lag[i] : hysteresis; });
    };
    Moving d = moving(j.branch_by_branch, j.hysteresis_by_hysteresis);
    const Moving end = settings_.branch_share_std * moving(j.branch_end_V, Real(0));
    // A first-order error process whose steady spread is a share of R_i |I|.
    const Moving lost = moving(j.branch_by_end, j.hysteresis_by_end);
    Moving noise = lost * (Real(2) - lost) * (end * end + steady_var_);
    auto& pending = state_.pending;
    if (pending.steps > 0) {
        noise = d * d * pending.noise + noise;
        d = d * pending.kept;
    }
    const Real soc_noise = pending.soc_noise + soc_var_per_s_ * input.dt_s;
    auto& p = state_.spread;
    // Bounds keep a float covariance sane through months without an update.
    p(at_scale, at_scale) += scale_var_per_s_ * input.dt_s;
    state_.bound_variance(at_scale, Real(1));
    // A product of many more would run out of numbers, and a spread of its bound.
    if (awaited || pending.steps + 1 >= most_pending) {
        state_.work_in(d, noise, soc_noise);
    } else {
        pending = {d, noise, soc_noise, pending.steps + 1};
    }
}

/// Joseph form (I - K H) P (I - K H)^T + K R K^T for one measurement, multiplied out:
///     P_ik - K_i g_k + (S K_i - g_i) K_k,    g = P H^T,  S = H g + R
/// The bracket is what rounding leaves of K S = g: an error of the gain enters squared.
/// `ph` is g, `innovation_var` is S, `inverse_var` 1 / S.
template <class Real, int Branches, bool Transfer>
void SocFilter<Real, Branches, Transfer>::fuse(Real innovation_V, Real innovation_var,
                                               Real inverse_var, const Column& ph) noexcept {
    auto& p = state_.spread;
    const Column gain = ph * inverse_var;
    // K_k is g_k / S, so that one factor a row is left.
    const Column factor = (innovation_var * gain - ph) * inverse_var - gain;
    detail::for_each_place<size>([&](auto place) {
        constexpr int i = decltype(place)::value;
        // Against rounding, which can leave a tiny variance below zero.
        auto row = p.template load_row<i>() + factor.get(i) * ph.template resized<i + 1>();
        row.raise(i, Real(1e-12));
        p.template store_row<i>(row);
    });
    CellState<Real, Branches, Transfer>& x = state_.cell;
    add_compensated(x.soc, x.soc_carry, gain.get(at_soc) * innovation_V);
    const Moving moved =
        gain.template resized<lags + 1>() * innovation_V +
        Moving::made_of([&](int i) { return i < lags ? x.branch_V[i] : x.hysteresis; });
#pragma GCC unroll 5
    for (int i = 0; i < lags; ++i)
        x.branch_V[i] = moved.get(i);
    x.hysteresis = detail::bounded(moved.get(at_hysteresis), Real(-1), Real(1));
    state_.log_scale = detail::bounded(state_.log_scale + gain.get(at_scale) * innovation_V,
                                       Real(-1.5), Real(1.5));
    x.resistance_scale = modest_exponential(state_.log_scale);
}

/// Gives up the present certainty after voltages were refused for too long.
template <class Real, int Branches, bool Transfer>
void SocFilter<Real, Branches, Transfer>::open_spread() noexcept {
    auto& p = state_.spread;
    state_.last_reset_soc_std = std::sqrt(p(at_soc, at_soc));
    const Real soc_var = square(settings_.reset_soc_std);
    const Real scale_var = square(settings_.log_scale_std_initial);
    for (int i = 0; i < size; ++i) {
        for (int k = 0; k < i; ++k)
            p(i, k) = Real(0);
    }
    if (p(at_soc, at_soc) < soc_var) p(at_soc, at_soc) = soc_var;
    if (p(at_scale, at_scale) < scale_var) p(at_scale, at_scale) = scale_var;
    ++state_.reset_count;
    state_.since_accepted_s = Real(0);
    estimate_.fault_bits |= fault_reset;
}

template <class Real, int Branches, bool Transfer>
typename SocFilter<Real, Branches, Transfer>::Outlook SocFilter<Real, Branches, Transfer>::outlook(
    Real current_A, Real temperature_degC, const Place& place) const noexcept {
    Outlook seen = {voltage_at(cell_, state_.cell, current_A, temperature_degC, place), {}, 0};
    const auto& predicted = seen.predicted;
    // H; every branch has the same entry.
    const Column h = Column::made_of([&](int i) {
        return i < lags             ? predicted.by_branch
               : i == at_hysteresis ? predicted.by_hysteresis
               : i == at_soc        ? predicted.ocv_by_soc
                                    : predicted.by_log_scale;
    });
    seen.ph = state_.spread.times(h);
    const Column share = h * seen.ph;
    Real model_var =
        voltage_var_ + square(settings_.overvoltage_share_std * predicted.overvoltage_V);
    if (state_.cell.soc < settings_.low_soc)
        model_var *= square(low_soc_factor(settings_, state_.cell.soc));
    seen.innovation_var = model_var + share.sum();
    return seen;
}

/// Predicts the voltage and, where one is due, fuses the measured one.
template <class Real, int Branches, bool Transfer>
void SocFilter<Real, Branches, Transfer>::try_voltage(const CellInput<Real>& input,
                                                      const Place& place, Real voltage_V,
                                                      Real current_std_A, bool possible,
                                                      bool fusing) noexcept {
    const Outlook seen = outlook(input.current_A, input.temperature_degC, place);
    const auto& predicted = seen.predicted;
    Real innovation_var = seen.innovation_var;
    if (current_std_A > Real(0))
        innovation_var += doubt_repeats * square(predicted.by_current * current_std_A);
    estimate_.voltage_predicted_V = predicted.voltage_V;
    estimate_.innovation_std_V = detail::root(innovation_var);
    const Real innovation_V = possible ? voltage_V - predicted.voltage_V : Real(0);
    const Real inverse_var = Real(1) / innovation_var;
    estimate_.innovation_V = innovation_V;
    estimate_.test_ratio = square(innovation_V) * inverse_var * inverse_gate_;
    if (!fusing) return;
    state_.since_update_s = Real(0);
    if (estimate_.test_ratio <= Real(1)) {
        fuse(innovation_V, innovation_var, inverse_var, seen.ph);
        state_.since_accepted_s = Real(0);
        ++state_.update_count;
        estimate_.updated = true;
    } else {
        estimate_.fault_bits |= fault_voltage_rejected;
        ++state_.rejected_count;
        if (state_.since_accepted_s > settings_.reset_after_s) open_spread();
    }
}

/// Where the branches are in the middle of use and how far they may be off, before any voltage.
template <class Real, int Branches, bool Transfer>
void SocFilter<Real, Branches, Transfer>::begin_in_use(Real soc, Real soc_var,
                                                       const UseAround<Real>& use,
                                                       Real temperature_degC) noexcept {
    begin(soc, soc_var, Real(0), temperature_degC);
    state_.last_current_A = use.mean_current_A;
    const Real mean_size_A = std::abs(use.mean_current_A);
    const Real least_A = Real(0.5) * cell_.capacity_Ah;
    Real rms_A = use.rms_current_A > mean_size_A ? use.rms_current_A : mean_size_A;
    if (rms_A < least_A) rms_A = least_A;
    const Node node = resistance_at(cell_.resistance, soc, temperature_degC).value;
    Real std_V[lags];
    auto& p = state_.spread;
    for (int i = 0; i < lags; ++i) {
        const Real time_s = lag_time_s(node, i);
        // The share of the way that it has come in an hour of use.
        const Real gone = Real(3600) / (Real(3600) + time_s);
        state_.cell.branch_V[i] = gone * end_V(node, i, use.mean_current_A);
        const Real off = Real(0.55) + Real(0.2) / (Real(1) + time_s / Real(10));
        std_V[i] = gone * end_V(node, i, off * rms_A);
        p(i, i) = square(settings_.rest_std_V) + square(std_V[i]);
        for (int k = 0; k < i; ++k) {
            const Real ratio = time_s / lag_time_s(node, k);
            const Real alike = std::sqrt(std::sqrt(ratio < Real(1) ? ratio : Real(1) / ratio));
            p(i, k) = alike * std_V[i] * std_V[k];
        }
    }
}

template <class Real, int Branches, bool Transfer>
Status SocFilter<Real, Branches, Transfer>::start_under_load(Real soc, Real soc_std,
                                                             const UseAround<Real>& use,
                                                             Real temperature_degC) noexcept {
    if (!possible_current(use.mean_current_A) || !possible_current(use.rms_current_A) ||
        !possible_current(use.current_A)) {
        return Status::sample_not_finite;
    }
    const Status status = start(soc, soc_std, temperature_degC);
    if (status != Status::ok) return status;
    const bool reading = possible_voltage(use.voltage_V);
    // Where all agrees best: the resistances there, and the branches that follow from them, are
    // next to those of the true SOC, while those where the SOC was told may be far off.
    Place place;
    Real best_soc = soc;
    Real best = std::numeric_limits<Real>::infinity();
    const AxisPosition<Real> temperature =
        locate(cell_.resistance.temperature_degC, temperature_degC);
    constexpr int steps_per_std = 4;
    constexpr int steps = 3 * steps_per_std;
    for (int k = -steps; k <= steps && reading; ++k) {
        const Real off = static_cast<Real>(k) / Real(steps_per_std);
        const Real at = soc + off * soc_std;
        if (!detail::within(at, Real(0), Real(1))) continue;
        begin_in_use(at, Real(0), use, temperature_degC);
        move_place(cell_.resistance, at, temperature, place);
        const Outlook seen = outlook(use.current_A, temperature_degC, place);
        // Minus twice the logarithm of how likely it is.
        const Real unlikely =
            square(off) + square(use.voltage_V - seen.predicted.voltage_V) / seen.innovation_var +
            std::log(seen.innovation_var);
        if (unlikely < best) {
            best = unlikely;
            best_soc = at;
        }
    }
    begin_in_use(best_soc, square(soc_std), use, temperature_degC);
    if (reading) {
        move_place(cell_.resistance, best_soc, temperature, place);
        const Outlook seen = outlook(use.current_A, temperature_degC, place);
        // An iterated filter's step: in a straight line from there, but the SOC is still that told.
        const Real innovation_V =
            use.voltage_V - seen.predicted.voltage_V - seen.predicted.ocv_by_soc * (soc - best_soc);
        state_.cell.soc = soc;
        const Real inverse_var = Real(1) / seen.innovation_var;
        if (square(innovation_V) * inverse_var * inverse_gate_ <= Real(1)) {
            fuse(innovation_V, seen.innovation_var, inverse_var, seen.ph);
            if (!detail::within(state_.cell.soc, soc_low, soc_high)) {
                state_.hold_soc();
                estimate_.fault_bits |= fault_soc_bounded;
            }
            state_.since_update_s = Real(0);
        }
    }
    publish();
    return Status::ok;
}

template <class Real, int Branches, bool Transfer>
Status SocFilter<Real, Branches, Transfer>::restore(const State& state) noexcept {
    if (cell_.ocv.nodes == nullptr) return Status::missing_table;
    const auto& x = state.cell;
    const detail::BoundedField<Real> rows[] = {
        {"soc", x.soc, soc_low, soc_high},
        {"soc_carry", x.soc_carry, Real(-1e-3), Real(1e-3)},
        {"hysteresis", x.hysteresis, Real(-1), Real(1)},
        {"log_scale", state.log_scale, Real(-1.5), Real(1.5)},
        {"temperature_degC", state.last_temperature_degC, Real(-100), Real(200)},
        {"since_update_s", state.since_update_s, Real(0), Real(1e9)},
        {"since_accepted_s", state.since_accepted_s, Real(0), Real(1e9)},
    };
    const Finding<Real> finding = detail::first_outside(rows);
    if (finding.status != Status::ok) return finding.status;
    if (!possible_current(state.last_current_A)) return Status::out_of_range;
    for (const Real overvoltage_V : x.branch_V) {
        if (!detail::finite(overvoltage_V)) return Status::not_finite;
        if (!detail::within(overvoltage_V, Real(-5), Real(5))) return Status::out_of_range;
    }
    for (int i = 0; i < size; ++i) {
        for (int k = 0; k <= i; ++k) {
            const Real entry = state.spread(i, k);
            if (!detail::finite(entry)) return Status::not_finite;
            // Against rounding of what was stored, as the square root of a variance is 0 .. 1.
            const Real most = state.spread(i, i) * state.spread(k, k) * Real(1.01) + Real(1e-12);
            if (state.spread(i, i) < Real(0) || state.spread(i, i) > Real(100) ||
                square(entry) > most) {
                return Status::out_of_range;
            }
        }
    }
    state_ = state;
    state_.cell.resistance_scale = modest_exponential(state.log_scale);
    state_.started = true;
    estimate_ = SocEstimate<Real>{};
    publish();
    return Status::ok;
}

template <class Real, int Branches, bool Transfer>
const SocEstimate<Real>& SocFilter<Real, Branches, Transfer>::step(
    const CellSample<Real>& sample) noexcept {
    estimate_.updated = false;
    estimate_.fault_bits = 0;
    if (!state_.started) {
        estimate_.fault_bits = fault_not_started;
        return estimate_;
    }
    CellInput<Real> input{sample.current_A, sample.dt_s, sample.temperature_degC};
    if (!possible_current(input.current_A)) {
        estimate_.fault_bits |= fault_current_not_finite;
        input.current_A = state_.last_current_A;
    }
    if (!possible_temperature(input.temperature_degC)) {
        estimate_.fault_bits |= fault_temperature_not_finite;
        input.temperature_degC = state_.last_temperature_degC;
    }
    if (!(input.dt_s >= Real(0)) || input.dt_s > settings_.longest_step_s) {
        estimate_.fault_bits |= fault_time_step_invalid;
        input.dt_s = input.dt_s > Real(0) ? settings_.longest_step_s : Real(0);
    }
    state_.last_current_A = input.current_A;
    state_.last_temperature_degC = input.temperature_degC;
    state_.since_update_s += input.dt_s;
    state_.since_accepted_s += input.dt_s;
    const AxisPosition<Real> temperature =
        locate(cell_.resistance.temperature_degC, input.temperature_degC);
    // Half a step of slack: ten float steps of 0.1 s do not sum to exactly one second.
    const bool due = state_.since_update_s >= settings_.update_interval_s - Real(0.5) * input.dt_s;
    const bool trace = settings_.trace_every_sample;
    Place place;
    if (input.dt_s > Real(0)) {
        predict(input, temperature, place, due || trace);
    } else if (due || trace) {
        state_.work_in_pending();
    }
    const Real doubt_A = sample.current_std_A > Real(0) && possible_current(sample.current_std_A)
                             ? sample.current_std_A
                             : Real(0);
    if (doubt_A > Real(0)) doubt_charge(doubt_A * input.dt_s);
    if (!temperature.inside) estimate_.fault_bits |= fault_temperature_outside;

    const bool possible = possible_voltage(sample.voltage_V);
    if (!possible) {
        estimate_.innovation_V = Real(0);
        estimate_.test_ratio = Real(0);
        estimate_.fault_bits |= fault_voltage_not_finite;
    }
    const bool fusing = due && possible;
    if (fusing || trace) {
        move_place(cell_.resistance, state_.cell.soc, temperature, place);
        try_voltage(input, place, sample.voltage_V, doubt_A, possible, fusing);
    }
    if (!detail::within(state_.cell.soc, soc_low, soc_high)) {
        state_.hold_soc();
        estimate_.fault_bits |= fault_soc_bounded;
    }
    publish();
    return estimate_;
}

}  // namespace voltkeel
