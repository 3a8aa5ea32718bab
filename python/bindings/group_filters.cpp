#include <memory>
#include <string>

#include "bindings.hpp"
#include "voltkeel/estimate/group_filters.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/filter_settings.hpp"
#include "voltkeel/io/model_state.hpp"

namespace voltkeel::python {

namespace {

/// Groups in one string that Python may ask for.
constexpr int most_groups = 512;

class AnyGroups {
  public:
    virtual ~AnyGroups() = default;
    [[nodiscard]] virtual Status start(double soc, double soc_std, double temperature_degC) = 0;
    /// \param group receives the one that cannot be started; then none is
    [[nodiscard]] virtual Status start_from_voltages(const double* voltage_V, double current_A,
                                                     double temperature_degC, int& group) = 0;
    virtual bool step(const PackSample<double>& sample) = 0;
    [[nodiscard]] virtual double soc(int k) const = 0;
    [[nodiscard]] virtual double soc_std(int k) const = 0;
    [[nodiscard]] virtual double resistance_scale(int k) const = 0;
    [[nodiscard]] virtual std::uint32_t fault_bits(int k) const = 0;
    [[nodiscard]] virtual ModelState state(int k) const = 0;
};

template <int Branches, bool Transfer>
class Groups final : public AnyGroups {
  public:
    using Filters = GroupFilters<double, Branches, Transfer, most_groups>;
    Groups(const Cell& cell, int groups, const SocFilterSettings<double>& settings)
        : tables_(cell), filters_(std::make_unique<Filters>()) {
        need(filters_->configure(tables_.parameters(), groups, settings), "groups");
    }
    [[nodiscard]] Status start(double soc, double soc_std, double temperature_degC) override {
        return filters_->start(soc, soc_std, temperature_degC);
    }
    [[nodiscard]] Status start_from_voltages(const double* voltage_V, double current_A,
                                             double temperature_degC, int& group) override {
        auto started = std::make_unique<Filters>(*filters_);
        for (group = 0; group < filters_->count(); ++group) {
            const Status status =
                started->start_from_voltage(group, voltage_V[group], current_A, temperature_degC);
            if (status != Status::ok) return status;
        }
        filters_ = std::move(started);
        return Status::ok;
    }
    bool step(const PackSample<double>& sample) override { return filters_->step(sample); }
    [[nodiscard]] double soc(int k) const override { return filters_->soc(k); }
    [[nodiscard]] double soc_std(int k) const override { return filters_->soc_std(k); }
    [[nodiscard]] double resistance_scale(int k) const override {
        return filters_->resistance_scale(k);
    }
    [[nodiscard]] std::uint32_t fault_bits(int k) const override { return filters_->fault_bits(k); }
    [[nodiscard]] ModelState state(int k) const override {
        const auto& s = filters_->filter(k).state();
        return model_state(s.cell, filters_->soc(k), filters_->soc_std(k), s.last_temperature_degC);
    }

  private:
    CellTables<double, Branches, Transfer> tables_;
    std::unique_ptr<Filters> filters_;  // some hundred kilobytes
};

struct RuntimeGroups {
    std::unique_ptr<AnyGroups> any;
    int groups;

