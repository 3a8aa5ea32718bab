#include "voltkeel/io/group_replay.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <memory>
#include <string>

#include "io/replay_parts.hpp"
#include "voltkeel/io/filter_settings.hpp"

namespace voltkeel {

namespace {

template <int Branches, bool Transfer>
class Replay {
    using Filter = PackFilter<double, Branches, Transfer, static_cast<int>(most_log_groups)>;
    static constexpr std::uint32_t sensor_voltage_bits = sensor_voltage_jump | sensor_voltage_stuck;

  public:
    /// \param tested_Ah capacity of the cell file
    Replay(const Cell& cell, double tested_Ah, const GroupLog& log,
           const GroupReplaySettings& settings)
        : cell_(cell),
          tested_Ah_(tested_Ah),
          log_(log),
          settings_(settings),
          tables_(cell),
          filter_(std::make_unique<Filter>()) {
        PackFilterSettings<double> knobs;
        if (settings.filter) {
            knobs = *settings.filter;
        } else {
            knobs.reference = filter_settings(cell);
        }
        detail::need_valid(validate(knobs));
        const Status aged = detail::take_age(knobs.reference, settings.age);
        if (aged != Status::ok)
            detail::fail_start(settings.initial_soc.value_or(NAN), settings.initial_soc_std, aged);
        const Status status =
            filter_->configure(tables_.parameters(), static_cast<int>(log.groups), knobs);
        if (status != Status::ok) throw Error(log.source + ": " + message(status));
        start();
        for (std::size_t g = 0; g < settings.capacity_scale.size(); ++g) {
            const double scale = settings.capacity_scale[g];
            if (filter_->set_capacity(static_cast<int>(g), scale * cell.capacity_Ah) != Status::ok)
                throw Error("capacity_scale[" + std::to_string(g) + "]: " + number_text(scale) +
                            " must be from 0.2 to 5");
        }
    }

