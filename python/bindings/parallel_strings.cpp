#include <array>
#include <memory>
#include <string>

#include "bindings.hpp"
#include "voltkeel/estimate/parallel_strings.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/filter_settings.hpp"

namespace voltkeel::python {

namespace {

/// What Python may ask for.
constexpr int most_groups = 512;
constexpr int most_strings = 16;

class AnyStrings {
  public:
    virtual ~AnyStrings() = default;
    [[nodiscard]] virtual Status start(int s, double soc, double soc_std,
                                       double temperature_degC) = 0;
    /// \param current_A of each string; null: none flows
    /// \param string receives the one that cannot be started; then none is
    [[nodiscard]] virtual Status start_from_voltages(const double* voltage_V,
                                                     const double* current_A,
                                                     double temperature_degC, int& string) = 0;
    [[nodiscard]] virtual Status step(const StringsSample<double>& sample) = 0;
    [[nodiscard]] virtual double current_A(int s) const = 0;
    [[nodiscard]] virtual const PackEstimate<double>& estimate(int s) const = 0;
    [[nodiscard]] virtual double soc(int s, int k) const = 0;
    [[nodiscard]] virtual double soc_std(int s, int k) const = 0;
    [[nodiscard]] virtual double soc_difference_std(int s, int k) const = 0;
    [[nodiscard]] virtual double resistance_scale(int s, int k) const = 0;
    [[nodiscard]] virtual std::uint8_t group_faults(int s, int k) const = 0;
};

template <int Branches, bool Transfer>
class Strings final : public AnyStrings {
  public:
    using Filters = ParallelStrings<double, Branches, Transfer, most_groups, most_strings>;
    Strings(const Cell& cell, int strings, int groups, double joint_ohm,
            const PackFilterSettings<double>& settings)
        : tables_(cell), filters_(std::make_unique<Filters>()) {
        need(filters_->configure(tables_.parameters(), strings, groups, joint_ohm, settings),
             "strings, groups, joint_ohm");
    }
    [[nodiscard]] Status start(int s, double soc, double soc_std,
                               double temperature_degC) override {
        return filters_->string(s).start(soc, soc_std, temperature_degC);
    }
    [[nodiscard]] Status start_from_voltages(const double* voltage_V, const double* current_A,
                                             double temperature_degC, int& string) override {
        auto started = std::make_unique<Filters>(*filters_);
        for (string = 0; string < started->count(); ++string) {
            auto& filter = started->string(string);
            const Status status = filter.start_from_voltages(
                voltage_V, current_A != nullptr ? current_A[string] : 0.0, temperature_degC);
            if (status != Status::ok) return status;
            voltage_V += filter.count();
        }
        filters_ = std::move(started);
        return Status::ok;
    }
    [[nodiscard]] Status step(const StringsSample<double>& sample) override {
        return filters_->step(sample);
    }
    [[nodiscard]] double current_A(int s) const override { return filters_->string_current_A(s); }
    [[nodiscard]] const PackEstimate<double>& estimate(int s) const override {
        return at(s).estimate();
    }
    [[nodiscard]] double soc(int s, int k) const override { return at(s).soc(k); }
    [[nodiscard]] double soc_std(int s, int k) const override { return at(s).soc_std(k); }
    [[nodiscard]] double soc_difference_std(int s, int k) const override {
        return at(s).soc_difference_std(k);
    }
    [[nodiscard]] double resistance_scale(int s, int k) const override {
        return at(s).resistance_scale(k);
    }
    [[nodiscard]] std::uint8_t group_faults(int s, int k) const override {
        return at(s).group_faults(k);
    }

  private:
    [[nodiscard]] const auto& at(int s) const {
        const Filters& all = *filters_;
        return all.string(s);
    }
    CellTables<double, Branches, Transfer> tables_;
    std::unique_ptr<Filters> filters_;  // some hundred kilobytes
};

struct RuntimeStrings {
    std::unique_ptr<AnyStrings> any;
    int strings;
    int groups;

