#include "bindings.hpp"
#include "use_around.hpp"
#include "voltkeel/estimate/sensor_checks.hpp"
#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/io/filter_settings.hpp"
#include "voltkeel/io/replay.hpp"

namespace voltkeel::python {

namespace {

class AnyFilter {
  public:
    virtual ~AnyFilter() = default;
    [[nodiscard]] virtual Status start(double soc, double soc_std, double temperature_degC) = 0;
    [[nodiscard]] virtual Status start_under_load(double soc, double soc_std,
                                                  const UseAround<double>& use,
                                                  double temperature_degC) = 0;
    [[nodiscard]] virtual Status start_from_voltage(double voltage_V, double current_A,
                                                    double temperature_degC) = 0;
    virtual const SocEstimate<double>& step(const CellSample<double>& sample) = 0;
    [[nodiscard]] virtual ModelState state() const = 0;
    [[nodiscard]] virtual py::array_t<double> covariance() const = 0;
    [[nodiscard]] virtual ModelView<double> view() const = 0;
};

template <int Branches, bool Transfer>
class Filter final : public AnyFilter {
  public:
    Filter(const Cell& cell, const SocFilterSettings<double>& settings) : tables_(cell) {
        need(validate(settings));
        const Status status = filter_.configure(tables_.parameters(), settings);
        if (status != Status::ok) throw Error(message(status));
    }
    [[nodiscard]] Status start(double soc, double soc_std, double temperature_degC) override {
        return filter_.start(soc, soc_std, temperature_degC);
    }
    [[nodiscard]] Status start_under_load(double soc, double soc_std, const UseAround<double>& use,
                                          double temperature_degC) override {
        return filter_.start_under_load(soc, soc_std, use, temperature_degC);
    }
    [[nodiscard]] Status start_from_voltage(double voltage_V, double current_A,
                                            double temperature_degC) override {
        return filter_.start_from_voltage(voltage_V, current_A, temperature_degC);
    }
    const SocEstimate<double>& step(const CellSample<double>& sample) override {
        return filter_.step(sample);
    }
    [[nodiscard]] ModelState state() const override {
        const auto& s = filter_.state();
        return model_state(s.cell, filter_.estimate().soc, filter_.estimate().soc_std,
                           s.last_temperature_degC);
    }
    [[nodiscard]] ModelView<double> view() const override { return model_view(filter_); }
    [[nodiscard]] py::array_t<double> covariance() const override { return covariance_of(filter_); }

