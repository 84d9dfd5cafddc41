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

refuse() {
  echo "check.sh: $1" >&2
  exit 2
}

digest() {
  if command -v sha256sum >/dev/null; then
    sha256sum
  else
    shasum -a 256
  fi <"$1" | cut -d ' ' -f 1
}

# Prints a line of the report: a file, and what was found.
tell() {
  printf '    <testcase classname="digest" name="%s">%s</testcase>\n' \
    "$(printf '%s' "$1" | sed 's/&/\&amp;/g; s/</\&lt;/g; s/"/\&quot;/g')" "$2"
}

failed() {
  echo "$1: FAILED"
  tell "$1" "<failure type=\"$2\" message=\"sha256:$3 → $4\"></failure>" >>"$work/cases"
}

# Compares the files in folder $1 with the list $2, and says which files in its folder $3 the list leaves out.
compare() {
  : >"$work/cases"
  : >"$work/listed"
  while IFS= read -r line; do
    was=${line%% *}
    name=${line#*" "?}
    name=${name#./}
    echo "$name" >>"$work/listed"
    if [ ! -f "$1/$name" ]; then
      failed "$name" missing "$was" none
      continue
    fi
    is=$(digest "$1/$name")
    if [ "$is" = "$was" ]; then
      echo "$name: OK"
      tell "$name" '' >>"$work/cases"
    else
      failed "$name" differs "$was" "sha256:$is"
    fi
  done <"$2"
  (cd "$1" && find "$3" -type f ! -name run.js ! -name '.*' | LC_ALL=C sort) | sed 's|^\./||' >"$work/found"
  while IFS= read -r name; do
    if ! grep -Fqx -e "$name" "$work/listed"; then
      echo "not in the list: $name" >&2
      tell "$name" '<skipped message="not in the list"></skipped>' >>"$work/cases"
    fi
  done <"$work/found"
  write_report "$(basename "$2")"
  ! grep -q '<failure' "$work/cases" || exit 3
}

count() {
  grep -c "$1" "$work/cases" || true
}

# Writes the report: the digests of list $1, and what verify found, if it ran.
write_report() {
  {
    echo '<?xml version="1.0" encoding="UTF-8"?>'
    echo '<testsuites>'
    printf '  <testsuite name="%s" tests="%d" failures="%d" errors="0" skipped="%d">\n' \
      "$1" "$(count '<testcase')" "$(count '<failure')" "$(count '<skipped')"
    cat "$work/cases"
    echo '  </testsuite>'
    if [ -f "$work/verify.xml" ]; then
      sed -n '/<testsuite /,/<\/testsuite>/p' "$work/verify.xml"
    fi
    echo '</testsuites>'
  } >"$report.part"
  mv -f "$report.part" "$report"
}

# Verifies what was compared with list $1, so that the report tells of both.
verify_too() {
  list=$(basename "$1")
  shift
  code=0
  "$program" verify "$@" --junit "$work/verify.xml" || code=$?
  write_report "$list"
  exit "$code"
}

# An earlier report would look like the outcome of a run that ends early.
if [ -s "$report" ] && ! grep -q '<testsuites' "$report"; then
  refuse "$report stands there and is no report: name another file as REPORT"
fi
rm -f "$report"
if [ $# -eq 2 ]; then
  [ -f "$2" ] || refuse "there is no list of digests $2"
  if [ ! -s "$2" ] || grep -Evq '^[0-9a-f]{64} [ *].' "$2"; then
    refuse "$2 is no list of digests, as sha256sum writes it"
  fi
fi

work=${WORK:-}
if [ -z "$work" ]; then
  work=$(mktemp -d)
  trap 'rm -rf "$work"' EXIT
fi
rm -f "$work/verify.xml"

case $# in
0)
  "$program" demo "$work/demo-night" --cache "$work/cache"
  compare "$work/demo-night" "$here/sample-night.sha256" night-out
  verify_too "$here/sample-night.sha256" "$work/demo-night/night.hcl"
  ;;
1)
  "$program" verify "$1" --junit "$report"
  ;;
2)
  "$program" run "$1" -o "$work/out" --cache "$work/cache"
  compare "$work/out" "$2" .
  verify_too "$2" "$1" -o "$work/out"
  ;;
*)
  sed -n '2,11s/^# \{0,1\}//p' "$0" >&2
  exit 2
  ;;
esac
