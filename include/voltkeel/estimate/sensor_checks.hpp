#pragma once
/// \file sensor_checks.hpp
/// What sensors show, looked at before it reaches a filter: each reading that cannot be is named,
/// and replaced by the best that is known, with a word on how far that may be off.
///
/// Current and voltage of one cell (or of groups in series) watch each other: a step of the current
/// moves the voltage at once by the resistance times the step, whatever the state of charge. A step
/// of one without the other is no step. What the model expects comes from the filter:
///
///     view = model_view(filter);                 // of the state before this sample
///     checked = checks.step(readings, view);
///     filter.step(sample_of(checked));
///
/// How small a jump is seen is learnt from how well the model explains the steps of a sound sensor.
/// A current that is off by less, or creeps, is told by the charge it makes up, in ten minutes to
/// an hour, and until then the band does not know of it. On fast drives a current that jumps
/// together with the load may be taken for an offset that it is not (tests/data prints what became
/// of it).
///
/// What a single channel cannot tell: a temperature that is a few kelvin off or stuck, a voltage
/// that was a little off from the start, and a gain of the current from a wrong capacity. These are
/// for the spread of the filter.

#include <cmath>
#include <cstdint>
#include <limits>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/finite.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Bits of the loggable word of sensor faults. Numbers are frozen.
enum SensorFaultBit : std::uint32_t {
    sensor_current_missing = 1U << 0U,  ///< NaN or infinite.
    sensor_current_range = 1U << 1U,    ///< More than the sensor or the cell can have.
    sensor_current_jump = 1U << 2U,     ///< Moved, and the voltage did not.
    sensor_current_stuck = 1U << 3U,    ///< The same reading while the voltage moved.
    sensor_current_sign = 1U << 4U,     ///< The voltage falls when it charges: taken the other way.
    sensor_current_offset = 1U << 5U,   ///< Reads current where none can flow: taken off.
    sensor_current_drift = 1U << 6U,    ///< Counts charge that the voltage knows nothing of.
    sensor_current_gain = 1U << 7U,  ///< Counts too much or too little; or the capacity is wrong.
    sensor_voltage_missing = 1U << 8U,       ///< NaN or infinite.
    sensor_voltage_range = 1U << 9U,         ///< No voltage of a cell; a swapped sign too.
    sensor_voltage_jump = 1U << 10U,         ///< Moved, and the current did not.
    sensor_voltage_stuck = 1U << 11U,        ///< The same reading while the model moved.
    sensor_voltage_sum = 1U << 12U,          ///< Groups do not add up to the pack.
    sensor_temperature_missing = 1U << 13U,  ///< NaN or infinite.
    sensor_temperature_open = 1U << 14U,     ///< As cold as an open thermistor.
    sensor_temperature_short = 1U << 15U,    ///< As hot as a shorted one.
    sensor_temperature_rate = 1U << 16U,     ///< Faster than a cell can warm or cool.
    sensor_time_missing = 1U << 17U,         ///< NaN or infinite.
    sensor_time_backward = 1U << 18U,        ///< Earlier than the sample before.
    sensor_time_jump = 1U << 19U,            ///< Much later than the sample before.
    sensor_time_still = 1U << 20U,           ///< The clock stands.
};

/// Knobs of the checks. Voltages are those of one cell, whatever the number in series.
template <class Real>
struct SensorCheckSettings {
    Real capacity_Ah{0};            ///< Of the cell or group, > 0: the measure of all currents.
    Real series{1};                 ///< Groups whose voltages are added up in `voltage_V`, >= 1.
    Real current_max_per_h{20};     ///< Largest current as a multiple of the capacity.
    Real current_unknown_per_h{1};  ///< What may flow where nothing tells.
    Real current_share_std{Real(0.01)};   ///< Gain of a sound sensor, as a share.
    Real current_std_per_h{Real(0.002)};  ///< Offset of a sound sensor.
    Real offset_per_h{Real(0.003)};       ///< Reading without current that is an offset.
    Real voltage_low_V{Real(0.5)};
    Real voltage_high_V{Real(5.5)};
    Real jump_V{Real(0.03)};   ///< A step of this size is neither noise nor relaxation, at first.
    Real stuck_V{Real(0.02)};  ///< The other channel moves so far while a reading stands.
    Real model_std_V{Real(0.03)};     ///< Of the voltage that the model expects.
    Real sum_share{Real(0.005)};      ///< Groups against pack, as a share of the voltage.
    Real temperature_low_degC{-50};   ///< At or below: open.
    Real temperature_high_degC{115};  ///< At or above: shorted.
    Real temperature_rate_K_per_s{Real(0.5)};
    Real temperature_step_K{3};  ///< Let through whatever the rate.
    Real gap_s{30};              ///< A longer step is a jump of the clock or a gap.
    Real current_latch_s{900};   ///< A current that jumped is believed again after so long.
    Real voltage_latch_s{7200};  ///< The same of a voltage.
    Real settle_s{5};            ///< Believed again when it fits for so long.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const SensorCheckSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"capacity_Ah", s.capacity_Ah, Real(1e-4), Real(1e6)},
        {"series", s.series, Real(1), Real(10000)},
        {"current_max_per_h", s.current_max_per_h, Real(1e-3), Real(1000)},
        {"current_unknown_per_h", s.current_unknown_per_h, Real(0), Real(1000)},
        {"current_share_std", s.current_share_std, Real(0), Real(1)},
        {"current_std_per_h", s.current_std_per_h, Real(0), Real(100)},
        {"offset_per_h", s.offset_per_h, Real(1e-6), Real(100)},
        {"voltage_low_V", s.voltage_low_V, Real(-10), Real(10)},
        {"voltage_high_V", s.voltage_high_V, s.voltage_low_V, Real(10)},
        {"jump_V", s.jump_V, Real(1e-3), Real(10)},
        {"stuck_V", s.stuck_V, Real(1e-4), Real(10)},
        {"model_std_V", s.model_std_V, Real(1e-4), Real(10)},
        {"sum_share", s.sum_share, Real(1e-4), Real(1)},
        {"temperature_low_degC", s.temperature_low_degC, Real(-100), Real(200)},
        {"temperature_high_degC", s.temperature_high_degC, s.temperature_low_degC, Real(200)},
        {"temperature_rate_K_per_s", s.temperature_rate_K_per_s, Real(1e-3), Real(1000)},
        {"temperature_step_K", s.temperature_step_K, Real(0), Real(100)},
        {"gap_s", s.gap_s, Real(1e-3), Real(1e6)},
        {"current_latch_s", s.current_latch_s, Real(1), Real(1e7)},
        {"voltage_latch_s", s.voltage_latch_s, Real(1), Real(1e7)},
        {"settle_s", s.settle_s, Real(0), Real(1e4)},
    };
    return detail::first_outside(rows);
}

