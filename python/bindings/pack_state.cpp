#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bindings.hpp"
#include "use_around.hpp"
#include "voltkeel/estimate/age.hpp"
#include "voltkeel/estimate/pack_filter.hpp"
#include "voltkeel/estimate/sensor_checks.hpp"
#include "voltkeel/estimate/snapshot.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/filter_settings.hpp"

namespace voltkeel::python {

namespace {

/// Groups in one string that Python may ask for.
constexpr int most_groups = 512;

class AnyPack {
  public:
    virtual ~AnyPack() = default;
    [[nodiscard]] virtual Status start(double soc, double soc_std, double temperature_degC) = 0;
    [[nodiscard]] virtual Status start_under_load(double soc, double soc_std,
                                                  const UseAround<double>& use,
                                                  double temperature_degC) = 0;
    [[nodiscard]] virtual Status start_from_voltages(const double* voltage_V, double current_A,
                                                     double temperature_degC) = 0;
    [[nodiscard]] virtual Status set_capacity(int group, double capacity_Ah) = 0;
    virtual const PackEstimate<double>& step(const PackSample<double>& sample) = 0;
    [[nodiscard]] virtual const PackEstimate<double>& estimate() const = 0;
    [[nodiscard]] virtual double soc(int k) const = 0;
    [[nodiscard]] virtual double soc_std(int k) const = 0;
    [[nodiscard]] virtual double soc_difference_std(int k) const = 0;
    [[nodiscard]] virtual double resistance_scale(int k) const = 0;
    [[nodiscard]] virtual std::uint8_t group_faults(int k) const = 0;
    [[nodiscard]] virtual ModelView<double> view() const = 0;
    [[nodiscard]] virtual std::string snapshot(const SnapshotParts<double>& parts) const = 0;
    [[nodiscard]] virtual Status start_from(const std::string& bytes, const TimeOff<double>& since,
                                            const SnapshotParts<double>& parts) = 0;
};

template <int Branches, bool Transfer>
class Pack final : public AnyPack {
  public:
    using Filter = PackFilter<double, Branches, Transfer, most_groups>;
    Pack(const Cell& cell, int groups, const PackFilterSettings<double>& settings)
        : tables_(cell), filter_(std::make_unique<Filter>()) {
        need(filter_->configure(tables_.parameters(), groups, settings), "groups");
    }
    [[nodiscard]] Status start(double soc, double soc_std, double temperature_degC) override {
        return filter_->start(soc, soc_std, temperature_degC);
    }
    [[nodiscard]] Status start_under_load(double soc, double soc_std, const UseAround<double>& use,
                                          double temperature_degC) override {
        return filter_->start_under_load(soc, soc_std, use, temperature_degC);
    }
    [[nodiscard]] Status start_from_voltages(const double* voltage_V, double current_A,
                                             double temperature_degC) override {
        return filter_->start_from_voltages(voltage_V, current_A, temperature_degC);
    }
    [[nodiscard]] Status set_capacity(int group, double capacity_Ah) override {
        return filter_->set_capacity(group, capacity_Ah);
    }
    const PackEstimate<double>& step(const PackSample<double>& sample) override {
        return filter_->step(sample);
    }
    [[nodiscard]] const PackEstimate<double>& estimate() const override {
        return filter_->estimate();
    }
    [[nodiscard]] double soc(int k) const override { return filter_->soc(k); }
    [[nodiscard]] double soc_std(int k) const override { return filter_->soc_std(k); }
    [[nodiscard]] double soc_difference_std(int k) const override {
        return filter_->soc_difference_std(k);
    }
    [[nodiscard]] double resistance_scale(int k) const override {
        return filter_->resistance_scale(k);
    }
    [[nodiscard]] std::uint8_t group_faults(int k) const override {
        return filter_->group_faults(k);
    }
    [[nodiscard]] ModelView<double> view() const override {
        return model_view(filter_->reference());
    }
    [[nodiscard]] std::string snapshot(const SnapshotParts<double>& parts) const override {
        if (parts.drift != nullptr) return snapshot_of<true>(parts);
        return snapshot_of<false>(parts);
    }
    [[nodiscard]] Status start_from(const std::string& bytes, const TimeOff<double>& since,
                                    const SnapshotParts<double>& parts) override {
        const std::vector<std::uint8_t> copy(bytes.begin(), bytes.end());
        return start_from_snapshot(copy.data(), static_cast<int>(copy.size()), since, *filter_,
                                   parts);
    }