    GroupTrace along(const std::function<bool(double)>& progress) {
        GroupTrace trace;
        trace.groups = log_.groups;
        trace.first_number = log_.first_number;
        trace.coasted.assign(log_.groups, 0);
        SocTrace& all = trace.reference;
        all.time_s = log_.time_s;
        for (auto* column : {&all.soc, &all.soc_std, &all.voltage_predicted_V, &all.innovation_V,
                             &all.innovation_std_V, &all.resistance_scale, &all.log_scale_std,
                             &all.hysteresis, &trace.soc_min, &trace.soc_max}) {
            column->resize(log_.size());
        }
        all.fault_bits.resize(log_.size());
        all.sensor_fault_bits.resize(log_.size());
        detail::SensorRows<SocFilter<double, Branches, Transfer>> sensors(
            settings_.sensors, cell_, static_cast<double>(log_.groups),
            detail::first_known(log_.temperature_degC));
        const bool replaced = settings_.sensors.use == SensorUse::replaced;
        constexpr double days_memory = 30;
        std::vector<GroupDriftFit<double>> drifts(log_.groups);
        for (GroupDriftFit<double>& drift : drifts)
            (void)drift.configure(days_memory);
        double predicted_V = 0;
        double innovation_V = 0;
        double innovation_std_V = 0;
        for (std::size_t k = 0; k < log_.size(); ++k) {
            if (progress && k % 8192 == 0 &&
                !progress(static_cast<double>(k) / static_cast<double>(log_.size()))) {
                throw Error("cancelled");
            }
            const double step_s = k > 0 ? log_.time_s[k] - log_.time_s[k - 1] : 0.0;
            const SensorSample<double> row = readings(k);
            const CheckedReadings<double> now =
                sensors.step(row, step_s, k == 0, filter_->reference());
            PackSample<double> sample;
            sample.current_A = now.current_A;
            sample.current_std_A = now.current_std_A;
            // A mean that is not to be used speaks of all groups.
            const bool withheld =
                replaced && (row.voltage_asked ? std::isnan(now.voltage_V)
                                               : (now.fault_bits & sensor_voltage_bits) != 0);
            sample.voltage_V = withheld ? nullptr : row_V(k);
            sample.dt_s = now.dt_s;
            sample.temperature_degC = now.temperature_degC;
            const PackEstimate<double>& told = filter_->step(sample);
            if (told.updated) {
                predicted_V = told.reference.voltage_predicted_V;
                innovation_V = told.reference.innovation_V;
                innovation_std_V = told.reference.innovation_std_V;
                ++trace.looked;
                for (std::size_t g = 0; g < log_.groups; ++g) {
                    if ((filter_->group_faults(static_cast<int>(g)) & group_coasted) != 0)
                        ++trace.coasted[g];
                }
            }
            for (std::size_t g = 0; g < log_.groups; ++g) {
                const int group = static_cast<int>(g);
                drifts[g].step(now.dt_s);
                // Nearly empty, groups differ by more than their charge.
                if (!told.updated || told.reference.soc < 0.1 ||
                    (filter_->group_faults(group) & group_coasted) != 0) {
                    continue;
                }
                const double difference = filter_->soc(group) - told.reference.soc;
                drifts[g].look(difference,
                               std::hypot(std::sqrt(filter_->state().soc_var[g]),
                                          filter_->settings().soc_std_floor),
                               told.reference.soc);
            }
            all.soc[k] = told.reference.soc;
            all.soc_std[k] = told.reference.soc_std;
            all.voltage_predicted_V[k] = predicted_V;
            all.innovation_V[k] = innovation_V;
            all.innovation_std_V[k] = innovation_std_V;
            all.resistance_scale[k] = told.reference.resistance_scale;
            all.log_scale_std[k] = told.reference.log_scale_std;
            all.hysteresis[k] = filter_->reference().state().cell.hysteresis;
            all.fault_bits[k] = told.reference.fault_bits;
            all.sensor_fault_bits[k] = now.fault_bits;
            const PackSpread<double> spread = filter_->spread();
            trace.soc_min[k] = spread.soc_min;
            trace.soc_max[k] = spread.soc_max;
            if (told.updated || k == 0 || k + 1 == log_.size()) tell(k, trace);
        }
        const auto& state = filter_->reference().state();
        all.update_count = state.update_count;
        all.rejected_count = state.rejected_count;
        all.reset_count = state.reset_count;
        trace.group_reset_count = filter_->state().reset_count;
        const double core_degC = sensors.core_degC();
        all.end = model_state(state.cell, all.soc.back(), all.soc_std.back(), core_degC);
        for (int g = 0; g < filter_->count(); ++g) {
            GroupState end;
            end.state = model_state(filter_->cell_state(g), filter_->soc(g), filter_->soc_std(g),
                                    core_degC);
            end.capacity_scale =
                cell_.capacity_Ah / tested_Ah_ / filter_->state().inverse_capacity[g];
            end.capacity_log_std = settings_.age.capacity_log_std;
            end.voltage_flagged = (filter_->group_faults(g) & group_coasted) != 0;
            trace.end.push_back(std::move(end));
            trace.drift.push_back(drifts[static_cast<std::size_t>(g)].drift());
        }
        return trace;
    }

  private:
    [[nodiscard]] const double* row_V(std::size_t k) const {
        return log_.voltage_V.data() + k * log_.groups;
    }
    [[nodiscard]] double cell_current_A(std::size_t k) const {
        return log_.current_A[k] / settings_.parallel;
    }
    [[nodiscard]] bool usable(double voltage_V) const {
        return voltage_V >= filter_->settings().voltage_low_V &&
               voltage_V <= filter_->settings().voltage_high_V;
    }
    /// Of the groups that have one in a row; NaN where none has. \param count how many have
    [[nodiscard]] double mean_V(std::size_t k, std::size_t& count) const {
        double sum_V = 0;
        count = 0;
        for (std::size_t g = 0; g < log_.groups; ++g) {
            const double voltage_V = row_V(k)[g];
            if (!usable(voltage_V)) continue;
            sum_V += voltage_V;
            ++count;
        }
        return count > 0 ? sum_V / static_cast<double>(count)
                         : std::numeric_limits<double>::quiet_NaN();
    }
    [[nodiscard]] double mean_V(std::size_t k) const {
        std::size_t count = 0;
        return mean_V(k, count);
    }
    /// A row as the sensor checks see it: a group that has no voltage counts as the mean. Where
    /// groups are asked one tick in so many, or in turn, the mean of a few is none.
    [[nodiscard]] SensorSample<double> readings(std::size_t k) const {
        std::size_t count = 0;
        const double mean = mean_V(k, count);
        SensorSample<double> row{time_us_of(log_.time_s[k]), cell_current_A(k),
                                 mean * static_cast<double>(log_.groups), log_.temperature_degC[k]};
        row.voltage_asked = 2 * count >= log_.groups;
        // Only all groups add up to the pack.
        if (count == log_.groups && !log_.pack_voltage_V.empty())
            row.other_voltage_V = log_.pack_voltage_V[k];
        return row;
    }
    [[nodiscard]] bool any_usable(std::size_t k) const {
        return std::any_of(row_V(k), row_V(k) + log_.groups,
                           [&](double voltage_V) { return usable(voltage_V); });
    }

