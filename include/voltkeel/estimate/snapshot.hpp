#pragma once
/// \file snapshot.hpp
/// The state of a pack in a fixed number of bytes, for memory that outlives the controller: the
/// reference filter and every group, and, where the caller has them, capacity with the interval
/// under way, growth of the resistance, what lasts of the checks of sensors, and the drift of every
/// group. Bytes are the same on every machine and for float and double (numbers as 32-bit IEEE 754,
/// the lowest byte first), and end with a check. A snapshot that was cut at any byte, or of which a
/// byte changed, is refused.
///
///     std::uint8_t bytes[snapshot_size<2, false, 16>];
///     Status s = write_snapshot(filter, {&capacity, &resistance, &checks, drift}, bytes);
///     ...
///     s = start_from_snapshot(bytes, sizeof bytes, {off_s, temperature_degC, no_current}, filter,
///                             {&capacity, &resistance, &checks, drift});
///
/// For a cell of two linear branches it takes 1480 bytes for 16 groups and 7240 for 96. Two thirds
/// of what a group takes is its drift: an array of snapshot_size<2, false, 16, false> has no room
/// for that, and takes 712 bytes for 16 groups and 2632 for 96.
///
/// Starting from one takes the time since: overvoltages have decayed, the cells lost charge by
/// themselves, and spreads have grown. The filter takes it that nothing flowed, and where the
/// caller does not know it, the SOC grows as unsure as in so many hours of counting. Where the
/// caller knows that no current could flow (`TimeOff::no_current`), it grows only as the
/// differences of groups at rest do (`PackFilterSettings::soc_std_per_sqrt_h`). The charge between
/// two anchors of the capacity does not forgive a current that nobody saw: its interval goes on
/// through the time off only where none could flow, or where there was no time off; else it ends,
/// and the next anchor begins a new one.

#include <cmath>
#include <cstdint>
#include <cstring>
#include <iterator>
#include <limits>

#include "voltkeel/estimate/age.hpp"
#include "voltkeel/estimate/crc32.hpp"
#include "voltkeel/estimate/pack_filter.hpp"
#include "voltkeel/estimate/sensor_checks.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// The layout below. A change of it is another number.
inline constexpr std::uint8_t snapshot_version = 2;

namespace detail {

/// Puts numbers behind each other.
class SnapshotWriter {
  public:
    explicit SnapshotWriter(std::uint8_t* to) noexcept : to_(to) {}
    void byte(std::uint8_t value) noexcept { to_[at_++] = value; }
    [[gnu::noinline]] void whole(std::uint32_t value) noexcept {
        for (int k = 0; k < 4; ++k)
            byte(static_cast<std::uint8_t>(value >> (8 * k)));
    }
    template <class Real>
    void number(Real value) noexcept {
        static_assert(std::numeric_limits<float>::is_iec559 && sizeof(float) == 4,
                      "a snapshot holds 32-bit IEEE 754 numbers");
        const auto narrow = static_cast<float>(value);
        std::uint32_t bits = 0;
        std::memcpy(&bits, &narrow, sizeof bits);
        whole(bits);
    }
    [[nodiscard]] int size() const noexcept { return at_; }

  private:
    std::uint8_t* to_;
    int at_{0};
};

/// Takes them out again.
class SnapshotReader {
  public:
    explicit SnapshotReader(const std::uint8_t* from) noexcept : from_(from) {}
    [[nodiscard]] std::uint8_t byte() noexcept { return from_[at_++]; }
    [[nodiscard, gnu::noinline]] std::uint32_t whole() noexcept {
        std::uint32_t value = 0;
        for (int k = 0; k < 4; ++k)
            value |= static_cast<std::uint32_t>(byte()) << (8 * k);
        return value;
    }
    /// What was stored without a sign.
    [[nodiscard]] int count() noexcept { return static_cast<int>(whole() & 0x7FFFFFFFU); }
    template <class Real>
    void number(Real& value) noexcept {
        const std::uint32_t bits = whole();
        float narrow = 0;
        std::memcpy(&narrow, &bits, sizeof narrow);
        value = static_cast<Real>(narrow);
    }

