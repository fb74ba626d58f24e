#!/bin/bash
# tools/check_pages.sh: the guide, the tools' pages and a page of each kind the tools write, before two independent checkers:
# html-validate (is it valid HTML?) and axe-core in Chromium (can everybody read it?). Skips where npm or Chromium is absent.
set -euo pipefail
ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
BROWSER=$(command -v chromium || command -v chromium-browser || command -v google-chrome || :)
for need in npm node; do
    command -v $need >/dev/null || { echo "check_pages: skipped, there is no $need"; exit 0; }
done
[ -n "$BROWSER" ] || { echo "check_pages: skipped, there is no Chromium"; exit 0; }
PACKAGES="html-validate@10.17.0 axe-core@4.14.1 puppeteer-core@24.43.1"
SITE=$ROOT/.build/pages
if [ "$(cat "$SITE/.ok" 2>/dev/null)" != "$PACKAGES" ]; then
    rm -rf "$SITE"
    mkdir -p "$SITE"
    echo '{"private": true}' >"$SITE/package.json"
    # shellcheck disable=SC2086
    npm install --prefix "$SITE" --no-audit --no-fund --silent $PACKAGES
    echo "$PACKAGES" >"$SITE/.ok"
fi
OUT=$(mktemp -d)
trap 'rm -rf "$OUT"' EXIT
bash "$ROOT/tools/run.sh" tools.docs.sample_pages "$OUT/made"
mapfile -t PAGES < <(ls "$ROOT"/docs/*.html "$ROOT"/docs/tools/*.html "$OUT"/made/*.html)
cat >"$OUT/rules.json" <<'JSON'
{"root": true, "extends": ["html-validate:standard"], "rules": {"doctype-style": "off", "no-inline-style": "off",
 "long-title": "off", "no-trailing-whitespace": "off"}}
JSON
status=0
"$SITE/node_modules/.bin/html-validate" --config "$OUT/rules.json" "${PAGES[@]}" || status=1
NODE_PATH=$SITE/node_modules node "$ROOT/tools/check_pages.js" "$BROWSER" "${PAGES[@]}" || status=1
echo "check_pages: ${#PAGES[@]} pages, $([ $status = 0 ] && echo 'nothing to improve' || echo 'see above')"
exit $status
