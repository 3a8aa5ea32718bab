#pragma once

/// \file
/// The scalars of test cases that run on both: `TEMPLATE_TEST_CASE(name, tags, VOLTKEEL_SCALARS)`.
/// The sanitizers see such a case in float only: each scalar makes the same accesses, double is
/// in all other cases, and the sanitized build is the longest of all.
/// `VOLTKEEL_CASES(all, fewer)` is how many random cases a loop takes: `fewer` under the
/// sanitizers, where more of the same make the same accesses.

#ifdef VOLTKEEL_TEST_SANITIZED
#define VOLTKEEL_CASES(all, fewer) (fewer)
#define VOLTKEEL_SCALARS float
#define VOLTKEEL_SCALARS_AND(branches) (float, branches)
#else
#define VOLTKEEL_CASES(all, fewer) (all)
#define VOLTKEEL_SCALARS float, double
#define VOLTKEEL_SCALARS_AND(branches) (float, branches), (double, branches)
#endif