/// A clock that gave nothing.
inline constexpr std::int64_t no_time = std::numeric_limits<std::int64_t>::min();

/// Seconds as the clock of the checks: whole microseconds. What is no number, or further than some
/// hundred thousand years, is no time.
[[nodiscard]] constexpr std::int64_t time_us_of(double time_s) noexcept {
    constexpr double most_s = 4e12;
    if (!(time_s > -most_s && time_s < most_s)) return no_time;
    return static_cast<std::int64_t>(time_s * 1e6 + (time_s < 0 ? -0.5 : 0.5));
}

/// What the sensors show at one time.
template <class Real>
struct SensorSample {
    std::int64_t time_us{0};  ///< Of any clock; differences count. no_time: it gave nothing.
    Real current_A{0};        ///< Positive charges.
    Real voltage_V{0};        ///< Of the cell, or of `series` groups.
    Real temperature_degC{25};
    /// The same voltage from another sensor (of the pack beside the sum of groups); NaN: none.
    Real other_voltage_V{std::numeric_limits<Real>::quiet_NaN()};
    bool no_current{false};    ///< Known: contactors are open.
    bool voltage_asked{true};  ///< No: voltages come once in so many ticks, and not in this one.
};

/// What the model expects of one cell, before the sample.
template <class Real>
struct ModelView {
    Real open_V{0};          ///< Voltage without current, overvoltages included.
    Real resistance_ohm{0};  ///< What a step of the current shows at once; 0: no model.
    Real soc{0};
    Real soc_std{1};
};

/// What to give the filter.
template <class Real>
struct CheckedReadings {
    Real current_A{0};
    Real current_std_A{0};  ///< How far it may be off for as long as the step lasts.
    Real voltage_V{0};      ///< Of one cell; NaN: not to be used.
    Real temperature_degC{25};
    Real dt_s{0};
    std::uint32_t fault_bits{0};  ///< See SensorFaultBit.
};

/// As the sample of a filter of one cell.
template <class Real>
[[nodiscard]] inline CellSample<Real> sample_of(const CheckedReadings<Real>& checked) noexcept {
    return {checked.current_A, checked.voltage_V, checked.temperature_degC, checked.dt_s,
            checked.current_std_A};
}

/// What a filter expects.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline ModelView<Real> model_view(
    const SocFilter<Real, Branches, Transfer>& filter) noexcept {
    if (!filter.state().started) return {};
    const auto point = voltage_at(filter.cell(), filter.state().cell, Real(0),
                                  filter.state().last_temperature_degC);
    return {point.voltage_V, point.by_current, filter.estimate().soc, filter.estimate().soc_std};
}

/// Readings of half a second together.
template <class Real>
struct SensorBlock {
    Real time_s{0};
    Real count{0};
    Real current_A{0};
    Real voltage_V{0};
    Real open_V{0};
    Real largest_step_A{0};  ///< From one reading to the next.
};

/// Everything that must survive between samples.
template <class Real>
struct SensorCheckState {
    bool started{false};
    std::int64_t last_time_us{0};
    Real usual_dt_s{0};  ///< Of the last sound step.
    std::int64_t usual_us{0};
    Real still_s{0};
    // As read in the last sample, where both were numbers.
    bool raw_known{false};
    Real raw_current_A{0};
    Real raw_voltage_V{0};
    Real unasked_s{0};  ///< Since a voltage was asked for.
    // Last believed.
    Real current_A{0};
    Real temperature_degC{25};
    Real temperature_bad_s{0};
    bool temperature_known{false};
    bool found{false};  ///< The filter has once known its SOC.
    // Since when a reading stands, and where the other channel was then.
    Real current_same_s{0};
    Real voltage_same_s{0};
    Real current_anchor_V{0};
    Real voltage_anchor_V{0};
    // Faults that last until the reading fits again.
    std::uint32_t latched{0};
    Real current_latched_s{0};
    Real voltage_latched_s{0};
    Real fits_s{0};
    Real sound_excess_V{0};  ///< What the voltage left beyond the model while all was well.
    SensorBlock<Real> block{};
    SensorBlock<Real> last_block{};
    Real largest_beyond_V{0};  ///< Of steps, beyond what the current explains, of late.
    Real noise_var_V2{0};      ///< Of steps while the current hardly moves.
    Real quiet_s{0};           ///< It has hardly moved for so long.
    int level_votes{0};        ///< For the current as it is read, against that less its jump.
    Real jumped_A{0};          ///< Steps of the current that the voltage did not follow, added up.
    Real jumped_V{0};          ///< The same of the voltage.
    Real peak_A{0};            ///< The most that both were, since they were nothing.
    Real peak_V{0};
    int good_steps{0};  ///< Of the current since, that the voltage followed.
    bool moved_now{false};
    bool moved_before{false};
    int moves_V{0};  ///< Of the voltage while the current read the same.
    // A voltage that moved without the current, or a current that moved without the voltage: the
    // same at first.
    bool doubted{false};  ///< Nobody knows yet which of the two it was.
    Real doubt_s{0};      ///< For so long.
    Real doubt_As{0};     ///< Charge that was counted wrongly if it was the current.
    Real excess_V{0};     ///< What the voltage left of late beyond what it left when all was well.
    Real owed_As{0};      ///< Charge that nobody knows of, still to be told.
    int sign_votes{0};
    // So many more blocks are to show what became of a reading that leapt.
    int voltage_leapt_blocks{0};
    int current_leapt_blocks{0};
    Real last_step_V{0};     ///< What the current should have moved from one reading to the next.
    Real steps_squared{0};   ///< What steps of the current should have moved, squared: of late.
    Real steps_followed{0};  ///< The same times what the voltage moved.
    bool reversed{false};
    Real offset_A{0};  ///< Taken off.
    // What the voltage corrected, against what was counted; see SensorChecks::balance.
    Real last_soc{0};
    bool last_soc_known{false};
    Real counted_As{0};  ///< Since last_soc.
    Real window_s{0};
    Real window_As{0};
    Real window_std{0};    ///< Of the SOC when it began.
    Real window_moved{0};  ///< SOC that the voltage added beyond the count.
    Real normal[5]{};      ///< Sums of x x, x y, y y, x c, y c with x in h, y and c in Ah.
    Real window_squares{0};
    Real window_count{0};
    std::uint32_t slow_bits{0};
    Real slow_offset_A{0};
    Real slow_gain{0};
};