  private:
    const std::uint8_t* from_;
    int at_{0};
};

/// Every number of the reference filter, in the order of the layout.
template <class State, class Visit>
void each_number(State& state, Visit visit) noexcept {
    visit(state.cell.soc);
    visit(state.cell.soc_carry);
    for (auto& overvoltage_V : state.cell.branch_V)
        visit(overvoltage_V);
    visit(state.cell.hysteresis);
    visit(state.log_scale);
    visit(state.last_temperature_degC);
    for (int i = 0; i < State::size; ++i) {
        for (int k = 0; k <= i; ++k)
            visit(state.spread(i, k));
    }
}

/// What all groups have walked since voltages were last looked at.
template <class State, class Visit>
void each_number_of_walk(State& state, Visit visit) noexcept {
    visit(state.since_update_s);
    visit(state.walked);
    visit(state.walked_magnitude);
}

template <class State, class Visit>
void each_number_of_group(State& state, int k, Visit visit) noexcept {
    visit(state.soc_difference[k]);
    visit(state.resistance_share[k]);
    visit(state.soc_var[k]);
    visit(state.share_var[k]);
    visit(state.covariance[k]);
    visit(state.inverse_capacity[k]);
}

/// The numbers that `Part` names, in its order.
template <class Part, class State, class Visit>
void each_stored(State& state, Visit visit) noexcept {
    for (const auto& row : Part::stored_numbers)
        visit(state.*row.field);
}

/// What SensorChecks::restore takes.
template <class Real, class Checks, class Visit>
void each_number_of_checks(Checks& state, Visit visit) noexcept {
    each_stored<SensorChecks<Real>>(state, visit);
    visit(state.last_soc);
    for (auto& sum : state.normal)
        visit(sum);
}

template <class Drift, class Visit>
void each_number_of_drift(Drift& state, Visit visit) noexcept {
    for (auto& sum : state.information)
        visit(sum);
    for (auto& sum : state.right)
        visit(sum);
    visit(state.since_d);
    visit(state.waiting_d);
}

// Bits of the byte that says what is stored.
inline constexpr std::uint8_t part_capacity = 1U << 0U;
inline constexpr std::uint8_t part_resistance = 1U << 1U;
inline constexpr std::uint8_t part_checks = 1U << 2U;
inline constexpr std::uint8_t part_drift = 1U << 3U;
inline constexpr std::uint8_t room_for_drift = 1U << 7U;  ///< Whether the bytes have it.
inline constexpr std::uint8_t every_part =
    part_capacity | part_resistance | part_checks | part_drift | room_for_drift;

// Bits beside those of SensorFaultBit in the word of the checks.
inline constexpr std::uint32_t checks_doubted = 1U << 30U;
inline constexpr std::uint32_t checks_soc_known = 1U << 31U;
/// Beside the number of intervals.
inline constexpr std::uint32_t capacity_anchored = 1U << 31U;

/// What a 32-bit sum rounds away goes into the carry, so that nothing is lost.
template <class Real>
void carry_rounding(Real& sum, Real& carry) noexcept {
    const Real rounded = static_cast<Real>(static_cast<float>(sum));
    carry += rounded - sum;
    sum = rounded;
}

}  // namespace detail

/// Bytes of a snapshot of `Capacity` groups, however many of them are in use.
/// \tparam Drift whether there is room for the drift of every group
template <int Branches, bool Transfer, int Capacity, bool Drift = true>
inline constexpr int snapshot_size = [] {
    constexpr int lags = lag_count<Branches, Transfer>;
    constexpr int size = lags + 3;
    constexpr int head = 12;  // mark, version, branches, transfer, parts, count
    constexpr int reference = 5 + lags + size * (size + 1) / 2;
    // The numbers that a part names, and a word for its counts and flags.
    constexpr int capacity = std::size(CapacityEstimator<float>::stored_numbers) + 1;
    constexpr int resistance = std::size(ResistanceGrowth<float>::stored_numbers) + 1;
    constexpr int checks = std::size(SensorChecks<float>::stored_numbers) + 6 + 2;
    constexpr int walk = 3;
    constexpr int group = 6 + (Drift ? 12 : 0);
    return head + 4 * (reference + capacity + resistance + checks + walk + group * Capacity) + 4;
}();

