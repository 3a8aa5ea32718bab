#include "voltkeel/charge/control.hpp"

#include <algorithm>
#include <memory>

#include "bindings.hpp"
#include "voltkeel/io/charge_plan_file.hpp"

namespace voltkeel::python {
namespace {

using Control = ChargeControl<double>;
using Settings = ChargeControlSettings<double>;

void check_settings(const Settings& settings) {
    need(validate(settings));
}

std::vector<ChargeEvent<double>> events_of(const Control& control) {
    const ChargeControlState<double>& state = control.state();
    constexpr auto capacity =
        static_cast<std::uint32_t>(ChargeControlState<double>::event_capacity);
    std::vector<ChargeEvent<double>> events;
    for (std::uint32_t k = state.event_count - std::min(state.event_count, capacity);
         k < state.event_count; ++k) {
        events.push_back(state.events[k % capacity]);
    }
    return events;
}

}  // namespace

void bind_charge_control(py::module_& module) {
    py::enum_<ChargeReason>(module, "ChargeReason",
                            "Why the request is what it is. Numbers are frozen.")
        .value("none", ChargeReason::none)
        .value("plan", ChargeReason::plan)
        .value("limits", ChargeReason::limits)
        .value("supply", ChargeReason::supply)
        .value("voltage", ChargeReason::voltage)
        .value("ramp", ChargeReason::ramp)
        .value("next_stage", ChargeReason::next_stage)
        .value("zone", ChargeReason::zone)
        .value("switched_off", ChargeReason::switched_off)
        .value("too_cold", ChargeReason::too_cold)
        .value("too_hot", ChargeReason::too_hot)
        .value("no_supply", ChargeReason::no_supply)
        .value("no_limits", ChargeReason::no_limits)
        .value("resting", ChargeReason::resting)
        .value("balancing", ChargeReason::balancing)
        .value("missing_sample", ChargeReason::missing_sample)
        .value("starting_again", ChargeReason::starting_again)
        .value("taper_end", ChargeReason::taper_end)
        .value("limits_end", ChargeReason::limits_end)
        .value("plan_end", ChargeReason::plan_end)
        .value("over_voltage", ChargeReason::over_voltage)
        .value("under_voltage", ChargeReason::under_voltage)
        .value("over_temperature", ChargeReason::over_temperature)
        .value("under_temperature", ChargeReason::under_temperature)
        .value("lost_measurement", ChargeReason::lost_measurement)
        .value("over_current", ChargeReason::over_current)
        .value("no_voltage_rise", ChargeReason::no_voltage_rise)
        .value("too_much_charge", ChargeReason::too_much_charge)
        .value("stage_timeout", ChargeReason::stage_timeout)
        .value("timeout", ChargeReason::timeout)
        .def_property_readonly(
            "message", [](ChargeReason reason) { return message(reason); }, "In plain words.");
    py::class_<Settings> settings(
        module, "ChargeControlSettings",
        "Knobs of the charge control. series, parallel, capacity_Ah, group_resistance_ohm and "
        "voltage_max_V have no default of use.");
    add_keyword_constructor(settings);
    settings.def_readwrite("series", &Settings::series)
        .def_readwrite("parallel", &Settings::parallel)
        .def_readwrite("capacity_Ah", &Settings::capacity_Ah)
        .def_readwrite("group_resistance_ohm", &Settings::group_resistance_ohm)
        .def_readwrite("voltage_max_V", &Settings::voltage_max_V)
        .def_readwrite("voltage_min_V", &Settings::voltage_min_V)
        .def_readwrite("temperature_max_degC", &Settings::temperature_max_degC)
        .def_readwrite("temperature_min_degC", &Settings::temperature_min_degC)
        .def_readwrite("over_voltage_s", &Settings::over_voltage_s)
        .def_readwrite("temperature_s", &Settings::temperature_s)
        .def_readwrite("lost_s", &Settings::lost_s)
        .def_readwrite("over_current_share", &Settings::over_current_share)
        .def_readwrite("over_current_A", &Settings::over_current_A)
        .def_readwrite("over_current_s", &Settings::over_current_s)
        .def_readwrite("control_share", &Settings::control_share)
        .def_readwrite("voltage_margin_V", &Settings::voltage_margin_V)
        .def_readwrite("hold_tolerance_V", &Settings::hold_tolerance_V)
        .def_readwrite("rise_s", &Settings::rise_s)
        .def_readwrite("restart_s", &Settings::restart_s)
        .def_readwrite("end_dwell_s", &Settings::end_dwell_s)
        .def_readwrite("limits_end_s", &Settings::limits_end_s)
        .def_readwrite("rise_charge_share", &Settings::rise_charge_share)
        .def_readwrite("rise_voltage_V", &Settings::rise_voltage_V)
        .def_readwrite("overcharge_share", &Settings::overcharge_share)
        .def_readwrite("longest_s", &Settings::longest_s);
    using Measurement = ChargeMeasurement<double>;
    py::class_<Measurement> measurement(module, "ChargeMeasurement", "What is measured at a tick.");
    add_keyword_constructor(measurement);
    measurement.def_readwrite("group_voltage_min_V", &Measurement::group_voltage_min_V)
        .def_readwrite("group_voltage_max_V", &Measurement::group_voltage_max_V)
        .def_readwrite("pack_voltage_V", &Measurement::pack_voltage_V)
        .def_readwrite("current_A", &Measurement::current_A)
        .def_readwrite("temperature_min_degC", &Measurement::temperature_min_degC)
        .def_readwrite("temperature_max_degC", &Measurement::temperature_max_degC)
        .def_readwrite("voltage_valid", &Measurement::voltage_valid)
        .def_readwrite("current_valid", &Measurement::current_valid)
        .def_readwrite("temperature_valid", &Measurement::temperature_valid);
    using Input = ChargeInput<double>;
    py::class_<Input> input(module, "ChargeInput",
                            "Everything that a tick brings: measurements, limits, supply, time.");
    add_keyword_constructor(input);
    input.def_readwrite("measured", &Input::measured)
        .def_readwrite("allowed_A", &Input::allowed_A)
        .def_readwrite("supply", &Input::supply)
        .def_readwrite("soc", &Input::soc)
        .def_readwrite("forecast_s", &Input::forecast_s)
        .def_readwrite("dt_s", &Input::dt_s)
        .def_readwrite("enabled", &Input::enabled);
    using Request = ChargeRequest<double>;
    py::class_<Request>(module, "ChargeRequest", "What to ask the charger for.")
        .def_readonly("current_A", &Request::current_A)
        .def_readonly("voltage_V", &Request::voltage_V)
        .def_readonly("phase", &Request::phase)
        .def_readonly("reason", &Request::reason)
        .def_readonly("remaining_s", &Request::remaining_s)
        .def_readonly("stage", &Request::stage)
        .def_readonly("balance", &Request::balance)
        .def_readonly("open_contactor", &Request::open_contactor);
    using Event = ChargeEvent<double>;
    py::class_<Event>(module, "ChargeEvent", "A change of phase or reason, for the log.")
        .def_readonly("time_s", &Event::time_s)
        .def_readonly("value", &Event::value)
        .def_readonly("phase", &Event::phase)
        .def_readonly("reason", &Event::reason)
        .def_readonly("stage", &Event::stage);
    py::class_<Control>(module, "ChargeControl",
                        "What to ask a charger for, tick by tick. No protection: hardware that "
                        "works without this software comes first.")
        .def(py::init([](const ChargePlan<double>& plan, const Settings& s) {
                 check_charge_plan(plan);
                 check_settings(s);
                 auto control = std::make_unique<Control>();
                 if (control->configure(plan, s) != Status::ok) {
                     throw Error("voltage_max_V: " + std::to_string(s.voltage_max_V) +
                                 " is below a voltage of the plan's zones");
                 }
                 (void)control->start();
                 return control;
             }),
             py::arg("plan"), py::arg("settings"), "Ready for the first tick.")
        .def(
            "start", [](Control& self) { (void)self.start(); }, "Begins another charge.")
        .def(
            "step",
            [](Control& self, const Input& in) {
                Request out;
                const Status status = self.step(in, out);
                if (status != Status::ok) {
                    throw Error("dt_s: " + std::to_string(in.dt_s) + ": " + message(status));
                }
                return out;
            },
            py::arg("tick"), "One tick. Returns a ChargeRequest.")
        .def("over", &Control::over, "The charge has ended, well or by a fault.")
        .def_property_readonly("settings", &Control::settings)
        .def_property_readonly("plan", &Control::plan)
        .def_property_readonly("events", &events_of, "list of the last 16 ChargeEvent")
        .def_property_readonly(
            "time_s", [](const Control& self) { return self.state().time_s; }, "Since the start.")
        .def_property_readonly(
            "charge_Ah",
            [](const Control& self) { return self.state().charge_As / seconds_per_hour<double>; },
            "Put in since the start.");
}

}  // namespace voltkeel::python