/// Checks of one string or cell.
template <class Real>
class SensorChecks {
  public:
    using Settings = SensorCheckSettings<Real>;
    using State = SensorCheckState<Real>;
    /// What the slow balance tells; the bits that `slow_bits` may have.
    static constexpr std::uint32_t slow_faults = sensor_current_drift | sensor_current_gain;
    /// What lasts, beside `normal`, `last_soc`, counts and bits; see restore().
    static constexpr detail::StoredNumber<State, Real> stored_numbers[] = {
        {&State::offset_A, Real(-1e9), Real(1e9)},
        {&State::temperature_degC, Real(-100), Real(200)},
        {&State::current_latched_s, Real(0), Real(1e10)},
        {&State::voltage_latched_s, Real(0), Real(1e10)},
        {&State::sound_excess_V, Real(-1e9), Real(1e9)},
        {&State::largest_beyond_V, Real(0), Real(1e9)},
        {&State::noise_var_V2, Real(0), Real(1e9)},
        {&State::jumped_A, Real(-1e12), Real(1e12)},
        {&State::jumped_V, Real(-1e9), Real(1e9)},
        {&State::peak_A, Real(0), Real(1e12)},
        {&State::peak_V, Real(0), Real(1e9)},
        {&State::doubt_s, Real(0), Real(1e10)},
        {&State::doubt_As, Real(0), Real(1e18)},
        {&State::excess_V, Real(-1e9), Real(1e9)},
        {&State::owed_As, Real(0), Real(1e18)},
        {&State::counted_As, Real(-1e18), Real(1e18)},
        {&State::window_s, Real(0), Real(1e9)},
        {&State::window_As, Real(-1e18), Real(1e18)},
        {&State::window_std, Real(-1e9), Real(1e9)},
        {&State::window_moved, Real(-1e9), Real(1e9)},
        {&State::window_squares, Real(0), Real(1e30)},
        {&State::window_count, Real(0), Real(1e9)},
        {&State::slow_offset_A, Real(-1e12), Real(1e12)},
        {&State::slow_gain, Real(-1e9), Real(1e9)},
    };

    [[nodiscard]] Status configure(const Settings& settings) noexcept {
        const Finding<Real> finding = validate(settings);
        if (finding.status != Status::ok) return finding.status;
        settings_ = settings;
        state_ = State{};
        state_.largest_beyond_V = Real(0.67) * settings.jump_V;
        const Real noise_V = least_jump_V() / noise_sigmas;
        state_.noise_var_V2 = noise_V * noise_V;
        return Status::ok;
    }
    /// Whether a stored state can be: ok, not_finite or out_of_range.
    [[nodiscard]] Status check(const State& state) const noexcept {
        const Status status = detail::check_stored(stored_numbers, state);
        if (status != Status::ok) return status;
        const Real most_A = Real(1.01) * settings_.current_max_per_h * settings_.capacity_Ah;
        if (!detail::within(state.offset_A, -most_A, most_A)) return Status::out_of_range;
        // What is not known may be anything, NaN too.
        if (state.last_soc_known && !detail::finite(state.last_soc)) return Status::not_finite;
        const Real* const n = state.normal;
        for (const Real sum : state.normal) {
            if (!detail::finite(sum)) return Status::not_finite;
        }
        if (n[0] < Real(0) || n[2] < Real(0)) return Status::out_of_range;
        // Of squares and products, by their roots so that a float has room.
        const Real most = Real(1.01) * std::sqrt(n[0]) * std::sqrt(n[2]);
        if (!detail::within(n[1], -most, most) || state.good_steps < 0 ||
            (state.latched & ~(current_bits | voltage_bits)) != 0 ||
            (state.slow_bits & ~slow_faults) != 0) {
            return Status::out_of_range;
        }
        return Status::ok;
    }
    /// Goes on with what lasts of a stored state: sign, offset, what steps have taught, faults that
    /// have not come to their end, the charge that is doubted, and the sums of the slow balance.
    /// Clocks, the last readings and the half-second blocks begin anew.
    /// \return what check() says of it; unless ok, nothing changes
    [[nodiscard]] Status restore(const State& state) noexcept {
        const Status status = check(state);
        if (status != Status::ok) return status;
        State kept;
        for (const auto& row : stored_numbers)
            kept.*row.field = state.*row.field;
        for (int i = 0; i < 5; ++i)
            kept.normal[i] = state.normal[i];
        if (state.last_soc_known) kept.last_soc = state.last_soc;
        kept.last_soc_known = state.last_soc_known;
        kept.reversed = state.reversed;
        kept.doubted = state.doubted;
        kept.good_steps = state.good_steps;
        kept.latched = state.latched;
        kept.slow_bits = state.slow_bits;
        state_ = kept;
        return status;
    }
    /// Time in which nothing was read: faults that last get older, and what the SOC did meanwhile
    /// tells nothing of the sensor.
    /// \param off_s >= 0; what is no time is left out
    void time_off(Real off_s) noexcept {
        if (!(off_s > Real(0)) || !detail::within(off_s, Real(0), Real(1e9))) return;
        age_latches(off_s);
        state_.last_soc_known = false;
    }
    [[nodiscard]] const State& state() const noexcept { return state_; }
    [[nodiscard]] const Settings& settings() const noexcept { return settings_; }