  private:
    template <bool Drift>
    [[nodiscard]] std::string snapshot_of(const SnapshotParts<double>& parts) const {
        std::uint8_t bytes[snapshot_size<Branches, Transfer, most_groups, Drift>];
        need(write_snapshot(*filter_, parts, bytes), "snapshot");
        return {bytes, bytes + sizeof bytes};
    }
    CellTables<double, Branches, Transfer> tables_;
    std::unique_ptr<Filter> filter_;  // some ten kilobytes
};

using Drifts = std::vector<GroupDriftFit<double>*>;

/// Keeps a copy of the drifts in a row, as a snapshot takes them.
struct OwnedParts {
    SnapshotParts<double> parts;
    std::vector<GroupDriftFit<double>> row;

    OwnedParts(const std::optional<CapacityEstimator<double>*>& capacity,
               const std::optional<ResistanceGrowth<double>*>& resistance,
               const std::optional<SensorChecks<double>*>& checks,
               const std::optional<Drifts>& drift, int groups) {
        parts.capacity = capacity.value_or(nullptr);
        parts.resistance = resistance.value_or(nullptr);
        parts.checks = checks.value_or(nullptr);
        if (!drift) return;
        if (drift->size() != static_cast<std::size_t>(groups)) {
            throw Error("drift: needs one for each of " + std::to_string(groups) + " groups, has " +
                        std::to_string(drift->size()));
        }
        for (std::size_t k = 0; k < drift->size(); ++k) {
            if ((*drift)[k] == nullptr)
                throw Error("drift[" + std::to_string(k) + "]: is None, needs a GroupDriftFit");
            row.push_back(*(*drift)[k]);
        }
        parts.drift = row.data();
    }
};

struct RuntimePack {
    std::unique_ptr<AnyPack> any;
    int groups;