  private:
    CellTables<double, Branches, Transfer> tables_;
    SocFilter<double, Branches, Transfer> filter_;
};

struct RuntimeFilter {
    std::unique_ptr<AnyFilter> any;
};

}  // namespace

void bind_estimate(py::module_& module) {
    using Settings = SocFilterSettings<double>;
    py::class_<Settings> settings(
        module, "SocFilterSettings",
        "Knobs of the SOC filter; every one has a default that needs no tuning.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("voltage_std_V", &Settings::voltage_std_V,
                       "Constant part of the voltage model error.")
        .def_readwrite("overvoltage_share_std", &Settings::overvoltage_share_std,
                       "Part that grows with |overvoltage|.")
        .def_readwrite("update_interval_s", &Settings::update_interval_s,
                       "The voltage is fused at most this often.")
        .def_readwrite("gate", &Settings::gate,
                       "Innovations beyond this many standard deviations are refused.")
        .def_readwrite("reset_after_s", &Settings::reset_after_s)
        .def_readwrite("reset_soc_std", &Settings::reset_soc_std)
        .def_readwrite("soc_std_per_sqrt_h", &Settings::soc_std_per_sqrt_h,
                       "Growth of the SOC spread by counting alone.")
        .def_readwrite("branch_share_std", &Settings::branch_share_std)
        .def_readwrite("log_scale_std_per_sqrt_h", &Settings::log_scale_std_per_sqrt_h)
        .def_readwrite("log_scale_initial", &Settings::log_scale_initial,
                       "ln r at the start: what age is known to have left.")
        .def_readwrite("log_scale_std_initial", &Settings::log_scale_std_initial)
        .def_readwrite("hysteresis_std_initial", &Settings::hysteresis_std_initial)
        .def_readwrite("hysteresis_std_walked", &Settings::hysteresis_std_walked)
        .def_readwrite("rest_std_V", &Settings::rest_std_V)
        .def_readwrite("soc_std_floor", &Settings::soc_std_floor)
        .def_readwrite(
            "low_soc", &Settings::low_soc,
            "Below this SOC voltage_std_V and overvoltage_share_std grow in a straight line,")
        .def_readwrite("low_soc_growth", &Settings::low_soc_growth,
                       "by this many times themselves when empty.")
        .def_readwrite("longest_step_s", &Settings::longest_step_s)
        .def_readwrite(
            "trace_every_sample", &Settings::trace_every_sample,
            "Predicted voltage, innovation and test ratio for every sample; without, those of the\n"
            "last voltage tried.");

    // Frozen numbers: see FaultBit in estimate/soc_filter.hpp.
    py::enum_<FaultBit>(module, "FaultBit", py::arithmetic(), "Bits of the fault word.")
        .value("current_not_finite", fault_current_not_finite)
        .value("voltage_not_finite", fault_voltage_not_finite)
        .value("temperature_not_finite", fault_temperature_not_finite)
        .value("time_step_invalid", fault_time_step_invalid)
        .value("voltage_rejected", fault_voltage_rejected)
        .value("reset", fault_reset)
        .value("soc_bounded", fault_soc_bounded)
        .value("temperature_outside", fault_temperature_outside)
        .value("not_started", fault_not_started);

    using Estimate = SocEstimate<double>;
    py::class_<Estimate>(module, "SocEstimate", "What comes back from each sample.")
        .def_readonly("soc", &Estimate::soc, "0..1")
        .def_readonly("soc_std", &Estimate::soc_std)
        .def_readonly("voltage_predicted_V", &Estimate::voltage_predicted_V)
        .def_readonly("innovation_V", &Estimate::innovation_V, "Measured minus predicted.")
        .def_readonly("innovation_std_V", &Estimate::innovation_std_V)
        .def_readonly("test_ratio", &Estimate::test_ratio, "Above 1 the voltage is refused.")
        .def_readonly("resistance_scale", &Estimate::resistance_scale)
        .def_readonly("log_scale_std", &Estimate::log_scale_std)
        .def_readonly("updated", &Estimate::updated)
        .def_readonly("fault_bits", &Estimate::fault_bits)
        .def("__repr__", [](const Estimate& e) {
            return "<voltkeel.SocEstimate soc " + std::to_string(e.soc) + " +- " +
                   std::to_string(e.soc_std) + ">";
        });

    py::class_<RuntimeFilter> filter(
        module, "SocFilter",
        "SOC of one cell from current, voltage and temperature (extended Kalman filter).");
    filter.def(
        py::init([](const Cell& cell, const std::optional<Settings>& given) {
            const Settings s = given ? *given : filter_settings(cell);
            return RuntimeFilter{with_form(cell, [&](auto form) -> std::unique_ptr<AnyFilter> {
                return std::make_unique<Filter<decltype(form)::branches, decltype(form)::transfer>>(
                    cell, s);
            })};
        }),
        py::arg("cell"), py::arg("settings") = py::none(),
        "A filter for a cell; it answers once it has been started. Without settings it takes "
        "filter_settings(cell).");
    filter.def(
        "start",
        [](RuntimeFilter& f, double soc, double std, double t) {
            need(f.any->start(soc, std, t), "start");
        },
        py::arg("soc"), py::arg("soc_std"), py::arg("temperature_degC") = 25.0,
        "Start at rest from a known SOC (0..1) with a standard deviation.");
    filter.def(
        "start_under_load",
        [](RuntimeFilter& f, double soc, double std, double mean_A, double t, double rms_A,
           std::optional<double> voltage_V, double current_A) {
            need(f.any->start_under_load(soc, std, use_around(mean_A, rms_A, voltage_V, current_A),
                                         t),
                 "start_under_load");
        },
        py::arg("soc"), py::arg("soc_std"), py::arg("mean_current_A"),
        py::arg("temperature_degC") = 25.0, py::kw_only(), py::arg("rms_current_A") = 0.0,
        py::arg("voltage_V") = py::none(), py::arg("current_A") = 0.0,
        "Start in the middle of use: SOC (0..1) and its standard deviation (0.5 and 0.3 where\n"
        "nothing is known), mean and rms of the current of the minutes around, positive when\n"
        "charging, and, best, one reading of voltage and current of now. The branch voltages\n"
        "follow with the spread that driving cycles show; what the SOC was told counts as far as\n"
        "the reading allows.");
    filter.def(
        "start_from_voltage",
        [](RuntimeFilter& f, double v, double i, double t) {
            need(f.any->start_from_voltage(v, i, t), "start_from_voltage");
        },
        py::arg("voltage_V"), py::arg("current_A") = 0.0, py::arg("temperature_degC") = 25.0,
        "Start from one voltage: at rest the OCV, under load with a wide spread.");
    filter.def(
        "step",
        [](RuntimeFilter& f, double i, double v, double t, double dt, double i_std) {
            return f.any->step({i, v, t, dt, i_std});
        },
        py::arg("current_A"), py::arg("voltage_V"), py::arg("temperature_degC"), py::arg("dt_s"),
        py::arg("current_std_A") = 0.0,
        "Take one sample (current positive when charging) and return the SocEstimate. "
        "current_std_A: how far the current may be off for as long as the step lasts.");
    filter.def_property_readonly(
        "model_view", [](const RuntimeFilter& f) { return f.any->view(); },
        "What the filter expects before the next sample, for SensorChecks.step.");
    filter.def(
        "run",
        [](RuntimeFilter& f, const Log& log) {
            std::vector<double> soc(log.size());
            std::vector<double> soc_std(log.size());
            std::vector<std::uint32_t> bits(log.size());
            {
                const py::gil_scoped_release release;
                for (std::size_t k = 0; k < log.size(); ++k) {
                    const double dt_s = k > 0 ? log.time_s[k] - log.time_s[k - 1] : 0.0;
                    const auto& e = f.any->step(
                        {log.current_A[k], log.voltage_V[k], log.temperature_degC[k], dt_s});
                    soc[k] = e.soc;
                    soc_std[k] = e.soc_std;
                    bits[k] = e.fault_bits;
                }
            }
            return py::make_tuple(to_array(soc), to_array(soc_std), to_array(bits));
        },
        py::arg("log"), "Run along a log; returns (soc, soc_std, fault_bits), each (n,).");
    filter.def_property_readonly(
        "state", [](const RuntimeFilter& f) { return f.any->state(); }, "The present ModelState.");
    filter.def_property_readonly(
        "covariance", [](const RuntimeFilter& f) { return f.any->covariance(); },
        "(m, m) covariance of [soc, branch voltages, hysteresis, ln resistance scale].");

    py::class_<SocTrace>(module, "SocTrace", "The filter's answer at every row of a log.")
        .def_property_readonly("time_s", [](const SocTrace& t) { return to_array(t.time_s); })
        .def_property_readonly("soc", [](const SocTrace& t) { return to_array(t.soc); })
        .def_property_readonly("soc_std", [](const SocTrace& t) { return to_array(t.soc_std); })
        .def_property_readonly("voltage_predicted_V",
                               [](const SocTrace& t) { return to_array(t.voltage_predicted_V); })
        .def_property_readonly("innovation_V",
                               [](const SocTrace& t) { return to_array(t.innovation_V); })
        .def_property_readonly("innovation_std_V",
                               [](const SocTrace& t) { return to_array(t.innovation_std_V); })
        .def_property_readonly("resistance_scale",
                               [](const SocTrace& t) { return to_array(t.resistance_scale); })
        .def_property_readonly("log_scale_std",
                               [](const SocTrace& t) { return to_array(t.log_scale_std); })
        .def_property_readonly(
            "hysteresis", [](const SocTrace& t) { return to_array(t.hysteresis); }, "-1..1")
        .def_property_readonly("fault_bits",
                               [](const SocTrace& t) { return to_array(t.fault_bits); })
        .def_property_readonly(
            "sensor_fault_bits", [](const SocTrace& t) { return to_array(t.sensor_fault_bits); },
            "(n,) see SensorFaultBit")
        .def_readonly("update_count", &SocTrace::update_count)
        .def_readonly("rejected_count", &SocTrace::rejected_count)
        .def_readonly("reset_count", &SocTrace::reset_count)
        .def_readonly("end", &SocTrace::end, "ModelState after the last row.")
        .def("__len__", [](const SocTrace& t) { return t.time_s.size(); });

    py::enum_<SensorUse>(module, "SensorUse",
                         "What becomes of the readings of a log that cannot be.")
        .value("off", SensorUse::off, "They are not looked for.")
        .value("named", SensorUse::named, "Named; the filter gets what stands in the log.")
        .value("replaced", SensorUse::replaced,
               "The filter gets what SensorChecks knows better. Readings may be missing (NaN).");
    py::class_<SensorReplay> sensor_replay(module, "SensorReplay",
                                           "How the sensors of a log are looked at.");
    add_keyword_constructor(sensor_replay);
    sensor_replay.def_readwrite("use", &SensorReplay::use)
        .def_readwrite("checks", &SensorReplay::checks,
                       "SensorCheckSettings; None: the usual ones, of the cell's capacity, where a "
                       "step of up to ten minutes is no fault.");
    py::class_<SeenSensorFault>(module, "SeenSensorFault", "A fault of a sensor along a log.")
        .def_property_readonly(
            "bit", [](const SeenSensorFault& f) { return static_cast<SensorFaultBit>(f.bit); },
            "SensorFaultBit")
        .def_readonly("rows", &SeenSensorFault::rows, "Rows that have it.")
        .def_readonly("times", &SeenSensorFault::times, "Runs of rows that have it.")
        .def_readonly("first_s", &SeenSensorFault::first_s, "Time of the first such row.")
        .def_readonly("last_s", &SeenSensorFault::last_s, "Time of the last such row.");
    module.def(
        "sensor_faults", &sensor_faults, py::arg("trace"),
        "The faults of sensors that a SocTrace tells of, as SeenSensorFault, in the order of "
        "their bits.");

    module.def(
        "replay",
        [](const Cell& cell, const Log& log, std::optional<double> initial_soc,
           double initial_soc_std, std::optional<double> capacity_Ah,
           const std::optional<Settings>& s, std::optional<bool> starts_at_rest,
           const std::optional<CellAge>& age, const std::optional<SensorReplay>& sensors,
           const Progress<double>& progress) {
            // The callback takes the GIL back by itself (pybind11/functional.h).
            const py::gil_scoped_release release;
            return replay(cell, log,
                          {initial_soc, initial_soc_std, capacity_Ah, s, starts_at_rest,
                           age.value_or(CellAge{}), sensors.value_or(SensorReplay{})},
                          keep_going(progress));
        },
        py::arg("cell"), py::arg("log"), py::kw_only(), py::arg("initial_soc") = py::none(),
        py::arg("initial_soc_std") = 0.2, py::arg("capacity_Ah") = py::none(),
        py::arg("settings") = py::none(), py::arg("starts_at_rest") = py::none(),
        py::arg("age") = py::none(), py::arg("sensors") = py::none(),
        py::arg("progress") = py::none(),
        "Run the SOC filter along a log.\n\nParameters\n----------\ncell : Cell\nlog : "
        "Log\ninitial_soc : 0..1; None takes it from the first voltage\n"
        "initial_soc_std : used with initial_soc\ncapacity_Ah : replaces the cell's "
        "capacity\nsettings : SocFilterSettings; None takes filter_settings(cell)\n"
        "starts_at_rest : None looks at the first rows: a log that begins in the middle of use "
        "starts with its first reading and branches led by the current of its first two minutes\n"
        "age : CellAge that the filter starts from; capacity_Ah comes before it\n"
        "sensors : SensorReplay; None names faults of sensors and lets the filter have the log as "
        "it stands\n"
        "progress : called with the share done; returning False "
        "cancels\n\nReturns\n-------\nSocTrace");
    module.def(
        "starts_at_rest", &starts_at_rest, py::arg("log"), py::arg("capacity_Ah"),
        "Whether a log begins at rest, or in the middle of use with branches that nobody has "
        "followed: at rest it shows less than C/10 for five seconds at least (or for its "
        "first step, where that is longer), and no voltage that goes on recovering.");
    module.def(
        "filter_settings", &filter_settings, py::arg("cell"),
        "Settings from the noise that the cell's fit found in cross-validation, opened where its "
        "standard deviations say that little is known.\n\nParameters\n----------\ncell : "
        "Cell\n\nReturns\n-------\nSocFilterSettings");
    module.def("write_trace", &write_trace, py::arg("path"), py::arg("trace"),
               "Write time_s, soc, soc_std, voltage_predicted_V, innovation_V, innovation_std_V, "
               "fault_bits, sensor_fault_bits as CSV.");
}

}  // namespace voltkeel::python
