#!/usr/bin/env bash
# The controller test: cross-compiles filter_step.cpp, without and with charge transfer, charge_step.cpp, pack_step.cpp,
# stored_step.cpp, limits_step.cpp and range_step.cpp for a Cortex-M4F in float, checks what ended up in the firmware,
# runs it in an emulator and compares every line it prints with the same source run on this machine, bit for bit.
# Usage: tests/controller/run.sh [TEXT_BUDGET_BYTES [FRAME_BUDGET_BYTES]]
# Environment: VOLTKEEL_CONTROLLER_BUILD (default build/controller), EIGEN_INCLUDE_DIR (default /usr/include/eigen3)
set -euo pipefail

text_budget_bytes=${1:-24576}
frame_budget_bytes=${2:-4096}

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
root=$(cd "$here/../.." && pwd)
build=${VOLTKEEL_CONTROLLER_BUILD:-$root/build/controller}
includes=(-I "$root/include" -isystem "${EIGEN_INCLUDE_DIR:-/usr/include/eigen3}")

fail() { echo "controller: $*" >&2; exit 1; }

# ---- what both sides share: contraction would round a*b+c once on one side and twice on the other
common=(-std=c++17 -ffp-contract=off -DNDEBUG -fno-exceptions -fno-rtti -fno-math-errno
        -Wall -Wextra -Wconversion -Wshadow -Wdouble-promotion -Werror)

# ---- the controller
target=(-mcpu=cortex-m4 -mthumb -mfpu=fpv4-sp-d16 -mfloat-abi=hard --specs=nano.specs
        -Os -fno-threadsafe-statics -ffunction-sections -fdata-sections)
# ---- this machine
native=(-O2)
if [[ $(uname -m) == x86_64 ]]; then
    native+=(-march=x86-64)  # the baseline has no fused multiply-add
fi

# check_form NAME PROGRAM [DEFINITION]: all of it for one program in one form, in a folder of its own.
check_form() {
    local form=$1 program=$2
    shift 2
    rm -rf "${build:?}/$form"
    mkdir -p "$build/$form"
    cd "$build/$form"
    echo "$form"

    # ---- firmware
    for source in "$program" startup; do
        arm-none-eabi-g++ "${target[@]}" "${common[@]}" "$@" "${includes[@]}" -fstack-usage -c "$here/$source.cpp" -o "$source.o"
    done
    # nosys.specs lets a program that does use the heap link, so that the check below can name what came in.
    arm-none-eabi-g++ "${target[@]}" --specs=nosys.specs -nostartfiles -T "$here/mps2.ld" -Wl,--gc-sections -Wl,-Map=firmware.map \
        startup.o "$program.o" -o firmware.elf -lm

    # ---- no heap, exceptions, type information or double arithmetic in it
    arm-none-eabi-nm firmware.elf | awk '{print $NF}' | sort -u >symbols.txt
    grep -qx main symbols.txt || fail "no symbol 'main' in the firmware: the symbol check would see nothing"
    forbidden='^_?(malloc|calloc|realloc|free)(_r)?$|^_sbrk(_r)?$'            # heap
    forbidden+='|^_Zn[wa]|^_Zd[la]'                                           # operator new and delete
    forbidden+='|^__cxa_(throw|rethrow|allocate_exception|begin_catch)|^_Unwind_|^__gxx_personality|^_ZSt[0-9]+__throw_'
    forbidden+='|^_ZTI'                                                       # type information
    forbidden+='|^__aeabi_(c?d[a-z0-9]+|[a-z]+2d)$|^__(add|sub|mul|div|extend|trunc|fix|float)[a-z]*df[0-9a-z]*$'  # double
    if grep -E "$forbidden" symbols.txt >forbidden.txt; then
        fail "the firmware contains: $(tr '\n' ' ' <forbidden.txt)"
    fi
    echo "symbols: no heap, exceptions, type information or double arithmetic ($(wc -l <symbols.txt) checked)"

    # ---- size
    read -r text_bytes data_bytes bss_bytes _ < <(arm-none-eabi-size firmware.elf | tail -n 1)
    echo "size: text $text_bytes bytes (budget $text_budget_bytes), data $data_bytes, bss $bss_bytes"
    ((text_bytes <= text_budget_bytes)) || fail "text is $text_bytes bytes, over the budget of $text_budget_bytes"

    # ---- stack: a .su line is 'place:function <tab> bytes <tab> static|dynamic|...'
    [[ -s $program.su ]] || fail "the compiler wrote no stack usage"
    if grep -hP '\tdynamic$' ./*.su; then
        fail "the frames above grow at run time without a bound"
    fi
    largest=$(sort -t $'\t' -k 2,2nr "$program.su" | sed -n 1p)
    frame_bytes=$(cut -f 2 <<<"$largest")
    echo "stack: largest frame $frame_bytes bytes (budget $frame_budget_bytes), in $(cut -f 1 <<<"$largest" | cut -d : -f 4-)"
    ((frame_bytes <= frame_budget_bytes)) || fail "a frame takes $frame_bytes bytes, over the budget of $frame_budget_bytes"

    # ---- the same source on this machine
    "${CXX:-g++}" "${native[@]}" "${common[@]}" "$@" "${includes[@]}" "$here/$program.cpp" -o native
    ./native >native.txt || fail "the native program ended with code $?"

    # ---- run and compare; without a chardev the emulator sends the program's text to stderr
    status=0
    timeout 60 qemu-system-arm -M mps2-an386 -display none -monitor none -serial none \
        -chardev stdio,id=console -semihosting-config enable=on,target=native,chardev=console \
        -kernel firmware.elf </dev/null >target.txt || status=$?
    if ((status != 0)); then
        tail -n 5 target.txt
        fail "the emulated firmware ended with code $status (124: ran out of time, 99: processor fault)"
    fi
    [[ -s target.txt ]] || fail "the firmware printed nothing"
    if ! diff -u native.txt target.txt >difference.txt; then
        head -n 20 difference.txt
        fail "native and emulated results differ"
    fi
    echo "results: $(wc -l <target.txt) lines, identical bit for bit on this machine and on the controller"
}

check_form linear filter_step
check_form charge-transfer filter_step -DVOLTKEEL_TEST_TRANSFER=1
check_form charge charge_step
# Filters, capacity and stored state of a pack; its limits, their tracker and torque; the checks of all of them.
text_budget_bytes=32768
check_form pack pack_step
# All that a snapshot can hold.
check_form stored stored_step
check_form limits limits_step
# Charge time with its band, least current, usable energy, consumption and distance.
check_form range range_step