    /// Looks at one row. \param view what the model expects; without one (resistance 0) current and
    /// voltage do not watch each other
    [[nodiscard]] CheckedReadings<Real> step(const SensorSample<Real>& readings,
                                             const ModelView<Real>& view = {}) noexcept {
        CheckedReadings<Real> out;
        const Real gap_s = check_time(readings.time_us, out);
        check_temperature(readings.temperature_degC, out);
        const Real cell_V = readings.voltage_V / settings_.series;
        const bool voltage_sound = readings.voltage_asked && check_voltage_range(cell_V, out);
        bool current_sound = check_current_range(readings.current_A, out);
        check_sum(readings, out);
        if (readings.no_current) {
            follow_offset(readings.current_A, current_sound, out);
        }
        const bool watched = detail::finite(view.open_V) && view.resistance_ohm > Real(0) &&
                             detail::finite(view.resistance_ohm);
        Real current_A = signed_current_A(readings.current_A);
        const Real looked_s = out.dt_s + state_.unasked_s;
        // A filter that still finds its SOC moves what it expects: no step of a sensor.
        if (watched && view.soc_std < Real(0.03)) state_.found = true;
        if (watched && state_.found && voltage_sound && current_sound &&
            looked_s <= settings_.gap_s)
            watch(current_A, cell_V, view, looked_s);
        current_A = signed_current_A(readings.current_A);  // the sign may be another one now
        if (readings.voltage_asked) {
            state_.raw_known = voltage_sound && current_sound;
            state_.raw_voltage_V = cell_V;
            state_.raw_current_A = current_A;
            state_.unasked_s = Real(0);
        } else {
            state_.unasked_s = looked_s;
        }
        state_.started = true;
        age_latches(out.dt_s);
        out.fault_bits |= state_.latched;

        const bool voltage_used = voltage_sound && (state_.latched & voltage_bits) == 0 &&
                                  state_.voltage_leapt_blocks == 0;
        out.voltage_V = voltage_used ? cell_V : std::numeric_limits<Real>::quiet_NaN();
        current_sound = current_sound && (state_.latched & current_bits) == 0 &&
                        state_.current_leapt_blocks == 0;
        if (readings.no_current) {
            out.current_A = Real(0);
        } else if (current_sound) {
            out.current_A = current_A;
        } else if (state_.latched == sensor_current_jump && state_.good_steps >= 3 &&
                   magnitude(state_.jumped_A) <
                       settings_.current_unknown_per_h * settings_.capacity_Ah &&
                   (out.fault_bits & (sensor_current_missing | sensor_current_range)) == 0) {
            // Its steps are right, only the level is not: by the jump, or part of it.
            out.current_A = current_A - state_.jumped_A;
            out.current_std_A = magnitude(state_.jumped_A);
        } else {
            replace_current(cell_V, voltage_used && watched, view, out);
        }
        if (state_.reversed) out.fault_bits |= sensor_current_sign;
        if (current_sound || readings.no_current) state_.current_A = out.current_A;
        balance(view, watched && current_sound && !(gap_s > Real(0)), out);
        if (!readings.no_current) {
            out.current_std_A += settings_.current_share_std * magnitude(out.current_A) +
                                 settings_.current_std_per_h * settings_.capacity_Ah;
        }
        if (watched && voltage_sound && current_sound && !readings.no_current)
            doubt(cell_V, view, out);
        if (state_.owed_As > Real(0) && out.dt_s > Real(0)) {
            out.current_std_A += state_.owed_As / out.dt_s;
            state_.owed_As = Real(0);
        }
        if (state_.slow_bits != 0 && !readings.no_current) {
            out.fault_bits |= state_.slow_bits;
            out.current_std_A +=
                magnitude(state_.slow_offset_A) + magnitude(state_.slow_gain * out.current_A);
        }
        if (gap_s > Real(0) && out.dt_s > Real(0)) {
            // Nobody knows what flowed in the gap, or whether there was one.
            out.current_std_A +=
                settings_.current_unknown_per_h * settings_.capacity_Ah * gap_s / out.dt_s;
        }
        return out;
    }

  private:
    static constexpr std::uint32_t current_bits = sensor_current_jump | sensor_current_stuck;
    static constexpr std::uint32_t voltage_bits = sensor_voltage_jump | sensor_voltage_stuck;
    static constexpr Real magnitude(Real x) noexcept { return x < Real(0) ? -x : x; }
    /// A step of the voltage this far beyond the spread of quiet ones is not their noise.
    static constexpr Real noise_sigmas = Real(6);
    /// A smaller step is never a fault.
    [[nodiscard]] Real least_jump_V() const noexcept { return Real(0.2) * settings_.jump_V; }

    /// No more than the sensor or the cell can have.
    [[nodiscard]] Real limited_A(Real current_A) const noexcept {
        const Real most_A = settings_.current_max_per_h * settings_.capacity_Ah;
        return detail::bounded(current_A, -most_A, most_A);
    }

    [[nodiscard]] Real signed_current_A(Real current_A) const noexcept {
        return (state_.reversed ? -current_A : current_A) - state_.offset_A;
    }

    /// By way of 32 bits: a float processor has no instruction for 64, and its library takes
    /// double.
    static Real seconds_of(std::int64_t time_us) noexcept {
        constexpr std::int64_t most_s = 2000000000;
        const std::int64_t whole_s = time_us / 1000000;
        const auto rest_us = static_cast<std::int32_t>(time_us % 1000000);
        return static_cast<Real>(static_cast<std::int32_t>(whole_s < most_s ? whole_s : most_s)) +
               static_cast<Real>(rest_us) * Real(1e-6);
    }

    /// \return time that may have passed beyond the step that is given out
    Real check_time(std::int64_t time_us, CheckedReadings<Real>& out) noexcept {
        const Real usual_s = state_.usual_dt_s;
        constexpr std::int64_t most_us = std::int64_t(1) << 62U;
        if (time_us > most_us || time_us < -most_us) {
            out.fault_bits |= sensor_time_missing;
            out.dt_s = usual_s;
            if (state_.started) state_.last_time_us += state_.usual_us;
            return Real(0);
        }
        if (!state_.started) {
            state_.last_time_us = time_us;
            return Real(0);
        }
        const std::int64_t passed_us = time_us - state_.last_time_us;
        state_.last_time_us = time_us;
        if (passed_us < 0) {
            out.fault_bits |= sensor_time_backward;
            out.dt_s = usual_s;
            return Real(0);
        }
        const Real passed_s = seconds_of(passed_us);
        if (passed_us == 0) {
            // Once is a row told twice.
            state_.still_s += usual_s;
            if (state_.still_s > Real(2.5) * usual_s) {
                out.fault_bits |= sensor_time_still;
                out.dt_s = usual_s;
            }
            return Real(0);
        }
        state_.still_s = Real(0);
        if (passed_s > settings_.gap_s && usual_s > Real(0)) {
            out.fault_bits |= sensor_time_jump;
            out.dt_s = usual_s;
            return passed_s < Real(86400) ? passed_s : Real(86400);
        }
        out.dt_s = passed_s;
        state_.usual_dt_s = out.dt_s;
        state_.usual_us = passed_us;
        return Real(0);
    }

