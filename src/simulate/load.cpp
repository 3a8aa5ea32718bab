#include "voltkeel/simulate/load.hpp"

#include <string>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

LoadStep current_load(double current_A, double duration_s) {
    LoadStep step;
    step.kind = LoadKind::current;
    step.current_A = current_A;
    step.duration_s = duration_s;
    return step;
}

LoadStep power_load(double power_W, double duration_s) {
    LoadStep step;
    step.kind = LoadKind::power;
    step.power_W = power_W;
    step.duration_s = duration_s;
    return step;
}

LoadStep resistance_load(double resistance_ohm, double duration_s) {
    LoadStep step;
    step.kind = LoadKind::resistance;
    step.resistance_ohm = resistance_ohm;
    step.duration_s = duration_s;
    return step;
}

LoadStep voltage_load(double voltage_V, double duration_s) {
    LoadStep step;
    step.kind = LoadKind::voltage;
    step.voltage_V = voltage_V;
    step.duration_s = duration_s;
    return step;
}

std::vector<LoadStep> load_from_columns(LoadKind kind, const std::vector<double>& time_s,
                                        const std::vector<double>& value) {
    if (kind != LoadKind::current && kind != LoadKind::power)
        throw Error("kind: a load from columns is a current or a power");
    if (time_s.size() != value.size()) {
        throw Error("value: has " + std::to_string(value.size()) + " rows, time_s has " +
                    std::to_string(time_s.size()));
    }
    if (time_s.size() < 2)
        throw Error("time_s: has " + std::to_string(time_s.size()) + " rows, needs at least 2");
    std::vector<LoadStep> load;
    load.reserve(time_s.size() - 1);
    for (std::size_t k = 1; k < time_s.size(); ++k) {
        const double duration_s = time_s[k] - time_s[k - 1];
        if (!(duration_s > 0)) {
            throw Error("time_s[" + std::to_string(k) + "]: " + number_text(time_s[k], "%.9g") +
                        " must be above " + number_text(time_s[k - 1], "%.9g"));
        }
        if (!(value[k] > -1e9 && value[k] < 1e9)) {
            throw Error("value[" + std::to_string(k) + "]: " + number_text(value[k], "%.9g") +
                        " is outside -1e9 .. 1e9");
        }
        load.push_back(kind == LoadKind::current ? current_load(value[k], duration_s)
                                                 : power_load(value[k], duration_s));
    }
    return load;
}

std::vector<LoadStep> read_load(const std::filesystem::path& path,
                                const LogReadSettings& settings) {
    LogReadSettings how = settings;
    how.columns.voltage.clear();  // a load has none
    how.temperature_degC = 25;    // nor needs it this
    std::string why;
    try {
        const Log log = read_log(path, how).log;
        return load_from_columns(LoadKind::current, log.time_s, log.current_A);
    } catch (const Error& error) {
        why = error.what();
    }
    how.columns.current = "power_W";
    try {
        const Log log = read_log(path, how).log;
        return load_from_columns(LoadKind::power, log.time_s, log.current_A);
    } catch (const Error& error) {
        // A file without power is told what is wrong with its current.
        const std::string of_power = error.what();
        throw Error(of_power.find("no column 'power_W'") == std::string::npos
                        ? of_power
                        : why + " (nor is there a column 'power_W')");
    }
}

}  // namespace voltkeel
