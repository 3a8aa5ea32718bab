#pragma once
/// \file snapshot.hpp
/// The state of a pack in a fixed number of bytes, for memory that outlives the controller: the
/// reference filter, every group, the capacity. Bytes are the same on every machine and for float
/// and double (numbers as 32-bit IEEE 754, the lowest byte first), and end with a check. A snapshot
/// that was cut at any byte, or of which a byte changed, is refused.
///
/// Starting from one takes the time since: overvoltages have decayed, the cells lost charge by
/// themselves, and spreads have grown.

#include <cmath>
#include <cstdint>
#include <cstring>
#include <limits>

#include "voltkeel/estimate/age.hpp"
#include "voltkeel/estimate/crc32.hpp"
#include "voltkeel/estimate/pack_filter.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// The layout below. A change of it is another number.
inline constexpr std::uint8_t snapshot_version = 1;

namespace detail {

/// Puts numbers behind each other.
class SnapshotWriter {
  public:
    explicit SnapshotWriter(std::uint8_t* to) noexcept : to_(to) {}
    void byte(std::uint8_t value) noexcept { to_[at_++] = value; }
    void whole(std::uint32_t value) noexcept {
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
    [[nodiscard]] std::uint32_t whole() noexcept {
        std::uint32_t value = 0;
        for (int k = 0; k < 4; ++k)
            value |= static_cast<std::uint32_t>(byte()) << (8 * k);
        return value;
    }
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

template <class State, class Visit>
void each_number_of_group(State& state, int k, Visit visit) noexcept {
    visit(state.soc_difference[k]);
    visit(state.resistance_share[k]);
    visit(state.soc_var[k]);
    visit(state.share_var[k]);
    visit(state.covariance[k]);
    visit(state.inverse_capacity[k]);
}

template <class Capacity, class Visit>
void each_number_of_capacity(Capacity& state, Visit visit) noexcept {
    visit(state.capacity_Ah);
    visit(state.capacity_std_Ah);
    visit(state.xx);
    visit(state.xy);
    visit(state.yy);
    visit(state.soc_var_sum);
    visit(state.charge_var_sum);
    visit(state.score_var);
    visit(state.last_score);
    visit(state.mean_age);
}

}  // namespace detail

/// Bytes of a snapshot of `Capacity` groups, however many of them are in use.
template <int Branches, bool Transfer, int Capacity>
inline constexpr int snapshot_size = [] {
    constexpr int lags = lag_count<Branches, Transfer>;
    constexpr int size = lags + 3;
    constexpr int head = 12;  // mark, version, branches, transfer, spare, count
    constexpr int reference = 5 + lags + size * (size + 1) / 2;
    constexpr int age = 11;
    return head + 4 * (reference + age + 6 * Capacity) + 4;
}();

/// Writes the state of a started filter and, where there is one, of its capacity.
/// \param capacity null: none \param bytes receives snapshot_size of them
/// \return not_started for a filter that is not; then nothing is written
template <class Real, int Branches, bool Transfer, int Capacity>
[[nodiscard]] inline Status write_snapshot(
    const PackFilter<Real, Branches, Transfer, Capacity>& filter,
    const CapacityEstimator<Real>* capacity,
    std::uint8_t (&bytes)[snapshot_size<Branches, Transfer, Capacity>]) noexcept {
    if (!filter.reference().state().started) return Status::not_started;
    detail::SnapshotWriter to(bytes);
    for (const char mark : {'V', 'k', 'S', 's'})
        to.byte(static_cast<std::uint8_t>(mark));
    to.byte(snapshot_version);
    to.byte(static_cast<std::uint8_t>(Branches));
    to.byte(Transfer ? 1 : 0);
    to.byte(capacity != nullptr ? 1 : 0);
    to.whole(static_cast<std::uint32_t>(filter.count()));
    const auto put = [&](const auto& value) { to.number(value); };
    // What a 32-bit SOC rounds away goes into the carry, so that no charge is lost.
    auto reference = filter.reference().state();
    reference.work_in_pending();
    const Real rounded = static_cast<Real>(static_cast<float>(reference.cell.soc));
    reference.cell.soc_carry += rounded - reference.cell.soc;
    reference.cell.soc = rounded;
    detail::each_number(reference, put);
    const CapacityState<Real> none;
    const CapacityState<Real>& age = capacity != nullptr ? capacity->state() : none;
    detail::each_number_of_capacity(age, put);
    to.whole(static_cast<std::uint32_t>(age.intervals));
    auto groups = filter.state();
    for (int k = 0; k < filter.count(); ++k) {
        // What was walked since the last update belongs to the difference.
        groups.soc_difference[k] += (groups.inverse_capacity[k] - Real(1)) * groups.walked;
        detail::each_number_of_group(groups, k, put);
    }
    for (int k = filter.count(); k < Capacity; ++k) {
        for (int i = 0; i < 6; ++i)
            to.whole(0);
    }
    to.whole(crc32(bytes, to.size()));
    return Status::ok;
}

/// Starts a configured filter from a snapshot.
/// \param bytes `count` of them \param capacity null: what is stored of it is left out
/// \param off_s time since the snapshot was written, >= 0 \param temperature_degC now
/// \return snapshot_damaged for bytes that were cut or changed; snapshot_foreign for another
/// version, model or number of groups; time_step_invalid; or what the filter says of a state that
/// cannot be. Then nothing changes.
template <class Real, int Branches, bool Transfer, int Capacity>
[[nodiscard]] inline Status start_from_snapshot(
    const std::uint8_t* bytes, int count, Real off_s, Real temperature_degC,
    PackFilter<Real, Branches, Transfer, Capacity>& filter,
    CapacityEstimator<Real>* capacity = nullptr) noexcept {
    using Filter = PackFilter<Real, Branches, Transfer, Capacity>;
    constexpr int size = snapshot_size<Branches, Transfer, Capacity>;
    if (bytes == nullptr || count < 12) return Status::snapshot_damaged;
    if (!detail::within(off_s, Real(0), Real(1e9))) return Status::time_step_invalid;
    if (!detail::within(temperature_degC, Real(-100), Real(200))) return Status::sample_not_finite;
    detail::SnapshotReader from(bytes);
    for (const char mark : {'V', 'k', 'S', 's'}) {
        if (from.byte() != static_cast<std::uint8_t>(mark)) return Status::snapshot_damaged;
    }
    // The version first: another one may have another length.
    if (from.byte() != snapshot_version) return Status::snapshot_foreign;
    const std::uint8_t branches = from.byte();
    const std::uint8_t transfer = from.byte();
    const std::uint8_t aged = from.byte();
    const std::uint32_t groups_used = from.whole();
    if (branches != Branches || transfer != (Transfer ? 1 : 0) ||
        groups_used != static_cast<std::uint32_t>(filter.count())) {
        return Status::snapshot_foreign;
    }
    if (count != size) return Status::snapshot_damaged;
    detail::SnapshotReader check(bytes + size - 4);
    if (check.whole() != crc32(bytes, size - 4)) return Status::snapshot_damaged;

    typename Filter::Reference::State reference;
    const auto take = [&](auto& value) { from.number(value); };
    detail::each_number(reference, take);
    CapacityState<Real> age;
    detail::each_number_of_capacity(age, take);
    age.intervals = static_cast<int>(from.whole() & 0x7FFFFFFFU);
    typename Filter::State groups;
    for (int k = 0; k < Capacity; ++k)
        detail::each_number_of_group(groups, k, take);

    // Two answers are asked for before anything changes.
    const bool with_age = capacity != nullptr && aged != 0;
    CapacityEstimator<Real> restored;
    if (with_age) {
        restored = *capacity;
        const Status status = restored.restore(age);
        if (status != Status::ok) return status;
    }
    const Status status = filter.restore(reference, groups);
    if (status != Status::ok) return status;
    if (with_age) *capacity = restored;
    // The time off, without current and voltage, in steps that the filter takes.
    PackSample<Real> sample;
    sample.temperature_degC = temperature_degC;
    const Real longest_s = filter.settings().reference.longest_step_s;
    constexpr int most_steps = 4000;
    const Real step_s = off_s / longest_s < Real(most_steps) ? longest_s : off_s / Real(most_steps);
    Real left_s = off_s;
    for (int k = 0; k < most_steps && left_s > Real(0); ++k) {
        sample.dt_s = left_s < step_s ? left_s : step_s;
        (void)filter.step(sample);
        left_s -= step_s;
    }
    return Status::ok;
}

}  // namespace voltkeel