    void check_temperature(Real temperature_degC, CheckedReadings<Real>& out) noexcept {
        std::uint32_t bits = 0;
        if (!detail::finite(temperature_degC)) {
            bits = sensor_temperature_missing;
        } else if (temperature_degC <= settings_.temperature_low_degC) {
            bits = sensor_temperature_open;
        } else if (temperature_degC >= settings_.temperature_high_degC) {
            bits = sensor_temperature_short;
        } else if (state_.temperature_known) {
            // The longer the sensor was not believed, the more the cell may have changed.
            const Real allowed_K =
                settings_.temperature_step_K +
                settings_.temperature_rate_K_per_s * (out.dt_s + state_.temperature_bad_s);
            if (magnitude(temperature_degC - state_.temperature_degC) > allowed_K)
                bits = sensor_temperature_rate;
        }
        if (bits == 0) {
            state_.temperature_degC = temperature_degC;
            state_.temperature_known = true;
            state_.temperature_bad_s = Real(0);
        } else {
            // Growing for ever would let a shorted sensor in.
            if (bits == sensor_temperature_rate) state_.temperature_bad_s += Real(0.02) * out.dt_s;
            out.fault_bits |= bits;
        }
        out.temperature_degC = state_.temperature_degC;
    }

    bool check_voltage_range(Real cell_V, CheckedReadings<Real>& out) noexcept {
        if (!detail::finite(cell_V)) {
            out.fault_bits |= sensor_voltage_missing;
            return false;
        }
        if (!detail::within(cell_V, settings_.voltage_low_V, settings_.voltage_high_V)) {
            out.fault_bits |= sensor_voltage_range;
            return false;
        }
        return true;
    }

    bool check_current_range(Real current_A, CheckedReadings<Real>& out) noexcept {
        if (!detail::finite(current_A)) {
            out.fault_bits |= sensor_current_missing;
            return false;
        }
        const Real most_A = settings_.current_max_per_h * settings_.capacity_Ah;
        if (!detail::within(current_A, -most_A, most_A)) {
            out.fault_bits |= sensor_current_range;
            return false;
        }
        return true;
    }

    void check_sum(const SensorSample<Real>& readings, CheckedReadings<Real>& out) noexcept {
        if (!detail::finite(readings.other_voltage_V) || !detail::finite(readings.voltage_V))
            return;
        const Real off_V = magnitude(readings.other_voltage_V - readings.voltage_V);
        if (off_V > settings_.sum_share * magnitude(readings.voltage_V))
            out.fault_bits |= sensor_voltage_sum;
    }

    void follow_offset(Real current_A, bool sound, CheckedReadings<Real>& out) noexcept {
        const Real least_A = settings_.offset_per_h * settings_.capacity_Ah;
        if (!sound) return;
        const Real oriented_A = state_.reversed ? -current_A : current_A;
        if (magnitude(oriented_A) > least_A) {
            out.fault_bits |= sensor_current_offset;
            // Seconds of it are enough: noise of the sensor is averaged.
            const Real share = out.dt_s / (out.dt_s + Real(10));
            state_.offset_A += share * (oriented_A - state_.offset_A);
        } else {
            state_.offset_A = Real(0);
        }
    }

    /// Current and voltage against each other.
    /// \param dt_s since the voltage before
    void watch(Real current_A, Real cell_V, const ModelView<Real>& view, Real dt_s) noexcept {
        const Real over_V = cell_V - view.open_V;
        const Real expected_V = view.open_V + view.resistance_ohm * current_A;
        SensorBlock<Real>& block = state_.block;
        if (!state_.raw_known) {
            // The first after a while: nothing to compare it with.
            state_.current_anchor_V = over_V;
            state_.voltage_anchor_V = expected_V;
            block = SensorBlock<Real>{};
            state_.last_block = block;
        } else {
            const Real step_A = current_A - state_.raw_current_A;
            // One that leaps by itself from a reading to the next waits until two blocks have shown
            // what it was.
            const Real step_V = magnitude(cell_V - state_.raw_voltage_V);
            const Real size_V = view.resistance_ohm * magnitude(step_A);
            const Real leap_V = Real(3.3) * settings_.jump_V;
            if (step_V > leap_V + Real(2.2) * (size_V + state_.last_step_V))
                state_.voltage_leapt_blocks = 2;
            if (size_V > Real(2) * leap_V && step_V < Real(0.3) * size_V &&
                magnitude(step_A) >
                    Real(0.25) * settings_.current_max_per_h * settings_.capacity_Ah &&
                state_.voltage_same_s < Real(1)) {
                state_.current_leapt_blocks = 2;
            }
            state_.last_step_V = size_V;
            const std::uint32_t stuck_bits = sensor_current_stuck | sensor_voltage_stuck;
            const bool was_stuck = (state_.latched & stuck_bits) != 0;
            stand(step_A, cell_V - state_.raw_voltage_V, over_V, expected_V, dt_s);
            if (magnitude(step_A) > block.largest_step_A) block.largest_step_A = magnitude(step_A);
            if (was_stuck || (state_.latched & stuck_bits) != 0) {
                // From a reading that stood, a step tells nothing.
                block = SensorBlock<Real>{};
                state_.last_block = block;
                state_.voltage_leapt_blocks = 0;
                state_.current_leapt_blocks = 0;
                return;
            }
        }
        block.time_s += dt_s;
        block.count += Real(1);
        block.current_A += (current_A - block.current_A) / block.count;
        block.voltage_V += (cell_V - block.voltage_V) / block.count;
        block.open_V += (view.open_V - block.open_V) / block.count;
        // Channels are seldom read at the same instant: means over half a second do not mind.
        if (block.time_s < Real(0.45) && state_.usual_dt_s > Real(0)) return;
        if (state_.last_block.count > Real(0)) {
            compare(block, state_.last_block, view.resistance_ohm);
        } else if (state_.latched == 0) {
            state_.sound_excess_V =
                block.voltage_V - block.open_V - view.resistance_ohm * block.current_A;
        }
        if (state_.voltage_leapt_blocks > 0) --state_.voltage_leapt_blocks;
        if (state_.current_leapt_blocks > 0) --state_.current_leapt_blocks;
        state_.last_block = block;
        block = SensorBlock<Real>{};
    }

