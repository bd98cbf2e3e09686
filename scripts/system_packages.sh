#!/usr/bin/env bash
# Libraries and programs that the tests need and pip cannot bring. Installs what is missing when run as root on a Debian-like
# system; otherwise only says what is missing (the tests that need it then skip with that reason).
set -euo pipefail

missing=()
have() { command -v "$1" >/dev/null 2>&1; }
library() { ldconfig -p 2>/dev/null | grep -q "$1"; }

have chromium || have chromium-browser || have google-chrome || missing+=(chromium) # opens preview.html
have xvfb-run || missing+=(xvfb xauth)                                              # a screen for it and for Blender
have import || missing+=(imagemagick)                                               # photographs that screen
# What the Blender module links to.
library libX11.so.6 || missing+=(libx11-6)
library libXext.so.6 || missing+=(libxext6)
library libXrender.so.1 || missing+=(libxrender1)
library libXfixes.so.3 || missing+=(libxfixes3)
library libXi.so.6 || missing+=(libxi6)
library libxkbcommon.so.0 || missing+=(libxkbcommon0)
library libSM.so.6 || missing+=(libsm6)
library libICE.so.6 || missing+=(libice6)
library libuuid.so.1 || missing+=(libuuid1)
library libGL.so.1 || missing+=(libgl1)

((${#missing[@]})) || exit 0
if [[ $(id -u) != 0 ]] || ! have apt-get; then
  echo "Not installed, so some tests will skip: ${missing[*]}" >&2
  exit 0
fi
echo "Installing for the tests: ${missing[*]}"
export DEBIAN_FRONTEND=noninteractive
apt-get update -qq
apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
