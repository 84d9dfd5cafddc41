#!/bin/sh
# Makes the pictures of a night anew and fails if one differs by a bit from what it was.
#
#   check.sh                     the sample night, against sample-night.sha256
#   check.sh NIGHT.hcl           a night of your own, against the pictures in its output folder
#   check.sh NIGHT.hcl DIGESTS   the same where not the pictures are kept, but their SHA-256
#
# Exit codes are those of plenilune: 0 all the same, 3 something differs, 1 or 2 it could not be
# told. A summary for build servers goes to $REPORT. $PLENILUNE is the program, $WORK a folder in
# which the sample night may stand already; without it a new one is made, and removed at the end.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
program=${PLENILUNE:-plenilune}
report=${REPORT:-plenilune-junit.xml}

# Compares the files in a folder with a list of digests.
compare() {
  if command -v sha256sum >/dev/null; then
    (cd "$1" && sha256sum -c "$2")
  else
    (cd "$1" && shasum -a 256 -c "$2")
  fi || exit 3
}

work=${WORK:-}
if [ -z "$work" ]; then
  work=$(mktemp -d)
  trap 'rm -rf "$work"' EXIT
fi

case $# in
0)
  "$program" demo "$work/demo-night" --cache "$work/cache"
  compare "$work/demo-night" "$here/sample-night.sha256"
  "$program" verify "$work/demo-night/night.hcl" --junit "$report"
  ;;
1)
  "$program" verify "$1" --junit "$report"
  ;;
2)
  digests=$(cd "$(dirname "$2")" && pwd)/$(basename "$2")
  "$program" run "$1" -o "$work/out" --cache "$work/cache"
  compare "$work/out" "$digests"
  "$program" verify "$1" -o "$work/out" --junit "$report"
  ;;
*)
  sed -n '2,11s/^# \{0,1\}//p' "$0" >&2
  exit 2
  ;;
esac
