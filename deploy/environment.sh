# Sourced by deploy/start, deploy/test and .ci/run: makes .venv from the lock with hashes, once per lock.
# shellcheck shell=bash

say() { printf '%s\n' "· $*"; }
stop_with() { printf '%s\n' "$*" >&2; exit 1; }

# A Python 3.11–3.13 that can make environments. PYTHON=/path/to/python overrides the search.
find_python() {
  local candidate
  for candidate in ${PYTHON:-} python3 python3.13 python3.12 python3.11 /usr/bin/python3; do
    if "$candidate" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' 2>/dev/null; then
      command -v "$candidate"
      return
    fi
  done
  stop_with "Cleanstop needs Python 3.11, 3.12 or 3.13. On Debian 12: apt-get install python3 python3-venv"
}

as_root() { if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi; }

# Debian splits off the part of Python that makes environments.
ensure_venv_module() {
  "$1" -c 'import ensurepip, venv' 2>/dev/null && return
  say "installing Debian's python3-venv"
  as_root apt-get update -qq >/dev/null && as_root apt-get install -y -qq python3-venv >/dev/null ||
    stop_with "Python's venv module is missing and could not be installed. Run: sudo apt-get install python3-venv"
}

# set_up_environment LOCKFILE
set_up_environment() {
  local lock=$1 python wanted
  wanted=$(sha256sum "$lock" | cut -d' ' -f1)
  # The test lock contains all of the running lock, so either stamp serves `start`.
  if [ -x .venv/bin/python ] && grep -qsx "$wanted" .venv/locks-installed; then return; fi
  python=$(find_python)
  if ! [ -x .venv/bin/python ]; then
    ensure_venv_module "$python"
    say "making an environment in .venv with $("$python" --version)"
    "$python" -m venv .venv
  fi
  say "installing $(grep -c '^[a-z]' "$lock") packages from $lock (one to two minutes where the network is fast)"
  .venv/bin/python -m pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r "$lock" ||
    stop_with "The packages of $lock could not be installed; the lines above say which. Check the network and run this again."
  printf '%s\n' "$wanted" >>.venv/locks-installed
}