    /// The first two minutes as the log of a mean cell, for the question whether they are at rest.
    [[nodiscard]] Log first_rows() const {
        constexpr double window_s = 120;
        Log first;
        for (std::size_t k = 0; k < log_.size() && log_.time_s[k] - log_.time_s[0] <= window_s;
             ++k) {
            if (!any_usable(k) || std::isnan(log_.current_A[k])) continue;
            first.time_s.push_back(log_.time_s[k]);
            first.current_A.push_back(cell_current_A(k));
            first.voltage_V.push_back(mean_V(k));
            first.temperature_degC.push_back(log_.temperature_degC[k]);
        }
        return first;
    }

    void start() {
        const auto first_row = [&](const char* none, auto tells) {
            for (std::size_t k = 0; k < log_.size(); ++k) {
                if (any_usable(k) && tells(k)) return k;
            }
            throw Error(log_.source + ": " + none);
        };
        (void)first_row("no group has a usable voltage in any row",
                        [](std::size_t) { return true; });
        const double first_degC = detail::first_known(log_.temperature_degC);
        Status status = Status::ok;
        const bool rested = at_rest();
        if (rested && settings_.initial_soc) {
            status = filter_->start(*settings_.initial_soc, settings_.initial_soc_std, first_degC);
        } else {
            const std::size_t k =
                first_row("no row has both a current and a voltage",
                          [&](std::size_t row) { return std::isfinite(log_.current_A[row]); });
            UseAround<double> use =
                detail::first_use(log_.time_s, log_.current_A, settings_.parallel);
            use.voltage_V = mean_V(k);
            use.current_A = cell_current_A(k);
            if (!settings_.initial_soc && (rested || detail::steady(use))) {
                status = filter_->start_from_voltages(row_V(k), use.current_A, first_degC);
            } else {
                const auto told =
                    detail::told_soc(settings_.initial_soc, settings_.initial_soc_std);
                status = filter_->start_under_load(told.soc, told.std, use, first_degC);
            }
        }
        if (status != Status::ok)
            detail::fail_start(settings_.initial_soc.value_or(NAN), settings_.initial_soc_std,
                               status);
    }

    [[nodiscard]] bool at_rest() const {
        if (settings_.starts_at_rest) return *settings_.starts_at_rest;
        const Log first = first_rows();
        return first.size() == 0 || starts_at_rest(first, cell_.capacity_Ah);
    }

    /// Notes what is known of the groups in a row.
    void tell(std::size_t k, GroupTrace& trace) const {
        trace.row.push_back(k);
        for (int g = 0; g < filter_->count(); ++g) {
            trace.soc.push_back(filter_->soc(g));
            trace.soc_std.push_back(filter_->soc_std(g));
            trace.resistance_scale.push_back(filter_->resistance_scale(g));
            trace.fault_bits.push_back(filter_->group_faults(g));
        }
    }