    /// The step from one block to the next.
    void compare(const SensorBlock<Real>& now, const SensorBlock<Real>& before, Real r) noexcept {
        // What the voltage leaves when the model and the current are taken off.
        const Real excess_V = now.voltage_V - now.open_V - r * now.current_A;
        state_.moved_before = state_.moved_now;
        state_.moved_now = false;
        const Real step_A = now.current_A - before.current_A;
        // What the overvoltages of the past do meanwhile the model says, a step late.
        const Real drift_V = now.open_V - before.open_V;
        // Channels that are read a sample apart differ by one in so many of the block.
        const Real skew_A = now.count > Real(1) ? now.largest_step_A / now.count +
                                                      before.largest_step_A / before.count
                                                : Real(0);
        const Real loose_V = Real(0.5) * magnitude(drift_V) + r * skew_A;
        const Real step_V = now.voltage_V - before.voltage_V - drift_V;
        // Quick branches add to what the resistance shows at once, to twice as much in a second.
        const Real size_V = magnitude(r * step_A);
        const Real along_V =
            step_A < Real(0) ? -step_V : (step_A > Real(0) ? step_V : magnitude(step_V));
        const Real short_V = Real(0.6) * size_V - along_V - loose_V;
        const Real over_V = along_V - Real(2.2) * size_V - loose_V;
        const Real worse_V = short_V > over_V ? short_V : over_V;
        const Real beyond_V = worse_V > Real(0) ? worse_V : Real(0);
        // How far steps are beyond when all is well is learnt: the largest of the last half hour.
        // Noise alone is told apart by its spread: among ten thousand steps of a quiet hour the
        // largest is further out than that of the last half hour teaches.
        const Real noise_V = noise_sigmas * std::sqrt(state_.noise_var_V2);
        const Real least_V = noise_V > least_jump_V() ? noise_V : least_jump_V();
        const Real most_V = Real(4) * settings_.jump_V;
        const Real wide_V = Real(1.5) * state_.largest_beyond_V;
        const Real learnt_V = wide_V > least_V ? wide_V : least_V;
        const Real jump_V = learnt_V > most_V ? most_V : learnt_V;
        // Behind a step of the current the model errs, which is no noise.
        const bool quiet = size_V < Real(0.25) * least_jump_V();
        state_.quiet_s = quiet ? state_.quiet_s + now.time_s : Real(0);
        if (state_.latched == 0 && state_.quiet_s > Real(10) && beyond_V <= jump_V) {
            const Real left_V = step_V - r * step_A;
            const Real share = now.time_s / (now.time_s + Real(300));
            state_.noise_var_V2 += share * (left_V * left_V - state_.noise_var_V2);
        }
        state_.largest_beyond_V -= state_.largest_beyond_V * now.time_s / (now.time_s + Real(1800));
        // What is far beyond is a fault and teaches nothing, what is a little beyond may be the
        // model.
        const Real counted_V = beyond_V <= jump_V
                                   ? beyond_V
                                   : (beyond_V < Real(3) * jump_V ? Real(0.87) * jump_V : Real(0));
        if (state_.latched == 0 && counted_V > state_.largest_beyond_V)
            state_.largest_beyond_V = counted_V;
        const bool away = magnitude(excess_V - state_.sound_excess_V) > Real(0.5) * jump_V;
        // Many steps together tell a sign that no single one does. None counts as more than half of
        // what tells, nor its voltage as more than twice as much: a voltage may jump just when the
        // current steps. Nor does noise go against them by so much.
        const Real sure_V = Real(1.33) * settings_.jump_V;
        const Real told_V = sure_V > Real(2) * noise_V ? sure_V : Real(2) * noise_V;
        const Real weighed_V = size_V < Real(0.7) * told_V ? size_V : Real(0.7) * told_V;
        // As read: of what the model says of the past, a fault may have made a sign.
        const Real raw_V = now.voltage_V - before.voltage_V;
        const Real kept = Real(30) / (Real(30) + now.time_s);
        state_.steps_squared = kept * state_.steps_squared + weighed_V * weighed_V;
        const Real followed_V = detail::bounded(step_A < Real(0) ? -raw_V : raw_V,
                                                Real(-2) * weighed_V, Real(2) * weighed_V);
        state_.steps_followed = kept * state_.steps_followed + weighed_V * followed_V;
        if (state_.steps_squared > told_V * told_V &&
            state_.steps_followed < Real(-0.5) * state_.steps_squared) {
            reverse();
            return;
        }
        if (size_V > jump_V && along_V < Real(-0.4) * size_V - loose_V &&
            along_V > Real(-2.5) * size_V - loose_V) {
            vote_sign();
        } else if (beyond_V > jump_V) {
            // Less voltage than the current should have moved: the current jumped. More, either
            // way: the voltage.
            jump(short_V > over_V && magnitude(step_V) < size_V, step_A, step_V, r, away, jump_V);
        } else if (size_V > jump_V && size_V > settings_.stuck_V) {
            ++state_.good_steps;
            if (state_.sign_votes > 0) --state_.sign_votes;
        }
        // A voltage is believed again once it fits: the model errs more the longer it runs alone.
        const Real left_V = excess_V - state_.sound_excess_V;
        const Real near_V = jump_V > settings_.jump_V ? jump_V : settings_.jump_V;
        const Real alone_V = Real(0.002) * std::sqrt(state_.voltage_latched_s);
        const bool fits = magnitude(left_V) <
                          Real(0.5) * near_V + Real(0.1) * magnitude(r * now.current_A) + alone_V;
        state_.fits_s = fits ? state_.fits_s + now.time_s : Real(0);
        if (state_.fits_s > settings_.settle_s) {
            state_.latched &= ~static_cast<std::uint32_t>(sensor_voltage_jump);
            state_.jumped_V = Real(0);
            state_.peak_V = Real(0);
        }
        // A current is believed again once its level is better as it is read than less its jump.
        if ((state_.latched & sensor_current_jump) != 0 && state_.jumped_A != Real(0)) {
            const bool as_read = magnitude(left_V) < magnitude(left_V + r * state_.jumped_A);
            state_.level_votes += as_read ? 1 : -1;
            if (state_.level_votes < -60) state_.level_votes = -60;
            if (state_.level_votes >= 20) {
                state_.latched &= ~static_cast<std::uint32_t>(sensor_current_jump);
                state_.jumped_A = Real(0);
                state_.peak_A = Real(0);
            }
        } else {
            state_.level_votes = 0;
        }
        if ((state_.latched & sensor_current_jump) != 0 && state_.good_steps >= 3 &&
            state_.jumped_A == Real(0)) {
            state_.latched &= ~static_cast<std::uint32_t>(sensor_current_jump);
            if (magnitude(left_V) > near_V + Real(0.1) * magnitude(r * now.current_A)) {
                // Its steps are right and the level is not: the voltage jumped, just when the
                // current stepped. What was made of it until now is unknown.
                state_.owed_As += settings_.current_unknown_per_h * settings_.capacity_Ah *
                                  state_.current_latched_s;
                latch_voltage();
                state_.jumped_V = left_V;
                state_.peak_V = magnitude(left_V);
            }
        }
        if (state_.latched == 0) {
            state_.sound_excess_V = excess_V;
            state_.moves_V = 0;
        }
    }