    [[nodiscard]] std::size_t width() const {
        return static_cast<std::size_t>(strings) * static_cast<std::size_t>(groups);
    }
    [[nodiscard]] const double* per_group(const char* name, const Column& column) const {
        if (column.ndim() != 2 || column.shape(0) != strings || column.shape(1) != groups) {
            throw Error(std::string(name) + ": needs " + std::to_string(strings) + " strings of " +
                        std::to_string(groups) + " groups");
        }
        return column.data();
    }
    [[nodiscard]] const double* per_string(const char* name, const Column& column) const {
        if (column.ndim() != 1 || column.size() != strings) {
            throw Error(std::string(name) + ": needs one value for each of " +
                        std::to_string(strings) + " strings");
        }
        return column.data();
    }
    /// One step from rows as they lie in arrays. \return whether every current was known
    bool step(StringsSample<double> sample, const double* voltage_V,
              const double* lag_s = nullptr) {
        std::array<const double*, most_strings> rows_V{};
        std::array<const double*, most_strings> rows_s{};
        for (std::size_t s = 0; s < static_cast<std::size_t>(strings); ++s) {
            rows_V.at(s) = voltage_V + s * static_cast<std::size_t>(groups);
            if (lag_s != nullptr) rows_s.at(s) = lag_s + s * static_cast<std::size_t>(groups);
        }
        sample.voltage_V = rows_V.data();
        if (lag_s != nullptr) sample.lag_s = rows_s.data();
        return any->step(sample) == Status::ok;
    }
    /// (strings, groups) of a value.
    template <class Value>
    [[nodiscard]] auto each(Value value) const {
        py::array_t<decltype(value(0, 0))> array(
            {static_cast<py::ssize_t>(strings), static_cast<py::ssize_t>(groups)});
        auto* at = array.mutable_data();
        for (int s = 0; s < strings; ++s) {
            for (int k = 0; k < groups; ++k)
                *at++ = value(s, k);
        }
        return array;
    }
};

/// Arrays of what `run` gives, one row a sample.
py::tuple run(RuntimeStrings& all, const Column& time_s, const Column& current_A,
              const Column& voltage_V, const Column& temperature_degC,
              const std::optional<Column>& string_current_A) {
    const std::vector<double> time = to_vector("time_s", time_s);
    const std::vector<double> current = to_vector("current_A", current_A);
    const std::vector<double> temperature = to_vector("temperature_degC", temperature_degC);
    const auto rows = static_cast<py::ssize_t>(time.size());
    const auto strings = static_cast<py::ssize_t>(all.strings);
    const auto groups = static_cast<py::ssize_t>(all.groups);
    if (current.size() != time.size() || temperature.size() != time.size())
        throw Error("time_s, current_A and temperature_degC: need the same length");
    if (voltage_V.ndim() != 3 || voltage_V.shape(0) != rows || voltage_V.shape(1) != strings ||
        voltage_V.shape(2) != groups) {
        throw Error("voltage_V: needs " + std::to_string(rows) + " rows of " +
                    std::to_string(strings) + " strings of " + std::to_string(groups) + " groups");
    }
    if (string_current_A && (string_current_A->ndim() != 2 || string_current_A->shape(0) != rows ||
                             string_current_A->shape(1) != strings)) {
        throw Error("string_current_A: needs " + std::to_string(rows) + " rows of " +
                    std::to_string(strings) + " strings");
    }
    py::array_t<double> soc({rows, strings, groups});
    py::array_t<double> soc_std({rows, strings, groups});
    py::array_t<std::uint8_t> bits({rows, strings, groups});
    py::array_t<double> carried({rows, strings});
    double* soc_at = soc.mutable_data();
    double* std_at = soc_std.mutable_data();
    std::uint8_t* bits_at = bits.mutable_data();
    double* carried_at = carried.mutable_data();
    const double* const readings_V = voltage_V.data();
    const double* const readings_A = string_current_A ? string_current_A->data() : nullptr;
    {
        const py::gil_scoped_release release;
        for (std::size_t row = 0; row < time.size(); ++row) {
            StringsSample<double> sample;
            sample.current_A = current[row];
            if (readings_A != nullptr)
                sample.string_current_A = readings_A + row * static_cast<std::size_t>(all.strings);
            sample.temperature_degC = temperature[row];
            sample.dt_s = row > 0 ? time[row] - time[row - 1] : 0.0;
            (void)all.step(sample, readings_V + row * all.width());
            for (int s = 0; s < all.strings; ++s) {
                *carried_at++ = all.any->current_A(s);
                for (int k = 0; k < all.groups; ++k) {
                    *soc_at++ = all.any->soc(s, k);
                    *std_at++ = all.any->soc_std(s, k);
                    *bits_at++ = all.any->group_faults(s, k);
                }
            }
        }
    }
    return py::make_tuple(soc, soc_std, bits, carried);
}

}  // namespace

void bind_parallel_strings(py::module_& module) {
    using Settings = PackFilterSettings<double>;
    using State = RuntimeStrings;
    py::class_<State> filter(
        module, "ParallelStrings",
        "SOC of every group of strings in parallel, a PackFilter for each. Strings without a "
        "current sensor of their own share what is left of the pack's current as the model has "
        "their voltages and resistances.");
    filter.def(
        py::init([](const Cell& cell, int strings, int groups, double joint_ohm,
                    const std::optional<Settings>& given) {
            Settings settings;
            if (given) {
                settings = *given;
            } else {
                settings.reference = filter_settings(cell);
            }
            need(validate(settings));
            return State{
                with_form(cell,
                          [&](auto form) -> std::unique_ptr<AnyStrings> {
                              using Form = decltype(form);
                              return std::make_unique<Strings<Form::branches, Form::transfer>>(
                                  cell, strings, groups, joint_ohm, settings);
                          }),
                strings, groups};
        }),
        py::arg("cell"), py::arg("strings"), py::arg("groups"), py::kw_only(),
        py::arg("joint_ohm") = 0.0, py::arg("settings") = py::none(),
        "Filters for so many strings (1 .. 16) of so many groups (1 .. 512).\n\n"
        "Parameters\n----------\ncell : a group as a cell: capacity and resistances are "
        "those of all its cells together\nstrings, groups : of the pack, of each string\n"
        "joint_ohm : cables, fuse and contactor of one string\nsettings : "
        "PackFilterSettings; None takes filter_settings(cell) for the references");
    filter.def(
        "start",
        [](State& all, double soc, double std, double t) {
            for (int s = 0; s < all.strings; ++s)
                need(all.any->start(s, soc, std, t), "start");  // the first one says it for all
        },
        py::arg("soc"), py::arg("soc_std"), py::arg("temperature_degC") = 25.0,
        "Start all strings at rest from one SOC (0..1).");
    filter.def(
        "start_from_voltages",
        [](State& all, const Column& voltage_V, const std::optional<Column>& string_current_A,
           double t) {
            const double* const readings_V = all.per_group("voltage_V", voltage_V);
            const double* const readings_A =
                string_current_A ? all.per_string("string_current_A", *string_current_A) : nullptr;
            int string = 0;
            const Status status = all.any->start_from_voltages(readings_V, readings_A, t, string);
            need(status, ("start_from_voltages: string " + std::to_string(string)).c_str());
        },
        py::arg("voltage_V"), py::arg("string_current_A") = py::none(),
        py::arg("temperature_degC") = 25.0,
        "Start from the (strings, groups) voltages, NaN where nothing came; string_current_A "
        "(strings,) that flows, none if left out. DataError names a string without a voltage.");
    filter.def(
        "step",
        [](State& all, double current_A, const Column& voltage_V, double temperature_degC,
           double dt_s, const std::optional<Column>& string_current_A,
           const std::optional<std::vector<bool>>& closed, const std::optional<Column>& lag_s) {
            StringsSample<double> sample;
            sample.current_A = current_A;
            sample.temperature_degC = temperature_degC;
            sample.dt_s = dt_s;
            if (string_current_A)
                sample.string_current_A = all.per_string("string_current_A", *string_current_A);
            std::array<bool, most_strings> contactors{};
            if (closed) {
                if (closed->size() != static_cast<std::size_t>(all.strings)) {
                    throw Error("closed: needs one value for each of " +
                                std::to_string(all.strings) + " strings");
                }
                std::copy(closed->begin(), closed->end(), contactors.begin());
                sample.closed = contactors.data();
            }
            return all.step(sample, all.per_group("voltage_V", voltage_V),
                            lag_s ? all.per_group("lag_s", *lag_s) : nullptr);
        },
        py::arg("current_A"), py::arg("voltage_V"), py::arg("temperature_degC"), py::arg("dt_s"),
        py::kw_only(), py::arg("string_current_A") = py::none(), py::arg("closed") = py::none(),
        py::arg("lag_s") = py::none(),
        "Take one sample.\n\nParameters\n----------\ncurrent_A : of the pack, positive when "
        "charging; with string_current_A read only where one of them is NaN\nvoltage_V : (strings, "
        "groups), NaN where nothing came\ntemperature_degC : of the cells\ndt_s : since the sample "
        "before\nstring_current_A : (strings,) of sensors, NaN where one gives nothing; None: one "
        "sensor for all\nclosed : (strings,) contactors; None: all\nlag_s : (strings, groups) each "
        "voltage was taken so long before the end of the step, 0 .. dt_s; None: at the "
        "end\n\nReturns\n-------\nbool\n    "
        "False when current is said to flow and no string is closed, or it is no number: the "
        "strings are then taken to carry what they carried before.");
    filter.def("run", &run, py::arg("time_s"), py::arg("current_A"), py::arg("voltage_V"),
               py::arg("temperature_degC"), py::arg("string_current_A") = py::none(),
               "Run along a log with voltage_V (n, strings, groups) and perhaps string_current_A "
               "(n, strings), all contactors closed; returns (soc, soc_std, group_fault_bits), "
               "each (n, strings, groups), and the (n, strings) currents that were taken.");
    filter.def_property_readonly(
        "string_current_A",
        [](const State& all) {
            std::vector<double> current_A;
            for (int s = 0; s < all.strings; ++s)
                current_A.push_back(all.any->current_A(s));
            return to_array(current_A);
        },
        "(strings,) that the last step took each to carry.");
    filter.def_property_readonly(
        "soc",
        [](const State& all) { return all.each([&](int s, int k) { return all.any->soc(s, k); }); },
        "(strings, groups) 0..1");
    filter.def_property_readonly(
        "soc_std",
        [](const State& all) {
            return all.each([&](int s, int k) { return all.any->soc_std(s, k); });
        },
        "(strings, groups)");
    filter.def_property_readonly(
        "soc_difference_std",
        [](const State& all) {
            return all.each([&](int s, int k) { return all.any->soc_difference_std(s, k); });
        },
        "(strings, groups) of the difference to the reference of the string.");
    filter.def_property_readonly(
        "resistance_scale",
        [](const State& all) {
            return all.each([&](int s, int k) { return all.any->resistance_scale(s, k); });
        },
        "(strings, groups) 1 for the tested cell.");
    filter.def_property_readonly(
        "group_fault_bits",
        [](const State& all) {
            return all.each([&](int s, int k) { return all.any->group_faults(s, k); });
        },
        "(strings, groups) see GroupFaultBit.");
    filter.def_property_readonly(
        "estimates",
        [](const State& all) {
            std::vector<PackEstimate<double>> estimates;
            for (int s = 0; s < all.strings; ++s)
                estimates.push_back(all.any->estimate(s));
            return estimates;
        },
        "The last PackEstimate of each string.");
}

}  // namespace voltkeel::python
