#include "fit/unit_doubts.hpp"

#include "voltkeel/fit/data_check.hpp"
#include "voltkeel/fit/slow_test.hpp"

namespace voltkeel::detail {

namespace {

bool is_of_unit_or_sign(const DataFinding& finding) {
    return finding.severity != DataSeverity::note &&
           (finding.kind == DataFault::voltage_unit || finding.kind == DataFault::current_unit ||
            finding.kind == DataFault::temperature_unit || finding.kind == DataFault::current_sign);
}

void add_doubts(std::string& text, const Log& log, const DataCheckSettings& settings) {
    try {
        for (const DataFinding& finding : check_data(log, settings)) {
            if (is_of_unit_or_sign(finding))
                text += (text.empty() ? "" : "; ") + log.source + ": " + finding.text;
        }
    } catch (const Error&) {
        return;  // no log at all: the fit has said so
    }
}

}  // namespace

std::string unit_doubts(const Log* slow, const std::vector<const std::vector<Log>*>& others,
                        std::optional<double> capacity_Ah) {
    std::string text;
    DataCheckSettings settings;
    settings.steps.capacity_Ah = capacity_Ah;
    if (slow) {
        add_doubts(text, *slow, settings);
        try {
            settings.steps.capacity_Ah = read_slow_test(*slow).capacity_Ah;
        } catch (const Error&) {
            settings.steps.capacity_Ah.reset();
        }
    }
    for (const std::vector<Log>* logs : others) {
        for (const Log& log : *logs)
            add_doubts(text, log, settings);
    }
    return text;
}

}  // namespace voltkeel::detail