    void forget_jumps() noexcept {
        state_.latched &= ~static_cast<std::uint32_t>(sensor_current_jump | sensor_voltage_jump);
        state_.jumped_A = Real(0);
        state_.peak_A = Real(0);
        state_.jumped_V = Real(0);
        state_.peak_V = Real(0);
    }

    /// The voltage went against the current. Three times: the sign is the other one.
    void vote_sign() noexcept {
        state_.latched |= sensor_current_jump;
        state_.current_latched_s = Real(0);
        state_.fits_s = Real(0);
        state_.good_steps = 0;
        state_.jumped_A = Real(0);
        state_.peak_A = Real(0);
        if (++state_.sign_votes >= 3) reverse();
    }

    /// The sign of the current is the other one.
    void reverse() noexcept {
        state_.sign_votes = 0;
        state_.steps_squared = Real(0);
        state_.steps_followed = Real(0);
        state_.reversed = !state_.reversed;
        state_.latched &= ~current_bits;
        forget_jumps();
        // From one sign to the other is no step.
        state_.block = SensorBlock<Real>{};
    }

    void jump(bool by_current, Real step_A, Real step_V, Real r, bool away, Real jump_V) noexcept {
        if (by_current) {
            state_.jumped_A += step_A - step_V / r;
            state_.good_steps = 0;
            const Real jumped_A = magnitude(state_.jumped_A);
            if (jumped_A > state_.peak_A) state_.peak_A = jumped_A;
            if (jumped_A < Real(0.4) * state_.peak_A ||
                r * jumped_A < Real(0.6) * (jump_V + magnitude(step_V))) {
                // It came back.
                state_.latched &= ~static_cast<std::uint32_t>(sensor_current_jump);
                state_.jumped_A = Real(0);
                state_.peak_A = Real(0);
            } else {
                state_.latched |= sensor_current_jump;
                state_.current_latched_s = Real(0);
                state_.fits_s = Real(0);
            }
            return;
        }
        state_.jumped_V += step_V - r * step_A;
        const Real jumped_V = magnitude(state_.jumped_V);
        if (jumped_V > state_.peak_V) state_.peak_V = jumped_V;
        if (!away || jumped_V < Real(0.4) * state_.peak_V ||
            jumped_V < Real(0.6) * jump_V + magnitude(r * step_A)) {
            state_.latched &= ~static_cast<std::uint32_t>(sensor_voltage_jump);
            state_.jumped_V = Real(0);
            state_.peak_V = Real(0);
            return;
        }
        // One move may fall into two blocks.
        if (step_A == Real(0) && !state_.moved_before) ++state_.moves_V;
        state_.moved_now = true;
        latch_voltage();
    }

    void latch_voltage() noexcept {
        state_.latched |= sensor_voltage_jump;
        state_.voltage_latched_s = Real(0);
        state_.fits_s = Real(0);
    }

    /// While a voltage is not believed the current may be the one that errs: the charge that it
    /// would miss is doubted until the two are told apart.
    void doubt(Real cell_V, const ModelView<Real>& view, CheckedReadings<Real>& out) noexcept {
        if ((state_.latched & sensor_voltage_jump) == 0) {
            state_.doubt_s = Real(0);
            state_.doubt_As = Real(0);
            state_.doubted = false;
            return;
        }
        if (state_.doubt_s == Real(0)) {
            state_.doubted = true;
            state_.excess_V = state_.jumped_V;
        }
        const Real spoken_A = limited_A((cell_V - view.open_V) / view.resistance_ohm);
        // A current that has read the same since before the voltage moved may be stuck anywhere.
        const bool stands =
            state_.current_same_s > Real(0) && state_.current_same_s >= state_.voltage_latched_s;
        const Real most_A = settings_.current_unknown_per_h * settings_.capacity_Ah;
        Real missed_A =
            magnitude(stands ? spoken_A - out.current_A : state_.jumped_V / view.resistance_ohm);
        if (!stands && missed_A > most_A) missed_A = most_A;
        state_.doubt_s += out.dt_s;
        const Real left_V =
            cell_V - view.open_V - view.resistance_ohm * out.current_A - state_.sound_excess_V;
        state_.excess_V += (left_V - state_.excess_V) * out.dt_s / (out.dt_s + Real(30));
        if (!state_.doubted && !stands) return;
        state_.doubt_As += missed_A * out.dt_s;
        out.current_std_A += missed_A;
        // A voltage that is off stays off by as much; that of another current goes on: branches
        // follow in a minute or two, and the charge that is not counted.
        const Real alone_V = Real(0.002) * std::sqrt(state_.doubt_s);
        const Real size_V = magnitude(state_.jumped_V);
        const Real along_V = state_.jumped_V < Real(0) ? -state_.excess_V : state_.excess_V;
        if (state_.doubt_s < Real(90)) return;
        if (along_V < Real(1.3) * size_V - alone_V) {
            state_.doubted = false;
        } else if (along_V > Real(1.7) * size_V + alone_V + Real(0.02) && !stands) {
            // The current it is, less its jump. What it made of the charge until now is unknown.
            state_.owed_As += state_.doubt_As;
            state_.jumped_A = -state_.jumped_V / view.resistance_ohm;
            state_.peak_A = magnitude(state_.jumped_A);
            state_.good_steps = 3;  // its steps were right all along
            state_.latched &= ~voltage_bits;
            state_.latched |= sensor_current_jump;
            state_.current_latched_s = Real(0);
            state_.level_votes = 0;
            state_.jumped_V = Real(0);
            state_.peak_V = Real(0);
            state_.doubt_s = Real(0);
            state_.doubt_As = Real(0);
            state_.doubted = false;
        }
    }