    [[nodiscard]] const double* per_group(const Column& column) const {
        if (column.ndim() != 1 || column.size() != groups) {
            throw Error("voltage_V: needs one value for each of " + std::to_string(groups) +
                        " groups");
        }
        return column.data();
    }
    template <class Value>
    [[nodiscard]] auto each(Value value) const {
        std::vector<decltype(value(0))> values;
        for (int k = 0; k < groups; ++k)
            values.push_back(value(k));
        return to_array(values);
    }
};

/// Arrays of what `run` gives, one row a sample.
py::tuple run(RuntimeGroups& groups, const Column& time_s, const Column& current_A,
              const Column& voltage_V, const Column& temperature_degC) {
    const std::vector<double> time = to_vector("time_s", time_s);
    const std::vector<double> current = to_vector("current_A", current_A);
    const std::vector<double> temperature = to_vector("temperature_degC", temperature_degC);
    const auto rows = static_cast<py::ssize_t>(time.size());
    if (current.size() != time.size() || temperature.size() != time.size())
        throw Error("time_s, current_A and temperature_degC: need the same length");
    if (voltage_V.ndim() != 2 || voltage_V.shape(0) != rows ||
        voltage_V.shape(1) != groups.groups) {
        throw Error("voltage_V: needs " + std::to_string(rows) + " rows of " +
                    std::to_string(groups.groups) + " groups");
    }
    const auto columns = static_cast<py::ssize_t>(groups.groups);
    py::array_t<double> soc({rows, columns});
    py::array_t<double> soc_std({rows, columns});
    py::array_t<std::uint32_t> bits({rows, columns});
    double* soc_at = soc.mutable_data();
    double* std_at = soc_std.mutable_data();
    std::uint32_t* bits_at = bits.mutable_data();
    const double* row_V = voltage_V.data();
    {
        const py::gil_scoped_release release;
        for (std::size_t row = 0; row < time.size(); ++row, row_V += columns) {
            PackSample<double> sample;
            sample.current_A = current[row];
            sample.temperature_degC = temperature[row];
            sample.dt_s = row > 0 ? time[row] - time[row - 1] : 0.0;
            sample.voltage_V = row_V;
            (void)groups.any->step(sample);
            for (int k = 0; k < groups.groups; ++k) {
                *soc_at++ = groups.any->soc(k);
                *std_at++ = groups.any->soc_std(k);
                *bits_at++ = groups.any->fault_bits(k);
            }
        }
    }
    return py::make_tuple(soc, soc_std, bits);
}

}  // namespace

void bind_group_filters(py::module_& module) {
    using Settings = SocFilterSettings<double>;
    using State = RuntimeGroups;
    py::class_<State> filters(
        module, "GroupFilters",
        "A full SocFilter for every group of a string, behind the calls of PackFilter: for groups "
        "that differ in more than SOC and resistance, and as a measure for PackFilter.");
    filters.def(
        py::init([](const Cell& cell, int groups, const std::optional<Settings>& given) {
            const Settings s = given ? *given : filter_settings(cell);
            need(validate(s));
            return State{
                with_form(cell,
                          [&](auto form) -> std::unique_ptr<AnyGroups> {
                              using Form = decltype(form);
                              return std::make_unique<Groups<Form::branches, Form::transfer>>(
                                  cell, groups, s);
                          }),
                groups};
        }),
        py::arg("cell"), py::arg("groups"), py::arg("settings") = py::none(),
        "Filters for so many groups, each a cell of this kind (1 .. 512). Without settings "
        "they take filter_settings(cell).");
    filters.def(
        "start",
        [](State& s, double soc, double std, double t) {
            need(s.any->start(soc, std, t), "start");
        },
        py::arg("soc"), py::arg("soc_std"), py::arg("temperature_degC") = 25.0,
        "Start all groups at rest from one SOC (0..1).");
    filters.def(
        "start_from_voltages",
        [](State& s, const Column& voltage_V, double i, double t) {
            int group = 0;
            const Status status = s.any->start_from_voltages(s.per_group(voltage_V), i, t, group);
            need(status, ("start_from_voltages: group " + std::to_string(group)).c_str());
        },
        py::arg("voltage_V"), py::arg("current_A") = 0.0, py::arg("temperature_degC") = 25.0,
        "Start each group from its (groups,) voltage; DataError names one that is no number.");
    filters.def(
        "step",
        [](State& s, double current_A, const Column& voltage_V, double temperature_degC,
           double dt_s) {
            PackSample<double> sample;
            sample.current_A = current_A;
            sample.temperature_degC = temperature_degC;
            sample.dt_s = dt_s;
            sample.voltage_V = s.per_group(voltage_V);
            return s.any->step(sample);
        },
        py::arg("current_A"), py::arg("voltage_V"), py::arg("temperature_degC"), py::arg("dt_s"),
        "Take one sample; True when the voltages were looked at.\n\nParameters\n----------\n"
        "current_A : of the string, positive when charging\nvoltage_V : (groups,), NaN where "
        "nothing came\ntemperature_degC : of the cells\ndt_s : since the sample before");
    filters.def("run", &run, py::arg("time_s"), py::arg("current_A"), py::arg("voltage_V"),
                py::arg("temperature_degC"),
                "Run along a log with voltage_V (n, groups); returns (soc, soc_std, fault_bits), "
                "each (n, groups).");
    filters.def_property_readonly(
        "soc", [](const State& s) { return s.each([&](int k) { return s.any->soc(k); }); },
        "(groups,) 0..1, what was counted since the last look included.");
    filters.def_property_readonly(
        "soc_std", [](const State& s) { return s.each([&](int k) { return s.any->soc_std(k); }); },
        "(groups,) as of the last look.");
    filters.def_property_readonly(
        "resistance_scale",
        [](const State& s) { return s.each([&](int k) { return s.any->resistance_scale(k); }); },
        "(groups,) 1 for the tested cell.");
    filters.def_property_readonly(
        "fault_bits",
        [](const State& s) { return s.each([&](int k) { return s.any->fault_bits(k); }); },
        "(groups,) see FaultBit; of the last look.");
    filters.def_property_readonly(
        "states",
        [](const State& s) {
            std::vector<ModelState> states;
            for (int k = 0; k < s.groups; ++k)
                states.push_back(s.any->state(k));
            return states;
        },
        "A ModelState for each group, for limits and forecasts.");
}

}  // namespace voltkeel::python
