// Uses the installed package as a stranger would: prints the version, calls a controller floor and,
// when linked with the compiled library, reads a log.
#include <Eigen/Core>
#include <cstdio>
#include <voltkeel/status.hpp>
#include <voltkeel/version.hpp>

#ifdef CONSUMER_LINKS_ALL
#include <voltkeel/io/csv.hpp>
#endif

int main() {
    std::printf("voltkeel %s: %s\n", voltkeel::version, voltkeel::message(voltkeel::Status::ok));
    // Comes with voltkeel::core: a consumer asks for Eigen nowhere.
    if (Eigen::Vector2f(3.0F, 4.0F).norm() != 5.0F) return 1;
#ifdef CONSUMER_LINKS_ALL
    const voltkeel::LogReading reading = voltkeel::parse_log(
        "time_s,current_A,voltage_V,temperature_degC\n0,-2.5,3.7,25\n1,-2.5,3.69,25\n", "two rows");
    std::printf("rows: %zu, current: %g A\n", reading.log.size(), reading.log.current_A.at(1));
    if (reading.log.size() != 2 || reading.log.current_A[1] != -2.5) return 1;
#endif
    return 0;
}
