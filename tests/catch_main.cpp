// The one main() of all Catch2 test programs: prints the seed, so that a failing random case can be
// run again.
#define CATCH_CONFIG_RUNNER
#include <catch2/catch.hpp>
#include <cstdint>
#include <exception>
#include <iostream>

#include "support/seed.hpp"

int main(int argc, char* argv[]) {
    try {
        const std::uint64_t seed = voltkeel_test::seed();
        // stderr: stdout belongs to the reporter, which may be writing XML.
        std::cerr << "VOLTKEEL_SEED=" << seed << '\n';
        Catch::Session session;
        session.configData().rngSeed = static_cast<unsigned int>(seed);
        return session.run(argc, argv);
    } catch (const std::exception& error) {
        std::cerr << error.what() << '\n';
        return 2;
    }
}
