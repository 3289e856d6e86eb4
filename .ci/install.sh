#!/usr/bin/env bash
# Installs the packages of the named sections of packages.txt that are missing:
#   bash .ci/install.sh build test firmware
# A line "PACKAGE unless COMMAND" is passed over where the command is there already.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)

missing=()
for section in "$@"; do
  packages=$(awk -v want="[$section]" '
    /^# \[/ { inside = index($0, want) > 0; next }
    /^#/ || /^$/ { next }
    inside && $2 == "unless" { if (system("command -v " $3 " >/dev/null") == 0) print "-"; else print $1; next }
    inside { print }' "$here/packages.txt")
  [ -n "$packages" ] || { echo "install: no section [$section] in .ci/packages.txt" >&2; exit 2; }
  for package in $packages; do
    [ "$package" != - ] || continue
    dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null | grep -qx installed ||
      missing+=("$package")
  done
done
[ ${#missing[@]} -gt 0 ] || exit 0

as_root=()
if [ "$(id -u)" -ne 0 ]; then
  if ! command -v sudo >/dev/null; then
    echo "install: these packages are missing; install them as root and run this again:" >&2
    echo "  apt-get install -y --no-install-recommends ${missing[*]}" >&2
    exit 1
  fi
  as_root=(sudo)
fi
echo "installing ${#missing[@]} packages: ${missing[*]}"
export DEBIAN_FRONTEND=noninteractive
log=$(mktemp)
if ! { "${as_root[@]}" apt-get update -qq &&
       "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq \
         --no-install-recommends -o DPkg::Lock::Timeout=600 "${missing[@]}"; } >"$log" 2>&1; then
  tail -n 20 "$log" >&2
  echo "install: apt-get failed; the lines above say why (whole log: $log)" >&2
  exit 1
fi
rm -f "$log"
