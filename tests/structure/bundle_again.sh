#!/usr/bin/env bash
# The charts' bundle made again in another folder has the same bytes, and holds what it
# must not lose: the licence texts. Needs no network: the packages are the build's own.
#   bundle_again.sh SOURCE_FOLDER BUILD_FOLDER
set -euo pipefail
source=$1 build=$2
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cp -r "$build/bundle" "$folder/else where"
# Time and zone of a machine leave no trace either.
TZ=Asia/Tokyo node "$source/bundle.mjs" "$source" "$folder/else where" "$folder/charts.js"
cmp "$build/charts.js" "$folder/charts.js"
for words in 'Permission to use, copy, modify' 'Observable' 'Mike Bostock' 'THIS SOFTWARE IS PROVIDED'; do
  grep -q "$words" "$folder/charts.js" || { echo "the bundle has lost '$words'"; exit 1; }
done
if grep -qE '</script|<!--' "$folder/charts.js"; then
  echo "the bundle would end the script that holds it"
  exit 1
fi
if [ "$(find "$source" -name node_modules -o -name 'charts.min.js' | wc -l)" -ne 0 ]; then
  echo "something was made in the source folder"
  exit 1
fi