    /// A reading that stands while the other channel moves.
    void stand(Real step_A, Real step_V, Real over_V, Real expected_V, Real dt_s) noexcept {
        const Real settle_s = dt_s < Real(1) ? Real(2.5) : Real(2.5) * dt_s;
        if (step_A != Real(0)) {
            state_.current_same_s = Real(0);
            state_.current_anchor_V = over_V;
            state_.latched &= ~static_cast<std::uint32_t>(sensor_current_stuck);
            state_.moves_V = 0;
        } else {
            // The first seconds are for the quick branches, which the model has one tick late.
            state_.current_same_s += dt_s;
            if (state_.current_same_s <= settle_s) state_.current_anchor_V = over_V;
            const bool moved = magnitude(over_V - state_.current_anchor_V) > settings_.stuck_V;
            // One move may be the voltage's own; several under one reading are the current's.
            if (moved && state_.moves_V >= 2) {
                state_.latched |= sensor_current_stuck;
                state_.current_latched_s = Real(0);
                forget_jumps();
            }
        }
        if (step_V != Real(0)) {
            state_.voltage_same_s = Real(0);
            state_.voltage_anchor_V = expected_V;
            state_.latched &= ~static_cast<std::uint32_t>(sensor_voltage_stuck);
        } else {
            state_.voltage_same_s += dt_s;
            if (state_.voltage_same_s > settle_s &&
                magnitude(expected_V - state_.voltage_anchor_V) > settings_.stuck_V) {
                if ((state_.latched & sensor_voltage_stuck) == 0) forget_jumps();
                state_.latched |= sensor_voltage_stuck;
                state_.voltage_latched_s = Real(0);
            }
        }
    }

    void age_latches(Real dt_s) noexcept {
        state_.current_latched_s += dt_s;
        state_.voltage_latched_s += dt_s;
        // One whose steps are right is used less its jump meanwhile, which does no harm.
        const Real current_latch_s =
            state_.good_steps >= 3 && magnitude(state_.jumped_A) <
                                          settings_.current_unknown_per_h * settings_.capacity_Ah
                ? settings_.voltage_latch_s
                : settings_.current_latch_s;
        if (state_.current_latched_s > current_latch_s) {
            state_.latched &= ~current_bits;
            state_.jumped_A = Real(0);
            state_.peak_A = Real(0);
        }
        if (state_.voltage_latched_s > settings_.voltage_latch_s) {
            state_.latched &= ~voltage_bits;
            state_.jumped_V = Real(0);
            state_.peak_V = Real(0);
        }
    }

    /// Whether the voltage keeps correcting what is counted: by so much an hour (an offset), or by
    /// so much an ampere-hour (a gain, or another capacity). Least squares over windows of ten
    /// minutes, the older ones forgotten.
    void balance(const ModelView<Real>& view, bool sound,
                 const CheckedReadings<Real>& out) noexcept {
        // The view is of the state before this sample: it has all that was counted up to now.
        const bool settled =
            sound && detail::within(view.soc, Real(-1), Real(2)) && view.soc_std < Real(0.05);
        if (settled && state_.last_soc_known) {
            state_.window_moved +=
                view.soc - state_.last_soc -
                state_.counted_As / (seconds_per_hour<Real> * settings_.capacity_Ah);
            if (!(state_.window_s > Real(0))) state_.window_std = view.soc_std;
            state_.window_s += out.dt_s;
            state_.window_As += state_.counted_As;
        }
        state_.last_soc = view.soc;
        state_.last_soc_known = settled;
        state_.counted_As = out.current_A * out.dt_s;
        if (state_.window_s < Real(300)) return;
        const Real x = state_.window_s * (Real(1) / seconds_per_hour<Real>);
        const Real y = state_.window_As * (Real(1) / seconds_per_hour<Real>);
        const Real c = state_.window_moved * settings_.capacity_Ah;
        state_.window_s = Real(0);
        state_.window_As = Real(0);
        state_.window_moved = Real(0);
        // A filter that is still finding its SOC moves by that.
        if (state_.window_std > Real(1.3) * view.soc_std) return;
        Real* const n = state_.normal;
        const Real products[] = {x * x, x * y, y * y, x * c, y * c};
        for (int i = 0; i < 5; ++i)
            n[i] = Real(0.9) * n[i] + products[i];
        // How much windows scatter anyway: what stands out counts in part only.
        const Real usual = Real(0.0015) * settings_.capacity_Ah;
        const Real before =
            (Real(2) * usual * usual + state_.window_squares) / (Real(2) + state_.window_count);
        state_.window_squares += c * c < Real(4) * before ? c * c : Real(4) * before;
        state_.window_count += Real(1);
        const Real window_Ah_std = std::sqrt((Real(2) * usual * usual + state_.window_squares) /
                                             (Real(2) + state_.window_count));
        // A prior of no offset and no gain keeps both from being blamed for the same.
        const auto information = [&](Real std) {
            return window_Ah_std * window_Ah_std / (std * std);
        };
        const Real a = n[0] + information(Real(0.2) * settings_.capacity_Ah);
        const Real b = n[1];
        const Real d = n[2] + information(Real(0.2));
        const Real determinant = a * d - b * b;
        if (!(determinant > Real(0))) return;
        const Real offset_A = (d * n[3] - b * n[4]) / determinant;
        const Real gain = (a * n[4] - b * n[3]) / determinant;
        // Together they stand out (chi-square of two, four standard deviations); the one that
        // explains it better alone is named.
        const Real stands_out =
            (a * offset_A * offset_A + Real(2) * b * offset_A * gain + d * gain * gain) /
            (window_Ah_std * window_Ah_std);
        const bool by_gain = n[4] * n[4] * a > n[3] * n[3] * d;
        const Real alone_A = by_gain ? Real(0) : n[3] / a;
        const Real alone = by_gain ? n[4] / d : Real(0);
        state_.slow_bits = 0;
        state_.slow_offset_A = alone_A;
        state_.slow_gain = alone;
        if (!(stands_out > Real(16))) return;
        if (magnitude(alone_A) > Real(0.01) * settings_.capacity_Ah)
            state_.slow_bits = sensor_current_drift;
        if (magnitude(alone) > Real(0.03)) state_.slow_bits = sensor_current_gain;
    }

    /// The current that the voltage speaks of, where there is one; otherwise the last one.
    void replace_current(Real cell_V, bool by_voltage, const ModelView<Real>& view,
                         CheckedReadings<Real>& out) noexcept {
        if (by_voltage) {
            out.current_A = limited_A((cell_V - view.open_V) / view.resistance_ohm);
            out.current_std_A = settings_.model_std_V / view.resistance_ohm;
            // The voltage has been used: it has no second word.
            out.voltage_V = std::numeric_limits<Real>::quiet_NaN();
        } else {
            out.current_A = state_.current_A;
            out.current_std_A = settings_.current_unknown_per_h * settings_.capacity_Ah;
        }
    }

    Settings settings_{};
    State state_{};
};

}  // namespace voltkeel
