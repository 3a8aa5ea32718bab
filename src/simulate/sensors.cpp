#include "voltkeel/simulate/sensors.hpp"

#include <algorithm>
#include <cmath>

#include "io/number_text.hpp"
#include "simulate/bounds.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/simulate/random.hpp"

namespace voltkeel {

namespace {

using detail::need_within;

/// A column of a run: value of row k at flat[k * stride + first].
struct Column {
    const std::vector<double>* flat{nullptr};
    std::size_t stride{1};
    std::size_t first{0};
};

/// Value at a time, a straight line between rows, held outside.
double value_at(const std::vector<double>& time_s, const Column& column, double at_s) {
    const auto row = [&](std::size_t k) {
        return (*column.flat)[k * column.stride + column.first];
    };
    // A time that is a row's but for rounding is that row's: currents jump just behind it.
    const double slack_s = 1e-9 * (1 + std::abs(at_s));
    const auto next = std::lower_bound(time_s.begin(), time_s.end(), at_s - slack_s);
    if (next == time_s.end()) return row(time_s.size() - 1);
    const auto k = static_cast<std::size_t>(next - time_s.begin());
    if (k == 0 || time_s[k] <= at_s + slack_s) return row(k);
    const double share = (at_s - time_s[k - 1]) / (time_s[k] - time_s[k - 1]);
    return row(k - 1) + share * (row(k) - row(k - 1));
}

std::size_t place_of(const Pack& pack, const std::string& name) {
    for (std::size_t k = 0; k < pack.channels.size(); ++k) {
        if (pack.channels[k].name == name) return k;
    }
    throw Error("channel: there is none called \"" + name + "\"");
}

std::vector<Column> columns_of(const Pack& pack, const SimulationResult& result,
                               const Channel& channel) {
    std::size_t string = 0;
    std::size_t first_group = 0;
    if (!channel.string.empty()) {
        while (pack.strings[string].name != channel.string) {
            first_group += static_cast<std::size_t>(group_count(pack, pack.strings[string]));
            ++string;
        }
    }
    first_group += static_cast<std::size_t>(channel.first_group);
    const std::size_t strings = pack.strings.size();
    std::vector<Column> columns;
    switch (channel.quantity) {
        case ChannelQuantity::pack_current:
            return {{&result.current_A, 1, 0}};
        case ChannelQuantity::pack_voltage:
            return {{&result.voltage_V, 1, 0}};
        case ChannelQuantity::ambient_temperature:
            return {{&result.ambient_degC, 1, 0}};
        case ChannelQuantity::string_current:
            return {{&result.string_current_A, strings, string}};
        case ChannelQuantity::string_voltage:
            return {{&result.string_voltage_V, strings, string}};
        case ChannelQuantity::group_voltage:
            if (result.group_voltage_V.empty())
                throw Error("result: has no groups; run with record_groups");
            for (int k = 0; k < channel.group_count; ++k)
                columns.push_back({&result.group_voltage_V, result.group_string.size(),
                                   first_group + static_cast<std::size_t>(k)});
            return columns;
        case ChannelQuantity::case_temperature:
            if (result.cell_case_degC.empty())
                throw Error("result: has no cells; run with record_cells");
            for (int k = 0; k < channel.group_count; ++k) {
                const auto group = static_cast<int>(first_group) + k;
                const auto found =
                    std::find(result.cell_group.begin(), result.cell_group.end(), group);
                columns.push_back({&result.cell_case_degC, result.cell_group.size(),
                                   static_cast<std::size_t>(found - result.cell_group.begin()) +
                                       static_cast<std::size_t>(channel.cell)});
            }
            return columns;
    }
    return columns;
}

}  // namespace

const char* sensor_fault_name(SensorFaultKind kind) noexcept {
    switch (kind) {
        case SensorFaultKind::stuck:
            return "stuck";
        case SensorFaultKind::dropout:
            return "dropout";
        case SensorFaultKind::offset:
            return "offset";
        case SensorFaultKind::gain:
            return "gain";
        case SensorFaultKind::noise:
            return "noise";
    }
    return "unknown fault";
}

std::vector<SensorReadings> read_sensors(const Pack& pack, const SimulationResult& result,
                                         const std::vector<SensorSettings>& settings,
                                         const std::vector<SensorFault>& faults,
                                         std::uint64_t seed) {
    check(pack);
    if (result.size() == 0) throw Error("result: has no rows");
    if (result.string_names.size() != pack.strings.size() ||
        result.group_string.size() != static_cast<std::size_t>(group_count(pack)))
        throw Error("result: is of another pack");
    std::vector<SensorSettings> how(pack.channels.size());
    for (std::size_t k = 0; k < settings.size(); ++k) {
        const SensorSettings& one = settings[k];
        const std::string field = "settings[" + std::to_string(k) + "].";
        need_within(field + "step", one.step, 0, 1e6);
        need_within(field + "noise_std", one.noise_std, 0, 1e6);
        need_within(field + "offset", one.offset, -1e6, 1e6);
        need_within(field + "gain", one.gain, -100, 100);
        need_within(field + "delay_s", one.delay_s, 0, 1e6);
        need_within(field + "value_shift_s", one.value_shift_s, 0, 1e6);
        if (!(one.low < one.high))
            throw Error(field + "low: " + number_text(one.low) + " must be below high, " +
                        number_text(one.high));
        how[place_of(pack, one.channel)] = one;
    }
    for (std::size_t k = 0; k < faults.size(); ++k) {
        const std::string field = "faults[" + std::to_string(k) + "].";
        const Channel& channel = pack.channels[place_of(pack, faults[k].channel)];
        need_within(field + "value", faults[k].value, -1, channel.group_count - 1);
        need_within(field + "amount", faults[k].amount, -1e6, 1e6);
        if (!(faults[k].start_s < faults[k].end_s))
            throw Error(field + "start_s: " + number_text(faults[k].start_s) +
                        " must be below end_s, " + number_text(faults[k].end_s));
    }
    std::vector<SensorReadings> all;
    for (std::size_t c = 0; c < pack.channels.size(); ++c) {
        const Channel& channel = pack.channels[c];
        const SensorSettings& sensor = how[c];
        const std::vector<Column> columns = columns_of(pack, result, channel);
        SensorReadings out;
        out.channel = channel.name;
        out.quantity = channel.quantity;
        out.width = columns.size();
        PortableRandom random(seed * 0x9E3779B97F4A7C15ULL + 2 * c);
        PortableRandom fault_random(seed * 0x9E3779B97F4A7C15ULL + 2 * c + 1);
        const double last_s = result.time_s.back();
        for (std::size_t k = 0;; ++k) {
            const double time_s = channel.offset_s + static_cast<double>(k) * channel.interval_s;
            if (time_s > last_s * (1 + 1e-12)) break;
            out.time_s.push_back(time_s);
            for (std::size_t j = 0; j < out.width; ++j) {
                const double taken_s =
                    time_s + static_cast<double>(j) * sensor.value_shift_s - sensor.delay_s;
                out.truth.push_back(value_at(result.time_s, columns[j], time_s));
                double value = value_at(result.time_s, columns[j], taken_s);
                double extra = 0;
                bool stuck = false;
                bool lost = false;
                for (const SensorFault& fault : faults) {
                    const bool now =
                        fault.channel == channel.name && time_s >= fault.start_s &&
                        time_s < fault.end_s &&
                        (fault.value < 0 || static_cast<std::size_t>(fault.value) == j);
                    if (!now) continue;
                    switch (fault.kind) {
                        case SensorFaultKind::stuck:
                            stuck = true;
                            break;
                        case SensorFaultKind::dropout:
                            lost = true;
                            break;
                        case SensorFaultKind::offset:
                            extra += fault.amount;
                            break;
                        case SensorFaultKind::gain:
                            value *= fault.amount;
                            break;
                        case SensorFaultKind::noise:
                            extra += fault.amount * fault_random.normal();
                            break;
                    }
                }
                const double noise =
                    sensor.noise_std > 0 ? sensor.noise_std * random.normal() : 0.0;
                value = sensor.gain * value + sensor.offset + noise + extra;
                if (sensor.step > 0) value = sensor.step * std::round(value / sensor.step);
                value = std::min(std::max(value, sensor.low), sensor.high);
                if (stuck && k > 0) value = out.value[(k - 1) * out.width + j];
                if (lost) value = std::numeric_limits<double>::quiet_NaN();
                out.value.push_back(value);
            }
        }
        all.push_back(std::move(out));
    }
    return all;
}

}  // namespace voltkeel
