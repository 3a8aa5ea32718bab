#include "voltkeel/simulate/sensors.hpp"
#include "bindings.hpp"

namespace voltkeel::python {

void bind_sensors(py::module_& module) {
    using S = SensorSettings;
    py::class_<S> settings(module, "SensorSettings", "How good a channel is.");
    add_keyword_constructor(settings);
    settings.def_readwrite("channel", &S::channel, "Its name in the pack.")
        .def_readwrite("step", &S::step, "Of the converter, in the channel's unit; 0: none.")
        .def_readwrite("noise_std", &S::noise_std)
        .def_readwrite("offset", &S::offset)
        .def_readwrite("gain", &S::gain)
        .def_readwrite("delay_s", &S::delay_s)
        .def_readwrite("value_shift_s", &S::value_shift_s, "From one value of it to the next.")
        .def_readwrite("low", &S::low, "Of the converter's range.")
        .def_readwrite("high", &S::high);
    using K = SensorFaultKind;
    py::enum_<K>(module, "SensorFaultKind", "How a channel may fail.")
        .value("stuck", K::stuck)
        .value("dropout", K::dropout)
        .value("offset", K::offset)
        .value("gain", K::gain)
        .value("noise", K::noise)
        .def_property_readonly(
            "message", [](K kind) { return sensor_fault_name(kind); }, "In plain words.");
    using F = SensorFault;
    py::class_<F> fault(module, "SensorFault", "One fault, from a time to a time.");
    add_keyword_constructor(fault);
    fault.def_readwrite("channel", &F::channel)
        .def_readwrite("kind", &F::kind)
        .def_readwrite("value", &F::value, "Which of the channel's values; -1: all.")
        .def_readwrite("start_s", &F::start_s)
        .def_readwrite("end_s", &F::end_s)
        .def_readwrite("amount", &F::amount);
    using R = SensorReadings;
    const auto table = [](const R& self, const std::vector<double>& flat) {
        return py::array_t<double>(
            {static_cast<py::ssize_t>(self.time_s.size()), static_cast<py::ssize_t>(self.width)},
            flat.data());
    };
    py::class_<R>(module, "SensorReadings", "What a channel showed.")
        .def_readonly("channel", &R::channel)
        .def_readonly("quantity", &R::quantity)
        .def_readonly("width", &R::width, "Values a sample.")
        .def_property_readonly(
            "time_s", [](const R& self) { return to_array(self.time_s); }, "(samples,)")
        .def_property_readonly(
            "value", [table](const R& self) { return table(self, self.value); },
            "(samples, width); NaN where nothing came")
        .def_property_readonly(
            "truth", [table](const R& self) { return table(self, self.truth); },
            "(samples, width)");
    module.def("read_sensors", &read_sensors, py::arg("pack"), py::arg("result"),
               py::arg_v("settings", std::vector<SensorSettings>{}, "[]"),
               py::arg_v("faults", std::vector<SensorFault>{}, "[]"), py::arg("seed") = 1,
               "Read every channel of a pack from a run.\n\nParameters\n----------\npack : Pack "
               "with channels\nresult : SimulationResult with groups (and cells) recorded\n"
               "settings : list of SensorSettings\nfaults : list of SensorFault\nseed : of the "
               "noise\n\nReturns\n-------\nlist of SensorReadings, one for each channel");
}

}  // namespace voltkeel::python
