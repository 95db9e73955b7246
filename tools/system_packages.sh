#!/bin/sh
# The independent DICOM toolkits and the PDF renderer that some tests hold our files against.
# Installed where that is possible; where not, the tests that need them say so by name.
missing=""
command -v dcmdump >/dev/null 2>&1 || missing="$missing dcmtk"
command -v dciodvfy >/dev/null 2>&1 || missing="$missing dicom3tools"
command -v pdftoppm >/dev/null 2>&1 || missing="$missing poppler-utils"
[ -n "$missing" ] || exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
  echo "Installing for the tests:$missing"
  { apt-get update && DEBIAN_FRONTEND=noninteractive \
    apt-get install -y --no-install-recommends $missing; } >/dev/null 2>&1 && exit 0
fi
echo "Not installed here, so the tests that need them will say they were not run:$missing" >&2
exit 0