/// What is stored beside the filter. Null: none.
template <class Real>
struct SnapshotParts {
    CapacityEstimator<Real>* capacity{nullptr};
    ResistanceGrowth<Real>* resistance{nullptr};
    SensorChecks<Real>* checks{nullptr};
    GroupDriftFit<Real>* drift{nullptr};  ///< One for each group.
};

/// What has passed since a snapshot was written.
template <class Real>
struct TimeOff {
    Real off_s{0};              ///< >= 0.
    Real temperature_degC{25};  ///< Now.
    /// Known: contactors were open all the time, and nothing drew from groups beside them.
    bool no_current{false};
};

// Inlined where they are called: of parts that are visibly null, no code is left.

/// Writes the state of a started filter and of the parts there are, which stay as they are.
/// \param bytes of snapshot_size, with or without room for the drift
/// \return not_started for a filter that is not, out_of_range for a drift without room; then
/// nothing is written
template <class Real, int Branches, bool Transfer, int Capacity, int Size>
[[nodiscard, gnu::always_inline]] inline Status write_snapshot(
    const PackFilter<Real, Branches, Transfer, Capacity>& filter, const SnapshotParts<Real>& parts,
    std::uint8_t (&bytes)[Size]) noexcept {
    constexpr bool with_drift = Size == snapshot_size<Branches, Transfer, Capacity, true>;
    static_assert(with_drift || Size == snapshot_size<Branches, Transfer, Capacity, false>,
                  "the array has the size of a snapshot");
    if (!filter.reference().state().started) return Status::not_started;
    if (parts.drift != nullptr && !with_drift) return Status::out_of_range;
    detail::SnapshotWriter to(bytes);
    for (const char mark : {'V', 'k', 'S', 's'})
        to.byte(static_cast<std::uint8_t>(mark));
    to.byte(snapshot_version);
    to.byte(static_cast<std::uint8_t>(Branches));
    to.byte(Transfer ? 1 : 0);
    to.byte(static_cast<std::uint8_t>((parts.capacity != nullptr ? detail::part_capacity : 0U) |
                                      (parts.resistance != nullptr ? detail::part_resistance : 0U) |
                                      (parts.checks != nullptr ? detail::part_checks : 0U) |
                                      (parts.drift != nullptr ? detail::part_drift : 0U) |
                                      (with_drift ? detail::room_for_drift : 0U)));
    to.whole(static_cast<std::uint32_t>(filter.count()));
    const auto put = [&](const auto& value) { to.number(value); };
    auto reference = filter.reference().state();
    reference.work_in_pending();
    detail::carry_rounding(reference.cell.soc, reference.cell.soc_carry);
    detail::each_number(reference, put);

    CapacityState<Real> age;
    if (parts.capacity != nullptr) age = parts.capacity->state();
    detail::carry_rounding(age.charge_Ah, age.charge_carry_Ah);
    detail::carry_rounding(age.hours, age.hours_carry);
    detail::each_stored<CapacityEstimator<Real>>(age, put);
    to.whole(static_cast<std::uint32_t>(age.intervals) |
             (age.anchored ? detail::capacity_anchored : 0U));

    typename ResistanceGrowth<Real>::State growth;
    if (parts.resistance != nullptr) growth = parts.resistance->state();
    detail::each_stored<ResistanceGrowth<Real>>(growth, put);
    to.whole(static_cast<std::uint32_t>(growth.looks));

    const SensorCheckState<Real> no_checks;
    const SensorCheckState<Real>& checks =
        parts.checks != nullptr ? parts.checks->state() : no_checks;
    detail::each_number_of_checks<Real>(checks, put);
    to.whole(static_cast<std::uint32_t>(checks.good_steps));
    to.whole(checks.latched | checks.slow_bits |
             (checks.reversed ? static_cast<std::uint32_t>(sensor_current_sign) : 0U) |
             (checks.doubted ? detail::checks_doubted : 0U) |
             (checks.last_soc_known ? detail::checks_soc_known : 0U));

    const auto& groups = filter.state();
    detail::each_number_of_walk(groups, put);
    for (int k = 0; k < filter.count(); ++k)
        detail::each_number_of_group(groups, k, put);
    for (int k = 6 * filter.count(); k < 6 * Capacity; ++k)
        to.whole(0);
    if constexpr (with_drift) {
        const typename GroupDriftFit<Real>::State no_drift;
        for (int k = 0; k < Capacity; ++k) {
            const auto& drift =
                parts.drift != nullptr && k < filter.count() ? parts.drift[k].state() : no_drift;
            detail::each_number_of_drift(drift, put);
            to.whole(static_cast<std::uint32_t>(drift.looks));
        }
    }
    to.whole(crc32(bytes, to.size()));
    return Status::ok;
}

