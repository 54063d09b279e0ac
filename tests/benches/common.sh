# What the benches share: sourced, from the top of the repo.

# Installs what is missing, where this is root on a Debian-like system; else ends as skipped.
# need TOOL:PACKAGE...
need() {
    local missing=() pair
    for pair in "$@"; do
        PATH=$PATH:/usr/sbin command -v "${pair%%:*}" >/dev/null || missing+=("${pair##*:}")
    done
    if ((${#missing[@]})) && command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
        apt-get update -qq && apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null &&
            missing=()
    fi
    if ((${#missing[@]})); then
        echo "SKIPPED: needs ${missing[*]}"
        exit 77
    fi
}

target=${CARGO_TARGET_DIR:-target}

# Builds the program in the release profile, unless DATUMTRAIL_BIN names one that is built already.
need_program() {
    if [ -z "${DATUMTRAIL_BIN:-}" ]; then
        cargo build -q --release -p datumtrail
        DATUMTRAIL_BIN=$target/release/datumtrail
    fi
}

# What the machine is doing, which stands beside each figure.
load() { echo "load $(cut -d' ' -f1-3 /proc/loadavg), $(nproc) cores"; }