    [[nodiscard]] const double* per_group(const char* name, const Column& column) const {
        if (column.ndim() != 1 || column.size() != groups) {
            throw Error(std::string(name) + ": needs one value for each of " +
                        std::to_string(groups) + " groups");
        }
        return column.data();
    }
    template <class Value>
    [[nodiscard]] py::array_t<double> each(Value value) const {
        std::vector<double> values;
        for (int k = 0; k < groups; ++k)
            values.push_back(static_cast<double>(value(k)));
        return to_array(values);
    }
};

/// Arrays of what `run` gives, one row a sample.
py::tuple run(RuntimePack& pack, const Column& time_s, const Column& current_A,
              const Column& voltage_V, const Column& temperature_degC) {
    const std::vector<double> time = to_vector("time_s", time_s);
    const std::vector<double> current = to_vector("current_A", current_A);
    const std::vector<double> temperature = to_vector("temperature_degC", temperature_degC);
    const auto rows = static_cast<py::ssize_t>(time.size());
    if (current.size() != time.size() || temperature.size() != time.size())
        throw Error("time_s, current_A and temperature_degC: need the same length");
    if (voltage_V.ndim() != 2 || voltage_V.shape(0) != rows || voltage_V.shape(1) != pack.groups) {
        throw Error("voltage_V: needs " + std::to_string(rows) + " rows of " +
                    std::to_string(pack.groups) + " groups");
    }
    py::array_t<double> soc({rows, static_cast<py::ssize_t>(pack.groups)});
    py::array_t<double> soc_std({rows, static_cast<py::ssize_t>(pack.groups)});
    py::array_t<std::uint8_t> bits({rows, static_cast<py::ssize_t>(pack.groups)});
    double* const soc_at = soc.mutable_data();
    double* const std_at = soc_std.mutable_data();
    std::uint8_t* const bits_at = bits.mutable_data();
    const double* const readings_V = voltage_V.data();
    {
        const py::gil_scoped_release release;
        for (std::size_t row = 0; row < time.size(); ++row) {
            PackSample<double> sample;
            sample.current_A = current[row];
            sample.temperature_degC = temperature[row];
            sample.dt_s = row > 0 ? time[row] - time[row - 1] : 0.0;
            const std::size_t first = row * static_cast<std::size_t>(pack.groups);
            sample.voltage_V = readings_V + first;
            (void)pack.any->step(sample);
            for (int k = 0; k < pack.groups; ++k) {
                const std::size_t at = first + static_cast<std::size_t>(k);
                soc_at[at] = pack.any->soc(k);
                std_at[at] = pack.any->soc_std(k);
                bits_at[at] = pack.any->group_faults(k);
            }
        }
    }
    return py::make_tuple(soc, soc_std, bits);
}

void bind_pack_filter(py::module_& module) {
    using Settings = PackFilterSettings<double>;
    py::class_<Settings> settings(module, "PackFilterSettings", "Knobs of the pack filter.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("reference", &Settings::reference,
                       "SocFilterSettings of the full filter; its interval counts for all groups.")
        .def_readwrite("group_voltage_std_V", &Settings::group_voltage_std_V,
                       "Of a reading against the other groups.")
        .def_readwrite("group_offset_std_V", &Settings::group_offset_std_V,
                       "Of a reading that is off the same way all the time.")
        .def_readwrite("hysteresis_std", &Settings::hysteresis_std,
                       "Difference of the hysteresis between groups.")
        .def_readwrite("overvoltage_share_std", &Settings::overvoltage_share_std)
        .def_readwrite("soc_std_initial", &Settings::soc_std_initial,
                       "Of the groups around the reference at the start.")
        .def_readwrite("resistance_share_std", &Settings::resistance_share_std)
        .def_readwrite("capacity_std", &Settings::capacity_std,
                       "Unknown difference of capacities, as a share.")
        .def_readwrite("soc_std_per_sqrt_h", &Settings::soc_std_per_sqrt_h)
        .def_readwrite("share_std_per_sqrt_h", &Settings::share_std_per_sqrt_h)
        .def_readwrite("soc_std_floor", &Settings::soc_std_floor)
        .def_readwrite("gate", &Settings::gate)
        .def_readwrite("reset_after_s", &Settings::reset_after_s)
        .def_readwrite("reset_soc_std", &Settings::reset_soc_std)
        .def_readwrite("stuck_move_V", &Settings::stuck_move_V)
        .def_readwrite("voltage_low_V", &Settings::voltage_low_V)
        .def_readwrite("voltage_high_V", &Settings::voltage_high_V);

    py::enum_<GroupFaultBit>(module, "GroupFaultBit", py::arithmetic(),
                             "Bits of the fault byte of a group.")
        .value("missing", group_missing)
        .value("outside", group_outside)
        .value("late", group_late)
        .value("stuck", group_stuck)
        .value("implausible", group_implausible)
        .value("reset", group_reset)
        .value("bounded", group_bounded);

    using Estimate = PackEstimate<double>;
    py::class_<Estimate>(module, "PackEstimate", "What comes back from each sample of a string.")
        .def_readonly("reference", &Estimate::reference, "SocEstimate of the reference cell.")
        .def_readonly("updated", &Estimate::updated, "Voltages were looked at in this step.")
        .def_readonly("used", &Estimate::used, "Groups whose voltage was used.")
        .def_readonly("group_fault_bits", &Estimate::group_fault_bits, "All groups together.");

    using State = RuntimePack;
    py::class_<State> filter(
        module, "PackFilter",
        "SOC of every group of a string: a full filter for a reference cell, and a small one for "
        "what each group differs by in SOC and resistance.");
    filter.def(py::init([](const Cell& cell, int groups, const std::optional<Settings>& given) {
                   Settings s;
                   if (given) {
                       s = *given;
                   } else {
                       s.reference = filter_settings(cell);
                   }
                   need(validate(s));
                   return State{
                       with_form(cell,
                                 [&](auto form) -> std::unique_ptr<AnyPack> {
                                     using Form = decltype(form);
                                     return std::make_unique<Pack<Form::branches, Form::transfer>>(
                                         cell, groups, s);
                                 }),
                       groups};
               }),
               py::arg("cell"), py::arg("groups"), py::arg("settings") = py::none(),
               "A filter for so many groups, each a cell of this kind (1 .. 512). Without settings "
               "the reference takes filter_settings(cell).");
    filter.def(
        "start",
        [](State& s, double soc, double std, double t) {
            need(s.any->start(soc, std, t), "start");
        },
        py::arg("soc"), py::arg("soc_std"), py::arg("temperature_degC") = 25.0,
        "Start at rest from one SOC (0..1) of all groups.");
    filter.def(
        "start_under_load",
        [](State& s, double soc, double std, double mean_A, double t, double rms_A,
           std::optional<double> voltage_V, double current_A) {
            need(s.any->start_under_load(soc, std, use_around(mean_A, rms_A, voltage_V, current_A),
                                         t),
                 "start_under_load");
        },
        py::arg("soc"), py::arg("soc_std"), py::arg("mean_current_A"),
        py::arg("temperature_degC") = 25.0, py::kw_only(), py::arg("rms_current_A") = 0.0,
        py::arg("voltage_V") = py::none(), py::arg("current_A") = 0.0,
        "Start in the middle of use from one SOC (0..1) of all groups; see\n"
        "SocFilter.start_under_load. Currents are those of the string, the voltage is the mean of\n"
        "the groups.");
    filter.def(
        "start_from_voltages",
        [](State& s, const Column& v, double i, double t) {
            need(s.any->start_from_voltages(s.per_group("voltage_V", v), i, t),
                 "start_from_voltages");
        },
        py::arg("voltage_V"), py::arg("current_A") = 0.0, py::arg("temperature_degC") = 25.0,
        "Start from the (groups,) voltages; NaN where nothing came.");
    filter.def(
        "set_capacity",
        [](State& s, int group, double capacity_Ah) {
            need(s.any->set_capacity(group, capacity_Ah), "set_capacity");
        },
        py::arg("group"), py::arg("capacity_Ah"), "Take what is known of a group's capacity.");
    filter.def(
        "step",
        [](State& s, double current_A, const Column& voltage_V, double temperature_degC,
           double dt_s, const std::optional<Column>& lag_s,
           const std::optional<Column>& group_current_A, double current_std_A) {
            PackSample<double> sample;
            sample.current_A = current_A;
            sample.temperature_degC = temperature_degC;
            sample.dt_s = dt_s;
            sample.voltage_V = s.per_group("voltage_V", voltage_V);
            if (lag_s) sample.lag_s = s.per_group("lag_s", *lag_s);
            if (group_current_A)
                sample.group_current_A = s.per_group("group_current_A", *group_current_A);
            sample.current_std_A = current_std_A;
            return s.any->step(sample);
        },
        py::arg("current_A"), py::arg("voltage_V"), py::arg("temperature_degC"), py::arg("dt_s"),
        py::kw_only(), py::arg("lag_s") = py::none(), py::arg("group_current_A") = py::none(),
        py::arg("current_std_A") = 0.0,
        "Take one sample and return the PackEstimate.\n\nParameters\n----------\ncurrent_A : of "
        "the string, positive when charging\nvoltage_V : (groups,), NaN where nothing "
        "came\ntemperature_degC : of the cells\ndt_s : since the sample before\nlag_s : (groups,) "
        "each voltage was taken so long before the end of the step, 0 .. dt_s\ngroup_current_A : "
        "(groups,) beside the current of the string, bleed resistors negative\ncurrent_std_A : "
        "how far the current may be off for as long as the step lasts");
    filter.def("run", &run, py::arg("time_s"), py::arg("current_A"), py::arg("voltage_V"),
               py::arg("temperature_degC"),
               "Run along a log with voltage_V (n, groups); returns (soc, soc_std, "
               "group_fault_bits), each (n, groups).");
    filter.def_property_readonly(
        "soc", [](const State& s) { return s.each([&](int k) { return s.any->soc(k); }); },
        "(groups,) 0..1");
    filter.def_property_readonly(
        "soc_std", [](const State& s) { return s.each([&](int k) { return s.any->soc_std(k); }); },
        "(groups,)");
    filter.def_property_readonly(
        "soc_difference_std",
        [](const State& s) { return s.each([&](int k) { return s.any->soc_difference_std(k); }); },
        "(groups,) of the difference to the reference, which is what balancing goes by.");
    filter.def_property_readonly(
        "resistance_scale",
        [](const State& s) { return s.each([&](int k) { return s.any->resistance_scale(k); }); },
        "(groups,)");
    filter.def_property_readonly(
        "group_fault_bits",
        [](const State& s) {
            std::vector<std::uint8_t> bits;
            for (int k = 0; k < s.groups; ++k)
                bits.push_back(s.any->group_faults(k));
            return to_array(bits);
        },
        "(groups,) see GroupFaultBit.");
    filter.def_property_readonly(
        "estimate", [](const State& s) { return s.any->estimate(); }, "The last PackEstimate.");
    filter.def_property_readonly(
        "model_view", [](const State& s) { return s.any->view(); },
        "What the reference expects before the next sample, for SensorChecks.step.");
    filter.def(
        "snapshot",
        [](const State& s, const std::optional<CapacityEstimator<double>*>& capacity,
           const std::optional<ResistanceGrowth<double>*>& resistance,
           const std::optional<SensorChecks<double>*>& checks, const std::optional<Drifts>& drift) {
            const OwnedParts owned(capacity, resistance, checks, drift, s.groups);
            return py::bytes(s.any->snapshot(owned.parts));
        },
        py::kw_only(), py::arg("capacity") = py::none(), py::arg("resistance") = py::none(),
        py::arg("checks") = py::none(), py::arg("drift") = py::none(),
        "The state in bytes, for start_from_snapshot.\n\nParameters\n----------\ncapacity : with "
        "the interval under way\nresistance : its growth\nchecks : what lasts of them: sign, "
        "offset, "
        "faults that have not ended, what steps have taught, the slow balance\ndrift : (groups,) "
        "one for each group\n\nRaises\n------\nDataError\n    When the filter was not started, or "
        "drift has another length.");
    filter.def(
        "start_from_snapshot",
        [](State& s, const py::bytes& bytes, double off_s, double t, bool no_current,
           const std::optional<CapacityEstimator<double>*>& capacity,
           const std::optional<ResistanceGrowth<double>*>& resistance,
           const std::optional<SensorChecks<double>*>& checks, const std::optional<Drifts>& drift) {
            const OwnedParts owned(capacity, resistance, checks, drift, s.groups);
            need(s.any->start_from(bytes, {off_s, t, no_current}, owned.parts),
                 "start_from_snapshot");
            for (std::size_t k = 0; k < owned.row.size(); ++k)
                *(*drift)[k] = owned.row[k];
        },
        py::arg("snapshot"), py::arg("off_s") = 0.0, py::arg("temperature_degC") = 25.0,
        py::kw_only(), py::arg("no_current") = false, py::arg("capacity") = py::none(),
        py::arg("resistance") = py::none(), py::arg("checks") = py::none(),
        py::arg("drift") = py::none(),
        "Start from stored bytes.\n\nParameters\n----------\noff_s : time since, >= 0\n"
        "temperature_degC : now\nno_current : contactors are known to have been open, and nothing "
        "drew from groups beside them; only then does the SOC grow unsure no faster than at rest, "
        "and the interval of the capacity goes on through the time off\ncapacity, resistance, "
        "checks, "
        "drift : made with their settings; what is stored of them goes on in them, and one of "
        "which "
        "nothing is stored stays as it is\n\nRaises\n------\nDataError\n    For bytes that were "
        "cut "
        "or changed, or of another version, model or number of groups, and for a state that cannot "
        "be; then nothing changes.");
}

}  // namespace

void bind_capacity(py::module_& module) {
    using Settings = CapacitySettings<double>;
    py::class_<Settings> settings(module, "CapacitySettings", "Knobs of the capacity.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("forgetting", &Settings::forgetting,
                       "Weight of all before at each new interval.")
        .def_readwrite("soc_change_min", &Settings::soc_change_min)
        .def_readwrite("current_offset_std_A", &Settings::current_offset_std_A)
        .def_readwrite("current_share_std", &Settings::current_share_std)
        .def_readwrite("initial_share_std", &Settings::initial_share_std)
        .def_readwrite("fade_per_cycle", &Settings::fade_per_cycle)
        .def_readwrite("longest_interval_h", &Settings::longest_interval_h);
    using Estimator = CapacityEstimator<double>;
    py::class_<Estimator> estimator(
        module, "CapacityEstimator",
        "Capacity by total least squares from the charge between times at which the SOC is known "
        "without counting.");
    estimator.def(py::init([](double capacity_Ah, const std::optional<Settings>& given) {
                      const Settings s = given.value_or(Settings{});
                      need(validate(s));
                      Estimator made;
                      need(made.configure(capacity_Ah, s), "capacity_Ah");
                      return made;
                  }),
                  py::arg("capacity_Ah"), py::arg("settings") = py::none());
    estimator.def("count", &Estimator::count, py::arg("current_A"), py::arg("dt_s"),
                  "Count one sample; one that is no number ends the interval.");
    estimator.def(
        "anchor",
        [](Estimator& e, double soc, double soc_std) {
            const Status status = e.anchor(soc, soc_std);
            if (status != Status::ok && status != Status::not_reached)
                throw Error(std::string("anchor: ") + message(status));
            return status == Status::ok;
        },
        py::arg("soc"), py::arg("soc_std"),
        "The SOC is known: from a rested voltage, at the end of a charge. True when an interval "
        "was "
        "used.");
    estimator.def_property_readonly("capacity_Ah", &Estimator::capacity_Ah);
    estimator.def_property_readonly("capacity_std_Ah", &Estimator::capacity_std_Ah);
    estimator.def_property_readonly("ordinary_capacity_Ah", &Estimator::ordinary_capacity_Ah,
                                    "Of ordinary least squares on the same intervals: too low.");
    estimator.def_property_readonly("intervals",
                                    [](const Estimator& e) { return e.state().intervals; });
}

void bind_pack_state(py::module_& module) {
    bind_pack_filter(module);
}

}  // namespace voltkeel::python