    const Cell& cell_;
    double tested_Ah_;
    const GroupLog& log_;
    const GroupReplaySettings& settings_;
    CellTables<double, Branches, Transfer> tables_;
    std::unique_ptr<Filter> filter_;  // some ten kilobytes
};

}  // namespace

GroupTrace replay_groups(const Cell& cell, const GroupLog& log, const GroupReplaySettings& settings,
                         const std::function<bool(double)>& progress) {
    if (log.size() == 0) throw Error(log.source + ": has no rows");
    check_log(log, settings.sensors.use == SensorUse::replaced);
    constexpr int most_parallel = 10000;
    if (settings.parallel < 1 || settings.parallel > most_parallel) {
        throw Error("parallel: " + std::to_string(settings.parallel) + " must be from 1 to " +
                    std::to_string(most_parallel));
    }
    if (!settings.capacity_scale.empty() && settings.capacity_scale.size() != log.groups) {
        throw Error("capacity_scale: has " + std::to_string(settings.capacity_scale.size()) +
                    " values, needs one for each of " + std::to_string(log.groups) + " groups");
    }
    Cell used = aged_cell(cell, settings.age);
    if (settings.capacity_Ah) used.capacity_Ah = *settings.capacity_Ah;
    return with_form(used, [&](auto form) {
        using Form = decltype(form);
        return Replay<Form::branches, Form::transfer>(used, cell.capacity_Ah, log, settings)
            .along(progress);
    });
}

GroupTrace replay_groups(const Pack& pack, const GroupLog& log, const GroupReplaySettings& settings,
                         const std::function<bool(double)>& progress) {
    check(pack);
    if (settings.parallel != 1) {
        throw Error("parallel: " + std::to_string(settings.parallel) +
                    " must be left at 1: the pack " + pack.name + " says it");
    }
    if (pack.strings.size() != 1) {
        throw Error(pack.name + ": has " + std::to_string(pack.strings.size()) +
                    " strings; a replay follows one, with the current of that string");
    }
    const PackString& string = pack.strings.front();
    const PackModule& first = module_named(pack, string.modules.front());
    for (const std::string& name : string.modules) {
        const PackModule& module = module_named(pack, name);
        if (module.cell_file != first.cell_file || module.layout.parallel != first.layout.parallel)
            throw Error(pack.name + ": modules '" + first.name + "' and '" + module.name +
                        "' differ in cell or in cells in parallel; a replay follows groups of one "
                        "kind");
    }
    const int groups = group_count(pack, string);
    if (static_cast<std::size_t>(groups) != log.groups) {
        throw Error(log.source + ": has voltages of " + std::to_string(log.groups) +
                    " groups, the pack " + pack.name + " has " + std::to_string(groups));
    }
    GroupReplaySettings shared = settings;
    shared.parallel = first.layout.parallel;
    return replay_groups(first.cell, log, shared, progress);
}

void write_group_trace(const std::filesystem::path& path, const std::filesystem::path& groups_path,
                       const GroupTrace& trace) {
    const SocTrace& all = trace.reference;
    const std::vector<double> bits(all.fault_bits.begin(), all.fault_bits.end());
    write_csv(path,
              {"time_s", "soc", "soc_std", "voltage_predicted_V", "innovation_V",
               "innovation_std_V", "fault_bits", "soc_min", "soc_max"},
              {all.time_s, all.soc, all.soc_std, all.voltage_predicted_V, all.innovation_V,
               all.innovation_std_V, bits, trace.soc_min, trace.soc_max});

    std::vector<std::string> names{"time_s"};
    std::vector<std::vector<double>> columns(1);
    for (const std::size_t row : trace.row)
        columns[0].push_back(all.time_s[row]);
    // A millionth of SOC is more than anybody knows, and makes the file a third shorter.
    const auto add = [&](const char* name, const auto& values) {
        for (std::size_t g = 0; g < trace.groups; ++g) {
            names.push_back(name + std::to_string(trace.first_number + static_cast<int>(g)));
            std::vector<double>& column = columns.emplace_back();
            column.reserve(trace.row.size());
            for (std::size_t at = g; at < values.size(); at += trace.groups)
                column.push_back(std::round(static_cast<double>(values[at]) * 1e6) / 1e6);
        }
    };
    add("soc_", trace.soc);
    add("soc_std_", trace.soc_std);
    add("fault_bits_", trace.fault_bits);
    write_csv(groups_path, names, columns);
}

}  // namespace voltkeel