/// Starts a configured filter from a snapshot.
/// \param bytes `count` of them \param since what has passed \param parts configured ones that go
/// on too; what is stored of others is left out, and one of which nothing is stored stays as it is
/// \return snapshot_damaged for bytes that were cut or changed; snapshot_foreign for another
/// version, model or number of groups, or parts of another kind; time_step_invalid or
/// sample_not_finite for what has passed; or what filter or part say of a state that cannot be.
/// Then nothing changes.
template <class Real, int Branches, bool Transfer, int Capacity>
[[nodiscard, gnu::always_inline]] inline Status start_from_snapshot(
    const std::uint8_t* bytes, int count, const TimeOff<Real>& since,
    PackFilter<Real, Branches, Transfer, Capacity>& filter,
    const SnapshotParts<Real>& parts = {}) noexcept {
    using Filter = PackFilter<Real, Branches, Transfer, Capacity>;
    if (bytes == nullptr || count < 12) return Status::snapshot_damaged;
    if (!detail::within(since.off_s, Real(0), Real(1e9))) return Status::time_step_invalid;
    if (!detail::within(since.temperature_degC, Real(-100), Real(200)))
        return Status::sample_not_finite;
    detail::SnapshotReader from(bytes);
    for (const char mark : {'V', 'k', 'S', 's'}) {
        if (from.byte() != static_cast<std::uint8_t>(mark)) return Status::snapshot_damaged;
    }
    // The version first: another one may have another length.
    if (from.byte() != snapshot_version) return Status::snapshot_foreign;
    const std::uint8_t branches = from.byte();
    const std::uint8_t transfer = from.byte();
    const std::uint8_t stored = from.byte();
    const std::uint32_t groups_used = from.whole();
    if (branches != Branches || transfer != (Transfer ? 1 : 0) ||
        (stored & ~detail::every_part) != 0 ||
        groups_used != static_cast<std::uint32_t>(filter.count())) {
        return Status::snapshot_foreign;
    }
    const bool with_drift = (stored & detail::room_for_drift) != 0;
    const int size = with_drift ? snapshot_size<Branches, Transfer, Capacity, true>
                                : snapshot_size<Branches, Transfer, Capacity, false>;
    if (count != size) return Status::snapshot_damaged;
    detail::SnapshotReader check(bytes + size - 4);
    if (check.whole() != crc32(bytes, size - 4)) return Status::snapshot_damaged;
    if (!with_drift && (stored & detail::part_drift) != 0) return Status::snapshot_foreign;

    typename Filter::Reference::State reference;
    const auto take = [&](auto& value) { from.number(value); };
    detail::each_number(reference, take);
    CapacityState<Real> age;
    detail::each_stored<CapacityEstimator<Real>>(age, take);
    const std::uint32_t intervals = from.whole();
    age.intervals = static_cast<int>(intervals & ~detail::capacity_anchored);
    age.anchored = (intervals & detail::capacity_anchored) != 0;
    typename ResistanceGrowth<Real>::State growth;
    detail::each_stored<ResistanceGrowth<Real>>(growth, take);
    growth.looks = from.count();
    SensorCheckState<Real> checks;
    detail::each_number_of_checks<Real>(checks, take);
    checks.good_steps = from.count();
    const std::uint32_t bits = from.whole();
    constexpr std::uint32_t slow_faults = SensorChecks<Real>::slow_faults;
    checks.reversed = (bits & sensor_current_sign) != 0;
    checks.doubted = (bits & detail::checks_doubted) != 0;
    checks.last_soc_known = (bits & detail::checks_soc_known) != 0;
    checks.slow_bits = bits & slow_faults;
    checks.latched = bits & ~(slow_faults | static_cast<std::uint32_t>(sensor_current_sign) |
                              detail::checks_doubted | detail::checks_soc_known);
    typename Filter::State groups;
    detail::each_number_of_walk(groups, take);
    for (int k = 0; k < Capacity; ++k)
        detail::each_number_of_group(groups, k, take);

    // Every answer is asked for before anything changes.
    const bool with_capacity = parts.capacity != nullptr && (stored & detail::part_capacity) != 0;
    const bool with_resistance =
        parts.resistance != nullptr && (stored & detail::part_resistance) != 0;
    const bool with_checks = parts.checks != nullptr && (stored & detail::part_checks) != 0;
    const bool drifts = parts.drift != nullptr && (stored & detail::part_drift) != 0;
    Status status = Status::ok;
    if (with_capacity) status = parts.capacity->check(age);
    if (with_resistance && status == Status::ok) status = parts.resistance->check(growth);
    if (with_checks && status == Status::ok) status = parts.checks->check(checks);
    // Of the groups one after the other, twice: a copy of all would be a large frame.
    const auto each_drift = [&](bool checked) {
        detail::SnapshotReader of_drift = from;
        for (int k = 0; k < filter.count() && status == Status::ok; ++k) {
            typename GroupDriftFit<Real>::State drift;
            detail::each_number_of_drift(drift, [&](auto& value) { of_drift.number(value); });
            drift.looks = of_drift.count();
            status = checked ? parts.drift[k].restore(drift) : parts.drift[k].check(drift);
            if (checked) parts.drift[k].step(since.off_s);
        }
    };
    if (drifts) each_drift(false);
    if (status == Status::ok) status = filter.restore(reference, groups);
    if (status != Status::ok) return status;

    const Real off_s = since.off_s;
    if (with_capacity) {
        (void)parts.capacity->restore(age);
        parts.capacity->time_off(off_s, since.no_current);
    }
    if (with_resistance) {
        (void)parts.resistance->restore(growth);
        parts.resistance->time_off(off_s);
    }
    if (with_checks) {
        (void)parts.checks->restore(checks);
        parts.checks->time_off(off_s);
    }
    if (drifts) each_drift(true);
    // The time off, without current and voltage, in steps that the filter takes.
    const Real soc_var = filter.reference().state().covariance(0, 0);
    PackSample<Real> sample;
    sample.temperature_degC = since.temperature_degC;
    const Real longest_s = filter.settings().reference.longest_step_s;
    constexpr int most_steps = 4000;
    const Real step_s = off_s / longest_s < Real(most_steps) ? longest_s : off_s / Real(most_steps);
    Real left_s = off_s;
    for (int k = 0; k < most_steps && left_s > Real(0); ++k) {
        sample.dt_s = left_s < step_s ? left_s : step_s;
        (void)filter.step(sample);
        left_s -= step_s;
    }
    if (!since.no_current || !(off_s > Real(0))) return Status::ok;
    // Nothing was counted. The covariances are no larger than before, so that a smaller variance
    // than that of counting still makes a covariance.
    reference = filter.reference().state();
    reference.work_in_pending();
    const Real at_rest = filter.settings().soc_std_per_sqrt_h;
    const Real rested_var = soc_var + at_rest * at_rest * (off_s / seconds_per_hour<Real>);
    Real& grown_var = reference.spread(reference.at_soc, reference.at_soc);
    if (rested_var < grown_var) grown_var = rested_var;
    groups = filter.state();
    return filter.restore(reference, groups);
}

}  // namespace voltkeel
